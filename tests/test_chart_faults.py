"""Charts that are no good, each noticed and said: covered, turned, mirrored, doubled, of another kind.

Invented scenes of the shipped 24-patch chart.
"""

from dataclasses import replace

import numpy as np
import pytest

from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.errors import CardError
from matcher.photo.photo import open_photo
from tests.scenes import Scene, box, draw_card, png, turned

CHART = load_cards()["24-patch chart"]
PLACE = box(200, 130, 590, 390)


def picture(*covered):
    """A photo of the chart with the numbered patches covered by something brown."""
    scene = Scene(lab=(70, 2, 8)).lay_picture(PLACE, draw_card(CHART, 240))
    for row, column in (divmod(number, 6) for number in covered):
        scene.lay(box(200 + 65 * column, 130 + 65 * row, 265 + 65 * column, 195 + 65 * row), (55, 20, 25))
    return scene.photo()


def warned(profile, code):
    return [caveat.message for caveat in profile.caveats if caveat.code == code]


@pytest.mark.parametrize("covered", [(0,), (3, 4), (12, 13, 14)])
@pytest.mark.parametrize("corners", [None, PLACE])
def test_covered_patches_are_named_and_left_out(covered, corners):
    photo = picture(*covered)
    profile = profile_from_chart(photo, find_card(photo, CHART.name, corners=corners), "bench")
    (message,) = warned(profile, "chart-odd-patches")
    assert message.rstrip(".").split(": ")[1].split(", ") == [CHART.patches[k].name for k in covered]
    assert len(profile.patch_labs) < 24
    assert profile.leave_one_out.mean() < 1.0


@pytest.mark.parametrize("covered", [(0, 6, 12, 18), (18, 19, 20, 21, 22, 23), tuple(range(0, 24, 3))])
def test_a_chart_with_too_much_covered_is_refused(covered):
    photo = picture(*covered)
    for corners, words in ((None, "four corners"), (PLACE, "does not look like|does not fit")):
        with pytest.raises(CardError, match=words):
            profile_from_chart(photo, find_card(photo, CHART.name, corners=corners), "bench")


@pytest.mark.parametrize("lab", [(60, 45, 50), (35, 35, 5), (75, -2, 70), (45, 25, -20), (50, 0, 0), (65, 15, 18)])
def test_patches_that_something_of_any_colour_covers_in_part_are_named(lab):
    """Four patches around the chart's middle: alike enough, they would pass for the camera's own way of seeing."""
    scene = Scene(lab=(70, 2, 8)).lay_picture(PLACE, draw_card(CHART, 240)).lay(box(336, 221, 454, 299), lab)
    profile = profile_from_chart(scene.photo(), find_card(scene.photo(), CHART.name, corners=PLACE), "bench")
    (message,) = warned(profile, "chart-odd-patches")
    assert message.rstrip(".").split(": ")[1].split(", ") == [CHART.patches[k].name for k in (8, 9, 14, 15)]
    assert profile.leave_one_out.mean() < 1.0


def test_a_profile_that_reads_its_own_chart_poorly_says_so():
    """Invented: each patch off by a draw, as on a faded chart."""
    photo = picture()
    chart, rng = find_card(photo, CHART.name), np.random.default_rng(3)
    faded = [replace(item, rgb=item.rgb * np.exp(rng.normal(0, 0.12, 3))) for item in chart.patches]
    poor = profile_from_chart(photo, replace(chart, patches=tuple(faded)), "faded")
    (message,) = warned(poor, "chart-poor")
    assert poor.leave_one_out.mean() > 4.5 and "photograph the chart again" in message
    assert not warned(profile_from_chart(photo, chart, "bench"), "chart-poor")


def test_a_chart_with_red_and_blue_swapped_is_refused():
    codes = Scene(lab=(70, 2, 8)).lay_picture(PLACE, draw_card(CHART, 240)).codes()
    photo = open_photo(png(np.ascontiguousarray(codes[..., ::-1])))
    with pytest.raises(CardError, match="Red and blue are swapped"):
        profile_from_chart(photo, find_card(photo, CHART.name, corners=PLACE), "bench")


def test_a_clean_chart_has_no_odd_patch():
    photo = picture()
    profile = profile_from_chart(photo, find_card(photo, CHART.name), "bench")
    assert warned(profile, "chart-odd-patches") == []


def test_an_overexposed_patch_is_left_out_and_counted():
    photo = Scene(lab=(70, 2, 8)).lay_picture(PLACE, draw_card(CHART, 240)).photo(exposure=1.2)
    profile = profile_from_chart(photo, find_card(photo, CHART.name), "bench")
    assert warned(profile, "chart-clipped")
    assert len(profile.patch_labs) < 23


@pytest.mark.parametrize("exposure", [8.0, 0.0005])
def test_an_exposure_far_off_says_so(exposure):
    photo = Scene(lab=(70, 2, 8)).lay_picture(PLACE, draw_card(CHART, 240)).photo(exposure=exposure)
    with pytest.raises(CardError, match=r"exposure|does not look like|overexposed"):
        profile_from_chart(photo, find_card(photo, CHART.name, corners=PLACE), "bench")


@pytest.mark.parametrize("degrees", [180, 195, 90])
def test_a_chart_upside_down_simply_works(degrees):
    place = turned(PLACE, degrees)
    upright, over = (
        Scene(lab=(70, 2, 8)).lay_picture(corners, draw_card(CHART, 240)).photo() for corners in (PLACE, place)
    )
    for corners in (None, place):
        first, second = (find_card(upright, CHART.name), find_card(over, CHART.name, corners=corners))
        for one, other in zip(first.patches, second.patches, strict=True):
            assert one.rgb == pytest.approx(other.rgb, abs=0.02)
        assert profile_from_chart(over, second, "bench").leave_one_out.mean() < 1.0


@pytest.mark.parametrize("degrees", [0, 15, 180])
def test_a_mirrored_chart_is_refused_in_its_own_words(degrees):
    place = turned(PLACE, degrees)
    photo = Scene(lab=(70, 2, 8)).lay_picture(place, draw_card(CHART, 240)[:, ::-1]).photo()
    for corners in (None, place):
        with pytest.raises(CardError, match="mirrored"):
            find_card(photo, CHART.name, corners=corners)


@pytest.mark.parametrize(("degrees", "offset"), [(0, 0), (12, 0), (-30, 150)])
def test_two_charts_are_not_chosen_between(degrees, offset):
    first, second = box(60, 130, 500, 420), box(640, 130 + offset, 1080, 420 + offset)
    scene = Scene(1200, 700, lab=(70, 2, 8))
    for place in (first, turned(second, degrees)):
        scene.lay_picture(place, draw_card(CHART, 240))
    photo = scene.photo()
    with pytest.raises(CardError, match="more than one"):
        find_card(photo, CHART.name)
    assert np.abs(find_card(photo, CHART.name, corners=first).corners - first).max() < 1


@pytest.mark.parametrize("seed", range(4))
def test_a_chart_of_another_kind_is_refused(seed):
    rng = np.random.default_rng(seed)
    labs = np.column_stack([rng.uniform(15, 95, 24), rng.uniform(-45, 45, (24, 2))])
    photo = Scene(lab=(70, 2, 8)).lay_picture(PLACE, draw_card(CHART.with_lab(labs), 240)).photo()
    with pytest.raises(CardError, match="No 24-patch"):
        find_card(photo, CHART.name)
    with pytest.raises(CardError, match="does not look like a 24-patch"):
        find_card(photo, CHART.name, corners=PLACE)
