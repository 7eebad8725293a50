"""Patches under one white: the same plate looks the same whatever photographed it, its mottle stays, nothing lies."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from matcher.colour.cielab import SRGB_TO_XYZ_D50, XYZ_D50_TO_SRGB, lab_to_lch, lab_to_srgb8, lab_to_xyz, xyz_to_lab
from matcher.colour.difference import delta_e_2000
from matcher.errors import ReadingError, StudioError
from matcher.photo.patch import flat_patch, largest_square, patch
from matcher.photo.photo import Photo, open_photo
from matcher.photo.small import PATCH_SIDES, patch_key
from matcher.reading.reading import Conditions, Reading
from matcher.studio import Studio
from matcher.trials.trial import StageReading, Target, Trial
from tests.example_counts import examples
from tests.pictures import saved, tiff
from tests.plates import a_recipe
from tests.rendering.render import render_scene
from tests.rendering.scene import SceneLight
from tests.scenes import BROWN, Scene, box, png
from tests.test_demo_render import SMALL
from tests.test_small_pictures import ask, studio  # noqa: F401 - a fixture
from ui.show.patches import patch_strip, plate_patch, said_of, stage_patch, target_patch
from ui.state.addresses import patch_address


def linear(pixels: Any) -> Any:
    """Return linear light of 8-bit sRGB (IEC 61966-2-1)."""
    value = np.asarray(pixels, dtype=float) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lab_of(pixels: Any) -> Any:
    """Return the CIELAB, under D50, of the mean light of sRGB pixels (h, w, 3)."""
    return xyz_to_lab(SRGB_TO_XYZ_D50 @ linear(pixels).reshape(-1, 3).mean(axis=0))


@lru_cache(maxsize=8)
def photographed(illuminant: str, exposure: float) -> tuple[Photo, Any, Any]:
    """Return the same casting photographed under a light, the outline of its finish, and its true colour."""
    plate = replace(SMALL.plates[0], casting=4)
    scene = replace(
        SMALL,
        plates=(plate,),
        size=(640, 480),
        light=SceneLight(illuminant, gradient=0.0),
        white_balance=0.6,  # the camera leaves some of the light's colour in
        exposure=exposure,
        sheen=0.0,
    )
    picture = render_scene(scene, np.random.default_rng(3))
    finish = picture.truth["finishes"][0]
    return open_photo(png(picture.pixels)), np.array(finish["polygon"]), np.array(finish["lab"])


@pytest.mark.parametrize(("illuminant", "exposure"), [("A", 0.9), ("FL2", 0.6), ("D75", 0.45)])
def test_one_plate_under_two_lights_and_exposures_gives_the_same_patch(illuminant: str, exposure: float) -> None:
    first, second = (patch(*photographed(*how), side=240) for how in (("D55", 0.9), (illuminant, exposure)))
    # What the photographs themselves show is plainly not the same.
    shown = [lab_of(inside(*photographed(*how)[:2])) for how in (("D55", 0.9), (illuminant, exposure))]
    assert delta_e_2000(*shown) > 4
    assert delta_e_2000(lab_of(first), lab_of(second)) < 0.5
    # Part by part too, of 8 by 8 parts.
    parts = [
        xyz_to_lab(cv2.resize(linear(one), (8, 8), interpolation=cv2.INTER_AREA) @ SRGB_TO_XYZ_D50.T)
        for one in (first, second)
    ]
    assert float(np.mean(delta_e_2000(parts[0], parts[1]))) < 1.0


def inside(photo: Photo, outline: Any) -> Any:
    left, top, size = largest_square(outline, photo.width, photo.height)
    return photo.preview(4000)[top : top + size, left : left + size]


@pytest.mark.parametrize("illuminant", ["D55", "A"])
def test_the_mottle_is_that_of_the_plate(illuminant: str) -> None:
    """The spread of lightness over the same square of the plate, against the rendering's own light."""
    photo, outline, lab = photographed(illuminant, 0.9)
    shown = np.log(linear(patch(photo, outline, lab, 240)) @ SRGB_TO_XYZ_D50[1])
    left, top, size = largest_square(outline, photo.width, photo.height)
    seen = photo.linear((left, top, left + size, top + size)).astype(float) @ SRGB_TO_XYZ_D50[1]
    true = np.log(cv2.resize(np.maximum(seen, 1e-4), (240, 240), interpolation=cv2.INTER_NEAREST))
    assert shown.std() == pytest.approx(true.std(), rel=0.12)
    assert shown.std() > 0.1, "a plate with a mottle"


