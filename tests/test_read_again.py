"""A kept photograph read again: the same with nothing new, better with what is known by now, the earlier one kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matcher.calibration.calibrate import calibrate
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.card import OWN_DELTA_E00, load_cards
from matcher.card.detect import find_card, neutral_patch
from matcher.commissions.read_again import Owner, card_of, photo_as_read, proposals, read_again, readings_of
from matcher.errors import CardError, ReadingError, StudioError
from matcher.photo.photo import Photo, open_photo
from matcher.reading.exposures import read_frames
from matcher.reading.finish import read_finish
from matcher.reading.reading import CardAsRead, Conditions, Reading
from matcher.studio import Studio
from matcher.trials.trial import StageReading, Target, Trial
from tests.plates import a_recipe, a_trial
from tests.scenes import BROWN, GREY, Scene, box, draw_card, draw_carrier, png

CARDS = load_cards()
CARD, PLATE, INNER = box(80, 200, 260, 340), box(380, 150, 680, 450), box(400, 170, 660, 430)


def bench() -> Scene:
    return Scene().lay(PLATE, BROWN, texture=0.05).lay(CARD, GREY)


def with_card(scene: Scene, **find: Any) -> tuple[Photo, Reading]:
    photo = scene.photo()
    return photo, read_finish(photo, calibrate(photo, find_card(photo, **find), light="daylight"), INNER, "finish")


def test_a_card_is_known_as_well_as_it_was_measured_also_when_its_photograph_is_read_again() -> None:
    """Invented scene: ten times the doubt of the card is ten times that part of the reading's."""
    lab = (49.5, 0.0, 0.0)
    card_part = []
    for to in (0.4, 4.0):
        photo, first = with_card(bench(), lab=lab, measured_to=to)
        again = read_finish(photo, calibrate(photo, card_of(photo, first), light="daylight"), INNER, "finish")
        assert again.covariance == pytest.approx(first.covariance)
        kept = Reading.from_dict(first.as_dict()).conditions
        assert kept is not None and kept.card is not None and kept.card.measured_to == to
        (part,) = [term for term in first.budget if term.shared is not None and "the card" in term.shared]
        card_part.append(float(np.sqrt(np.trace(part.covariance))))
    assert card_part[1] == pytest.approx(10 * card_part[0], rel=1e-6)
    usual = with_card(bench(), lab=lab)[1]
    assert usual.conditions is not None and usual.conditions.card is not None
    assert usual.conditions.card.measured_to == OWN_DELTA_E00
    older = usual.as_dict()
    del older["conditions"]["card"]["measured_to"]
    taken = Reading.from_dict(older).conditions
    assert taken is not None and taken.card == usual.conditions.card, "a reading of an earlier version was to the usual"


def beside_the_chart() -> Scene:
    chart = Scene(1200, 700, lab=(70, 2, 8)).lay_picture(
        box(620, 130, 1080, 420), draw_card(CARDS["24-patch chart"], 240)
    )
    return chart.lay(box(80, 200, 260, 340), GREY).lay(box(300, 150, 560, 450), BROWN)


def on_a_sheet() -> Scene:
    sheet = Scene(1200, 700, lab=(45, 4, 10)).lay_picture(
        box(620, 100, 1150, 600), draw_carrier(CARDS["carrier sheet"])
    )
    return sheet.lay(box(60, 100, 560, 600), BROWN)


WAYS = {
    "found": lambda: with_card(bench()),
    "marked": lambda: with_card(bench(), corners=CARD),
    "measured": lambda: with_card(bench(), corners=CARD, lab=(53.1, 0.4, -0.3)),
}


@pytest.mark.parametrize("way", WAYS)
def test_with_nothing_new_it_is_the_same_reading_to_the_last_digit(way: str) -> None:
    photo, reading = WAYS[way]()
    kept = Reading.from_dict(reading.as_dict())
    assert read_again(photo, kept).as_dict() == reading.as_dict()


@pytest.mark.parametrize("lab", [None, (60.0, 0.5, 1.0)])
def test_so_it_is_by_a_neutral_spot(lab: Any) -> None:
    photo = bench().photo()
    spot = neutral_patch(photo, [(90, 210), (250, 215), (245, 330), (100, 325), (80, 270)], lab)
    reading = read_finish(photo, calibrate(photo, spot), INNER)
    assert read_again(photo, Reading.from_dict(reading.as_dict())).as_dict() == reading.as_dict()


