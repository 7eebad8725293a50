"""Plates found among many, against looking at each plate; and the orders that they are laid out in."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.colour.difference import delta_e_2000
from matcher.colour.words_for_colours import SHADES, colour_in_words, colour_shade
from matcher.dates import SHORT, local, shown
from matcher.errors import ReadingError, SuggestionError
from matcher.ranking.finding import FACETS, NONE, SEASONS, Finder, Wanted
from matcher.ranking.made_for import Job, MadeFor
from matcher.reading.reading import Reading
from matcher.recipe.names import canonical
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat, describe
from matcher.trials.trial import Trial
from tests.example_counts import examples

CHEMICALS = ("ferric nitrate", "cupric nitrate", "Iron(III) nitrate", "bismuth nitrate")
MAKERS = ("A.B.", "C.D.", "")
TARGETS = {1: "Heron", 2: "Mill pond"}
BIRD, BARS, REEDS = (
    Job("Fountain (invented)", "Park of Aldmere", "bird"),
    Job("Gate", "", "bars"),
    Job("Fountain (invented)", "Park of Aldmere", "reeds"),
)
MADE_FOR = MadeFor({1: (BIRD, BARS), 9: (BARS,)}, {7: (REEDS,), 8: (REEDS,)})
"""A target of two commissions, one that no plate was made for, and two casts."""


WORDS = ("", "plate", "wax", "2023", "heron H-1", "c.d. ferric", "fountain reeds", "gate, aldmere", "no such word")


@lru_cache(maxsize=1)
def many() -> tuple[Trial, ...]:
    """Return 400 invented plates, some set aside, on days and in seasons of several years."""
    rng = np.random.default_rng(8)

    def plate(number: int) -> Trial:
        coats = tuple(Coat(str(rng.choice(CHEMICALS)), 0.5, 4, 105.0) for _ in range(rng.integers(0, 3)))
        undercoat = Undercoat("liver of sulphur", 0.5) if rng.random() < 0.5 else None
        seal = Seal("wax", 3) if rng.random() < 0.5 else None
        lab = (rng.uniform(5, 90), rng.normal(6, 14), rng.normal(12, 16))
        return Trial(
            Recipe(str(rng.choice(["silicon bronze", "tin bronze"])), undercoat, coats, seal),
            Reading(lab),
            made_at=datetime(2021, 1, 1, 12, tzinfo=UTC) + timedelta(days=float(rng.integers(0, 1500))),
            made_by=str(rng.choice(MAKERS)),
            piece=f"H-{number % 50}",
            target_id=[None, 1, 2][rng.integers(3)],
            set_aside="cracked" if rng.random() < 0.1 else None,
            id=number,
        )

    return tuple(plate(number) for number in range(1, 401))


@lru_cache(maxsize=1)
def finder() -> Finder:
    return Finder(many(), TARGETS, MADE_FOR)


def numbers(trials: tuple[Trial, ...]) -> set[int | None]:
    return {trial.id for trial in trials}


def values(trial: Trial, facet: str) -> set[str]:
    """Return what a plate has of a facet, looked up anew."""
    recipe = trial.recipe
    return {
        "shade": lambda: {colour_shade(trial.reading.lab)},
        "chemical": lambda: {canonical(coat.chemical) for coat in recipe.coats} or {NONE},
        "undercoat": lambda: {canonical(recipe.undercoat.chemical) if recipe.undercoat else NONE},
        "alloy": lambda: {recipe.alloy},
        "seal": lambda: {recipe.seal.kind if recipe.seal else NONE},
        "maker": lambda: {trial.made_by or NONE},
        "season": lambda: {SEASONS[local(trial.made_at).month % 12 // 3]},
        "year": lambda: {str(local(trial.made_at).year)},
        "commission": lambda: {job.commission for job in jobs(trial)} or {NONE},
        "target": lambda: {TARGETS.get(trial.target_id or 0, NONE)},
    }[facet]()


def jobs(trial: Trial) -> tuple[Job, ...]:
    return (*((BIRD, BARS) if trial.target_id == 1 else ()), *((REEDS,) if trial.id in (7, 8) else ()))


def all_choices() -> list[tuple[str, str]]:
    return [(facet, value) for facet in FACETS for value, _ in finder().choices(facet, Wanted(set_aside=True))]


@examples(80)
@given(data=st.data(), aside=st.booleans())
def test_what_is_found_is_what_looking_at_each_plate_finds(data: st.DataObject, aside: bool) -> None:
    picked = data.draw(st.lists(st.sampled_from(all_choices()), max_size=4, unique=True))
    chosen: dict[str, list[str]] = {}
    for facet, value in picked:
        chosen.setdefault(facet, []).append(value)
    words = data.draw(st.sampled_from(WORDS))
    wanted = Wanted(words, (), tuple((facet, tuple(own)) for facet, own in chosen.items()), aside)  # type: ignore[misc]
    found = finder().find(wanted).trials
    expected = {
        trial.id
        for trial in many()
        if (aside or trial.set_aside is None)
        and all(values(trial, facet) & set(own) for facet, own in chosen.items())
        and all(word in row_of(trial) for word in words.casefold().split())
    }
    assert numbers(found) == expected and len(found) == len(expected)


def row_of(trial: Trial) -> str:
    colour, day = colour_in_words(trial.reading.lab), shown(trial.made_at, SHORT)
    parts = (
        f"plate {trial.id}",
        describe(trial.recipe),
        trial.piece,
        trial.made_by,
        day,
        trial.set_aside or "",
        colour,
    )
    name = TARGETS.get(trial.target_id or 0, "")
    job_parts = (f"{job.commission}, {job.area}: {name} {job.client}" for job in jobs(trial))
    return " ".join((*parts, name, *job_parts)).casefold()


@examples(60)
@given(data=st.data())
def test_a_choice_leaves_as_many_as_it_says(data: st.DataObject) -> None:
    facet, value = data.draw(st.sampled_from(all_choices()))
    other, own = data.draw(st.sampled_from([pair for pair in all_choices() if pair[0] != facet]))
    wanted = Wanted(chosen=((other, (own,)),))  # type: ignore[arg-type]
    for choice, count in finder().choices(facet, wanted):  # type: ignore[arg-type]
        both = Wanted(chosen=((other, (own,)), (facet, (choice,))))  # type: ignore[arg-type]
        assert len(finder().find(both).trials) == count > 0
    # What is chosen already does not take the others of its own kind away, and stays though it leave nothing.
    chosen = Wanted(chosen=((other, (own,)), (facet, (value,))))  # type: ignore[arg-type]
    offered = dict(finder().choices(facet, chosen))  # type: ignore[arg-type]
    assert value in offered and offered.items() >= dict(finder().choices(facet, wanted)).items()  # type: ignore[arg-type]


def test_names_that_say_the_same_are_one_choice() -> None:
    offered = dict(finder().choices("chemical"))
    assert "ferric nitrate" in offered and not {"Iron(III) nitrate", "iron(iii) nitrate"} & offered.keys()


@pytest.mark.parametrize("colour", ["brown", "dark green", "black", "warm brown", "greyish brown", "light", "gray"])
def test_a_colour_finds_the_plates_that_are_called_so_and_no_others(colour: str) -> None:
    found = finder().find(Wanted(colours=(colour,))).trials
    wanted = set(colour.replace("gray", "grey").split())
    for trial in many():
        called = {*colour_in_words(trial.reading.lab).split(), *colour_shade(trial.reading.lab).split()}
        if wanted <= called and trial.set_aside is None:
            assert trial.id in numbers(found)
    assert found
    for trial in found:
        name = f"{colour_in_words(trial.reading.lab)} {colour_shade(trial.reading.lab)}"
        assert all(word in name.split() for word in wanted)


def test_a_colour_that_nobody_is_called_is_refused_in_a_sentence() -> None:
    with pytest.raises(
        SuggestionError, match=r"^No plate is called 'mauvish': name a colour as black, grey, .*like\.$"
    ):
        finder().find(Wanted(colours=("mauvish",)))
    with pytest.raises(SuggestionError, match="No plate has 'gold' as its alloy"):
        finder().find(Wanted(chosen=(("alloy", ("gold",)),)))


@examples(30)
@given(lightness=st.floats(5, 90), a=st.floats(-40, 40), b=st.floats(-40, 40))
def test_likeness_goes_by_delta_e00(lightness: float, a: float, b: float) -> None:
    found = finder().find(order="likeness", like=(lightness, a, b))
    assert found.delta_e00 is not None
    assert (np.diff(found.delta_e00) >= 0).all()
    own = [float(delta_e_2000(np.array([lightness, a, b]), trial.reading.lab)) for trial in found.trials]
    np.testing.assert_allclose(found.delta_e00, own)
    assert len(found.trials) == sum(trial.set_aside is None for trial in many())


def test_likeness_to_nothing_or_to_no_colour_is_refused() -> None:
    with pytest.raises(SuggestionError, match="Name the plate or the colour"):
        finder().find(order="likeness")
    with pytest.raises(ReadingError):
        finder().find(order="likeness", like=(1, 2))


def test_by_colour_the_shades_follow_each_other_and_each_goes_from_dark_to_light() -> None:
    found = finder().find(order="colour")
    under = [group.heading for group in found.groups]
    assert under == [shade for shade in SHADES if shade in under]
    at = 0
    for one in found.groups:
        assert one.first == at and one.count
        group = found.trials[at : at + one.count]
        at += one.count
        assert {colour_shade(trial.reading.lab) for trial in group} == {one.heading}
        assert (np.diff([trial.reading.lab[0] for trial in group]) >= 0).all()
    assert at == len(found.trials)


def test_by_date_the_newest_or_the_oldest_come_first_under_their_years() -> None:
    newest, oldest = finder().find(), finder().find(order="oldest")
    assert [trial.id for trial in newest.trials] == [trial.id for trial in reversed(oldest.trials)]
    days = [trial.made_at for trial in oldest.trials]
    assert days == sorted(days)
    assert {group.heading: group.count for group in newest.groups} == Counter(str(local(day).year) for day in days)
    assert [group.heading for group in newest.groups] == sorted(
        {group.heading for group in oldest.groups}, reverse=True
    )


def test_an_empty_log_is_searched_in_vain_and_without_a_fault() -> None:
    empty = Finder(())
    assert empty.find(Wanted("brown", ("brown",)), "likeness", (40, 0, 0)).trials == ()
    assert all(empty.choices(facet) == () for facet in FACETS)