@examples(40)
@given(
    lightness=st.floats(15, 75),
    a=st.floats(-18, 18),
    b=st.floats(-10, 22),
    exposure=st.floats(0.4, 1.1),
    cast=st.tuples(st.floats(0.7, 1.1), st.floats(0.7, 1.1)),
)
def test_the_mean_is_what_was_read(
    lightness: float, a: float, b: float, exposure: float, cast: tuple[float, float]
) -> None:
    corners = box(60, 60, 260, 260)
    scene = Scene(320, 320).lay(corners, BROWN, texture=0.15)
    photo = scene.photo(exposure=exposure, cast=(cast[0], 1.0, cast[1]))
    made = patch(photo, box(70, 70, 250, 250), (lightness, a, b), 120)
    assert made.shape == (120, 120, 3) and made.dtype == np.uint8
    shown = lab_of(flat_patch((lightness, a, b), 4))
    # Mottles lighter than a screen may take a little away from a light colour.
    assert delta_e_2000(lab_of(made), shown) < 1.0


def test_what_was_left_out_as_glare_does_not_darken_the_rest() -> None:
    corners = box(60, 60, 260, 260)
    scene = Scene(320, 320).lay(corners, BROWN, texture=0.1).lay(box(90, 90, 150, 150), (100.0, 0.0, 0.0))
    outline, share = box(70, 70, 250, 250), (60 * 60) / (180 * 180)
    beside = (slice(160, 240), slice(160, 240))
    with_it, without = (patch(scene.photo(), outline, BROWN, 240, left_out_share=s)[beside] for s in (share, 0.0))
    assert delta_e_2000(lab_of(with_it), np.array(BROWN)) < 1.5
    assert lab_of(without)[0] < BROWN[0] - 8


# Colours that a screen has, and those that it lacks


@examples(80)
@given(lightness=st.floats(2, 98), a=st.floats(-30, 30), b=st.floats(-30, 30))
def test_a_plain_patch_is_the_swatch_of_a_colour_that_a_screen_has(lightness: float, a: float, b: float) -> None:
    light = XYZ_D50_TO_SRGB @ lab_to_xyz((lightness, a, b))
    if light.min() >= 0 and light.max() <= 1:
        assert (flat_patch((lightness, a, b), 3) == np.array(lab_to_srgb8((lightness, a, b)))).all()


@examples(80)
@given(lightness=st.floats(2, 98), chroma=st.floats(0, 120), hue=st.floats(0, 360))
def test_a_colour_that_a_screen_lacks_keeps_its_lightness_and_its_hue(
    lightness: float, chroma: float, hue: float
) -> None:
    lab = (lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue)))
    shown = lab_of(flat_patch(lab, 4))
    assert abs(shown[0] - lightness) < 1.0  # eight bits of a very dark colour
    _, shown_chroma, shown_hue = lab_to_lch(shown)
    assert shown_chroma < chroma + 2.0
    if shown_chroma > 15 and lightness > 15:
        assert abs((shown_hue - hue + 180) % 360 - 180) < 4.0


