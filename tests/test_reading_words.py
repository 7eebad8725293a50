"""What is said of a reading beside its figures: the words follow the values, and say nothing where there is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from matcher.calibration.calibrate import calibrate
from matcher.calibration.illumination import LightField
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000, interval_of
from matcher.colour.sources import Source
from matcher.errors import CardError
from matcher.photo.camera import CameraInfo
from matcher.reading.exposures import unfit_exposures
from matcher.reading.finish import read_finish
from matcher.reading.reading import PaletteColour, Reading
from matcher.reading.texture import Mottle, MottleScale, Texture
from matcher.reading.wording import (
    glare_in_words,
    levelled_in_words,
    lights_and_darks_in_words,
    mottle_in_words,
    profile_in_words,
)
from tests.plates import a_profile
from tests.scenes import BROWN, GREY, Scene, box

CARD, PLATE, INNER = box(40, 220, 200, 340), box(260, 150, 560, 450), box(280, 170, 540, 430)


def bench(gradient=0.0, plate=BROWN, seed=1):
    return Scene(seed=seed).lay(PLATE, plate, texture=0.2).lay(CARD, GREY).photo(gradient=gradient)


def flat(gradient):
    scene = Scene()
    scene.light = np.zeros_like(scene.light)
    return scene.lay(box(-5, -5, 805, 605), (75, 0, 1)).photo(gradient=gradient)


def read(photo, field=None):
    return read_finish(photo, calibrate(photo, find_card(photo, corners=CARD), field=field), INNER)


def reading(**known):
    return Reading(BROWN, np.eye(3), source="photograph", **known)


def texture(lightness, colour):
    return Texture((PaletteColour(BROWN, 1.0),), Mottle((MottleScale(1 / 16, 24.0, lightness, colour),), 0.1, 0.1))


def test_a_profile_is_named_with_its_light_its_day_and_its_error():
    profile = a_profile()
    error = float(np.mean(profile.leave_one_out))
    said = profile_in_words(profile)
    assert said.startswith("shop tubes (two cool white tubes, 31 March 2025; ")
    assert f"to ΔE00 {error:.1f} on average" in said
    assert profile_in_words(replace(profile, light="")).startswith("shop tubes (31 March 2025; ")


def test_lights_and_darks_are_told_apart_in_words():
    far, near = ({"lights": np.array([30.0 + up, 14, 20]), "darks": np.array([30.0, 14, 20])} for up in (16.0, 0.4))
    sure, unsure = np.eye(3) * 0.1**2, np.eye(3) * 12.0**2
    said = lights_and_darks_in_words(reading(**far, quarters_covariance=sure))
    assert "lightest quarter is much lighter" in said and "with 95 %" in said
    assert "one colour to the eye" in lights_and_darks_in_words(reading(**near, quarters_covariance=sure))
    for quarters in (far, near):
        assert "can't be told" in lights_and_darks_in_words(reading(**quarters, quarters_covariance=unsure))
        assert "How sure that is was not kept" in lights_and_darks_in_words(reading(**quarters))
    assert lights_and_darks_in_words(reading()) == ""


def test_lights_and_darks_of_one_photograph_differ_more_surely_than_of_two():
    """Invented scene: one plate of two halves, read over both; the truth between the quarters is that of the halves."""
    scene = Scene().lay(PLATE, (34.0, 12.0, 16.0)).lay(box(410, 150, 560, 450), (44.0, 12.0, 20.0)).lay(CARD, GREY)
    photo = scene.photo()
    whole = read_finish(photo, calibrate(photo, find_card(photo, corners=CARD)), INNER, "finish")
    kept = Reading.from_dict(whole.as_dict())
    assert kept.quarters_interval == pytest.approx(whole.quarters_interval)
    low, high = whole.quarters_interval
    truth = float(delta_e_2000((34.0, 12.0, 16.0), (44.0, 12.0, 20.0)))
    assert 0 < low < truth < high, "what the card and the light leave unknown moves both"
    apart = np.ptp(interval_of(whole.darks, whole.lights, 2 * whole.covariance))
    assert high - low < 0.6 * apart


def test_pale_spots_that_may_be_glare_leave_the_lights_open():
    """Invented: over an even plate a dozen pale spots of the lamp's own colour, whose kind nobody has told."""
    scene = Scene(seed=1).lay(PLATE, BROWN, texture=0.2).lay(CARD, GREY)
    for row in range(3):
        for column in range(4):
            scene.lay(box(300 + 60 * column, 190 + 80 * row, 318 + 60 * column, 208 + 80 * row), (72, 3, 6))
    photo = scene.photo()
    calibration = calibrate(photo, find_card(photo, corners=CARD))
    unknown, finish = (read_finish(photo, calibration, INNER, spots) for spots in ("unknown", "finish"))
    wide, narrow = (float(np.trace(one.quarters_covariance)) for one in (unknown, finish))
    assert any(term.name == Source.PALE_SPOTS for term in unknown.budget), "the scene shows what it is for"
    assert wide > 2 * narrow