def test_so_it_is_without_a_card() -> None:
    photo = bench().photo()
    reading = read_finish(photo, calibrate(photo, None), INNER)
    assert card_of(photo, reading) is None, "a card that nobody read by is not looked for"
    assert read_again(photo, reading).as_dict() == reading.as_dict()


@pytest.mark.parametrize(
    ("scene", "kind", "plate"),
    [
        (beside_the_chart, "24-patch chart", box(320, 170, 540, 430)),
        (on_a_sheet, "carrier sheet", box(100, 150, 500, 550)),
    ],
)
def test_so_it_is_by_a_chart_and_by_a_carrier_sheet(scene: Any, kind: str, plate: Any) -> None:
    photo = scene().photo()
    reading = read_finish(photo, calibrate(photo, find_card(photo, kind)), plate)
    again = read_again(photo, Reading.from_dict(reading.as_dict()))
    np.testing.assert_allclose(again.lab, reading.lab, atol=1e-9)
    np.testing.assert_allclose(again.covariance, reading.covariance, atol=1e-9)
    assert again.conditions == reading.conditions


def test_what_is_known_by_now_changes_it() -> None:
    photo = bench().photo()
    unknown = read_finish(photo, calibrate(photo, find_card(photo)), INNER)
    daylight = read_again(photo, unknown, light="daylight")
    assert np.trace(daylight.covariance) < 0.7 * np.trace(unknown.covariance)
    np.testing.assert_allclose(daylight.lab, unknown.lab, atol=1e-9)
    smaller = read_again(photo, unknown, region=box(420, 200, 500, 300))
    assert smaller.pixels < unknown.pixels / 3
    darker = read_again(photo, unknown, card=find_card(photo, corners=CARD, lab=(60.0, 0.0, 0.0)))
    assert darker.lab[0] > unknown.lab[0] + 4 and darker.conditions is not None
    assert darker.conditions.card is not None and darker.conditions.card.lab == ((60.0, 0.0, 0.0),)


def test_a_reading_of_an_earlier_version_has_its_card_found_again() -> None:
    photo, reading = with_card(bench())
    document = reading.as_dict()
    document["conditions"] = {"encoding": "sRGB", "light": "daylight"}
    old = Reading.from_dict(document)
    assert old.conditions == Conditions("sRGB", "daylight")
    np.testing.assert_allclose(read_again(photo, old).lab, reading.lab, atol=0.2)
    with pytest.raises(CardError, match="mark its four corners"):
        read_again(Scene().lay(PLATE, BROWN).photo(), old)


def test_a_photograph_overruled_as_linear_is_opened_so_again(tmp_path: Path) -> None:
    path = tmp_path / "plate.png"
    path.write_bytes(png(bench().codes()))
    photo = open_photo(path, encoding="linear")
    reading = read_finish(photo, calibrate(photo, find_card(photo, corners=CARD)), INNER)
    assert photo_as_read(path, reading).encoding == "linear"
    assert read_again(photo_as_read(path, reading), reading).as_dict() == reading.as_dict()


def test_what_one_photograph_does_not_hold_is_asked_for() -> None:
    photos = [bench().photo(exposure=scale) for scale in (1.0, 1.05, 0.95)]
    calibrations = [calibrate(photo, find_card(photo, corners=CARD)) for photo in photos]
    several = read_frames(photos, calibrations, INNER)
    assert several.conditions is not None and several.conditions.exposures == 3
    with pytest.raises(ReadingError, match="3 photographs"):
        read_again(photos[0], several)
    with pytest.raises(ReadingError, match="mark the finish"):
        read_again(photos[0], Reading([40, 1, 2]))


def logged(studio: Studio, light: str = "unknown") -> tuple[Trial, Target, Photo]:
    picture = png(bench().codes())
    sha256 = studio.keep_photo(picture, "plate.png")
    photo = open_photo(picture)
    reading = read_finish(photo, calibrate(photo, find_card(photo), light=light), INNER)
    target = studio.save_target(Target("heron, head (invented)", reading, photo=sha256))
    stages = (StageReading("waxed", reading),)
    return studio.record(Trial(a_recipe(), reading, stages=stages, photos=(sha256,))), target, photo


