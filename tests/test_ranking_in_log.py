"""Plates ranked in a log, on PostgreSQL and in a file, must be those of comparing with every plate, ties included."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from matcher.colour.difference import delta_e_2000, near_uniform
from matcher.commissions.read_again import Owner
from matcher.errors import SuggestionError
from matcher.ranking import colour_index, in_log
from matcher.ranking.bound import within
from matcher.ranking.colour_index import NAME, NoIndex
from matcher.ranking.in_log import Among, NearestPlates
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe
from matcher.storage.schema import PlateColourRow, TrialRow
from matcher.studio import Studio
from matcher.trials.trial import Target, Trial
from tests.example_counts import examples

LONG_AGO = datetime(2024, 1, 1, tzinfo=UTC)
ALLOYS, CHEMICALS = ("silicon bronze", "Tin-Bronze", "tin bronze", "brass"), ("ferric nitrate", "cupric nitrate")
any_colour = st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120))


def invented_labs(rng: np.random.Generator, count: int) -> np.ndarray:
    """Colours of which many are alike, some exactly, some on whole numbers, some grey."""
    spread = np.stack([rng.uniform(5, 95, count), rng.normal(8, 15, count), rng.normal(12, 18, count)], 1)
    homes = spread[rng.integers(max(1, count // 8), size=count)]
    labs = np.where(rng.random((count, 1)) < 0.4, homes, spread)
    labs = np.where(rng.random((count, 1)) < 0.3, np.round(labs), labs)
    labs[rng.random(count) < 0.05, 1:] = 0.0
    return np.clip(labs, [0, -100, -100], [100, 100, 100])


def invented_trials(labs: np.ndarray) -> list[Trial]:
    return [
        Trial(
            Recipe(ALLOYS[at % 4], coats=(Coat(CHEMICALS[at % 2], 0.5, 1 + at % 9, 100.0),)),
            Reading(tuple(lab)),
            made_at=LONG_AGO + timedelta(days=at),
        )
        for at, lab in enumerate(labs)
    ]


def brute_force(trials: list[Trial], target: object, count: int) -> tuple[list[int], list[float]]:
    delta = delta_e_2000(target, np.array([trial.reading.lab for trial in trials]).reshape(-1, 3))
    rows = np.argsort(delta, kind="stable")[:count]
    return [trials[row].id or 0 for row in rows], delta[rows].tolist()


def same_list(studio: Studio, trials: list[Trial], target: object, count: int, among: Among = in_log.ALL) -> None:
    ranked = studio.ranking.rank(target, count, among)
    assert (list(ranked.numbers), ranked.delta_e00.tolist()) == brute_force(trials, target, count)


@pytest.fixture
def logged(studio: Studio, monkeypatch: pytest.MonkeyPatch) -> tuple[Studio, list[Trial]]:
    """400 plates, of which few are looked at first, so that the bound has to find the rest."""
    monkeypatch.setattr(in_log, "FIRST", 3)
    monkeypatch.setattr(in_log, "FARTHER", (30,))
    monkeypatch.setattr(in_log, "FIRST_EACH", 1)
    trials = studio.record_all(invented_trials(invented_labs(np.random.default_rng(3), 400)))
    for trial in trials[::17]:
        studio.set_aside(trial.id or 0, "overheated")
    return studio, [trial for at, trial in enumerate(trials) if at % 17]


@examples(60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(target=any_colour, count=st.integers(1, 60))
def test_the_list_equals_brute_force_for_any_target(logged, target, count):
    same_list(*logged, target, count)


@examples(25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10_000), count=st.integers(1, 40))
def test_the_list_equals_brute_force_on_random_logs_beside_their_own_colours(logged, seed, count):
    """The colours of the log are exchanged for others, ties among them; targets are plates and places beside them."""
    studio, trials = logged
    rng = np.random.default_rng(seed)
    labs = invented_labs(rng, len(trials))
    with studio.database.writing() as session:
        for trial, lab, near in zip(trials, labs, near_uniform(labs), strict=True):
            values = dict(zip(("lab_l", "lab_a", "lab_b", "near_l", "near_a", "near_b"), [*lab, *near], strict=True))
            session.execute(sa.update(PlateColourRow).filter_by(trial_id=trial.id).values(values))
    ranking = NearestPlates(studio.database)
    for target in (labs[0], np.clip(labs[1] + rng.normal(size=3), [0, -100, -100], [100, 100, 100])):
        ranked = ranking.rank(target, count)
        delta = delta_e_2000(target, labs)
        rows = np.argsort(delta, kind="stable")[:count]
        assert list(ranked.numbers) == [trials[row].id for row in rows]
        assert ranked.delta_e00.tolist() == delta[rows].tolist()


def test_alloy_chemical_and_day_narrow_the_list(logged):
    studio, trials = logged
    since = LONG_AGO + timedelta(days=200)
    tin = [trial for trial in trials if trial.recipe.alloy.lower().startswith("tin")]
    cupric = [trial for trial in trials if trial.recipe.coats[0].chemical == "cupric nitrate"]
    late = [trial for trial in trials if trial.made_at >= since]
    for target in ((40, 10, 20), (90, -60, 60)):
        same_list(studio, tin, target, 30, Among(alloy="TIN bronze"))
        same_list(studio, cupric, target, 30, Among(chemical="copper nitrate"))
        same_list(studio, late, target, 30, Among(made_since=since))
        both = [trial for trial in tin if trial in cupric and trial in late]
        same_list(studio, both, target, 30, Among("tin-bronze", "cupric nitrate", since))
    with pytest.raises(SuggestionError, match="No plate has 'zinc'"):
        studio.ranking.rank((40, 10, 20), 5, Among(alloy="zinc"))


def test_a_plate_set_aside_taken_back_or_read_again_is_ranked_as_it_stands(logged):
    studio, trials = logged
    plate = trials[5]
    lab = tuple(float(value) for value in plate.reading.lab)
    alike = [trial.id for trial in trials if tuple(trial.reading.lab) == lab]
    assert studio.ranking.rank(lab, len(alike)).numbers == tuple(alike)
    studio.set_aside(plate.id or 0, "burnt")
    assert plate.id not in studio.ranking.rank(lab, 60).numbers
    studio.take_back(plate.id or 0)
    assert plate.id in studio.ranking.rank(lab, len(alike)).numbers
    studio.readings.replace(Owner("plate", plate.id or 0), Reading((99.0, -90.0, 90.0)), plate.reading, "a chart")
    assert studio.ranking.rank((99.0, -90.0, 90.0), 1).numbers == (plate.id,)
    assert plate.id not in studio.ranking.rank(lab, len(alike)).numbers


def test_an_empty_log_has_no_nearest_plate(studio):
    ranked = studio.ranking.rank((40, 10, 20), 5)
    assert ranked.numbers == () and ranked.delta_e00.shape == (0,)


@pytest.mark.parametrize("place", ["postgresql"], indirect=True)
def test_postgresql_finds_them_by_its_index(logged):
    studio, _ = logged
    ranked = studio.ranking.rank((40, 10, 20), 5)
    assert ranked.by == "index" and ranked.compared < 100
    with studio.database.reading() as session:
        assert session.scalar(sa.select(sa.func.to_regclass(NAME))) is not None


@pytest.mark.parametrize("place", ["postgresql"], indirect=True)
def test_without_the_right_to_make_the_index_the_list_is_the_same_and_it_says_so(logged, run):
    """A role that may read and write the tables, but not make an extension in the database."""
    studio, trials = logged
    with studio.database.writing() as session:
        session.execute(sa.text(f"DROP INDEX IF EXISTS {NAME}"))
        session.execute(sa.text("DROP EXTENSION IF EXISTS cube"))
        name = session.scalar(sa.text("SELECT current_database()"))
        session.execute(sa.text("DROP ROLE IF EXISTS without_rights"))
        session.execute(sa.text("CREATE ROLE without_rights LOGIN"))
        session.execute(sa.text(f'GRANT CONNECT ON DATABASE "{name}" TO without_rights'))
        session.execute(sa.text("GRANT ALL ON ALL TABLES IN SCHEMA public TO without_rights"))
    try:
        url = studio.database.engine.url.set(username="without_rights", drivername="postgresql")
        with Studio.open(url.render_as_string(hide_password=False)) as other:
            ranked = other.ranking.rank((40, 10, 20), 7)
            assert (list(ranked.numbers), ranked.delta_e00.tolist()) == brute_force(trials, (40, 10, 20), 7)
            assert ranked.by == "scan" and "CREATE EXTENSION cube" in ranked.why_no_index
            code, out, _ = run("trials", "nearest", "40,10,20", "--studio", url.render_as_string(False))
            assert code == 0 and "CREATE EXTENSION cube" in out
    finally:
        with studio.database.writing() as session:
            session.execute(sa.text("DROP OWNED BY without_rights"))
            session.execute(sa.text("DROP ROLE without_rights"))
    assert colour_index.colour_index(studio.database) == NoIndex()  # who may, makes it again


@examples(300)
@given(target=any_colour, other=any_colour, share=st.floats(0, 1), reach=st.floats(0, 60))
def test_whatever_is_within_a_difference_lies_where_the_bound_says(target, other, share, reach):
    """Near colours too: the other is moved towards the target."""
    goal = np.array(target)
    lab = goal + share**3 * (np.array(other) - goal)
    delta = float(delta_e_2000(goal, lab))
    for most in (reach, delta):
        bound = within(goal, most)
        if bound is None or delta > most:
            continue
        from_target = lab - goal
        axes = np.array([bound.lightness, bound.plane, bound.plane])
        assert np.sum(np.square(from_target / axes)) <= 1
        assert np.all(near_uniform(lab) >= bound.low) and np.all(near_uniform(lab) <= bound.high)


def test_the_bound_is_narrow_enough_to_be_of_use():
    """For a common brown: ΔE00 1 spans some 2 along each axis, and the box is not much wider."""
    bound = within((40, 14, 22), 1.0)
    assert bound is not None
    assert bound.lightness < 1.3 and bound.plane < 3 and np.all(bound.high - bound.low < 3.5)


def test_the_command_lists_them_with_how_far_each_is(logged, told, place):
    studio, trials = logged
    narrow = ("--count", 4, "--alloy", "tin bronze", "--since", "2024-03-01")
    document = told("trials", "nearest", "40,10,20", *narrow, "--studio", place)
    narrowed = [
        trial
        for trial in trials
        if trial.recipe.alloy.lower().startswith("tin") and trial.made_at >= datetime(2024, 3, 1, tzinfo=UTC)
    ]
    numbers, delta = brute_force(narrowed, (40, 10, 20), 4)
    assert [trial["id"] for trial in document["trials"]] == numbers
    assert document["delta_e00"] == [round(value, 4) for value in delta]
    assert document["found_by"] == ("memory" if studio.database.is_sqlite else "index")


def test_a_damaged_plate_is_left_out_and_the_next_takes_its_place(logged):
    studio, trials = logged
    numbers, _ = brute_force(trials, (40, 10, 20), 6)
    with studio.database.writing() as session:
        session.execute(
            sa.text("UPDATE readings SET whole = :bad WHERE trial_id = :plate"),
            {"bad": '{"lab": "none"}', "plate": numbers[1]},
        )
    found = studio.ranking.plates((40, 10, 20), 5)
    assert [trial.id for trial in found.trials] == [numbers[0], *numbers[2:6]]
    assert len(found.delta_e00) == 5


def test_colours_are_kept_with_every_reading_that_is_logged(studio):
    trials = studio.record_all(invented_trials(invented_labs(np.random.default_rng(4), 20)))
    with studio.database.reading() as session:
        kept = {row.trial_id: (row.lab_l, row.lab_a, row.lab_b) for row in session.scalars(sa.select(PlateColourRow))}
        count = session.scalar(sa.select(sa.func.count()).select_from(TrialRow))
    assert kept == {trial.id: tuple(trial.reading.lab) for trial in trials} and count == len(kept)


def test_counts_and_the_newest_are_had_without_reading_the_log(logged, monkeypatch):
    studio, trials = logged
    counting, newest = len(studio.trials()), [trial.id for trial in studio.trials()[-12:][::-1]]
    target = studio.save_target(Target("Heron", Reading((40, 14, 22))))
    made = [studio.record(Trial(plate.recipe, plate.reading, target_id=target.id)) for plate in trials[:3]]
    studio.set_aside(made[2].id or 0, "burnt")
    assert studio.log.last_for(target.id or 0) == made[1].id and studio.log.last_for(10_000) is None
    monkeypatch.setattr(studio.log, "trials", None)
    assert studio.log.count() == counting + 2
    assert [trial.id for trial in studio.log.newest(14)] == [made[1].id, made[0].id, *newest]