def test_the_mottle_is_told_by_its_size_and_spread_or_called_even():
    said = mottle_in_words(texture(2.3, 1.1))
    assert "24 pixels" in said and "1/16 of the mark" in said
    assert "L* varies by 2.3, a* and b* by 1.1" in said
    assert "even" in mottle_in_words(texture(0.2, 0.1))


def test_levelling_says_by_what_how_uneven_it_was_and_what_it_did():
    """Log light rises by 0.6 over 800 pixels: from the card's middle to the mark's it is e^(0.6 × 290 / 800)."""
    photo = bench(0.6)
    field = LightField.from_flat_field(flat(0.6), find_card(photo, corners=CARD), photo)
    before, after = read(photo), read(photo, field)
    said = levelled_in_words(field, before, after)
    percent = 100 * (np.exp(0.6 * (INNER.mean(axis=0)[0] - CARD.mean(axis=0)[0]) / 800) - 1)
    told = int(said.split("it is ")[1].split(" %")[0])
    assert told == pytest.approx(percent, abs=2) and "stronger than on the card" in said
    assert said.startswith("Uneven light corrected by the sheet of paper") and " became ±" in said
    assert "±" not in levelled_in_words(field, None, after)


def test_frames_say_how_much_glare_they_took_out():
    before, after = reading(left_out_share=0.31), replace(reading(left_out_share=0.02), covariance=np.eye(3) / 4)
    said = glare_in_words(3, before, after)
    assert "3 photographs: 31 % of the mark was glare in the first, 2 % is left out now; ±" in said
    assert "all of the mark was glare" in glare_in_words(2, None, after)
    assert "stays" in glare_in_words(3, before, before)


def test_a_flat_field_by_another_camera_is_refused():
    here, other = CameraInfo("Invented", "One", "50 mm"), CameraInfo("Invented", "Two", "50 mm")
    photo = replace(bench(), camera=here)
    card = find_card(photo, corners=CARD)
    with pytest.raises(CardError, match="another camera or lens"):
        LightField.from_flat_field(replace(flat(0.0), camera=other), card, photo)
    for same in (here, None, CameraInfo("Invented", "One")):
        assert LightField.from_flat_field(replace(flat(0.0), camera=same), card, photo).found_by == "flat field"


def test_of_several_frames_those_that_do_not_fit_are_named():
    photos = [bench(seed=1), bench(seed=1, gradient=0.2), bench(seed=9, plate=(60.0, -20.0, 10.0))]
    photos.append(replace(photos[1], encoding="linear"))
    calibrations = [calibrate(photo, find_card(photo, corners=CARD)) for photo in photos]
    unfit = unfit_exposures(photos, calibrations, INNER)
    assert set(unfit) == {2, 3}
    assert unfit[2].startswith("Photograph 3 ") and unfit[3].startswith("Photograph 4 is linear")
