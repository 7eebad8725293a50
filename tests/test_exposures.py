"""Glare taken out by moving the lamp: rendered plates, misalignment, and photographs that do not belong together.

The plates are rendered from invented recipes through published sensitivities (colour-science); the lamp's reflection
is laid over them in another place in each frame, clipped over 30 % of the finish, with a haze around it.
"""

import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from PIL import Image

from matcher.calibration.calibrate import calibrate
from matcher.calibration.references.reference import Reference
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000
from matcher.colour.sources import Source
from matcher.errors import MatcherError, PhotoError
from matcher.photo.photo import open_photo
from matcher.photo.region import pixels_inside
from matcher.reading.exposures import merge_exposures, read_frames, without_glare
from matcher.reading.finish import read_finish
from matcher.reading.reading import Reading
from matcher.reading.registration import MOST_FINE_PX, Registration, _evened
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from tests.example_counts import examples
from tests.rendering.render import render_scene
from tests.rendering.scene import Scene, SceneLight, ScenePlate, SceneView
from tests.rendering.sensor import toned

BROWN = Recipe(
    alloy="silicon bronze",
    undercoat=Undercoat("liver of sulphur", 0.5, burnish=0.25),
    coats=(Coat("ferric nitrate", 0.5, 6, 105.0),),
)
SPLASHED = replace(BROWN, coats=(Coat("ferric nitrate", 0.9, 12, 110.0, application="drops"),))
BARE = replace(BROWN, undercoat=None)
LAMPS = [((0.3, 0.3), 128), ((0.7, 0.3), 60), ((0.5, 0.75), 200), ((0.25, 0.7), 20), ((0.75, 0.65), 160)]


def reflection(shape, outline, place, share):
    """A lamp's reflection (h, w) in units of white, clipped over a share of the outline."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    low, high = outline.min(axis=0), outline.max(axis=0)
    middle, size = low + (high - low) * np.array(place), float((high - low).mean())
    nearness = -(4.4 * ((x - middle[0]) / size) ** 2 + 3 * ((y - middle[1]) / size) ** 2)
    inside = np.zeros(shape, np.uint8)
    cv2.fillPoly(inside, [outline.round().astype(np.int32)], 1)
    return np.exp(np.minimum((nearness - np.quantile(nearness[inside > 0], 1 - share)) / 0.055, 1.2))


class Shot:
    """One frame: photo, calibration by the card in it, where the finish is, and its true CIELAB."""

    def __init__(self, number, recipe=BROWN, share=0.3, moved_mm=0.0, casting=7, exposure=1.0, size=(800, 600)):
        rng = np.random.default_rng(100 + number)
        place, angle = LAMPS[number]
        scene = Scene(
            plates=(ScenePlate(recipe, casting=casting),),
            size=size,
            noise=0,
            exposure=exposure,
            light=SceneLight(from_deg=angle, softness=0.4),
            view=SceneView(centre_mm=tuple(rng.normal(0, moved_mm, 2)), turn_deg=float(rng.normal(0, 0.4 * moved_mm))),
        )
        picture = render_scene(scene, np.random.default_rng(5))
        finish = picture.truth["finishes"][0]
        self.outline, self.truth = np.array(finish["polygon"]), np.array(finish["lab"])
        linear = picture.linear
        if share:
            linear = linear + reflection(linear.shape[:2], self.outline, place, share)[..., None]
        linear = linear + rng.normal(size=linear.shape) * 0.004 * np.sqrt(np.maximum(linear, 0.001))
        file = io.BytesIO()
        Image.fromarray(toned(np.clip(linear, 0, 1).astype(np.float32), 0)).save(file, "JPEG", quality=92)
        self.photo = open_photo(file.getvalue())
        card = find_card(self.photo, corners=np.array(picture.truth["cards"][0]["corners"]))
        self.calibration = calibrate(self.photo, card, light="daylight")

    def plain_mean(self):
        seen = pixels_inside(self.photo, self.outline)
        return self.calibration.lab(seen.rgb.mean(axis=0))


def read(shots):
    return read_frames([shot.photo for shot in shots], [shot.calibration for shot in shots], shots[0].outline)


@pytest.mark.parametrize("recipe", [BROWN, SPLASHED, BARE], ids=["brown", "splashed", "bare"])
def test_five_frames_with_30_percent_glare_read_within_1_where_a_plain_mean_is_off_by_more_than_4(recipe):
    shots = [Shot(number, recipe) for number in range(5)]
    truth = shots[0].truth
    assert min(delta_e_2000(shot.plain_mean(), truth) for shot in shots) > 4
    reading = read(shots)
    assert delta_e_2000(reading.lab, truth) <= 1.0
    assert reading.left_out_share < 0.06
    assert reading.photo == shots[0].photo.sha256


def test_what_is_left_is_the_error_of_the_same_frame_without_any_glare():
    """The sensor's own limit stays; of the glare hardly anything does, and less than one frame alone leaves."""
    shots = [Shot(number) for number in range(5)]
    clean = Shot(0, share=0.0)
    wanted = read_finish(clean.photo, clean.calibration, clean.outline).lab
    left = [float(delta_e_2000(read(shots[:count]).lab, wanted)) for count in (2, 3, 5)]
    single = read_finish(shots[0].photo, shots[0].calibration, shots[0].outline).lab
    assert max(left) < 1.0
    assert left[2] < min(0.6, float(delta_e_2000(single, wanted)))


