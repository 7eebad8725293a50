"""The renderer: what it draws is what its truth says, and each of its parameters does what it says. All invented,
but for the published sensitivities, illuminants and chart spectra that stand beside the checks."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from matcher.calibration.calibrate import calibrate
from matcher.card.detect import find_card
from matcher.colour.cielab import XYZ_D50_TO_SRGB, xyz_to_lab
from matcher.colour.difference import delta_e_2000
from matcher.errors import MatcherError, RecipeError
from matcher.photo.photo import open_photo
from matcher.reading.finish import read_finish
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from tests.example_counts import examples
from tests.rendering.process import spectrum_lab, true_lab
from tests.rendering.render import Picture, render_scene
from tests.rendering.scene import Scene, SceneCard, SceneLight, ScenePlate, SceneView
from tests.rendering.sensor import (
    CAMERAS,
    LIGHTS,
    Exif,
    balance_gains,
    chart_reflectances,
    daylight_matrix,
    sensor_weights,
    srgb_profile,
)

BROWN = Recipe(
    "silicon bronze", Undercoat("liver of sulphur", 0.5, 0.35), (Coat("ferric nitrate", 0.5, 6, 105.0),), Seal("wax", 3)
)
SMALL = Scene(plates=(ScenePlate(BROWN, label="1"),), size=(320, 240))
PLAIN_LIGHT = SceneLight(gradient=0.0)
NOTHING_ADDED = {"sheen": 0.0, "vignette": 0.0, "sharpening": 0.0, "light": PLAIN_LIGHT, "edge_blur": 0.0}


def rendered(scene: Scene, seed: int = 1) -> Picture:
    return render_scene(scene, np.random.default_rng(seed))


def within(image: np.ndarray, polygon: list[list[float]]) -> np.ndarray:
    mask = np.zeros(image.shape[:2], dtype=np.uint8)
    cv2.fillPoly(mask, [np.rint(np.array(polygon)).astype(np.int32)], 1)
    return image[mask > 0]


def test_the_same_generator_gives_the_same_picture_to_the_byte() -> None:
    first, second = rendered(SMALL), rendered(SMALL)
    assert first.jpeg(exif=Exif()) == second.jpeg(exif=Exif())
    assert first.truth == second.truth
    assert rendered(SMALL, seed=2).jpeg() != first.jpeg()


def test_raw_values_are_linear_in_reflectance_and_exposure() -> None:
    """A plate of 36 % beside a card of 18 %, then at half the exposure: nothing but factors of two."""

    def levels(exposure: float) -> tuple[np.ndarray, np.ndarray]:
        even = np.full(36, 0.36)
        scene = Scene(plates=(ScenePlate(even),), size=(640, 480), exposure=exposure, noise=0.0, **NOTHING_ADDED)
        picture = rendered(scene)
        plate = within(picture.raw, picture.truth["finishes"][0]["polygon"]).mean(axis=0)
        return plate, within(picture.raw, picture.truth["cards"][0]["patches"][0]["polygon"]).mean(axis=0)

    plate, card = levels(1.0)
    np.testing.assert_allclose(plate / card, 2.0, rtol=0.02)
    np.testing.assert_allclose(levels(0.5)[0] / plate, 0.5, rtol=0.01)


def test_the_card_stands_where_its_reflectance_puts_it_on_the_tone_scale() -> None:
    """IEC 61966-2-1: linear 0.18 is code value 117.6 of 255."""
    picture = rendered(replace(SMALL, noise=0.0, **NOTHING_ADDED))
    grey = within(picture.pixels, picture.truth["cards"][0]["patches"][0]["polygon"]).mean(axis=0)
    np.testing.assert_allclose(grey, 117.6, atol=2.5)


def test_the_truth_is_the_mean_of_what_the_recipe_reflects() -> None:
    for seed in range(3):
        picture = rendered(replace(SMALL, size=(640, 480)), seed)
        assert delta_e_2000(np.array(picture.truth["finishes"][0]["lab"]), true_lab(BROWN)) < 1.2


@pytest.mark.parametrize("kind", ["grey card", "grey scale", "24-patch chart", "carrier sheet"])
def test_every_patch_lies_within_its_card_and_shows_its_own_grey(kind: str) -> None:
    scene = Scene(cards=(SceneCard(kind, at_mm=(0.0, 0.0), turn_deg=7.0),), size=(640, 480), noise=0.0, **NOTHING_ADDED)
    picture = rendered(scene)
    card = picture.truth["cards"][0]
    outline = np.array(card["corners"], dtype=np.float32)
    to_xyz = np.linalg.inv(XYZ_D50_TO_SRGB).T
    for patch in card["patches"]:
        for x, y in patch["polygon"]:
            assert cv2.pointPolygonTest(outline, (float(x), float(y)), False) >= 0
        seen = within(picture.linear, patch["polygon"]).astype(float)
        if abs(patch["lab"][1]) + abs(patch["lab"][2]) < 3 and patch["lab"][0] < 94:
            assert seen.std(axis=0).max() < 0.03 * seen.mean(), "one patch, one colour"
            assert abs(xyz_to_lab(seen.mean(axis=0) @ to_xyz)[0] - patch["lab"][0]) < 1.5


@pytest.mark.parametrize("kind", ["24-patch chart", "carrier sheet"])
def test_the_matcher_finds_the_card_where_the_truth_says(kind: str) -> None:
    scene = Scene(cards=(SceneCard(kind, at_mm=(0.0, 0.0), turn_deg=12.0),), size=(1000, 750))
    picture = rendered(scene)
    found = find_card(open_photo(picture.jpeg()), kind)
    np.testing.assert_allclose(found.corners, picture.truth["cards"][0]["corners"], atol=4.0)


def test_a_published_chart_in_daylight_reads_within_1_5_by_its_grey_card_alone() -> None:
    """BabelColor Average spectra under CIE D50 through the Nikon 5100 (NPL) sensitivities: colour-science."""
    chart, card = SceneCard("24-patch chart", at_mm=(-45.0, 0.0)), SceneCard(at_mm=(92.0, 0.0))
    scene = Scene(
        cards=(chart, card), light=SceneLight("D50", gradient=0.0), view=SceneView(width_mm=330.0), exposure=0.95,
        size=(1200, 900), vignette=0.0,
    )  # fmt: skip
    picture = rendered(scene)
    photo = open_photo(picture.jpeg(quality=95))
    patches, grey = picture.truth["cards"]
    calibration = calibrate(photo, find_card(photo, "grey card", corners=grey["corners"]))
    errors = [
        delta_e_2000(read_finish(photo, calibration, patch["polygon"]).lab, np.array(patch["lab"]))
        for patch in patches["patches"]
    ]
    assert len(errors) == 24
    assert np.mean(errors) <= 1.5


def test_each_camera_and_light_sees_greys_as_grey_after_an_honest_balance() -> None:
    for camera in CAMERAS:
        for light in LIGHTS:
            white = sensor_weights(camera, light).sum(axis=0) * balance_gains(camera, light, 1.0)
            np.testing.assert_allclose(white, 1.0, rtol=1e-9)
        np.testing.assert_allclose(daylight_matrix(camera).sum(axis=1), 1.0, rtol=1e-9)


def test_what_a_grey_card_costs_in_each_light_is_as_measured_from_published_tables() -> None:
    """Chart spectra through the better camera's daylight matrix: good in daylight, poor under tubes."""
    names, chart = chart_reflectances()
    truth = spectrum_lab(chart)
    assert len(names) == 24

    def error(light: str) -> float:
        weights = sensor_weights("A", light) * balance_gains("A", light, 1.0)
        linear = chart @ weights @ daylight_matrix("A").T
        lab = xyz_to_lab(linear @ np.linalg.inv(XYZ_D50_TO_SRGB).T)
        return float(np.mean([delta_e_2000(one, other) for one, other in zip(lab, truth, strict=True)]))

    assert error("D50") < 1.5
    assert error("FL2") > 2 * error("D50") and error("A") > 1.5 * error("D50")


