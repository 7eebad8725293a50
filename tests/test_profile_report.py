"""What a profile says of itself: patch by patch, in plain words, and the light as the file shows it."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from matcher.calibration.profile import CameraProfile
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.calibration.profile_report import (
    VERDICTS,
    camera_in_words,
    how_good_in_words,
    patch_pairs,
    temperature_in_words,
)
from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.photo.photo import open_photo
from matcher.shipped import shipped
from matcher.typed_in.words import profile_lines

CHART = load_cards()["24-patch chart"]


@pytest.fixture(scope="module")
def profile() -> CameraProfile:
    """Of the demo's chart in daylight (invented)."""
    photo = open_photo(shipped("demo_images") / "chart_daylight.jpg")
    return profile_from_chart(photo, find_card(photo, kind="24-patch chart"), "bench", "window")


def test_every_patch_is_shown_beside_what_was_read_of_it(profile: CameraProfile) -> None:
    pairs = patch_pairs(profile, CHART)
    assert [pair.name for pair in pairs] == [patch.name for patch in CHART.patches]
    for pair, patch, delta in zip(pairs, CHART.patches, profile.leave_one_out, strict=True):
        assert pair.published == pytest.approx(patch.lab)
        assert pair.delta_e00 == pytest.approx(delta)
        assert pair.read is not None


def test_a_patch_that_was_left_out_keeps_its_place_and_has_no_figure(profile: CameraProfile) -> None:
    keep = [k for k in range(24) if k != 7]
    less = replace(profile, patch_labs=profile.patch_labs[keep], patch_errors=profile.patch_errors[keep])
    pairs = patch_pairs(less, CHART)
    assert [k for k, pair in enumerate(pairs) if pair.read is None] == [7]
    assert pairs[8].delta_e00 == pytest.approx(float(less.leave_one_out[7]))


def test_a_chart_measured_by_the_studio_is_still_matched_patch_by_patch(profile: CameraProfile) -> None:
    moved = profile.patch_labs + np.random.default_rng(5).normal(0, 0.7, profile.patch_labs.shape)
    pairs = patch_pairs(replace(profile, patch_labs=moved), CHART)
    assert np.array([pair.published for pair in pairs]) == pytest.approx(moved)


def test_a_balanced_file_shows_a_colour_temperature_that_is_not_called_the_lights_own(profile: CameraProfile) -> None:
    seen: Any = replace(profile, colour_temperature_k=5234.0)
    assert temperature_in_words(seen) == "about 5200 K as the file shows it"
    for encoding in ("linear", "camera raw"):
        assert temperature_in_words(replace(seen, encoding=encoding)) == "about 5200 K"
    assert temperature_in_words(replace(seen, colour_temperature_k=None)) == ""
    assert "about 5200 K as the file shows it" in profile_lines(seen)[0], "the command line says the same"


@pytest.mark.parametrize(("size", "word"), [(0.5, "very good"), (2.5, "good"), (4.0, "fair"), (5.5, "poor")])
def test_how_good_a_profile_is_follows_its_error(profile: CameraProfile, size: float, word: str) -> None:
    error = np.array([[size, 0.0, 0.0]] * 24)
    greys = np.array([[50.0 - size / 2, 0.0, 0.0]] * 24)  # about 50 a step of L* is one of ΔE00
    said = how_good_in_words(replace(profile, patch_labs=greys, patch_errors=error))
    assert f"That is {word}" in said
    assert f"ΔE00 {size:.1f} off" in said
    assert [row[0] for row in VERDICTS] == sorted(row[0] for row in VERDICTS)


def test_a_profile_is_called_one_thing_only_where_its_patches_leave_no_other_open(profile: CameraProfile) -> None:
    """Half of the patches are off by 1.9 and half by 3.9: the mean, 2.9, is good, and its interval reaches fair."""
    sizes = np.tile([1.9, 3.9], 12)
    greys, error = np.zeros((24, 3)), np.zeros((24, 3))
    greys[:, 0], error[:, 0] = 50.0 - sizes / 2, sizes
    said = how_good_in_words(replace(profile, patch_labs=greys, patch_errors=error))
    assert "on average ΔE00 2.9 off (2.5 to 3.3 with 95 %)" in said
    assert "can't tell whether that is good or fair" in said and "That is" not in said
    few = replace(profile, patch_labs=greys[:1], patch_errors=error[:1])
    assert "can't tell whether that is very good, good, fair or poor" in how_good_in_words(few)


def test_the_share_that_is_stated_is_that_of_the_patches_shown(profile: CameraProfile) -> None:
    said = how_good_in_words(profile)
    found = re.search(r"(\d+) of the (\d+) within (\d+\.\d), the worst (\d+\.\d) off", said)
    assert found is not None
    shown = [round(pair.delta_e00, 1) for pair in patch_pairs(profile, CHART) if pair.delta_e00 is not None]
    within = sum(delta <= float(found[3]) for delta in shown)
    assert (within, len(shown)) == (int(found[1]), int(found[2])) and within >= 0.95 * len(shown)
    assert max(shown) == float(found[4])
    assert profile.as_dict()["leave_one_out_delta_e00"]["p95"] == profile.p95


def test_a_camera_says_its_make_once(profile: CameraProfile) -> None:
    assert camera_in_words(profile) == "Invented camera"
    assert camera_in_words(replace(profile, camera=None)) == ""