def test_a_camera_that_moved_a_little_is_laid_back():
    """Moved by millimetres and turned by a degree: corners of the finish come back within a pixel of 800."""
    first, *others = [Shot(number, moved_mm=1.0) for number in range(4)]
    registration = Registration(first.photo, first.outline)
    for shot in others:
        there = cv2.perspectiveTransform(first.outline[None], registration.onto(shot.photo, "It"))[0]
        assert np.abs(first.outline - shot.outline).max() > 1.5
        assert np.abs(there - shot.outline).max() < 1.0
    assert delta_e_2000(read([first, *others]).lab, first.truth) <= 1.2


@pytest.fixture(scope="module")
def grained():
    """An invented grained plate, 600 by 500, and a finish in the midst of it."""
    grain = cv2.GaussianBlur(np.random.default_rng(6).normal(size=(500, 600)), (0, 0), 5)
    codes = np.clip(110 + 45 * grain / grain.std(), 20, 220).astype(np.uint8)
    return open_photo(_png(np.dstack([codes] * 3))), np.array([[200.0, 150], [400, 150], [400, 350], [200, 350]])


@pytest.mark.parametrize(("off_px", "left_px"), [(1.0, 0.1), (3.0, 0.1), (6.0, 6.0)])
def test_a_fine_fit_mends_a_start_that_is_a_little_off_and_is_not_believed_further(grained, off_px, left_px):
    """A photograph laid on itself, so that no move at all is the truth."""
    photo, outline = grained
    start = np.array([[1.0, 0, off_px], [0, 1, 0], [0, 0, 1]])
    fit, likeness = Registration(photo, outline)._fine(start, *_evened(photo))
    there = cv2.perspectiveTransform(outline[None], fit)[0]
    assert np.abs(there - outline).max() == pytest.approx(left_px, abs=0.1)
    assert (likeness > 0.99) == (off_px <= MOST_FINE_PX)


def test_what_glares_is_left_out_with_two_pixels_on_every_side():
    """A lamp's edge lies where the lamp is, and on the plate nothing has it."""
    codes = np.full((300, 400, 3), 90, np.uint8)
    codes[100:120, 150:180] = 241
    codes[200:220, 150:180] = 240  # bright, and no glare yet
    _, lit = _evened(open_photo(_png(codes)))
    rows, columns = np.nonzero(lit == 0)
    assert (rows.min(), rows.max(), columns.min(), columns.max()) == (98, 121, 148, 181)
    assert len(rows) == 24 * 34


