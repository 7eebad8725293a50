"""Finishes of known colour in a picture: the update is the textbook's, its intervals hold, what it shares cancels.

Causes, effects and places invented; the textbook is the conditional of a Gaussian (Rasmussen and Williams 2006, A.6),
worked out here anew by joint draws. Pictures: published sensors and lights of colour-science, invented plates.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from matcher.calibration.calibrate import calibrate
from matcher.calibration.references import update
from matcher.calibration.references.discrepancy import LIGHT_SPREAD, USUAL, Discrepancy, brighter
from matcher.calibration.references.mistaken import conditioned
from matcher.calibration.references.reference import (
    MOST_REFERENCES,
    LeftOut,
    Reference,
    SeenReference,
    cause_of_own,
    own_root,
)
from matcher.calibration.references.update import Conditioned
from matcher.card.detect import find_card, neutral_patch
from matcher.colour.cielab import lab_to_xyz, xyz_to_lab
from matcher.colour.difference import delta_e_2000
from matcher.colour.sources import Source
from matcher.colour.uncertainty import CHI2_95, BudgetTerm, sum_of
from matcher.commissions.read_again import read_again
from matcher.errors import CardError, ReadingError
from matcher.photo.photo import open_photo
from matcher.reading.comparison import delta_e_interval, difference_covariance
from matcher.reading.difference_map import delta_e_map
from matcher.reading.finish import known_finishes, read_finish, reference_caveats
from matcher.reading.reading import Reading
from matcher.reading.seen_again import seen_again
from matcher.reading.texture import read_texture
from tests.benchmarks.known_plates import Log, Phone, scene
from tests.scenes import box

PHOTO, PICTURE = "f" * 64, 1000
REAL = os.environ.get("MATCHER_REAL_PHOTOS")


def square(x, y, side=40):
    return np.array(box(x, y, x + side, y + side), dtype=float)


def reading_of(lab, *terms, region=None, photo=None):
    return Reading(lab, sum_of(terms), budget=tuple(terms), region=region, photo=photo)


OWN = np.array([0.3, 0.2, 0.4])


def invented(rng, count):
    """Return terms of ``count`` finishes seen in one picture: two causes in common, and each its own."""
    first, second = SMALL * rng.normal(size=(count, 3, 2)), 2 * SMALL * rng.normal(size=(count, 3, 1))
    return [
        (
            BudgetTerm(Source.CAMERA_AND_LIGHT, first[k], shared="camera"),
            BudgetTerm(Source.TONE_CURVE, second[k], shared="tone"),
            BudgetTerm(Source.REGION, SMALL * np.diag(OWN)),
        )
        for k in range(count)
    ]


SMALL = 0.03
"""Of usual errors: so small that no effect moves from draw to draw."""


@pytest.fixture
def plainly_gaussian(monkeypatch):
    """The discrepancy as large as usual, all of it small."""
    monkeypatch.setattr(update, "SCALES", np.array([1.0]))
    monkeypatch.setattr(update, "_PRIOR", np.array([1.0]))
    monkeypatch.setattr(update, "SURFACES_OWN", SMALL * update.SURFACES_OWN)


def picture_of(rng, labs, places, draws):
    """Draw the errors (draws, n, 3) of finishes at CIELAB labs and places, as the model has them, and their terms."""
    terms = invented(rng, len(labs))
    usual = replace(USUAL, amplitude=SMALL * USUAL.amplitude, nugget=SMALL * USUAL.nugget)
    discrepancy = Discrepancy(usual, PICTURE, SMALL * LIGHT_SPREAD)
    local = discrepancy.between(labs, places, labs, places) + discrepancy.light_between(labs, places, labs, places)
    for k, lab in enumerate(labs):
        local[3 * k : 3 * k + 3, 3 * k : 3 * k + 3] += discrepancy.own(lab) + np.diag(update.SURFACES_OWN**2)
    errors = rng.multivariate_normal(np.zeros(len(local)), local, draws).reshape(draws, len(labs), 3)
    for column in range(2):
        common = rng.normal(size=(draws, terms[0][column].effect.shape[1]))
        errors += np.stack([common @ own[column].effect.T for own in terms], axis=1)
    return errors + SMALL * rng.normal(size=errors.shape) * OWN, terms, discrepancy


def test_what_is_left_is_what_draws_of_all_causes_leave(plainly_gaussian):
    """Corrected less true, over draws of every cause, scatters as the stated covariance says; so does its difference
    from a known plate's own reading, whose errors come in with it."""
    rng = np.random.default_rng(4)
    labs = np.array([[40.0, 12, 22], [42, 10, 20], [55, -5, 8], [30, 8, 12]])
    places = np.array([[500.0, 500], [560, 500], [200, 700], [800, 100]])
    draws = 1000
    errors, terms, discrepancy = picture_of(rng, labs, places, draws)
    roots = SMALL * np.array([np.diag([0.5, 0.6, 0.4]), np.diag([1.5, 1.0, 1.2]), np.diag([0.3, 0.3, 0.3])])
    common = SMALL * np.array([[0.8], [-0.5], [0.6]])  # one card that all plates were logged by
    of_card = rng.normal(size=(draws, 1)) @ common.T
    known_errors = np.stack([rng.normal(size=(draws, 3)) @ root for root in roots], axis=1) + of_card[:, None]
    left, apart = np.zeros((draws, 3)), np.zeros((draws, 3))
    for draw in range(draws):
        seen = []
        for k in range(1, 4):
            own = (BudgetTerm("own", roots[k - 1]), BudgetTerm(Source.CARD_TOLERANCE, common, shared="card 7"))
            known = reading_of(labs[k] + known_errors[draw, k - 1], *own)
            shown = reading_of(labs[k] + errors[draw, k], *terms[k])
            region = square(*(places[k] - 20))
            seen.append(SeenReference(k - 1, Reference(region, known), shown))
        told = Conditioned(tuple(seen), PHOTO, discrepancy)
        lab, budget = told.corrected(labs[0] + errors[draw, 0], terms[0], places[0])
        left[draw] = lab - labs[0]
        apart[draw] = left[draw] - known_errors[draw, 0]
        if draw == 0:
            covariance = sum_of(budget)
            target = Reading(lab, covariance, budget=budget)
            of_difference = difference_covariance(target, seen[0].reference.reading)
    assert np.diag(covariance) == pytest.approx(np.var(left, axis=0), rel=0.18)
    stated = covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1])
    assert np.corrcoef(left.T)[0, 1] == pytest.approx(stated, abs=0.12)
    assert np.diag(of_difference) == pytest.approx(np.var(apart, axis=0), rel=0.18)
    assert np.trace(covariance) < 0.8 * np.var(errors[:, 0], axis=0).sum()


