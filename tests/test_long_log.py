"""A log too long to be read whole is searched where it lies: the same plates in the same order as in memory."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from matcher.colour.words_for_colours import shade_place
from matcher.commissions.commission import Area, Commission
from matcher.commissions.read_again import Owner
from matcher.errors import ReadingError, SuggestionError, UnavailableError
from matcher.ranking import long_log
from matcher.ranking.finding import ANY, FACETS, NONE, Finder, Found, Order, Wanted
from matcher.ranking.long_log import LongLogFinder
from matcher.ranking.made_for import made_for
from matcher.reading.reading import Reading
from matcher.storage.schema import PlateColourRow
from matcher.studio import Studio
from matcher.trials.trial import Target
from tests.example_counts import examples
from tests.test_finding import many

WORDS = (
    "ferric",
    "liver",
    "wax",
    "2022",
    "a.b.",
    "heron",
    "fountain bird",
    "reeds",
    "12",
    "brown",
    "105",
    "nothing-of-the-kind",
)
COUNT = 160
COLOURS = ("brown", "dark green", "grey", "olive")


@pytest.fixture
def both(studio: Studio, monkeypatch: pytest.MonkeyPatch) -> tuple[Finder, LongLogFinder]:
    """Invented plates and two targets, to be found in memory and where they lie, in small portions."""
    monkeypatch.setattr(long_log, "READ_WHOLE", 100)
    monkeypatch.setattr(long_log, "PORTION", 23)
    monkeypatch.setattr(long_log, "MOST_LOOKED_AT", 90)
    for name in ("Heron", "Mill pond"):
        studio.save_target(Target(name, Reading((40, 10, 20))))
    kept = studio.commissions.save(
        Commission("Fountain", "silicon bronze", "Park of Aldmere", areas=(Area("bird", target_id=1), Area("reeds")))
    )
    studio.record_all([replace(trial, id=None, set_aside=None) for trial in many()[:COUNT]])
    for trial in many()[:COUNT]:
        if trial.set_aside is not None:
            studio.set_aside(trial.id or 0, trial.set_aside)
    cast = next(trial for trial in studio.trials() if trial.target_id is None)
    studio.casts.note(cast.id or 0, kept.areas[1].id or 0, 1)
    jobs = made_for(studio.database)
    assert list(jobs.of_plate) == [cast.id] and list(jobs.of_target) == [1]
    names = {target.id or 0: target.name for target in studio.targets()}
    long = studio.finder()
    assert isinstance(long, LongLogFinder) and studio.finder() is long
    return Finder(studio.trials(include_set_aside=True), names, jobs), long


def to_the_end(finder: LongLogFinder, wanted: Wanted, order: Order, like: object, step: int) -> Found:
    """Ask for more and more, as one scrolls, and look further wherever the search halts."""
    most, looks, before = step, 1, 0
    while True:
        found = finder.find(wanted, order, like, most, looks)
        again = finder.find(wanted, order, like, most, looks)
        assert again.trials == found.trials and again.looked_through == found.looked_through
        assert len(found.trials) <= most
        if found.total is not None:
            assert found.total == len(found.trials) and not found.left and found.looked_through is None
            return found
        if found.looked_through is not None:
            assert (
                before < found.looked_through < most + looks * long_log.MOST_LOOKED_AT + long_log.PORTION
                and len(found.trials) < most
            )
            before, looks = found.looked_through, looks + 1
        else:
            assert len(found.trials) == most
            most += step


wanted_plates = st.builds(
    Wanted,
    words=st.one_of(st.just(""), st.sampled_from(WORDS)),
    colours=st.one_of(st.just(()), st.tuples(st.sampled_from(COLOURS))),
    chosen=st.lists(st.tuples(st.sampled_from(FACETS), st.integers(0, 99)), max_size=3),
    set_aside=st.booleans(),
)


@examples(60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    wanted=wanted_plates,
    order=st.sampled_from(["newest", "oldest", "colour", "likeness", "number"]),
    step=st.sampled_from([5, 40, 1000]),
)
def test_it_finds_what_is_found_in_memory_in_the_same_order(both, wanted, order, step):
    memory, long = both
    chosen = [(facet, memory.choices(facet, Wanted(set_aside=True)), at) for facet, at in wanted.chosen]
    wanted = replace(wanted, chosen=tuple((facet, (known[at % len(known)][0],)) for facet, known, at in chosen))
    like = (38.0, 12.0, 20.0) if order == "likeness" else None
    expected = memory.find(wanted, order, like)
    found = to_the_end(long, wanted, order, like, step)
    assert [trial.id for trial in found.trials] == [trial.id for trial in expected.trials]
    assert [(group.heading, group.first) for group in found.groups] == [
        (group.heading, group.first) for group in expected.groups
    ]
    if like is not None:
        np.testing.assert_array_equal(found.delta_e00, expected.delta_e00)
    assert all(group.count is None for group in found.groups)


def test_it_offers_every_value_that_some_plate_has(both, monkeypatch):
    memory, long = both
    monkeypatch.setattr(long_log, "PORTION", 500)
    for facet in FACETS:
        offered = long.choices(facet)
        assert {value for value, _ in memory.choices(facet, Wanted(set_aside=True))} <= {value for value, _ in offered}
        assert all(count is None for _, count in offered)
        for value, _ in offered:
            if value == NONE or facet in ("season", "year"):  # offered whether or not a plate has it
                continue
            assert to_the_end(long, Wanted(chosen=((facet, (value,)),), set_aside=True), "number", None, 500).trials


def test_what_is_no_search_is_refused_as_in_memory(both):
    for finder in both:
        with pytest.raises(SuggestionError, match="No plate has 'zinc' as its alloy"):
            finder.find(Wanted(chosen=(("alloy", ("zinc",)),)))
        with pytest.raises(SuggestionError, match="Name the plate or the colour"):
            finder.find(order="likeness")
        with pytest.raises(SuggestionError, match="No plate is called"):
            finder.find(Wanted(colours=("chartreuse",)))
        with pytest.raises(SuggestionError, match="one plate or more"):
            finder.find(most=0)
        with pytest.raises(ReadingError):
            finder.find(order="likeness", like=(1, 2))


def test_plates_are_there_by_their_numbers(both):
    memory, long = both
    for finder in both:
        assert [trial.id for trial in finder.plates([7, 4, 9999, 0, -3, 2**70])] == [7, 4]
    assert memory.count == long.count == COUNT


def test_another_log_is_another_finder_and_a_plate_read_again_moves(both, studio):
    _, long = both
    plate = studio.trial(9)
    studio.readings.replace(Owner("plate", 9), Reading((97.0, 0.0, 1.0)), plate.reading, "a chart")
    again = studio.finder()
    assert again is not long
    white = to_the_end(again, Wanted(chosen=(("shade", ("white",)),)), "colour", None, 100)
    assert 9 in [trial.id for trial in white.trials]
    assert again.find(order="likeness", like=(97.0, 0.0, 1.0), most=1).trials[0].id == 9
    with studio.database.reading() as session:
        rows = session.scalars(sa.select(PlateColourRow)).all()
        assert [row.shade for row in rows] == [shade_place((row.lab_l, row.lab_a, row.lab_b)) for row in rows]


@pytest.mark.parametrize("order", ["newest", "likeness"])
def test_a_search_that_was_broken_off_goes_on_where_it_stood(both, order, monkeypatch):
    """A database that goes away in the midst of it must not make what was found so far look like all there is."""
    memory, long = both
    like = (38.0, 12.0, 20.0) if order == "likeness" else None
    expected = [trial.id for trial in memory.find(ANY, order, like).trials]
    assert [trial.id for trial in long.find(ANY, order, like, 30).trials] == expected[:30]

    def away(*_: object, **__: object) -> None:
        raise UnavailableError("It is away.")

    for name in ("plates", "_of_the_colours" if order == "newest" else "plates"):
        with monkeypatch.context() as broken:
            broken.setattr(LongLogFinder if name == "plates" else long_log._Walk, name, away)
            with pytest.raises(UnavailableError):
                long.find(ANY, order, like, 60)
    assert [trial.id for trial in to_the_end(long, ANY, order, like, 60).trials] == expected