@pytest.mark.parametrize("margin", [0.0, 0.15, 0.5])
def test_features_are_looked_for_in_the_finish_and_a_margin_on_every_side(grained, margin):
    photo, outline = grained
    rows, columns = np.nonzero(Registration(photo, outline)._around(margin))
    low, high = outline.min(axis=0), outline.max(axis=0)
    wide = margin * (high - low)
    before, beyond = low - wide - [columns.min(), rows.min()], [columns.max(), rows.max()] - (high + wide)
    assert np.all((before >= np.minimum(4, low - wide)) & (before < 6)), "all of the margin, and few pixels more"
    assert np.all((beyond >= 4) & (beyond < 6))
    assert len(rows) == (np.ptp(rows) + 1) * (np.ptp(columns) + 1)


def test_each_frame_is_brought_to_its_own_cards_exposure():
    shots = [Shot(number, exposure=exposure) for number, exposure in enumerate((1.0, 0.6, 0.8))]
    same = [Shot(number) for number in range(3)]
    assert delta_e_2000(read(shots).lab, read(same).lab) < 0.5


def test_noise_does_not_pull_the_low_percentile_down():
    """Five frames of one grey with noise of 4 %: the lowest is 4.6 % low, the second 2 %; the result 0.5 % at most."""
    rng = np.random.default_rng(3)
    lights = (0.2 * np.exp(rng.normal(0, 0.04, (5, 200, 200, 1))) * np.ones(3)).astype(np.float32)
    seen = np.ones(lights.shape[:3], bool)
    light, hidden = without_glare(lights, seen)
    assert lights.min(axis=0).mean() < 0.2 * 0.96
    assert light.mean() == pytest.approx(0.2, rel=0.005)
    assert not hidden.any()


def test_glare_in_most_frames_of_a_pixel_is_still_left_out():
    """Two of five frames are enough; a pixel that no frame shows unclipped is said to be hidden."""
    rng = np.random.default_rng(4)
    lights = (0.1 * np.exp(rng.normal(0, 0.02, (5, 60, 60, 1))) * np.ones(3)).astype(np.float32)
    lights[:3, :20] += 0.4
    seen = np.ones(lights.shape[:3], bool)
    seen[:, 40:, 40:] = False
    light, hidden = without_glare(lights, seen)
    assert light[:20].mean() == pytest.approx(0.1, rel=0.02)
    assert hidden[40:, 40:].all() and not hidden[:40].any()


def test_the_spread_over_lamp_positions_is_in_the_budget():
    names = {term.name: term for term in read([Shot(number) for number in range(3)]).budget}
    assert 0 < np.trace(names["lamp positions"].covariance) < 4


def test_a_merged_picture_is_asked_for_like_any_photograph():
    shots = [Shot(number, size=(400, 300)) for number in range(2)]
    merged = merge_exposures([s.photo for s in shots], [s.calibration for s in shots], shots[0].outline)
    box = (100, 80, 131, 107)
    assert merged.linear(box, 3).shape == shots[0].photo.linear(box, 3).shape
    assert merged.clipped(box, 3).shape == shots[0].photo.clipped(box, 3).shape
    assert (merged.width, merged.height) == (400, 300)


def _png(codes):
    file = io.BytesIO()
    Image.fromarray(codes).save(file, "PNG")
    return file.getvalue()


def test_photographs_that_do_not_belong_together_are_refused():
    one, two = Shot(0, size=(400, 300)), Shot(1, size=(400, 300))
    other_plate = Shot(1, casting=99, size=(400, 300))
    blank = open_photo(_png(np.full((300, 400, 3), 90, np.uint8)))
    for photos, words in (
        ([one.photo], "2 to 12"),
        ([one.photo, one.photo], "once"),
        ([one.photo, other_plate.photo], "Photograph 2 does not match"),
        ([one.photo, two.photo, blank], "Photograph 3 does not match"),
        ([one.photo, replace(two.photo, encoding="linear")], "of one kind"),
    ):
        with pytest.raises(PhotoError, match=words):
            read_frames(photos, [one.calibration] * len(photos), one.outline)
    with pytest.raises(PhotoError, match="calibration of its own"):
        read_frames([one.photo, two.photo], [one.calibration], one.outline)


