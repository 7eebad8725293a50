"""Several write the same thing at one moment, to a file and to a server: each write is kept, none fails."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest

from matcher.errors import StudioError
from matcher.studio import Studio
from matcher.trials.trial import StageReading
from tests.plates import MADE_AT, a_photograph, a_profile, a_reading, a_target, a_trial

WRITERS, ROUNDS = 4, 4
TRIAL, TARGET = a_trial(), a_target()


def together(place: str, write: Callable[[Studio, int], Any]) -> list[Any]:
    """Let several connections write at once; return what each was given. The first fault is raised again."""
    start = threading.Barrier(WRITERS)
    given: list[Any] = []
    faults: list[BaseException] = []

    def one(number: int) -> None:
        with Studio.open(place) as studio:
            studio.title  # noqa: B018 - the connection is open before the start
            start.wait(30)
            try:
                given.append(write(studio, number))
            except BaseException as error:
                faults.append(error)

    threads = [threading.Thread(target=one, args=(number,)) for number in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if faults:
        raise faults[0]
    return given


def test_later_readings_of_one_plate_are_all_kept(studio: Studio, place: str) -> None:
    studio.record(a_trial(stages=()))
    for round_ in range(ROUNDS):
        together(place, lambda at, n: at.add_stage(1, StageReading(f"round {round_} writer {n}", a_reading())))  # noqa: B023
    assert len({step.stage for step in studio.trial(1).stages}) == ROUNDS * WRITERS


def test_photographs_added_to_one_plate_are_all_kept(studio: Studio, place: str) -> None:
    studio.record(a_trial())
    for round_ in range(ROUNDS):
        hashes = [studio.keep_photo(a_photograph(10 * round_ + n)) for n in range(WRITERS)]
        together(place, lambda at, n: at.add_photo(1, hashes[n]))  # noqa: B023
    assert len(studio.trial(1).photos) == ROUNDS * WRITERS


WRITES: dict[str, Callable[[Studio, str], Any]] = {
    "photograph": lambda at, name: at.keep_photo(a_photograph(int(name)), f"{name}.jpg"),
    "stock": lambda at, name: at.save_stock(name, "ferric nitrate", 400.0, made_at=MADE_AT),
    "card": lambda at, name: at.save_card(name, "grey scale", [(90, 0, 0), (20, 0, 0)], measured_at=MADE_AT),
    "camera profile": lambda at, name: at.save_profile(a_profile(name)),
    "target": lambda at, name: at.save_target(a_target(uid=f"target {name}")).id,
    "trial": lambda at, name: at.record(a_trial(uid=f"trial {name}")).id,
    "draft": lambda at, name: at.save_draft(name, {"typed": "dark brown"}),
}


@pytest.mark.parametrize("kind", WRITES)
def test_the_same_thing_written_at_once_is_kept_once(studio: Studio, place: str, kind: str) -> None:
    for round_ in range(ROUNDS):
        given = together(place, lambda at, _: WRITES[kind](at, str(round_)))  # noqa: B023
        assert len({str(one) for one in given}) == 1
    told = [change for change in studio.history() if change.what in ("saved", "measured", "recorded")]
    assert len(told) == (0 if kind in ("photograph", "draft") else ROUNDS), "each is told of once"


def test_another_thing_of_the_same_name_is_refused_in_a_sentence_or_kept(studio: Studio, place: str) -> None:
    with pytest.raises(StudioError, match="label of its own"):
        together(place, lambda at, n: at.save_stock("Fe-1", "ferric nitrate", 400.0 + n, made_at=MADE_AT))
    assert len(studio.stocks()) == 1
    together(place, lambda at, n: at.save_card("bench card", "grey card", (49.0 + n, 0, 0), measured_at=MADE_AT))
    assert [change.what for change in studio.history("card")] == ["measured", *["measured anew"] * (WRITERS - 1)]
    together(place, lambda at, n: at.save_draft("record", {"typed": n}))
    assert studio.draft("record") in [{"typed": n} for n in range(WRITERS)]


def test_a_profile_taken_in_by_several_is_here_once(studio: Studio, place: str) -> None:
    with pytest.raises(StudioError, match="is here already"):
        together(place, lambda at, n: at.take_in_profile(a_profile().renamed(f"tubes {n}")))
    assert len(studio.profiles(include_retired=True)) == 1