CAMERA = (BudgetTerm(Source.CAMERA_AND_LIGHT, 4 * np.eye(3), shared="camera"),)
PLACE = np.array([560.0, 520.0])


def seen_plate(index, lab, error=(0, 0, 0), at=(500, 500), sigma=0.4, known=None):
    """A plate known to within ``sigma``, which the picture shows ``error`` off."""
    own = reading_of(
        np.asarray(lab, float) + error, BudgetTerm(Source.CAMERA_AND_LIGHT, 4 * np.eye(3), shared="camera")
    )
    return SeenReference(index, Reference(square(*at), known or Reading(lab, sigma**2 * np.eye(3))), own)


def told_by(*seen):
    return conditioned(list(seen), [], PHOTO, Discrepancy(USUAL, PICTURE))


def test_a_plate_of_the_same_colour_beside_it_gives_its_own_colour():
    known = told_by(seen_plate(0, (40, 12, 22), error=(3, -4, 6)))
    lab, budget = known.corrected(np.array([43.5, 8.4, 27.7]), CAMERA, PLACE)
    assert lab == pytest.approx([40.5, 12.4, 21.7], abs=0.7)
    assert np.sqrt(np.diag(sum_of(budget))) == pytest.approx(0.6, abs=0.3)


def test_its_difference_from_that_plate_is_surer_than_either():
    plate = seen_plate(0, (40, 12, 22), error=(3, -4, 6), sigma=1.5)
    lab, budget = told_by(plate).corrected(np.array([46.0, 9.0, 29.0]), CAMERA, PLACE)
    target, known = Reading(lab, sum_of(budget), budget=budget), plate.reference.reading
    apart = difference_covariance(target, known)
    assert np.trace(apart) < 0.4 * np.trace(target.covariance)
    low, high = delta_e_interval(target, known)
    blind = Reading(known.lab + 1e-6, known.covariance)  # the same plate, known otherwise: nothing in common
    low_blind, high_blind = delta_e_interval(target, blind)
    assert high - low < 0.7 * (high_blind - low_blind)
    assert difference_covariance(known, target) == pytest.approx(apart.T)