def test_metal_that_looks_new_under_each_lamp_is_laid_back_by_the_card():
    """Bare metal, lit from the other side: its relief turns inside out; the card tells how the camera moved."""
    shots = [Shot(number, BARE, moved_mm=1.0) for number in (0, 2)]
    merged = merge_exposures([shot.photo for shot in shots], [shot.calibration for shot in shots], shots[0].outline)
    there = cv2.perspectiveTransform(shots[0].outline[None], merged.exposures[1].from_first)[0]
    assert np.abs(there - shots[1].outline).max() < 1.0


@pytest.fixture(scope="module")
def two_small_frames():
    return [Shot(number, size=(240, 180)) for number in (0, 1)]


@examples(60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(region=st.lists(st.tuples(st.floats(-100, 400), st.floats(-100, 300)), max_size=6))
def test_any_region_reads_or_raises_our_own_error(two_small_frames, region):
    shots = two_small_frames
    try:
        reading = read_frames([shot.photo for shot in shots], [shot.calibration for shot in shots], region)
    except MatcherError as error:
        assert str(error).endswith(".")
    else:
        assert np.isfinite(reading.lab).all()
        assert np.linalg.eigvalsh(reading.covariance).min() >= -1e-9


def test_a_finish_is_not_read_by_itself_in_several_frames_either(two_small_frames):
    """A plate that was waxed since it was known is read as it is now."""
    shots = two_small_frames
    shown = read_finish(shots[0].photo, shots[0].calibration, shots[0].outline).lab
    itself = Reference(shots[0].outline, Reading(shown + [1.0, 0, 0], 0.01 * np.eye(3)))
    with_itself = [replace(shots[0].calibration, references=(itself,)), shots[1].calibration]
    alone, beside = (
        read_frames([shot.photo for shot in shots], ways, shots[0].outline)
        for ways in ([shot.calibration for shot in shots], with_itself)
    )
    assert beside.lab.tolist() == alone.lab.tolist() and beside.conditions.references == ()


def test_known_finishes_are_read_where_the_first_photograph_shows_them(two_small_frames):
    """Of frames with the lamp moved: the bench beside the finish counts as known, and lies in black in the second."""
    first, second = two_small_frames
    left, top = first.outline.min(axis=0).astype(int)
    beside = np.array([[left - 26, top], [left - 6, top], [left - 6, top + 30], [left - 26, top + 30]])
    bench = Reference(beside, Reading(read_finish(first.photo, first.calibration, beside).lab, 0.01 * np.eye(3)))
    codes = second.photo.preview(240).copy()
    codes[top : top + 31, left - 26 : left - 5] = 0
    photos = [first.photo, open_photo(_png(codes))]
    ways = [replace(first.calibration, references=(bench,)), second.calibration]
    reading = read_frames(photos, ways, first.outline)
    alone = read_finish(first.photo, replace(ways[0]), first.outline)  # a calibration keeps what it once found known
    assert alone.conditions.references and reading.conditions.references == alone.conditions.references
    assert not [caveat for caveat in reading.caveats if caveat.code.startswith("reference")]


def test_a_finish_that_glares_in_any_exposure_is_known_to_shine_when_the_glare_is_gone():
    """The glare is taken out, and what the finish mirrors of the room evenly stays."""
    for share, shines in ((0.05, True), (0.0, False)):
        reading = read([Shot(number, share=share) for number in range(3)])
        assert (Source.ROOM_MIRRORED in {term.name for term in reading.budget}) is shines
