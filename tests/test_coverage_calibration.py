"""Every part of a calibration's uncertainty is what a cause of that size does: moved by hand, or by draws, both bounds.

Cards, colours and lights invented. CIELAB goes with the cube root of light (ISO/CIE 11664-4), so light that is stronger
by a small share s moves L*, a*, b* by s (L* + 16, a*, b*) / 3.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from matcher.calibration.calibrate import calibrate
from matcher.calibration.camera_priors import MATRIX_SIGMA, TONE_CHANNEL_SIGMA, TONE_SIGMA
from matcher.calibration.illumination import LOCAL_SIGMA, PLAIN_FALLOFF, LightField
from matcher.calibration.profile_fit import best_fit
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.card import Card, Patch
from matcher.card.reading import CardReading, PatchReading
from matcher.colour import local_error
from matcher.colour.cielab import lab_jacobian, lab_to_xyz, xyz_to_lab
from matcher.colour.local_error import LENGTH_SCALE, LocalError, scale_at
from matcher.colour.sources import Source
from matcher.errors import Caveat, Misfit
from matcher.photo.photo import open_photo
from tests.scenes import BROWN, box, png
from tests.simulation import Shop, chart_photo

PLACE = np.array([50.0, 50.0])
TOLERANCE = np.array([0.7, 0.35, 0.4])
GREYS = (30.0, 49.5, 70.0)


@pytest.fixture(scope="module")
def photo():
    return open_photo(png(np.full((100, 100, 3), 118, np.uint8)))


def card_of(photo, lightnesses=(49.5,), moved=(0.0, 0.0, 0.0), noise=0.0, blocks=None, own=None, gain=(0.9, 1.0, 1.2)):
    """A card as a picture with another exposure and balance shows it; its stated values are off by ``moved``."""
    patches = []
    for lightness in lightnesses:
        truth = np.array([lightness, 0.0, 0.0])
        rgb = np.linalg.solve(photo.rgb_to_xyz, lab_to_xyz(truth)) * gain
        patch = Patch(f"grey {lightness}", truth + moved, TOLERANCE, (0, 0, 1, 1))
        places, light = (PLACE[None], rgb[None]) if blocks is None else (blocks[0], rgb * blocks[1][:, None])
        covariance = np.diag(np.square(noise * rgb))
        patches.append(PatchReading(patch, rgb, covariance, (places, light), box(40, 40, 60, 60), 0.0))
    layout = "plain" if len(patches) == 1 else "steps"
    card = Card("invented", "invented card", layout, "invented", (1.0, 1.0), tuple(p.patch for p in patches), own=own)
    return CardReading(card, box(40, 40, 60, 60), 1.0, "corners", tuple(patches))


def light_of(calibration, lab=BROWN):
    return np.linalg.solve(calibration.rgb_to_xyz, lab_to_xyz(lab))


def parts_of(calibration, light, place=PLACE, covariance=None):
    covariance = np.diag(np.square(0.01 * light)) if covariance is None else covariance
    return {term.name: term for term in calibration.budget(light, covariance, np.asarray(place, float))}


def brighter(lab=BROWN):
    """How CIELAB moves per share of more light."""
    return (np.asarray(lab) + [16.0, 0, 0]) / 3


@pytest.mark.parametrize("lightnesses", [(49.5,), (40.0, 60.0), GREYS])
@pytest.mark.parametrize("axis", range(3))
def test_all_patches_of_a_card_err_alike_by_its_tolerance(photo, lightnesses, axis):
    """One maker, one lot: a card all of whose patches are off by one tolerance moves the reading by its part."""
    linear = replace(photo, encoding="linear")  # no tone curve is learned from the steps
    calibration = calibrate(linear, card_of(linear, lightnesses))
    light = light_of(calibration)
    off = np.zeros(3)
    off[axis] = TOLERANCE[axis]
    labs = [
        calibration.lab_of_light(
            light * calibrate(linear, card_of(linear, lightnesses, moved)).gains / calibration.gains
        )
        for moved in (off, -off)
    ]
    effect = parts_of(calibration, light)[Source.CARD_TOLERANCE].effect
    assert effect[:, axis] == pytest.approx((labs[0] - labs[1]) / 2, rel=0.03, abs=0.01)


@pytest.mark.parametrize("axis", range(3))
def test_a_card_errs_by_its_tolerance_with_a_profile_too(axis):
    rng = np.random.default_rng(3)
    picture, chart = chart_photo(Shop("A", "FL2"), rng)
    profile = profile_from_chart(picture, chart, "tubes")
    off = np.zeros(3)
    off[axis] = TOLERANCE[axis]
    ways = [
        calibrate(picture, card_of(picture, moved=moved, gain=profile.neutral), profile)
        for moved in (0 * off, off, -off)
    ]
    light = profile.grey_light * [0.25, 0.14, 0.06]
    labs = [ways[0].lab_of_light(light * way.gains / ways[0].gains) for way in ways[1:]]
    effect = parts_of(ways[0], light)[Source.CARD_TOLERANCE].effect
    assert effect[:, axis] == pytest.approx((labs[0] - labs[1]) / 2, rel=0.03, abs=0.01)


def test_the_noise_of_a_cards_patches_averages_out(photo):
    """Steps read to 2 % each: the gains are their weighted mean, with weights that add up to 1."""
    linear, rng = replace(photo, encoding="linear"), np.random.default_rng(4)
    card = card_of(linear, (40.0, 60.0), noise=0.02)
    calibration = calibrate(linear, card)
    light = light_of(calibration)
    labs = []
    for _ in range(400):
        shown = tuple(replace(item, rgb=item.rgb * np.exp(0.02 * rng.normal(size=3))) for item in card.patches)
        other = calibrate(linear, replace(card, patches=shown))
        labs.append(calibration.lab_of_light(light * other.gains / calibration.gains))
    part = parts_of(calibration, light)[Source.CARD_READING].covariance
    assert np.diag(part) == pytest.approx(np.diag(np.cov(np.transpose(labs))), rel=0.25)


def test_the_region_is_as_uncertain_as_its_mean_light(photo):
    calibration = calibrate(photo, card_of(photo))
    light = light_of(calibration)
    covariance = np.array([[4.0, 1, 0], [1, 2, -1], [0, -1, 3]]) * 1e-6
    to_lab = lab_jacobian(lab_to_xyz(BROWN)) @ calibration.rgb_to_xyz
    part = parts_of(calibration, light, covariance=covariance)[Source.REGION].covariance
    assert part == pytest.approx(to_lab @ covariance @ to_lab.T, rel=1e-4, abs=1e-7)


@pytest.mark.parametrize(("light", "encoding"), [("daylight", "camera raw"), ("daylight", "sRGB"), ("unknown", "sRGB")])
def test_an_unknown_camera_moves_colours_as_its_matrix_does(photo, light, encoding):
    """Draws of a matrix whose rows add up to 1, each entry with its spread, against the stated covariance."""
    calibration = calibrate(replace(photo, encoding=encoding), card_of(photo), light=light)
    sigma = calibration.matrix_sigma
    expected = MATRIX_SIGMA[light] if encoding == "camera raw" or light == "unknown" else 0.6 * MATRIX_SIGMA["unknown"]
    assert sigma == pytest.approx(expected)
    colour = (48.0, 6.0, 9.0)
    own = light_of(calibration, colour)
    rng, labs = np.random.default_rng(5), []
    for entries in rng.normal(size=(3000, 6)) * sigma / 3:  # a third: near enough that CIELAB is straight
        matrix = np.zeros((3, 3))
        matrix[~np.eye(3, dtype=bool)] = entries
        matrix += np.diag(1 - matrix.sum(axis=1))
        labs.append(xyz_to_lab(calibration.rgb_to_xyz @ (matrix @ own)))
    found = 9 * np.cov(np.transpose(labs))
    part = parts_of(calibration, own)[Source.CAMERA_AND_LIGHT].covariance
    assert np.sqrt(np.diag(part)) == pytest.approx(np.sqrt(np.diag(found)), rel=0.1)
    grey = parts_of(calibration, light_of(calibration, (60.0, 0, 0)))[Source.CAMERA_AND_LIGHT].covariance
    assert np.abs(grey).max() < 1e-12, "a balance leaves neutrals alone"


def test_a_bent_tone_curve_turns_about_the_card(photo):
    """An exponent that is off by e shows light as (light / card's)^(1 + e) times the card's."""
    card = card_of(photo)
    calibration = calibrate(photo, card)
    light = light_of(calibration)
    level = card.patches[0].rgb * calibration.gains
    part = parts_of(calibration, light)[Source.TONE_CURVE].effect
    for cause, which in enumerate([np.ones(3), *np.eye(3)]):
        size = (TONE_SIGMA if cause == 0 else TONE_CHANNEL_SIGMA) * which
        labs = [calibration.lab_of_light(level * (light / level) ** (1 + sign * 0.1 * size)) for sign in (1, -1)]
        assert part[:, cause] == pytest.approx((labs[0] - labs[1]) / 0.2, rel=0.02, abs=0.01)
    at_the_card = parts_of(calibration, level)[Source.TONE_CURVE].effect
    assert np.abs(at_the_card).max() < 1e-6


def test_stray_light_and_blacks_add_light(photo):
    for bits, black in ((8, 3e-4), (16, 1e-4)):
        calibration = calibrate(replace(photo, bits=bits), card_of(photo))
        light = light_of(calibration)
        parts = parts_of(calibration, light)
        labs = [calibration.lab_of_light(light + sign * 0.0003) for sign in (1, -1)]
        assert parts[Source.STRAY_LIGHT].effect[:, 0] == pytest.approx((labs[0] - labs[1]) / 2 * 10, rel=0.02, abs=0.01)
        for channel in range(3):
            step = black * calibration.gains * np.eye(3)[channel]
            labs = [calibration.lab_of_light(light + sign * step) for sign in (1, -1)]
            effect = parts[Source.BLACK_LEVEL].effect[:, channel]
            assert effect == pytest.approx((labs[0] - labs[1]) / 2, rel=0.03, abs=1e-3)


def test_without_a_card_exposure_and_balance_are_the_cameras_guess(photo):
    """Half a stop of exposure, a tenth of balance in each channel (JCGM 100, 5.1.2: squares add up)."""
    calibration = calibrate(photo, None)
    light = light_of(calibration, (50.0, 0, 0))
    part = parts_of(calibration, light)[Source.NO_CARD].covariance
    of_each = lab_jacobian(lab_to_xyz((50.0, 0, 0))) @ calibration.rgb_to_xyz * light
    expected = 0.35**2 * np.outer(brighter((50, 0, 0)), brighter((50, 0, 0))) + 0.1**2 * of_each @ of_each.T
    assert part == pytest.approx(expected, rel=1e-3, abs=1e-5)
    assert np.sqrt(part[0, 0]) == pytest.approx(7.9, abs=0.1)


def test_a_doubtful_card_is_worth_little_more_than_none_and_its_tint_is_doubted(photo):
    card = replace(card_of(photo), caveats=(Caveat("card-doubtful", "invented"),))
    calibration = calibrate(photo, card)
    light = light_of(calibration, (50.0, 0, 0))
    part = parts_of(calibration, light)[Source.DOUBTFUL_CARD].covariance
    of_each = lab_jacobian(lab_to_xyz((50.0, 0, 0))) @ calibration.rgb_to_xyz * light
    log = np.log(card.patches[0].rgb)
    tint = of_each @ (log - log.mean())
    expected = 0.35**2 * np.outer(brighter((50, 0, 0)), brighter((50, 0, 0))) + 0.1**2 * of_each @ of_each.T
    assert part == pytest.approx(expected + np.outer(tint, tint), rel=1e-3, abs=1e-4)


@pytest.mark.parametrize("lengths", [0.5, 2.0, 8.0])
def test_light_may_fall_off_with_the_distance_from_a_card_in_card_lengths(photo, lengths):
    """A face of one block tells nothing of a slope, so three times the usual one is allowed for."""
    calibration = calibrate(photo, card_of(photo))
    light, away = light_of(calibration), np.array([0.6, 0.8]) * lengths
    parts = parts_of(calibration, light, PLACE + away)
    assert parts[Source.UNEVEN_LIGHT].covariance == pytest.approx(
        (3 * PLAIN_FALLOFF * lengths) ** 2 * np.outer(brighter(), brighter()), rel=1e-3, abs=1e-6
    )
    assert parts[Source.LIGHT_CLOSE_BY].covariance == pytest.approx(
        (3 * LOCAL_SIGMA) ** 2 * np.outer(brighter(), brighter()), rel=1e-3, abs=1e-6
    )


def grid_of(side=5, size=20.0):
    """Places (n, 2) of blocks over a card's face of that size."""
    steps = np.linspace(-size / 2, size / 2, side)
    return PLACE + np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)