def test_warm_lamps_leave_their_cast_where_the_camera_balances_badly() -> None:
    def cast(honesty: float) -> float:
        scene = replace(SMALL, light=SceneLight("A"), white_balance=honesty)
        picture = rendered(scene)
        red, _, blue = within(picture.linear, picture.truth["cards"][0]["patches"][0]["polygon"]).mean(axis=0)
        return float(red / blue)

    assert cast(1.0) == pytest.approx(1.0, abs=0.05)
    assert cast(0.7) > 1.15


@pytest.mark.parametrize("share", [0.05, 0.2])
def test_glare_clips_the_share_of_the_face_that_was_asked_for(share: float) -> None:
    scene = replace(SMALL, size=(640, 480), glare_share=share, noise=0.0)
    picture = rendered(scene)
    (finish,) = picture.truth["finishes"]
    without = rendered(replace(scene, glare_share=0.0))
    assert finish["lab"] == without.truth["finishes"][0]["lab"], "glare is light, not finish"
    plate = within(picture.linear, finish["polygon"])
    assert within(without.linear, finish["polygon"]).min(axis=1).max() < 0.9
    # the region is the inner part of the face, where most of the glare lies
    assert share <= (plate.min(axis=1) > 0.97).mean() < 2.2 * share


def test_noise_grows_as_asked_and_leaves_the_mean() -> None:
    def spread(noise: float) -> tuple[float, float]:
        picture = rendered(replace(SMALL, noise=noise, sharpening=0.0))
        grey = within(picture.linear, picture.truth["cards"][0]["patches"][0]["polygon"])
        return float(grey.std()), float(grey.mean())

    (quiet, level), (loud, noisy_level) = spread(0.5), spread(4.0)
    assert loud > 3 * quiet
    assert noisy_level == pytest.approx(level, rel=0.02)


def test_a_tone_curve_bends_the_picture_and_not_the_linear_light() -> None:
    straight, bent = rendered(SMALL), rendered(replace(SMALL, tone_curve=1.0))
    np.testing.assert_array_equal(straight.linear, bent.linear)
    assert (straight.pixels != bent.pixels).mean() > 0.5


