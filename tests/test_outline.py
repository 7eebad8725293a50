"""Outlines proposed for the finish: they lie on the plates of invented photographs, and nothing else gets one."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from matcher import find_card, open_photo, propose_finishes
from matcher.card.outline import ProposedFinish
from matcher.reading.wording import proposals_in_words
from matcher.shipped import shipped
from tests import scenes
from tests.plate_scenes import judged, plate_scene

CROWDED = (6, 14, 64, 87)  # glare, no plate, a hand, a tin, a slip, verdigris, a cut plate, a card nobody marked
scene_of = cache(plate_scene)


@pytest.mark.parametrize("number", CROWDED)
def test_what_is_proposed_in_a_crowded_photograph_lies_on_a_plate_and_reads_as_its_face(number):
    scene = scene_of(number)
    verdict = judged(scene, propose_finishes(scene.photo, scene.card))
    assert (verdict.wrong, verdict.refused, verdict.asked) == (0, 0, 0), (scene.about, verdict)
    assert verdict.right == len(scene.faces)


def test_an_outline_that_leaves_the_plate_or_reads_as_another_colour_is_judged_wrong():
    scene = scene_of(64)
    good = propose_finishes(scene.photo, scene.card)
    beside = [replace(item, outline=item.outline + (0.5 * np.ptp(item.outline[:, 0]), 0)) for item in good]
    assert judged(scene, good).right == 3 and judged(scene, beside).wrong == 3
    assert judged(scene, ()).asked == 3


@pytest.mark.parametrize("name", ["client_reference", "plate_tubes", "plate_carrier_askew", "two_plates"])
def test_each_plate_of_a_demo_photograph_is_proposed_once_from_the_left(name):
    photo, proposed = _in_demo(name)
    truth = _truth()[f"{name}.jpg"]["finishes"]
    assert len(proposed) == len(truth)
    for item, plate in zip(proposed, truth, strict=True):
        assert cv2.pointPolygonTest(np.float32(item.outline), np.mean(plate["polygon"], axis=0).tolist(), False) > 0
        assert item.kind == "plate" and item.sureness > 0.7 and (item.outline > 0).all()
        assert (item.outline < (photo.width, photo.height)).all()


def test_glare_is_cut_out_of_what_is_proposed():
    photo, (item,) = _in_demo("plate_glare")
    inside = np.zeros((photo.height, photo.width), np.uint8)
    cv2.fillPoly(inside, [np.rint(item.outline).astype(np.int32)], 1)
    burnt = photo.clipped()
    assert burnt.sum() > 5000 and burnt[inside > 0].mean() < 0.002


@pytest.mark.parametrize("name", ["chart_daylight", "chart_tubes"])
def test_neither_a_chart_nor_its_patches_are_proposed_whether_it_is_known_or_not(name):
    photo, proposed = _in_demo(name)
    assert proposed == propose_finishes(photo) == ()


def test_a_card_is_not_proposed_even_where_nobody_said_that_it_is_there():
    photo, known = _in_demo("plate_warm_lamps")
    unknown = propose_finishes(photo)
    assert len(known) == 1 and [item.outline.tolist() for item in unknown] == [known[0].outline.tolist()]


PLATE, SECOND = scenes.box(420, 120, 740, 460), scenes.box(440, 480, 700, 580)


def test_a_brown_plate_is_proposed_and_the_same_in_the_benchs_own_colour_or_white_paper_is_not():
    def kinds(lab, texture=0.1):
        return [item.kind for item in propose_finishes(scenes.Scene().lay(PLATE, lab, texture).photo())]

    assert kinds(scenes.BROWN) == ["plate"]
    assert kinds((62.0, 6.0, 16.0)) == kinds((94.0, 0.0, 2.0), 0.0) == kinds(scenes.GREY, 0.0) == []


def test_a_plate_that_the_pictures_edge_cuts_is_proposed_as_such():
    (item,) = propose_finishes(scenes.Scene().lay(scenes.box(560, 150, 900, 420), scenes.BROWN, 0.1).photo())
    assert item.kind == "cut plate" and item.outline[:, 0].max() < 800
    assert "edge" in proposals_in_words([item]) and "1 plate" in proposals_in_words([item])


def test_a_round_thing_a_thin_one_a_bare_bench_and_a_tiny_picture_get_none():
    angle = np.linspace(0, 2 * np.pi, 60)[:-1]
    disc = np.stack([400 + 150 * np.cos(angle), 300 + 150 * np.sin(angle)], axis=1)
    for shape in (disc, scenes.box(100, 280, 700, 330)):
        assert propose_finishes(scenes.Scene().lay(shape, scenes.BROWN).photo()) == ()
    assert propose_finishes(scenes.Scene().photo()) == propose_finishes(scenes.Scene(60, 40).photo()) == ()
    assert "mark it yourself" in proposals_in_words([])


def test_a_page_of_many_like_patches_gets_none():
    page = scenes.Scene()
    for row in range(2):
        for column in range(4):
            corner = (60 + 180 * column, 80 + 240 * row)
            page.lay(scenes.box(*corner, corner[0] + 130, corner[1] + 170), (30 + 6 * column, 16, 10 + 12 * row), 0.1)
    assert propose_finishes(page.photo()) == ()


def test_the_same_photograph_gives_the_same_outlines_turned_or_enlarged():
    scene = scenes.Scene().lay(PLATE, scenes.BROWN, 0.1).lay(SECOND, (30.0, 2.0, 3.0), 0.1)
    codes = scene.codes()
    plain = propose_finishes(open_photo(scenes.png(codes)))
    again = propose_finishes(open_photo(scenes.png(codes)))
    large = propose_finishes(open_photo(scenes.png(np.repeat(np.repeat(codes, 2, axis=0), 2, axis=1))))
    assert len(plain) == len(again) == len(large) == 2
    for one, two, three in zip(plain, again, large, strict=True):
        assert (one.outline == two.outline).all()
        assert np.abs(2 * one.outline - three.outline).max() < 2 * 8


def _in_demo(name):
    photo = open_photo(shipped("demo_images") / f"{name}.jpg")
    (card,) = _truth()[f"{name}.jpg"]["cards"]
    return photo, propose_finishes(photo, find_card(photo, card["kind"], corners=card["corners"]))


@cache
def _truth():
    return json.loads((shipped("demo_images") / "truth.json").read_text(encoding="utf-8"))["pictures"]


def test_it_is_said_how_many_plates_are_proposed_and_that_each_outline_is_to_be_checked():
    """In words that agree in number, a plate cut by the picture's edge named as such."""
    outline = np.array([(0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0)])
    whole, cut = ProposedFinish(outline, "plate", 0.9), ProposedFinish(outline, "cut plate", 0.9)
    assert "mark it yourself" in proposals_in_words([])
    assert proposals_in_words([whole]).startswith("1 plate found, nothing read yet. Check that the outline lies")
    assert proposals_in_words([cut]).startswith("1 plate found, cut by the picture's edge, nothing read yet.")
    assert proposals_in_words([whole, cut, whole]).startswith(
        "3 plates found, 1 of them cut by the picture's edge, nothing read yet. Check that each outline lies"
    )