def test_bright_mottles_pale_and_do_not_change_hue() -> None:
    """A channel cut off alone would turn an orange spark yellow."""
    corners = box(40, 40, 280, 280)
    orange = (72.0, 30.0, 62.0)
    photo = Scene(320, 320).lay(corners, (40.0, 12.0, 26.0), texture=0.45).photo(exposure=0.8, noise=0.0)
    made = patch(photo, box(60, 60, 260, 260), orange, 240)
    lab = xyz_to_lab(linear(made).reshape(-1, 3) @ SRGB_TO_XYZ_D50.T)
    _, chroma, hue = np.moveaxis(lab_to_lch(lab), -1, 0)
    bright = (lab[:, 0] > 85) & (chroma > 12)
    assert bright.sum() > 100
    assert float(np.median(hue[bright])) < 82, "orange, at 64 degrees, drifts no further than to a warm yellow"


# The square


@examples(80)
@given(points=st.lists(st.tuples(st.floats(0, 300), st.floats(0, 200)), min_size=3, max_size=8), turn=st.floats(0, 90))
def test_the_square_lies_in_the_outline_and_no_larger_one_does(points: list[tuple[float, float]], turn: float) -> None:
    hull = cv2.convexHull(np.array(points, dtype=np.float32))[:, 0]
    low, high = hull.min(axis=0), hull.max(axis=0)
    if len(hull) < 3 or (high - low).min() < 20 or cv2.contourArea(hull) < 600:
        return
    left, top, side = largest_square(hull, 300, 200)
    assert left >= 0 and top >= 0 and left + side <= 300 and top + side <= 200
    corners = [(left + x, top + y) for x in (0, side) for y in (0, side)]
    depths = [cv2.pointPolygonTest(hull.reshape(-1, 1, 2), (float(x), float(y)), True) for x, y in corners]
    assert min(depths) > -2.5
    larger = side + 6
    mask = np.zeros((206, 306), np.uint8)
    cv2.fillPoly(mask, [np.rint(hull).astype(np.int32)], 1)
    assert cv2.erode(mask, np.ones((larger, larger), np.uint8), borderValue=0).max() == 0


def test_of_a_long_plate_the_middle_is_shown() -> None:
    left, top, side = largest_square(box(0, 50, 300, 150), 300, 200)
    assert abs(left + side / 2 - 150) < 3 and abs(top + side / 2 - 100) < 3 and side > 95


def test_a_tiny_mark_still_has_a_patch() -> None:
    photo = Scene(100, 80).lay(box(20, 20, 60, 60), BROWN).photo()
    assert patch(photo, [(30, 30), (33, 30), (31, 33)], BROWN, 120).shape == (120, 120, 3)


def test_a_region_of_another_picture_is_refused() -> None:
    with pytest.raises(ReadingError, match="inside the picture"):
        patch(Scene(100, 80).photo(), box(400, 400, 500, 500), BROWN, 120)


# From the studio, and in the page


def photographed_trial(studio: Studio, **changes: Any) -> Trial:  # noqa: F811 - the studio that it is given
    scene = Scene(320, 320).lay(box(60, 60, 260, 260), BROWN, texture=0.2)
    sha256 = studio.keep_photo(saved(Image.fromarray(scene.codes()), "JPEG", quality=92), "plate.jpg")
    reading = Reading(BROWN, source="photograph", region=box(70, 70, 250, 250), photo=sha256)
    return studio.record(Trial(a_recipe(), replace(reading, **changes), photos=(sha256,)))


def source_of(image: str) -> str:
    found = re.search(r'src="([^"]*)"', image)
    assert found is not None
    return found[1]


def test_a_patch_is_served_for_good_and_a_finish_read_again_has_another(studio: Studio) -> None:  # noqa: F811
    trial = photographed_trial(studio)
    address = source_of(plate_patch(trial, 240))
    status, headers, body = ask(address)
    assert status == 200 and "immutable" in headers["cache-control"]
    assert Image.open(io.BytesIO(body)).size == (240, 240)
    assert delta_e_2000(lab_of(Image.open(io.BytesIO(body))), np.array(BROWN)) < 1.5
    assert ask(address, if_none_match=headers["etag"])[0] == 304
    again = replace(trial.reading, lab=np.array([40.0, 14.0, 22.0]))
    assert patch_key(again) != patch_key(trial.reading)
    status, _, body = ask(patch_address("plate", str(trial.id), again, 240))
    assert status == 404 and body.decode().startswith("This finish was read again")