def test_two_finishes_read_by_the_same_plate_share_what_it_is_known_by():
    plate = seen_plate(0, (40, 12, 22), error=(3, -4, 6), sigma=2.0)
    pair = []
    for lab, place in (((44.0, 8.0, 28.0), (540, 500)), ((45.0, 9.0, 27.0), (460, 520))):
        shown, budget = told_by(plate).corrected(np.array(lab), CAMERA, np.array(place, float))
        pair.append(Reading(shown, sum_of(budget), budget=budget))
    assert np.trace(difference_covariance(*pair)) < 0.3 * np.trace(pair[0].covariance + pair[1].covariance)


COLOURS = [(40, 12, 22), (55, -8, 10), (30, 5, 8), (48, 20, 30)]
PLACES = [(100, 100), (800, 200), (300, 700), (600, 600)]


def test_a_plate_at_odds_with_the_others_is_found_and_left_out():
    plates = [seen_plate(k, lab, (2, -1, 3), at) for k, (lab, at) in enumerate(zip(COLOURS, PLACES, strict=True))]
    assert told_by(*plates).left_out == ()
    plates[2] = seen_plate(2, COLOURS[2], (14, -9, -8), PLACES[2])
    known = told_by(*plates)
    assert [(item.index, item.why) for item in known.left_out] == [(2, "odd")]
    assert [item.index for item in known.used] == [0, 1, 3]


def test_of_two_that_contradict_each_other_neither_is_trusted():
    near = [seen_plate(0, (38, 6, 30), (6, 2, -2), (400, 500)), seen_plate(1, (52, 12, 20), (-7, -3, 7), (460, 500))]
    known = told_by(*near)
    assert {(item.index, item.why) for item in known.left_out} == {(0, "at odds"), (1, "at odds")}
    lab = np.array([44.0, 8.0, 28.0])
    shown, budget = known.corrected(lab, CAMERA, PLACE)
    assert shown.tolist() == lab.tolist() and budget == CAMERA


def test_one_plate_that_no_camera_could_show_so_is_left_out():
    assert told_by(seen_plate(0, (40, 12, 22), (2, 4, -4))).left_out == ()
    (left_out,) = told_by(seen_plate(0, (40, 12, 22), (30, 40, -40))).left_out
    assert left_out.why == "odd"


@pytest.mark.parametrize("sigma", [0.4, 6.0, 300.0])
@pytest.mark.parametrize("colour", [(40, 12, 22), (90, -60, -60)])
@pytest.mark.parametrize("count", [1, 30])
def test_no_plate_makes_a_reading_less_sure(sigma, colour, count):
    """However badly it is known, however unlike the finish; and thirty of one colour are as safe as one."""
    plates = [seen_plate(k, colour, (1, -1, 1), (30 * k, 400), sigma) for k in range(count)]
    lab, budget = told_by(*plates).corrected(np.array([42.0, 11.0, 21.0]), CAMERA, PLACE)
    assert np.isfinite(lab).all()
    assert np.trace(sum_of(budget)) <= np.trace(sum_of(CAMERA)) * (1 + 1e-9)


def test_thirty_plates_of_one_colour_say_no_more_of_others_than_their_light():
    plates = [seen_plate(k, (40, 12, 22), (1, -1, 1), (30 * k, 400)) for k in range(30)]
    terms = (*CAMERA, BudgetTerm(Source.TONE_CURVE, np.diag([3.0, 1.0, 1.0]), shared="tone at lights"))
    _, far = told_by(*plates).corrected(np.array([85.0, 2.0, 5.0]), terms, PLACE)
    assert np.sqrt(sum_of(far)[0, 0]) > 2.5


def test_a_plate_that_was_logged_from_this_very_picture_tells_nothing():
    own = reading_of((43, 8, 28), *CAMERA, region=square(500, 500), photo=PHOTO)
    plate = SeenReference(0, Reference(square(500, 500), own), own)
    lab, budget = told_by(plate).corrected(np.array([44.0, 8.0, 28.0]), CAMERA, PLACE)
    assert lab == pytest.approx([44, 8, 28], abs=0.2)
    assert np.trace(sum_of(budget)) > 0.9 * np.trace(sum_of(CAMERA))


def test_a_readings_own_cause_is_its_own():
    first, second = Reading((40, 12, 22)), Reading((40, 12, 22.1))
    assert cause_of_own(first) == cause_of_own(Reading((40, 12, 22))) != cause_of_own(second)