def test_a_gradient_lights_one_side_more() -> None:
    wide = SceneCard(at_mm=(0.0, 0.0), size_mm=(180.0, 120.0))
    light = SceneLight(from_deg=180.0, gradient=0.3)
    scene = Scene(cards=(wide,), light=light, size=(320, 240), noise=0.0, vignette=0.0)
    left, right = (rendered(scene).linear[120, x].mean() for x in (90, 230))
    assert left > 1.1 * right


def test_a_casting_is_the_same_plate_in_every_picture() -> None:
    """Its pattern of high points agrees between a large and a small picture of it, and not with another casting's."""

    def pattern(casting: int, size: tuple[int, int]) -> np.ndarray:
        plate = ScenePlate(BROWN, casting=casting, at_mm=(0.0, 0.0))
        scene = Scene(plates=(plate,), cards=(), size=size, view=SceneView(width_mm=160.0, tilt_deg=0.0), noise=0.0)
        picture = rendered(scene, seed=casting + size[0])
        corners = np.array(picture.truth["finishes"][0]["polygon"], dtype=np.float32)
        square = np.array([[0, 0], [48, 0], [48, 48], [0, 48]], dtype=np.float32)
        matrix = cv2.getPerspectiveTransform(corners, square)
        blurred = cv2.GaussianBlur(picture.linear, (0, 0), size[0] / 200)
        return cv2.warpPerspective(blurred, matrix, (48, 48)).mean(axis=2).ravel()

    large, small, other = pattern(5, (1000, 750)), pattern(5, (500, 375)), pattern(6, (500, 375))
    assert np.corrcoef(large, small)[0, 1] > 0.9
    assert abs(np.corrcoef(large, other)[0, 1]) < 0.4


@examples(40)
@given(
    size=st.tuples(st.integers(48, 400), st.integers(48, 300)),
    view=st.builds(
        SceneView,
        width_mm=st.floats(150, 600),
        tilt_deg=st.floats(0, 55),
        turn_deg=st.floats(-180, 180),
        centre_mm=st.tuples(st.floats(-40, 40), st.floats(-40, 40)),
    ),
    bench=st.sampled_from(["wood", "steel", "cloth", "blue cloth"]),
    kind=st.sampled_from(["grey card", "grey scale", "24-patch chart", "carrier sheet"]),
    light=st.sampled_from(LIGHTS),
    camera=st.sampled_from(list(CAMERAS)),
    application=st.sampled_from(["fine mist", "drops", "streams", "stippled brush"]),
    seed=st.integers(0, 1000),
)
def test_any_scene_renders_and_its_truth_is_a_colour(
    size: tuple[int, int], view: SceneView, bench: str, kind: str, light: str, camera: str, application: str, seed: int
) -> None:
    recipe = replace(BROWN, coats=(replace(BROWN.coats[0], application=application),))
    scene = Scene(
        plates=(ScenePlate(recipe),), cards=(SceneCard(kind),), view=view, bench=bench, camera=camera, size=size,
        light=SceneLight(light), props=("brush", "pencil", "tin"),
    )  # fmt: skip
    picture = rendered(scene, seed)
    assert picture.pixels.shape == (size[1], size[0], 3)
    assert np.isfinite(picture.raw).all() and picture.linear.min() >= 0 and picture.linear.max() <= 1
    for finish in picture.truth["finishes"]:
        assert finish["lab"] is None or 5 < finish["lab"][0] < 90


def test_a_plate_out_of_the_picture_has_no_colour_in_its_truth() -> None:
    picture = rendered(replace(SMALL, view=SceneView(centre_mm=(600.0, 0.0))))
    (finish,) = picture.truth["finishes"]
    assert finish["lab"] is None and finish["lights"] is None


def test_the_file_says_that_its_camera_is_invented() -> None:
    image = Image.open(BytesIO(rendered(SMALL).jpeg(exif=Exif(), embed_profile=True)))
    assert image.getexif()[0x010F] == "Invented"
    assert image.getexif().get_ifd(0x8769)[0x9003] == "2024:05:14 10:30:00"
    assert image.info["icc_profile"] == srgb_profile()


@pytest.mark.parametrize(
    "scene",
    [
        replace(SMALL, bench="marble"),
        replace(SMALL, camera="C"),
        replace(SMALL, light=SceneLight("moonlight")),
        replace(SMALL, cards=(SceneCard("playing card"),)),
        replace(SMALL, props=("anvil",)),
    ],
)
def test_what_cannot_be_drawn_is_said_in_one_sentence(scene: Scene) -> None:
    with pytest.raises(MatcherError, match="Choose"):
        rendered(scene)


def test_a_recipe_outside_the_process_cannot_be_drawn() -> None:
    with pytest.raises(RecipeError, match="those of the invented process"):
        rendered(Scene(plates=(ScenePlate(Recipe("gilding metal")),), size=(64, 48)))