def test_the_new_reading_counts_and_the_earlier_one_is_kept(studio: Studio) -> None:
    trial, target, photo = logged(studio)
    before = studio.suggester().suggest(target.reading, count=1)[0]
    for owner in (
        Owner("plate", trial.id or 0),
        Owner("plate", trial.id or 0, "waxed"),
        Owner("target", target.id or 0),
    ):
        new = read_again(photo, trial.reading, light="daylight")
        studio.readings.replace(owner, new, trial.reading, "it was daylight", "R. Okonedo-Vale (invented)")
    again = studio.trial(trial.id or 0)
    assert again.reading.as_dict() == again.stages[0].reading.as_dict() == new.as_dict()
    assert studio.target(target.id or 0).reading.as_dict() == new.as_dict()
    main, waxed = studio.readings.earlier("plate", trial.id or 0)
    assert (main.owner.stage, waxed.owner.stage) == ("finished", "waxed") and main.why == "it was daylight"
    assert main.reading.as_dict() == trial.reading.as_dict()
    assert [item.who for item in studio.readings.earlier("target", target.id or 0)] == ["R. Okonedo-Vale (invented)"]
    assert [line.what for line in studio.history("trial", trial.id)][-2:] == ["read again", "read again"]
    after = studio.suggester().suggest(studio.target(target.id or 0).reading, count=1)[0]
    assert after.trial is not None and np.trace(after.trial.reading.covariance) < np.trace(trial.reading.covariance)
    assert before.trial is not None


def test_what_was_read_anew_meanwhile_is_not_overwritten(studio: Studio) -> None:
    trial, _, photo = logged(studio)
    owner, first = Owner("plate", trial.id or 0), read_again(photo, trial.reading, light="daylight")
    studio.readings.replace(owner, first, trial.reading, "it was daylight")
    with pytest.raises(StudioError, match="read anew meanwhile"):
        studio.readings.replace(owner, trial.reading, trial.reading, "no, it was not")
    assert studio.trial(trial.id or 0).reading.as_dict() == first.as_dict()
    for wrong in (Owner("plate", 99), Owner("target", 99), Owner("plate", trial.id or 0, "bare")):
        with pytest.raises(StudioError, match="There is no reading of"):
            studio.readings.replace(wrong, first, trial.reading, "why")
    with pytest.raises(StudioError, match="reason"):
        studio.readings.replace(owner, first, first, " ")


def test_a_new_profile_proposes_what_it_fits_and_nothing_else(studio: Studio) -> None:
    """The chart and the plate are photographed under one light by one camera; another plate stands in a red light."""
    chart = Scene(lab=(70, 2, 8)).lay_picture(box(200, 130, 600, 400), draw_card(CARDS["24-patch chart"], 240)).photo()
    profile = profile_from_chart(chart, find_card(chart, "24-patch chart"), "bench")
    trial, target, _ = logged(studio)
    red = png(bench().codes(cast=(1.9, 1.0, 0.45)))
    sha256, photo = studio.keep_photo(red, "red.png"), open_photo(red)
    elsewhere = read_finish(photo, calibrate(photo, find_card(photo, corners=CARD)), INNER)
    studio.record(a_trial(reading=elsewhere, stages=(), photos=(sha256,)))
    studio.record(a_trial(reading=Reading([40, 10, 20]), stages=(), uid="typed"))
    kept = readings_of(studio.targets(), studio.trials())
    assert len(kept) == 4
    unproven, found = (list(proposals(kept, studio.photo_path, profile, light)) for light in (None, "profile"))
    assert [one.owner for one in unproven] == [one.owner for one in found]
    assert np.trace(unproven[0].after.covariance) > 2 * np.trace(found[0].after.covariance), "its light is not proven"
    assert [one.owner for one in found] == [
        Owner("target", target.id or 0), Owner("plate", trial.id or 0), Owner("plate", trial.id or 0, "waxed"),
    ]  # fmt: skip
    for one in found:
        assert one.after is not None and one.after.conditions is not None and one.after.conditions.profile == "bench"
        assert np.trace(one.after.covariance) < np.trace(one.before.covariance)
        studio.readings.replace(one.owner, one.after, one.before, "read with the profile bench")
    again = readings_of(studio.targets(), studio.trials())
    assert list(proposals(again, studio.photo_path, profile)) == [], "what was read with it is not read again"


def test_the_card_is_kept_as_fields() -> None:
    card = CardAsRead("grey card", ((1.0, 2.0), (3.0, 2.0), (3.0, 4.0), (1.0, 4.0)), "corners", ((50.0, 0.1, 0.2),))
    taken = Conditions("sRGB", "profile", card, "tubes", "glare", 3, True, True)
    assert Conditions.from_dict(taken.as_dict()) == taken
    assert Conditions.from_dict({"encoding": None}) == Conditions()