@pytest.mark.parametrize("region", [[(0, 0), (1, 1)], [[0, 0, 1]] * 3, "here", [(0, 0), (1, np.nan), (1, 1)]])
def test_an_outline_that_is_none_is_refused(region):
    with pytest.raises(ReadingError, match="three or more points"):
        Reference(region, Reading((40, 12, 22)))


def test_a_covariance_that_is_no_number_is_refused():
    with pytest.raises(ReadingError, match="finite"):
        Reading((40, 12, 22), np.full((3, 3), np.nan))


@pytest.mark.parametrize("lacking", ["all", "one"])
def test_a_known_finish_whose_colour_is_not_whole_is_refused(lacking):
    covariance = np.eye(3)
    covariance[np.ix_(*2 * [range(3 if lacking == "all" else 1)])] = np.nan
    with pytest.raises(ReadingError, match="finite"):
        Reference(square(500, 500), SimpleNamespace(lab=np.array([40.0, 12, 22]), covariance=covariance, region=None))


@pytest.fixture(scope="module", params=[("A", "FL2"), ("A", "D65"), ("phone", "FL11")], ids=" ".join)
def shown(request):
    camera, light = request.param
    phone = Phone.phone() if camera == "phone" else Phone.published(camera)
    rng = np.random.default_rng(6)
    log = Log.drawn(rng)
    return log, scene(phone, light, log, 12, 3, rng)


def errors_of(picture, calibrations):
    """Return ΔE00 (n,), whether the 95 % region holds the truth (n,), and half its width (n,) of L*, a*, b*."""
    found = []
    for outline, lab, calibration in zip(picture.outlines, picture.labs, calibrations, strict=True):
        reading = read_finish(picture.photo, calibration, outline, "finish")
        off = reading.lab - lab
        held = off @ np.linalg.solve(reading.covariance, off) <= CHI2_95
        wide = np.sqrt(CHI2_95 * np.trace(reading.covariance) / 3)
        found.append((float(delta_e_2000(reading.lab, lab)), held, wide, float(np.linalg.norm(off))))
    return np.array(found, dtype=float).T


def test_plates_beside_a_finish_make_its_reading_truer_and_surer(shown):
    """From both sides: the region holds nearly always, and is not several times wider than the errors."""
    log, picture = shown
    alone, *_ = errors_of(picture, [calibrate(picture.photo, picture.card)] * 12)
    beside = [
        calibrate(picture.photo, picture.card, references=[Reference(at, log.readings[which]) for which, at in near])
        for near in picture.beside
    ]
    delta, held, wide, off = errors_of(picture, beside)
    assert delta.mean() < min(0.7 * alone.mean(), 1.2)
    assert held.mean() >= 0.9
    assert np.median(wide) < 2.5 * np.quantile(off, 0.95)


@pytest.mark.parametrize("with_card", [True, False])
def test_eight_plates_are_enough_with_a_card_and_without(shown, with_card):
    log, picture = shown
    eight = [Reference(at, log.readings[which]) for which, at in picture.eight]
    calibration = calibrate(picture.photo, picture.card if with_card else None, references=eight)
    delta, held, wide, off = errors_of(picture, [calibration] * 12)
    assert delta.mean() < 1.8
    assert held.mean() >= 0.8
    assert np.median(wide) < 2.5 * np.quantile(off, 0.95)


def test_a_wrong_plate_is_named(shown):
    log, picture = shown
    eight = [Reference(at, log.readings[which], f"plate {which}") for which, at in picture.eight]
    wrong, right = eight[3], log.readings[picture.eight[3][0]]
    other = max(log.readings, key=lambda reading: float(delta_e_2000(reading.lab, right.lab)))
    eight[3] = Reference(wrong.region, other, wrong.name)
    calibration = calibrate(picture.photo, picture.card, references=eight)
    reading = read_finish(picture.photo, calibration, picture.outlines[0], "finish")
    (said,) = [caveat for caveat in reading.caveats if caveat.code == "reference-odd"]
    assert wrong.name in said.message
    known = known_finishes(picture.photo, calibration)
    assert [item.index for item in known.left_out] == [3]


def test_known_finishes_without_a_name_are_told_by_their_place_counted_from_one():
    known = [
        Reference(square(50 * k, 10), reading_of(np.array([38.0, 14, 22])), name)
        for k, name in enumerate(("", "plate 88", ""))
    ]
    odd, unreadable = (
        caveat.message
        for caveat in reference_caveats([LeftOut(0, "odd"), LeftOut(1, "odd"), LeftOut(2, "unreadable")], known)
    )
    assert "known finish 1 and plate 88." in odd
    assert "known finish 3." in unreadable