def test_targets_and_stages_have_patches_and_plain_ones_where_nothing_was_photographed(
    studio: Studio,  # noqa: F811
) -> None:
    target = studio.save_target(Target("Heron", Reading((60.0, -20.0, 4.0)), tolerance=2.0))
    trial = studio.record(
        Trial(a_recipe(), Reading(BROWN), stages=(StageReading("waxed", Reading((30.0, 10.0, 15.0))),))
    )
    for image, lab in ((target_patch(target), (60, -20, 4)), (stage_patch(trial, 0), (30, 10, 15))):
        status, _, body = ask(source_of(image))
        pixels = np.asarray(Image.open(io.BytesIO(body)))
        assert status == 200 and np.ptp(pixels.reshape(-1, 3), axis=0).max() <= 2
        assert delta_e_2000(lab_of(pixels), np.array(lab, dtype=float)) < 1.5
        assert "a plain colour: no photograph" in image


@pytest.mark.parametrize(
    "path", ["plate/99/KEY/240", "plate/x/KEY/240", "cast/1/KEY/240", "stage/1-7/KEY/240", "plate/1/KEY/241", "plate/1"]
)
def test_what_is_no_patch_is_refused_in_a_sentence(path: str, studio: Studio) -> None:  # noqa: F811
    trial = studio.record(Trial(a_recipe(), Reading(BROWN)))
    status, headers, body = ask(f"/patches/{path.replace('KEY', patch_key(trial.reading))}.jpg")
    assert status == 404 and headers["content-type"].startswith("text/plain") and body.decode().endswith(".")


def test_a_lost_photograph_is_said_and_a_plain_colour_is_not_shown_for_it(studio: Studio) -> None:  # noqa: F811
    trial = photographed_trial(studio)
    studio.photo_path(trial.photos[0]).unlink()
    status, _, body = ask(source_of(plate_patch(trial)))
    assert status == 404 and "restore it from a backup" in body.decode()


def test_a_picture_that_was_read_as_linear_light_is_shown_so(tmp_path: Path) -> None:
    """A TIFF of floating-point values opens only when it is said that they are linear."""
    scene = Scene(320, 320).lay(box(60, 60, 260, 260), BROWN, texture=0.2)
    with Studio.open(tmp_path / "studio") as opened:
        sha256 = opened.keep_photo(tiff(scene.light.astype(np.float32)), "plate.tif")
        reading = Reading(BROWN, region=box(70, 70, 250, 250), photo=sha256, conditions=Conditions(encoding="linear"))
        made = opened.patch(patch_key(reading), 120, lambda: reading)
        assert delta_e_2000(lab_of(Image.open(io.BytesIO(made))), np.array(BROWN)) < 1.5
        with pytest.raises(StudioError, match="read again"):
            opened.patch("0" * 40, 120, lambda: reading)


def test_a_patch_says_its_plate_and_its_colour_and_a_strip_its_names() -> None:
    trial = Trial(a_recipe(), Reading(BROWN, region=box(0, 0, 9, 9), photo="0" * 64), id=88)
    assert said_of("Plate 88", trial.reading) == "Plate 88: warm brown"
    image = plate_patch(trial, PATCH_SIDES[0])
    assert 'alt="Plate 88: warm brown"' in image and 'width="120" height="120"' in image
    target = Target('<b>"Heron"</b>', Reading(BROWN), id=3)
    strip = patch_strip([target_patch(target), image], [target.name, "Plate 88"])
    assert "<b>" not in strip and "><img" in strip.replace("\n", "")
    assert strip.count("<img") == 2 and strip.count("<span>") == 2
