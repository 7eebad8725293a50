"""Whose hand writes: what each role may do in a studio that several share, and whose name a line of history carries."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from matcher import Coat, Reading, Recipe, Studio, Trial
from matcher.errors import StudioError
from matcher.hands import MAY, Hand, Role, Work, ask, at_work, whose
from matcher.trials.trial import Target

PLATE = Trial(
    recipe=Recipe(
        alloy="silicon bronze",
        undercoat=None,
        coats=(Coat("ferric nitrate", 0.25, 4, 105.0, "fine mist"),),
        seal=None,
    ),
    reading=Reading(lab=(38.0, 14.0, 22.0)),
    made_by="Somebody",
)


def hand(role: Role) -> Hand:
    return Hand(f"uid of {role}", f"The {role}", role)


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    studio = Studio.open(tmp_path / "studio")
    studio.record(PLATE)
    return studio


WRITES: dict[Work, tuple[Callable[[Studio], object], ...]] = {
    Work.OWN: (lambda studio: studio.save_draft("record", {"piece": "A"}), lambda studio: studio.drop_draft("record")),
    Work.NOTE: (
        lambda studio: studio.record(replace(PLATE, uid="another")),
        lambda studio: studio.give_tag(1, f"{studio.tag_signs}-0001"),
    ),
    Work.CHANGE: (
        lambda studio: studio.set_aside(1, "scratched"),
        lambda studio: studio.save_target(Target("Hall", Reading(lab=(40.0, 10.0, 20.0)))),
    ),
}


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("work", WRITES)
def test_a_role_does_what_it_may_and_nothing_else(studio: Studio, role: Role, work: Work) -> None:
    for write in WRITES[work]:
        before = studio.log.history()
        with at_work(hand(role)):
            if work in MAY[role]:
                write(studio)
                continue
            with pytest.raises(StudioError, match=rf"^The {role}, as a {role} you may .* ask the studio's owner"):
                write(studio)
        assert studio.log.history() == before


def test_history_is_signed_by_the_one_at_work_whatever_name_was_typed(studio: Studio) -> None:
    with at_work(hand(Role.HELPER)):
        logged = studio.record(replace(PLATE, uid="another"), who="Somebody else")
    assert logged.made_by == "Somebody"
    assert [line.who for line in studio.history("trial", logged.id)] == ["The helper"]


def test_nobody_in_particular_signs_as_before(studio: Studio) -> None:
    studio.set_aside(1, "scratched", who="Ines")
    assert studio.history("trial", 1)[-1].who == "Ines"


def test_whoever_serves_is_asked_whose_hand_it_is(studio: Studio) -> None:
    no_more = ask(lambda: hand(Role.READER))
    try:
        assert whose() == hand(Role.READER)
        with pytest.raises(StudioError):
            studio.set_aside(1, "scratched")
        with at_work(hand(Role.OWNER)):
            studio.set_aside(1, "scratched")
    finally:
        no_more()
    assert whose() is None


def test_each_role_may_more_than_the_one_before() -> None:
    ladder = [MAY[role] for role in (Role.READER, Role.HELPER, Role.PATINEUR, Role.OWNER)]
    assert all(lower < higher for lower, higher in itertools.pairwise(ladder))