def test_a_reference_outside_the_picture_is_said_and_left_out(shown):
    log, picture = shown
    gone = Reference(square(9000, 9000), log.readings[0], "plate 1")
    reading = read_finish(picture.photo, calibrate(picture.photo, picture.card, references=[gone]), picture.outlines[0])
    (said,) = [caveat for caveat in reading.caveats if caveat.code == "reference-unreadable"]
    assert "plate 1" in said.message
    plain = read_finish(picture.photo, calibrate(picture.photo, picture.card), picture.outlines[0])
    assert reading.lab.tolist() == plain.lab.tolist()


def test_no_more_references_than_can_be_taken_in(shown):
    log, picture = shown
    many = [Reference(square(0, 0), log.readings[0])] * (MOST_REFERENCES + 1)
    with pytest.raises(CardError, match="at most"):
        calibrate(picture.photo, picture.card, references=many)


def test_lights_and_darks_are_corrected_with_the_finish(shown):
    log, picture = shown
    beside = [Reference(at, log.readings[which]) for which, at in picture.beside[0]]
    plain, surer = (
        read_finish(picture.photo, calibrate(picture.photo, picture.card, references=known), picture.outlines[0])
        for known in ((), beside)
    )
    moved = surer.lab - plain.lab
    assert surer.lights - plain.lights == pytest.approx(moved, abs=max(0.5, 0.3 * np.linalg.norm(moved)))


@pytest.mark.skipif(not REAL, reason="MATCHER_REAL_PHOTOS does not name a folder of chart photographs")
@pytest.mark.parametrize(("name", "encoding"), [("copy_stand_chart", None), ("linear_tl84_chart", "linear")])
def test_real_charts_are_read_truer_by_some_of_their_patches(name, encoding):
    """Published CIELAB of the chart (colour-science) as the truth, good to 0.8 (from memory)."""
    photo = open_photo(Path(str(REAL)) / f"{name}.jpg", encoding=encoding)
    chart = find_card(photo, "24-patch chart")
    grey = min((item for item in chart.patches if item.patch.neutral), key=lambda item: abs(item.patch.lab[0] - 50))
    patches = [item for item in chart.patches if item is not grey]
    card = neutral_patch(photo, grey.outline, lab=grey.patch.lab)
    plain, surer, held = [], [], []
    for first in range(3):
        known = [Reference(item.outline, Reading(item.patch.lab, 0.64 * np.eye(3))) for item in patches[first::4]]
        ways = [calibrate(photo, card), calibrate(photo, card, references=known)]
        for item in (item for k, item in enumerate(patches) if k % 4 != first):
            off = [read_finish(photo, way, item.outline, "finish") for way in ways]
            plain.append(float(delta_e_2000(off[0].lab, item.patch.lab)))
            surer.append(float(delta_e_2000(off[1].lab, item.patch.lab)))
            error, spread = off[1].lab - item.patch.lab, off[1].covariance + 0.64 * np.eye(3)
            held.append(error @ np.linalg.solve(spread, error) <= CHI2_95)
    assert np.mean(surer) < 0.85 * np.mean(plain)
    assert np.mean(held) >= 0.8


def test_what_a_reading_was_made_by_is_kept_with_it(shown):
    log, picture = shown
    beside = [
        Reference(at, log.readings[which], f"plate {which}", f"uid {which}") for which, at in picture.beside[0][:2]
    ]
    calibration = calibrate(picture.photo, picture.card, references=beside)
    reading = read_finish(picture.photo, calibration, picture.outlines[0])
    kept = Reading.from_dict(reading.as_dict()).conditions.references
    assert [(item.name, item.uid) for item in kept] == [(item.name, item.uid) for item in beside]
    again = read_again(picture.photo, Reading.from_dict(reading.as_dict()), card=picture.card)
    assert again.lab == pytest.approx(reading.lab, abs=1e-9)
    assert again.covariance == pytest.approx(reading.covariance, abs=1e-9)
    without = read_again(picture.photo, reading, card=picture.card, references=())
    assert np.trace(without.covariance) > 2 * np.trace(reading.covariance)