def test_a_slope_that_a_cards_face_shows_is_allowed_for_in_full(photo):
    places = grid_of()
    slope = np.array([0.03, -0.01])  # of log light per length of the card
    card = card_of(photo, blocks=(places, np.exp((places - PLACE) / 20.0 @ slope)))
    field = LightField.from_card_face(card)
    assert field.coefficients.tolist() == [0.0, 0.0] and field.local_sigma == LOCAL_SIGMA
    for away in ([40.0, 0.0], [0.0, 60.0], [30.0, -30.0]):
        lengths = np.array(away) / 20.0
        expected = np.hypot(PLAIN_FALLOFF * np.linalg.norm(lengths), slope @ lengths)
        assert np.linalg.norm(field.effect(PLACE + away)) == pytest.approx(expected, rel=1e-3)
    far = field.effect(PLACE + [4000.0, 0.0])
    assert np.linalg.norm(far) == pytest.approx(0.8)


def test_two_cards_tell_the_slope_between_them_and_bound_the_one_across(photo):
    """The second card lies 5 lengths to the right, its light stronger by a tenth: 0.0191 of log light a length."""
    first = card_of(photo, blocks=(grid_of(), np.ones(25)))
    second = card_of(photo, blocks=(grid_of() + [100.0, 0.0], np.full(25, 1.1)), gain=np.array([0.9, 1.0, 1.2]) * 1.1)
    blocks = second.patches[0].blocks
    second = replace(second, patches=(replace(second.patches[0], blocks=(blocks[0], blocks[1] / 1.1)),))
    field = LightField.from_two_cards(first, second)
    assert field.relative(PLACE + [100.0, 0.0]) == pytest.approx(1.1, rel=1e-6)
    assert field.relative(PLACE + [0.0, 100.0]) == pytest.approx(1.0, abs=1e-9)
    slope = np.log(1.1) / 5
    along, across = field.effect(PLACE + [100.0, 0.0]), field.effect(PLACE + [0.0, 100.0])
    assert np.linalg.norm(along) == pytest.approx(5 * (0.15 * slope + 0.01 / 5), rel=1e-3)
    assert np.linalg.norm(across) == pytest.approx(5 * PLAIN_FALLOFF, rel=1e-3)
    tilted = np.exp(0.02 * (grid_of()[:, 1] - PLACE[1]) / 20.0)
    first, second = (
        replace(card, patches=(replace(card.patches[0], blocks=(places, card.patches[0].rgb * tilted[:, None])),))
        for card, places in ((first, grid_of()), (second, grid_of() + [100.0, 0.0]))
    )
    steep = LightField.from_two_cards(first, second)
    assert steep.relative(PLACE + [0.0, 100.0]) == pytest.approx(np.exp(5 * 0.02), rel=1e-3)
    assert np.linalg.norm(steep.effect(PLACE + [0.0, 100.0])) == pytest.approx(
        5 * (0.5 * 0.02 + PLAIN_FALLOFF), rel=1e-3
    )


