"""Card definitions, finding and reading, on small invented scenes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.calibration.calibrate import calibrate
from matcher.card.card import load_cards
from matcher.card.detect import find_card, neutral_patch
from matcher.errors import CardError, MatcherError
from matcher.photo.photo import open_photo
from tests.example_counts import draws, examples
from tests.scenes import BROWN, GREY, Scene, box, draw_card, draw_carrier, linear_of, on_sheet, png, turned

CARDS = load_cards()


def scene_with_card(seed=1, degrees=8, **kwargs):
    corners = turned(box(80, 200, 260, 340), degrees)
    scene = Scene(seed=seed, **kwargs).lay(turned(box(380, 150, 680, 450), -5), BROWN, texture=0.2).lay(corners, GREY)
    return scene, corners


def same_place(found, true, within):
    """Whether two quadrilaterals have the same corners, whichever comes first."""
    return min(np.abs(np.roll(found, k, axis=0) - true).max() for k in range(4)) < within


def test_the_shipped_cards_are_complete():
    assert set(CARDS) == {"grey card", "grey scale", "24-patch chart", "carrier sheet"}
    assert all(card.source and len(card.patches) >= 1 for card in CARDS.values())
    assert len(CARDS["24-patch chart"].patches) == 24


def test_the_charts_values_are_the_published_ones():
    """Source: colour-science 0.4.7, CCS_COLOURCHECKERS, charts after November 2014, D50."""
    import colour

    published = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    for patch, (name, xyy) in zip(CARDS["24-patch chart"].patches, published.data.items(), strict=True):
        expected = colour.XYZ_to_Lab(colour.xyY_to_XYZ(xyy), published.illuminant)
        assert patch.name == name
        assert patch.lab == pytest.approx(expected, abs=0.006)


def test_the_nominal_grey_is_cie_15s():
    """Source: CIE 15, L* = 116 · 0.18^(1/3) − 16."""
    assert CARDS["grey card"].patches[0].lab == pytest.approx([116 * 0.18 ** (1 / 3) - 16, 0, 0], abs=0.005)


@pytest.mark.parametrize("degrees", [0, 8, -25, 40])
@pytest.mark.parametrize("exposure", [0.6, 1.0, 1.5])
def test_a_plain_grey_card_is_found_by_its_shape(degrees, exposure):
    scene, corners = scene_with_card(degrees=degrees)
    card = find_card(scene.photo(exposure=exposure, cast=(1.05, 1, 0.92)))
    assert card.found_by == "shape"
    assert same_place(card.corners, corners, within=6)


def test_no_wrong_place_is_ever_taken_for_the_card():
    """Over 60 scenes (30 in `ci`) under daylight and warm light the card is found or its corners are asked for."""
    rng = np.random.default_rng(4)
    found, scenes = 0, draws(60, ci=30)
    for seed in range(scenes):
        scene, corners = scene_with_card(seed, rng.uniform(-40, 40), lab=(rng.uniform(25, 80), 4, rng.uniform(0, 25)))
        cast = (1.2, 1.0, 0.75) if seed % 3 == 0 else np.exp(rng.normal(0, 0.06, 3))
        try:
            card = find_card(
                scene.photo(exposure=np.exp(rng.normal(0, 0.35)), cast=cast, gradient=rng.uniform(-0.4, 0.4))
            )
        except CardError as error:
            assert "mark its four corners" in str(error)
            continue
        found += 1
        assert np.linalg.norm(card.corners.mean(axis=0) - corners.mean(axis=0)) < 15
    assert found >= 0.8 * scenes


def test_a_photo_without_a_card_asks_for_its_corners():
    scene = Scene().lay(box(300, 150, 600, 450), BROWN, texture=0.2)
    with pytest.raises(CardError, match="mark its four corners"):
        find_card(scene.photo())


def test_two_cards_alike_are_never_chosen_between():
    scene = Scene().lay(box(80, 200, 260, 340), GREY).lay(box(480, 200, 660, 340), GREY)
    with pytest.raises(CardError, match="four corners"):
        find_card(scene.photo())


@pytest.mark.parametrize("degrees", [0, 30, 100, 185, 300])
def test_a_carrier_sheet_is_found_at_any_angle(degrees):
    sheet = turned(box(200, 130, 560, 130 + 360 * 110 / 160), degrees, stretch=0.8)
    scene = Scene(lab=(45, 4, 10)).lay_picture(sheet, draw_carrier(CARDS["carrier sheet"]))
    card = find_card(scene.photo(cast=(1.3, 1.0, 0.6)), "grey card")
    assert card.found_by == "markers"
    assert np.abs(card.corners - sheet).max() < 3
    assert card.patches[0].rgb / card.patches[0].rgb[1] == pytest.approx([1.3, 1.0, 0.6], rel=0.02)


def test_a_carrier_sheet_with_one_marker_covered_is_still_found():
    sheet = box(150, 120, 550, 395)
    scene = Scene(lab=(45, 4, 10)).lay_picture(sheet, draw_carrier(CARDS["carrier sheet"]))
    scene.lay(box(140, 110, 240, 210), BROWN)
    card = find_card(scene.photo())
    assert card.found_by == "markers"
    assert np.abs(card.corners - sheet).max() < 4


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_a_chart_is_found_and_read_the_right_way_up(turn):
    chart = draw_card(CARDS["24-patch chart"], 240)
    place = turned(box(200, 130, 590, 390), 90 * turn + 15, stretch=0.9)
    scene = Scene(lab=(70, 2, 8)).lay_picture(place, chart)
    card = find_card(scene.photo(), "24-patch chart")
    assert card.found_by == "chart"
    assert np.abs(card.corners - place).max() < 6
    for item in card.patches:
        assert item.rgb == pytest.approx(linear_of(item.patch.lab).clip(0, 1), abs=0.02), item.patch.name


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_a_grey_scale_marked_by_hand_is_read_the_right_way_round(turn):
    place = np.roll(box(200, 200, 560, 320), 0, axis=0)
    lie = np.roll(place, 2 * (turn % 2), axis=0)
    scene = Scene(lab=(62, 4, 14)).lay_picture(lie, draw_card(CARDS["grey scale"]))
    card = find_card(scene.photo(exposure=0.9), "grey scale", corners=np.roll(place, turn, axis=0))
    lightness = [item.rgb.mean() for item in card.patches]
    assert lightness == sorted(lightness, reverse=True)
    assert lightness[1] == pytest.approx(0.9 * 0.18, rel=0.05)


def test_something_else_marked_as_a_chart_is_refused():
    scene = Scene().lay(box(200, 150, 500, 350), BROWN, texture=0.3)
    with pytest.raises(CardError, match="does not look like a 24-patch"):
        find_card(scene.photo(), "24-patch chart", corners=box(200, 150, 500, 350))


def test_corners_may_come_in_any_order():
    scene, corners = scene_with_card()
    photo = scene.photo()
    readings = [find_card(photo, corners=corners[list(order)]) for order in ((0, 1, 2, 3), (2, 0, 3, 1), (3, 2, 1, 0))]
    for reading in readings[1:]:
        assert reading.patches[0].rgb == pytest.approx(readings[0].patches[0].rgb)


@examples(60)
@given(st.lists(st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)), min_size=0, max_size=6))
def test_any_corners_give_a_reading_or_one_of_our_own_errors(corners):
    photo = open_photo(png(np.full((40, 60, 3), 118, np.uint8)))
    try:
        card = find_card(photo, corners=corners)
    except MatcherError as error:
        assert len(str(error)) > 20
    else:
        assert card.patches[0].rgb == pytest.approx([0.181] * 3, abs=0.01)


@pytest.mark.parametrize(
    "corners", ["here", [[1, 2]], [[np.nan] * 2] * 4, [[10, 10]] * 4, [[0, 0], [9, 9], [5, 5], [7, 7]]]
)
def test_corners_that_are_no_card_say_what_to_do(corners):
    with pytest.raises(CardError, match=r"Give the card's four corners|Mark the card's four corners"):
        find_card(scene_with_card()[0].photo(), corners=corners)


def test_an_unknown_kind_names_the_known_ones():
    with pytest.raises(CardError, match="24-patch chart"):
        find_card(scene_with_card()[0].photo(), "postcard")


def test_the_cards_own_values_replace_the_nominal_ones():
    scene, corners = scene_with_card()
    photo = scene.photo(noise=0)
    card = find_card(photo, corners=corners, lab=[52.0, -0.5, 1.0])
    assert calibrate(photo, card).lab(card.patches[0].rgb) == pytest.approx([52.0, -0.5, 1.0], abs=0.05)
    assert "measured by the studio" in card.card.source
    with pytest.raises(CardError, match="each of the 24 patches"):
        find_card(photo, "24-patch chart", corners=corners, lab=[50, 0, 0])
    with pytest.raises(MatcherError, match="Give"):
        find_card(photo, corners=corners, lab=[50, 0, np.nan])


def codes(card):
    return [caveat.code for caveat in card.caveats]


def test_doubtful_cards_are_named():
    scene, corners = scene_with_card()
    assert codes(find_card(scene.photo(), corners=corners)) == []
    assert codes(find_card(scene.photo(exposure=0.05), corners=corners)) == ["card-dark"]
    assert codes(find_card(scene.photo(gradient=1.2), corners=corners)) == ["card-uneven"]
    assert codes(find_card(scene_with_card()[0].blurred(9).photo(), corners=corners)) == ["blur"]
    glare = scene_with_card()[0].lay(on_sheet(corners, box(0.1, 0.1, 0.3, 0.35)), (100, 0, 0))
    assert "card-clipped" in codes(find_card(glare.photo(exposure=1.1), corners=corners))


def test_a_card_that_is_all_white_is_refused():
    scene, corners = scene_with_card()
    with pytest.raises(CardError, match="overexposed"):
        find_card(scene.photo(exposure=8), corners=corners)


def test_something_neutral_serves_with_less_certainty():
    scene, corners = scene_with_card()
    photo = scene.photo(exposure=0.8, cast=(1.2, 1, 0.8))
    spot = neutral_patch(photo, on_sheet(corners, box(0.2, 0.2, 0.8, 0.8)))
    assert "no-card" in codes(spot)
    lab = calibrate(photo, spot).lab(spot.patches[0].rgb)
    assert np.abs(lab[1:]).max() < 0.3
    with pytest.raises(CardError, match="at least three points"):
        neutral_patch(photo, [[1, 2]])


def test_a_broken_definition_names_its_file(tmp_path):
    (tmp_path / "odd.toml").write_text('name = "odd"', encoding="utf-8")
    with pytest.raises(CardError, match=r"odd\.toml"):
        load_cards(tmp_path)