def test_each_plate_is_seen_again_by_the_others(shown):
    """A plate known wrongly is read as what it is; those known rightly lie within their intervals."""
    log, picture = shown
    eight = [Reference(at, log.readings[which], f"plate {which}") for which, at in picture.eight]
    wrong = replace(log.readings[picture.eight[5][0]], lab=log.readings[picture.eight[5][0]].lab + [9.0, -6, 9])
    eight[5] = replace(eight[5], reading=wrong)
    found = seen_again(picture.photo, calibrate(picture.photo, picture.card, references=eight))
    assert [item.used for item in found] == [k != 5 for k in range(8)]
    assert found[5].left_out.code == "reference-odd"
    assert found[5].interval[0] > 3
    assert all(item.interval[0] < 1.5 for item in found if item.used)
    true = log.readings[picture.eight[5][0]].lab
    assert float(delta_e_2000(found[5].reading.lab, true)) < 3.5


def test_a_plate_is_not_read_by_itself(shown):
    """A plate that was waxed since is read as it is now, however it is known."""
    log, picture = shown
    eight = [Reference(at, log.readings[which]) for which, at in picture.eight]
    known_otherwise = replace(eight[2], reading=Reading(eight[2].reading.lab - [4.0, 0, 0], 0.25 * np.eye(3)))
    with_itself = calibrate(
        picture.photo, picture.card, references=[known_otherwise if k == 2 else one for k, one in enumerate(eight)]
    )
    without = calibrate(picture.photo, picture.card, references=[one for k, one in enumerate(eight) if k != 2])
    readings = [read_finish(picture.photo, way, eight[2].region, "finish") for way in (with_itself, without)]
    assert len(readings[0].conditions.references) == 7
    assert readings[0].lab == pytest.approx(readings[1].lab, abs=0.4)


def test_readings_by_other_plates_of_a_picture_share_only_what_they_have_in_common():
    """Two finishes, each read by two of three plates: what is a set's own is not taken for the other's."""
    plates = [seen_plate(k, lab, (2, -1, 3), at) for k, (lab, at) in enumerate(zip(COLOURS, PLACES, strict=False))][:3]
    by_others = [told_by(*(item for k, item in enumerate(plates) if k != left)) for left in (0, 2)]
    pair = []
    for known in by_others:
        lab, budget = known.corrected(np.array([44.0, 8.0, 28.0]), CAMERA, PLACE)
        pair.append(Reading(lab, sum_of(budget), budget=budget))
    keys = [{term.shared for term in one.budget if term.shared and "known finishes" in term.shared} for one in pair]
    assert keys[0] and not keys[0] & keys[1]
    assert np.linalg.eigvalsh(difference_covariance(*pair)).min() > 0


def seen_by_camera(index, lab, share, error=(3.0, -4.0, 6.0)):
    """A plate that a camera which no chart has shown read for the log in another photograph, its colours as unsure as
    ``share`` of what they are here."""
    own = BudgetTerm(Source.CAMERA_AND_LIGHT, 4 * np.eye(3), shared="camera and light of here", unknown_camera=True)
    then = BudgetTerm(
        Source.CAMERA_AND_LIGHT, 4 * share * np.eye(3), shared=f"camera and light of photo {index}", unknown_camera=True
    )
    known = reading_of(np.asarray(lab, float) + error, then, BudgetTerm("region", 0.2 * np.eye(3)))
    shown = reading_of(np.asarray(lab, float) + error, own, BudgetTerm("region", 0.2 * np.eye(3)))
    return SeenReference(index, Reference(square(430 + 30 * index, 500), known), shown)


def test_plates_known_by_an_unknown_camera_make_nothing_surer_and_those_known_better_do():
    """One camera errs alike in every picture under one light: that it agrees with itself says nothing of the truth."""
    here = (BudgetTerm(Source.CAMERA_AND_LIGHT, 4 * np.eye(3), shared="camera and light of here", unknown_camera=True),)
    lab = np.array([43.0, 8.0, 28.0])
    as_unsure, surer = (
        told_by(*(seen_by_camera(k, (40 + k, 12, 22), share) for k in range(6))) for share in (1.0, 0.5)
    )
    assert all(item.as_unknown for item in as_unsure.used) and not any(item.as_unknown for item in surer.used)
    same, budget = as_unsure.corrected(lab, here, PLACE)
    assert same.tolist() == lab.tolist() and budget == here
    assert np.trace(sum_of(surer.corrected(lab, here, PLACE)[1])) < 0.5 * np.trace(sum_of(here))
    mixed = told_by(seen_plate_here(0, (40, 12, 22)), seen_by_camera(1, (41, 12, 22), 1.0, (0, 0, 0)))
    _, budget = mixed.corrected(lab, here, PLACE)
    assert np.trace(sum_of(budget)) < 0.2 * np.trace(sum_of(here))
    unknown = [term for term in budget if term.unknown_camera]
    assert len(unknown) == 3, "this camera's, that of photo 1, and this one's by what was known as unsurely"
    kept = [BudgetTerm.from_dict(term.as_dict()) for term in budget]
    assert [term.shared for term in kept if term.unknown_camera] == [term.shared for term in unknown], "once kept too"