def paper_photo(rng, width=96, height=72, spot=7, rough=0.02):
    """A sheet of paper under a known light, whose blotches are as wide as ``spot`` of the pixels that are looked at."""
    import cv2

    grain = cv2.GaussianBlur(rng.normal(size=(height + 40, width + 40)), (0, 0), spot / 3.5)[20:-20, 20:-20]
    x, y = np.meshgrid(np.arange(width) - 20.0, np.arange(height) - 20.0)
    smooth = 0.2 * x / 48 - 0.1 * y / 48 - 0.05 * (x / 48) ** 2
    light = 0.4 * np.exp(smooth + rough * grain / grain.std())
    codes = np.rint(255 * np.clip(1.055 * light ** (1 / 2.4) - 0.055, 0, 1)).astype(np.uint8)
    return open_photo(png(np.repeat(codes[..., None], 3, axis=2)))


def test_a_flat_field_errs_as_much_as_it_says():
    """Blotches of seven pixels, so some fifty pixels hold one value: errors at nine places against their stated sizes.

    Stated are the 95 % of the roughness and not its standard deviation, so the fit is surer by up to half than it says.
    """
    rng = np.random.default_rng(8)
    places = np.array([(x, y) for x in (30.0, 60, 90) for y in (20.0, 45, 70)])
    x, y = (places.T - 20.0) / 48
    truth = 0.2 * x - 0.1 * y - 0.05 * x**2
    card = None
    ratios, fields = [], []
    for _ in range(24):
        paper = paper_photo(rng)
        card = card or replace(card_of(paper), corners=box(15, 15, 25, 25))
        at_card = replace(card.patches[0], blocks=(np.array([[20.0, 20.0]]), card.patches[0].blocks[1]))
        field = LightField.from_flat_field(paper, replace(card, patches=(at_card,)), paper)
        stated = np.array([np.linalg.norm(field.effect(place)) for place in places])
        ratios.append((np.log(field.relative(places)) - truth) / stated)
        fields.append(field)
    spread = float(np.sqrt(np.mean(np.square(ratios))))
    assert 0.3 < spread < 1.1, spread
    assert np.mean([field.local_sigma for field in fields]) == pytest.approx(LOCAL_SIGMA + 1.96 * 0.02 / 4, rel=0.1)


