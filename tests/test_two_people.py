"""Two people at one thing, each with the studio open: the second is told in a sentence, and nothing is overwritten.

What each of them writes is begun from what they saw; the history keeps what the first wrote.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from matcher.bench.shelf import now
from matcher.bench.work import Piece
from matcher.commissions.commission import Area, Commission
from matcher.commissions.read_again import Owner
from matcher.errors import StudioError
from matcher.studio import Studio
from matcher.tags.code import TagCode
from matcher.trials.facts import facts_of
from matcher.trials.trial import StageReading
from tests.plates import MADE_AT, a_profile, a_reading, a_recipe, a_target, a_trial

Two = tuple[Studio, Studio]


@pytest.fixture
def two(studio: Studio, place: str) -> Iterator[Two]:
    """The studio as Ann has it open, and as Ben has."""
    for n in range(3):
        studio.record(a_trial(30.0 + n))
    with Studio.open(place) as other:
        yield studio, other


def test_a_plate_is_corrected_by_the_first(two: Two) -> None:
    ann, ben = two
    seen = facts_of(ben.trial(1))
    ann.correct(1, replace(facts_of(ann.trial(1)), notes="By Ann."), seen, "Ann")
    with pytest.raises(StudioError, match="was changed meanwhile"):
        ben.correct(1, replace(seen, notes="By Ben."), seen, "Ben")
    assert ben.trial(1).notes == "By Ann."
    assert ben.corrections(1)[0].notes == seen.notes


def test_a_plate_is_said_to_be_right_as_it_was_seen(two: Two) -> None:
    ann, ben = two
    seen = ben.trial(1)
    ann.correct(1, replace(facts_of(seen), notes="By Ann."), facts_of(seen), "Ann")
    with pytest.raises(StudioError, match="Look at plate 1 again first"):
        ben.check_right(1, "Ben", seen)
    assert ben.log.checked([1]) == {}
    ann.check_right(1, "Ann", ann.trial(1))
    assert ben.check_right(1, "Ben", ben.trial(1)) and ben.log.checked([1])[1].who == "Ann", "once is enough"


def test_a_reason_for_setting_a_plate_aside_is_not_lost_by_another(two: Two) -> None:
    ann, ben = two
    ann.set_aside(1, "streaky", "Ann")
    with pytest.raises(StudioError, match=r"^Plate 1 is set aside already \(streaky\): look at it again"):
        ben.set_aside(1, "wrong alloy", "Ben")
    assert ben.set_aside(1, "streaky", "Ben").set_aside == "streaky", "who says the same is told nothing"
    seen = ben.trial(1).set_aside
    ann.take_back(1, "Ann", seen)
    ann.set_aside(1, "overheated", "Ann")
    with pytest.raises(StudioError, match=r"set aside anew meanwhile \(overheated\)"):
        ben.take_back(1, "Ben", seen)
    assert ben.trial(1).set_aside == "overheated"
    told = [(line.what, line.detail) for line in ben.history("trial", 1)]
    assert told == [
        ("recorded", ""), ("set aside", "streaky"), ("taken back", ""), ("set aside", "overheated"),
    ]  # fmt: skip


def test_later_readings_of_both_are_kept(two: Two) -> None:
    ann, ben = two
    ann.add_stage(1, StageReading("waxed", a_reading(31.0)), "Ann")
    ben.add_stage(1, StageReading("waxed", a_reading(32.0)), "Ben")
    assert [round(step.reading.lab[0]) for step in ann.trial(1).stages][-2:] == [31, 32]


def test_a_reading_is_read_again_by_the_first(two: Two) -> None:
    ann, ben = two
    seen, owner = ben.trial(1).reading, Owner("plate", 1)
    ann.readings.replace(owner, a_reading(50.0), seen, "it was daylight", "Ann")
    with pytest.raises(StudioError, match="was read anew meanwhile"):
        ben.readings.replace(owner, a_reading(60.0), seen, "another outline", "Ben")
    assert round(ben.trial(1).reading.lab[0]) == 50
    assert len(ben.readings.earlier("plate", 1)) == 1


def test_a_target_is_changed_by_the_first(two: Two) -> None:
    ann, ben = two
    seen = ann.save_target(a_target())
    ann.change_target(replace(seen, notes="By Ann."), seen, "Ann")
    with pytest.raises(StudioError, match="it was changed meanwhile"):
        ben.change_target(replace(seen, notes="By Ben."), seen, "Ben")
    number = seen.id or 0
    ann.set_target_aside(number, "done", "Ann")
    with pytest.raises(StudioError, match=r"is set aside already \(done\)"):
        ben.set_target_aside(number, "cancelled", "Ben")
    ann.take_target_back(number, "Ann")
    ann.set_target_aside(number, "postponed", "Ann")
    with pytest.raises(StudioError, match=r"set aside anew meanwhile \(postponed\)"):
        ben.take_target_back(number, "Ben", "done")


def test_a_commission_and_its_areas_are_changed_by_the_first(two: Two) -> None:
    ann, ben = two
    kept = ann.commissions.save(Commission("Heron", "bronze", areas=(Area("bird"), Area("base"))), "Ann")
    seen, area = ben.commissions.commission(kept.id or 0), kept.areas[0]
    ann.commissions.change(replace(kept, notes="By Ann."), kept, "Ann")
    with pytest.raises(StudioError, match="meanwhile"):
        ben.commissions.change(replace(seen, notes="By Ben."), seen, "Ben")
    ann.commissions.change_area(replace(area, name="heron"), area, "Ann")
    with pytest.raises(StudioError, match="meanwhile"):
        ben.commissions.change_area(replace(area, name="crane"), area, "Ben")
    first, second = (one.id or 0 for one in kept.areas)
    third = ann.commissions.add_area(kept.id or 0, Area("plinth"), "Ann").id or 0
    with pytest.raises(StudioError, match="meanwhile"):
        ben.commissions.reorder(kept.id or 0, [second, first], [first, second], "Ben")
    ann.commissions.reorder(kept.id or 0, [third, first, second], [first, second, third], "Ann")
    ann.casts.deliver(kept.id or 0, [1], "2026-05-02", "the gallery", "Ann")
    with pytest.raises(StudioError, match="was delivered on 2 May 2026 to the gallery already"):
        ben.casts.deliver(kept.id or 0, [1], "2026-05-03", "", "Ben")
    ann.casts.take_delivery_back(1, "Ann")
    assert ben.casts.take_delivery_back(1, "Ben").taken_back_by == "Ann"
    ann.commissions.set_area_aside(second, "not wanted", "Ann")
    with pytest.raises(StudioError, match="set aside already"):
        ben.commissions.set_area_aside(second, "cast without", "Ben")
    with pytest.raises(StudioError, match="set aside anew meanwhile"):
        ben.commissions.take_area_back(second, "Ben", "cast without")
    ann.commissions.set_aside(kept.id or 0, "postponed", "Ann")
    with pytest.raises(StudioError, match=r"is set aside already \(postponed\)"):
        ben.commissions.set_aside(kept.id or 0, "cancelled", "Ben")
    with pytest.raises(StudioError, match=r"set aside anew meanwhile \(postponed\)"):
        ben.commissions.take_back(kept.id or 0, "Ben", "delivered")
    assert ben.commissions.commission(kept.id or 0).notes == "By Ann."


def test_a_sign_off_that_another_withdrew_is_told(two: Two) -> None:
    ann, ben = two
    target = ann.save_target(a_target())
    kept = ann.commissions.save(Commission("Heron", "silicon bronze", areas=(Area("bird", target_id=target.id),)))
    area = kept.areas[0].id or 0
    signed = ann.sign_offs.sign(area, 1, "A. Quill-Marsh (invented)", "north window", who="Ann")
    with pytest.raises(StudioError, match="is signed off already"):
        ben.sign_offs.sign(area, 2, "A. Quill-Marsh (invented)", "north window", who="Ben")
    ann.sign_offs.withdraw(signed.id or 0, "seen outdoors", "Ann")
    with pytest.raises(StudioError, match=r"was withdrawn already \(seen outdoors\)"):
        ben.sign_offs.withdraw(signed.id or 0, "too green", "Ben")


def test_a_bottle_is_changed_by_the_first_and_what_the_other_changes_beside_it_is_kept(two: Two) -> None:
    ann, ben = two
    ann.save_stock("Fe 1", "ferric nitrate", 400.0, made_at=MADE_AT)
    seen = ben.bottles.stock("Fe 1")
    ann.bottles.change("Fe 1", "Ann", seen, kept_where="cabinet")
    with pytest.raises(StudioError, match="its place was changed meanwhile, to cabinet"):
        ben.bottles.change("Fe 1", "Ben", seen, kept_where="shelf")
    ben.bottles.change("Fe 1", "Ben", seen, opened_at=datetime(2025, 4, 1, tzinfo=UTC))
    after = ann.bottles.stock("Fe 1")
    assert (after.kept_where, after.opened_at) == ("cabinet", datetime(2025, 4, 1, tzinfo=UTC))
    with pytest.raises(StudioError, match="Give the new stock a label of its own"):
        ben.save_stock("Fe 1", "ferric nitrate", 300.0)


def test_a_profile_that_another_retired_or_renamed_is_told(two: Two) -> None:
    ann, ben = two
    ann.save_profile(a_profile("tubes"), "Ann")
    ann.retire_profile("tubes", "the lamp was changed", "Ann")
    with pytest.raises(StudioError, match=r"is retired already \(the lamp was changed\)"):
        ben.retire_profile("tubes", "wrong chart", "Ben")
    with pytest.raises(StudioError, match=r"was retired anew meanwhile \(the lamp was changed\)"):
        ben.take_back_profile("tubes", "Ben", "too old")
    ann.rename_profile("tubes", "old tubes", "Ann")
    with pytest.raises(StudioError):
        ben.rename_profile("tubes", "shop tubes", "Ben")
    ben.save_profile(a_profile("old tubes", red=1.07), "Ben")
    assert len(ann.profiles(include_retired=True)) == 2, "one of a name that is there makes the other one retire"


def test_a_card_of_one_name_is_measured_by_both(two: Two) -> None:
    ann, ben = two
    ann.save_card("bench card", "grey card", (49.0, 0.0, 0.0))
    with pytest.raises(StudioError, match="A card 'bench card' was measured on"):
        ben.save_card("bench card", "grey card", (51.0, 0.0, 0.0), anew=False)
    ben.save_card("bench card", "grey card", (51.0, 0.0, 0.0))
    assert "49.0" in ann.history("card", "bench card")[-1].detail, "the history keeps the other measurement"


def test_a_board_and_a_title_are_chosen_by_the_first(two: Two) -> None:
    ann, ben = two
    seen, title = ben.board_uids, ben.title
    ann.keep_board([1, 2], seen, "Ann")
    with pytest.raises(StudioError, match="another was kept meanwhile"):
        ben.keep_board([2, 3], seen, "Ben")
    assert ben.board_uids == tuple(str(ann.trial(n).uid) for n in (1, 2))
    ann.give_title("Heron Yard", title, "Ann")
    with pytest.raises(StudioError, match="was changed to 'Heron Yard' meanwhile"):
        ben.give_title("Otter Yard", title, "Ben")
    ben.give_title("Otter Yard", "Heron Yard", "Ben")
    lines = [(line.subject, line.who) for line in ann.history("studio") if line.subject in ("board", "title")]
    assert lines == [("board", "Ann"), ("title", "Ann"), ("title", "Ben")]
    assert "Heron Yard" in ann.history("studio", "title")[-1].detail


def test_a_piece_that_is_worked_on_meanwhile_stays_on_the_bench_and_two_have_two_numbers(two: Two) -> None:
    ann, ben = two
    piece = ann.shelf.put(Piece("one", a_recipe()))
    assert ben.shelf.put(Piece("two", a_recipe())).number == piece.number + 1
    seen = ben.shelf.piece("one")
    ann.shelf.change("one", lambda one: one.count(one.at, now()))
    with pytest.raises(StudioError, match="it was worked on meanwhile"):
        ben.shelf.take_off("one", seen)
    assert ben.shelf.put(Piece("one", a_recipe())).counts == ann.shelf.piece("one").counts, "put once, counted on"
    ben.shelf.take_off("one", ben.shelf.piece("one"))
    ann.shelf.take_off("one", seen)
    assert ann.shelf.find("one") is None


def test_a_tag_that_another_gave_meanwhile_is_not_taken(two: Two) -> None:
    ann, ben = two
    first, second = (str(TagCode(ann.tag_signs, number)) for number in (1, 2))
    ann.give_tag(1, first, "Ann")
    ann.give_tag(1, second, "Ann", "the first one came off")
    with pytest.raises(StudioError, match="it was given the tag"):
        ben.take_tag(1, "Ben", "came off", seen=first)
    assert ben.tag_of(1) is not None