def seen_plate_here(index, lab):
    """A plate that was measured."""
    shown = reading_of(
        np.asarray(lab, float),
        BudgetTerm(Source.CAMERA_AND_LIGHT, 4 * np.eye(3), shared="camera and light of here", unknown_camera=True),
    )
    return SeenReference(index, Reference(square(500, 500), Reading(lab, 0.16 * np.eye(3))), shown)


def test_what_an_unknown_camera_brings_into_a_reading_says_so_kept_or_not():
    rng = np.random.default_rng(6)
    picture = scene(Phone.published("B"), "A", Log.drawn(rng), 12, 3, rng)
    reading = read_finish(picture.photo, calibrate(picture.photo, picture.card), picture.outlines[0])
    for one in (reading, Reading.from_dict(reading.as_dict())):
        assert {term.name for term in one.budget if term.unknown_camera} == {Source.CAMERA_AND_LIGHT, Source.TONE_CURVE}


@pytest.mark.parametrize(("camera", "light"), [("B", "A"), ("phone", "FL11")])
def test_a_camera_that_read_the_plates_for_the_log_too_is_not_taken_at_its_own_word(camera, light):
    """Eight plates, all logged from another photograph by the same camera, its card and its light."""
    phone = Phone.phone() if camera == "phone" else Phone.published(camera)
    rng = np.random.default_rng(6)
    log = Log.drawn(rng)
    before, picture = (scene(phone, light, log, 12, 3, rng) for _ in range(2))
    then = calibrate(before.photo, before.card)
    known = [
        Reference(at, read_finish(before.photo, then, was, "finish"), f"plate {which}")
        for (which, at), (_, was) in zip(picture.eight, before.eight, strict=True)
    ]
    beside = calibrate(picture.photo, picture.card, references=known)
    _, held_alone, alone, _ = errors_of(picture, [calibrate(picture.photo, picture.card)] * 12)
    _, held, wide, _ = errors_of(picture, [beside] * 12)
    assert held.mean() >= held_alone.mean()
    assert np.min(wide / alone) > 0.95
    caveats = read_finish(picture.photo, beside, picture.outlines[0]).caveats
    (said,) = [caveat for caveat in caveats if caveat.code == "reference-as-unknown"]
    assert "plate" in said.message and "beside a chart in daylight" in said.message


BY_PROFILE = BudgetTerm(Source.UNLIKE_THE_CHART, np.diag([2.0, 1.0, 1.0]))


def test_beside_a_plate_the_finishes_own_part_of_the_discrepancy_is_left():
    """However surely a plate of this very colour is known, another surface differs from it by what is its own, and no
    less where the discrepancy turns out small."""
    plate = seen_plate(0, (40, 12, 22), sigma=0.01, at=(540, 500))
    _, budget = told_by(plate).corrected(np.array([40.0, 12.0, 22.0]), CAMERA, PLACE)
    assert (np.sqrt(np.diag(sum_of(budget))) > 1.4 * update.SURFACES_OWN).all(), "the plate's own, and the finish's"
    eight = [seen_plate(k, (40 + k, 12, 22), sigma=0.01, at=(500 + 10 * k, 500)) for k in range(8)]
    assert told_by(*eight).size < 0.5
    _, budget = told_by(*eight).corrected(np.array([43.0, 12.0, 22.0]), CAMERA, PLACE)
    assert (np.sqrt(np.diag(sum_of(budget))) > update.SURFACES_OWN).all()