def a_local_error(rng, count=12):
    labs = np.column_stack([rng.uniform(20, 80, count), rng.normal(0, 15, (count, 2))])
    return LocalError(labs, rng.normal(0, 2, (count, 3)), np.array([2.0, 3.0, 1.5]), np.array([0.5, 0.8, 1.2]))


def test_what_a_fit_leaves_over_is_predicted_as_a_gaussian_process_is():
    """Against scikit-learn's Gaussian process, each of L*, a*, b* by itself."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel

    rng = np.random.default_rng(4)
    local = a_local_error(rng)
    asked = np.column_stack([rng.uniform(10, 90, 40), rng.normal(0, 20, (40, 2))])
    at, over = scale_at(asked), scale_at(local.references)
    for channel, (size, own) in enumerate(zip(local.amplitude, local.nugget, strict=True)):
        process = GaussianProcessRegressor(ConstantKernel(size**2) * RBF(LENGTH_SCALE), alpha=own**2, optimizer=None)
        process.fit(local.references, local.residuals[:, channel] / over[:, channel])
        mean, spread = process.predict(asked, return_std=True)
        assert local.correction(asked)[:, channel] == pytest.approx(mean * at[:, channel], abs=1e-9)
        found = np.array([local.covariance(lab)[channel, channel] for lab in asked]) / at[:, channel] ** 2
        assert found == pytest.approx(spread**2 + own**2, rel=1e-6)


def test_errors_in_hue_and_chroma_grow_with_chroma_faster_than_the_eyes_tolerance_but_not_twice_as_fast():
    """By S_C = 1 + 0.045 C* (ISO/CIE 11664-6), in every direction of a*, b*; errors in lightness stay."""
    for chroma in (10.0, 30.0, 60.0):
        for hue in np.radians([0.0, 70.0, 160.0, 250.0]):
            lightness, *others = scale_at(np.array([50.0, chroma * np.cos(hue), chroma * np.sin(hue)]))
            assert lightness == 1.0
            assert others[0] == others[1]
            assert 1 + 0.045 * chroma < others[0] < 1 + 0.09 * chroma
    assert scale_at(np.array([50.0, 0, 0])).tolist() == [1.0, 1.0, 1.0]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("references", [[50.0, 0, 0]]),
        ("residuals", [[0.1, 0, 0]]),
        ("amplitude", [2.0, 2.0]),
        ("nugget", [0.5]),
        ("amplitude", [2.0, 301.0, 2.0]),
        ("residuals", [[0.1, 0, float("nan")]] * 12),
        ("nugget", [0.5, 0.5, 0.0005]),
    ],
)
def test_local_errors_that_no_fit_could_leave_are_refused(field, value):
    told = a_local_error(np.random.default_rng(6)).as_dict()
    assert LocalError.from_dict(told).as_dict() == told
    with pytest.raises(Misfit):
        LocalError.from_dict({**told, field: value})


def test_a_local_error_that_has_learned_nothing_expects_what_was_seen():
    errors = np.array([[1.0, 0, 2], [-1, 0, 2], [1, 3, -2]])
    local = LocalError.unlearned(errors)
    assert local.correction([[40.0, 1, 2], [50, 2, 3]]).tolist() == [[0, 0, 0], [0, 0, 0]]
    assert local.covariance([40.0, 0, 0]) == pytest.approx(np.diag([1.0, 3, 4]))


def test_many_colours_are_corrected_as_each_is(monkeypatch):
    local = a_local_error(np.random.default_rng(6))
    asked = np.random.default_rng(7).uniform(0, 60, (5, 9, 3))
    whole = local.correction(asked)
    monkeypatch.setattr(local_error, "AT_ONCE", 7)
    assert local.correction(asked) == pytest.approx(whole, abs=1e-12)
    assert whole[3, 4] == pytest.approx(local.correction(asked[3, 4]), abs=1e-12)
    assert local.correction(np.zeros((0, 3))).shape == (0, 3)


def test_what_a_profile_leaves_over_is_a_part_of_every_reading():
    rng = np.random.default_rng(3)
    picture, chart = chart_photo(Shop("B", "FL2"), rng)
    profile = profile_from_chart(picture, chart, "tubes")
    calibration = calibrate(picture, card_of(picture, gain=profile.neutral), profile)
    for scale in ([0.25, 0.14, 0.06], [0.5, 0.4, 0.3], [0.1, 0.2, 0.1]):
        light = profile.grey_light * scale
        parts = parts_of(calibration, light)
        fit, rest = parts[Source.PROFILE].covariance, parts[Source.UNLIKE_THE_CHART].covariance
        assert rest == pytest.approx(profile.local.covariance(calibration.lab_of_light(light)))
        assert 0 < np.trace(fit) < 9


def test_patches_are_predicted_as_surely_as_it_is_said():
    """Every patch from the others, over lights and sensors: errors in standard deviations, from both sides."""
    ratios = []
    for number, (camera, light) in enumerate([("A", "D50"), ("B", "FL2"), ("A", "LED-B3"), ("B", "A")]):
        picture, chart = chart_photo(Shop(camera, light, curve=0.5), np.random.default_rng(number))
        learned = best_fit(picture, chart, range(24))
        for patch in range(number, 24, 6):
            without = best_fit(picture, chart, [k for k in range(24) if k != patch])
            # the patch's own gains are those of the fit, as a card beside it would give them
            whole = replace(without.fit, data=replace(learned.fit.data, gains=without.fit.data.gains))
            read = whole.labs(without.fit.found)[patch]
            error = read + without.local.correction(read) - chart.patches[patch].patch.lab
            ratios.append(error / np.sqrt(np.diag(without.local.covariance(read))))
    assert 0.4 < float(np.sqrt(np.mean(np.square(ratios)))) < 1.2