@pytest.mark.parametrize("times", [0.5, 3.0])
def test_the_discrepancys_size_is_that_of_the_errors_shown(times):
    """Eight plates apart in colour, each read off by a draw of the usual discrepancy so many times over.

    Drawn by Cholesky's factor: that of the singular values, which NumPy takes unasked, turns with the machine.
    """
    rng = np.random.default_rng(9)
    labs = np.column_stack([rng.uniform(25, 70, 8), rng.normal(0, 15, (8, 2))])
    places = [(100 + 100 * k, 150 + 200 * (k % 3)) for k in range(8)]

    def told(errors):
        return told_by(*(seen_plate(k, labs[k], errors[k], places[k], sigma=0.05) for k in range(8)))

    usual = told(np.zeros((8, 3)))._alike
    draws = rng.multivariate_normal(np.zeros(24), usual, size=40, method="cholesky").reshape(40, 8, 3)
    assert 0.75 * times < np.median([told(times * draw).size for draw in draws]) < 1.25 * times


def test_a_camera_that_errs_more_than_is_usual_makes_even_what_nothing_was_told_of_less_sure():
    """From the other side: where it errs as usual such a reading stays as it was."""
    far, small = np.array([85.0, 30.0, 60.0]), (BudgetTerm(Source.REGION, 0.3 * np.eye(3)),)
    errors = [(9, -7, 8), (-9, 8, -7), (8, 9, -9), (-8, -9, 9)]

    def read_with_errors(share):
        plates = [
            SeenReference(
                k,
                Reference(square(*at), Reading(lab, 0.16 * np.eye(3))),
                reading_of(np.add(lab, share * np.array(error)), *small),
            )
            for k, (lab, at, error) in enumerate(zip(COLOURS, PLACES, errors, strict=True))
        ]
        return Conditioned(tuple(plates), PHOTO, Discrepancy(USUAL, PICTURE)).corrected(far, small, PLACE)

    _, usual = read_with_errors(0.05)
    assert usual == small
    _, worse = read_with_errors(1.0)
    assert np.trace(sum_of(worse)) > 4 * np.trace(sum_of(small))


def test_the_discrepancy_takes_the_place_of_what_a_profile_leaves_over():
    """It is the same error: counted in both it would be counted twice."""
    own = (BudgetTerm(Source.REGION, 0.1 * np.eye(3)), BY_PROFILE)
    shown = reading_of((40, 12, 22), *own)
    plate = SeenReference(0, Reference(square(500, 500), Reading((40, 12, 22), 0.01 * np.eye(3))), shown)
    told = told_by(plate)
    assert told._own[0][0] @ told._own[0][0].T == pytest.approx(0.01 * np.eye(3) + np.diag(update.SURFACES_OWN**2))
    _, budget = told.corrected(np.array([40.0, 12.0, 22.0]), own, np.array([530.0, 500.0]))
    assert Source.UNLIKE_THE_CHART not in {term.name for term in budget}
    assert Source.CAMERA_LOCALLY in {term.name for term in budget}


def test_what_a_reading_has_of_its_own_is_without_what_it_shares():
    own, shared = BudgetTerm("own", np.diag([0.5, 0.6, 0.4])), BudgetTerm("card", 2 * np.ones((3, 1)), shared="card 7")
    root = own_root(reading_of((40, 12, 22), own, shared))
    assert root @ root.T == pytest.approx(own.covariance, abs=1e-12)


def test_light_moves_lightness_as_the_cube_root_of_it_does():
    """ISO/CIE 11664-4, by differences."""
    lab = np.array([[40.0, 12.0, 22.0], [85.0, -4.0, 6.0]])
    step = 1e-4
    moved = (xyz_to_lab(lab_to_xyz(lab) * np.exp(step)) - xyz_to_lab(lab_to_xyz(lab) * np.exp(-step))) / (2 * step)
    assert brighter(lab) == pytest.approx(moved, rel=1e-4)


def test_what_is_shown_beside_a_reading_is_of_one_colour_with_it(shown):
    """Its palette, and the map of two finishes, are corrected by the same plates as the readings."""
    log, picture = shown
    eight = [Reference(at, log.readings[which]) for which, at in picture.eight]
    calibration = calibrate(picture.photo, picture.card, references=eight)
    first, second = picture.outlines[:2]
    pair = [read_finish(picture.photo, calibration, outline, "finish") for outline in (first, second)]
    colours = read_texture(picture.photo, calibration, first, np.random.default_rng(1), "finish").palette
    mean = xyz_to_lab(sum(colour.share * lab_to_xyz(colour.lab) for colour in colours))
    assert mean == pytest.approx(pair[0].lab, abs=0.6)
    apart = delta_e_map(picture.photo, calibration, first, picture.photo, calibration, second, size=(8, 8))
    assert np.nanmedian(apart) == pytest.approx(float(delta_e_2000(pair[0].lab, pair[1].lab)), abs=0.8)
