"""Figures that nobody noted: kept unknown, said so, asked for before the bench starts, learned from with doubt."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from matcher.bench.mixing import mix_recipe
from matcher.bench.passes import course_of_last_coat
from matcher.bench.steps import steps_of
from matcher.bench.wording import look_and_sound, what_goes_on
from matcher.bench.work import Piece
from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.errors import RecipeError
from matcher.plan.inventory import means_of
from matcher.plan.limits import Limits
from matcher.process.learn import fit_process
from matcher.process.unknowns import Usual, fully_known
from matcher.reading.reading import Reading
from matcher.recipe.cautions import cautions_for
from matcher.recipe.recipe import (
    Coat,
    Recipe,
    Seal,
    Undercoat,
    as_compared,
    describe,
    not_noted,
    not_noted_in_words,
)
from matcher.studio import Studio
from matcher.suggest.outliers import at_odds
from matcher.suggest.suggester import Suggester
from matcher.trials.spreadsheet import opened_table
from matcher.trials.trial import Trial
from matcher.typed_in import values
from tests.benchmarks.invented_processes import TEMPS_C, film, recipe_space
from tests.plates import a_trial
from ui.recipe.recipe_form import OLD_NOTES, fields_of, new_plate_of, recipe_of

NOTHING = Recipe(
    "silicon bronze",
    Undercoat("liver of sulphur", None, None),
    (Coat("ferric nitrate", None, None, None), Coat("cupric nitrate", 0.5, 2, None)),
    Seal("wax", None, hot=True),
)
NO_HEAT = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, 6, None),))


def with_passes(passes: int | None, temp: float | None) -> Recipe:
    return Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, passes, temp),))


def old_log() -> list[Trial]:
    """Return eight plates that darken with their passes; of the third nobody noted the heat."""
    return [
        Trial(with_passes(n, None if n == 3 else 100.0 + n), Reading((62 - 3 * n, 14, 24 - n)), id=n)
        for n in range(1, 9)
    ]


def test_what_nobody_noted_is_kept_as_unknown_and_named() -> None:
    assert [(part, field.name) for part, field in not_noted(NOTHING)] == [
        ("Undercoat", "strength"), ("Undercoat", "burnish"),
        ("Coat 1", "strength"), ("Coat 1", "passes"), ("Coat 1", "surface_temp_c"),
        ("Coat 2", "surface_temp_c"), ("Seal", "coats"),
    ]  # fmt: skip
    assert not_noted_in_words(NO_HEAT) == "the surface temperature of the coat"
    assert "coat 2" in not_noted_in_words(NOTHING)
    assert not_noted(a_trial().recipe) == ()
    assert Recipe.from_dict(json.loads(json.dumps(NOTHING.as_dict()))) == NOTHING


def test_it_is_said_and_no_figure_stands_in_its_place() -> None:
    said = describe(NOTHING)
    assert said.count("not noted") == 7
    assert "None" not in said and "nan" not in said
    assert describe(NO_HEAT).endswith("6 passes as fine mist at a temperature not noted; unsealed")
    for step in steps_of(NOTHING):
        assert "None" not in what_goes_on(NOTHING, step)
        assert "None" not in " ".join(look_and_sound(NOTHING, step))
    assert {caution.code for caution in cautions_for(with_passes(6, 105.0))} <= {
        caution.code for caution in cautions_for(NO_HEAT)
    }


def test_an_unknown_figure_is_not_the_same_as_any_known_one() -> None:
    assert as_compared(NO_HEAT) != as_compared(with_passes(6, 105.0))
    apart = [Trial(NO_HEAT, Reading((30, 5, 5)), id=1), Trial(NO_HEAT, Reading((60, 20, 30)), id=2)]
    assert at_odds(apart) == []  # they may well have been laid at different heats
    assert len(at_odds([replace(trial, recipe=with_passes(6, 105.0)) for trial in apart])) == 1


@pytest.mark.parametrize("recipe", [NOTHING, NO_HEAT])
def test_the_log_keeps_it_and_gives_it_back_in_every_way(recipe: Recipe, tmp_path: Path) -> None:
    with Studio.open(tmp_path / "one") as studio:
        studio.record(a_trial(recipe=recipe, stages=()))
        studio.record(a_trial(recipe=a_trial().recipe, stages=()))
        studio.export(tmp_path / "whole.zip")
        studio.export(tmp_path / "table.csv")
        assert studio.trials()[0].recipe == recipe
    for name in ("whole.zip", "table.csv"):
        with Studio.open(tmp_path / f"from {name}") as other:
            assert other.import_file(tmp_path / name).trials == 2
            assert other.import_file(tmp_path / name).trials == 0
            assert other.trials()[0].recipe == recipe


def test_a_studio_of_before_keeps_its_coats_and_its_checks(tmp_path: Path) -> None:
    with Studio.open(tmp_path / "one") as studio:
        studio.record(a_trial(recipe=NO_HEAT, stages=()))
    with sa.create_engine(f"sqlite:///{next((tmp_path / 'one').glob('*.sqlite*'))}").begin() as session:
        (made,) = session.execute(sa.text("SELECT sql FROM sqlite_master WHERE name = 'coats'")).scalars()
        assert "ck_coats_passes" in made and "ck_coats_strength" in made and "fk_coats_stock_stocks" in made
        for wrong in ("passes = 0", "strength_of_stock = 2"):
            with pytest.raises(sa.exc.IntegrityError):
                session.execute(sa.text(f"UPDATE coats SET {wrong}"))


def test_the_command_line_and_an_old_table_say_it_with_a_question_mark(tmp_path: Path) -> None:
    assert values.coat("ferric nitrate,?,6,?") == Coat("ferric nitrate", None, 6, None)
    assert values.undercoat("liver of sulphur,?,?") == Undercoat("liver of sulphur", None, None)
    head = "alloy,coat_1_chemical,coat_1_strength_of_stock,coat_1_passes,coat_1_surface_temp_c,lab_l,lab_a,lab_b\n"
    path = tmp_path / "old.csv"
    path.write_text(f"{head}silicon bronze,ferric nitrate,0.5,?,,38,14,22\n")
    with opened_table(path) as found:
        ((_, trial),) = found
    assert isinstance(trial, Trial) and trial.recipe.coats == (Coat("ferric nitrate", 0.5, None, None),)


def test_the_form_takes_an_empty_figure_only_where_it_was_never_noted() -> None:
    fields = fields_of(NO_HEAT)
    assert fields[OLD_NOTES] and recipe_of(fields) == NO_HEAT
    assert recipe_of({**fields, OLD_NOTES: False}) is None  # still to be filled in
    assert not fields_of(with_passes(6, 105.0))[OLD_NOTES]
    assert recipe_of(new_plate_of(NO_HEAT)) is None, "a plate made now is asked for all of it"


def test_the_bench_and_the_mixing_ask_for_it_before_they_begin(tmp_path: Path) -> None:
    with Studio.open(tmp_path / "one") as studio:
        with pytest.raises(RecipeError, match="surface temperature of the coat before the bench starts"):
            studio.shelf.put(Piece("p", NO_HEAT))
        assert studio.shelf.pieces() == []
    with pytest.raises(RecipeError, match="before the bench starts"):
        course_of_last_coat(NO_HEAT)
    assert mix_recipe(NO_HEAT, 400.0, [], [], datetime.now(UTC)).layers  # heat is nothing to mix by
    with pytest.raises(RecipeError, match="strength of the coat before it is mixed"):
        mix_recipe(replace(NO_HEAT, coats=(Coat("ferric nitrate", None, 6, None),)), 400.0, [], [], datetime.now(UTC))


def test_a_plate_half_known_is_ranked_and_says_what_is_not_known_but_is_never_proposed() -> None:
    suggester = Suggester(old_log())
    found = suggester.suggest((53.0, 14, 21), count=10)
    third = next(item for item in found if item.trial is not None and item.trial.id == 3)
    assert found[0] is third and third.recipe.coats[0].surface_temp_c is None
    assert "The surface temperature of the coat was not noted" in third.because
    others = [item for item in found if item.trial is not third.trial]
    assert all("not noted" not in item.because for item in others)
    proposed = [item.recipe for item in found if item.basis == "predicted"]
    proposed += [item.recipe for item in suggester.batch((50, 14, 20), 3)]
    assert proposed and not any(not_noted(recipe) for recipe in proposed)


def test_advice_on_a_plate_half_known_says_why_it_can_not_be_worked_out() -> None:
    log = old_log()
    advice = Suggester(log).advice((40.0, 14, 18), log[2])
    assert not advice.on_this_piece and not advice.on_the_next
    assert "nobody noted the surface temperature of the coat" in advice.sentence


def test_what_is_not_noted_is_within_no_limit_and_shows_no_means() -> None:
    assert Limits(max_passes=8).allow(NO_HEAT)
    assert not Limits(surface_temp_c=(90.0, 120.0)).allow(NO_HEAT)
    assert not Limits(max_passes=8).allow(NOTHING) and not Limits(strengths=(0.5,)).allow(NOTHING)
    means = means_of([NOTHING, with_passes(4, 101.0)])
    assert (means.temps_c, means.undercoat_strengths, means.most_passes) == ((101.0,), (), 4)


def test_it_is_filled_in_with_what_the_log_uses_and_the_reading_counts_less() -> None:
    log = old_log()
    learned = fully_known(log)
    assert learned[0] is log[0] and learned[2].id == 3
    assert learned[2].recipe.coats[0].surface_temp_c in {trial.recipe.coats[0].surface_temp_c for trial in log} - {None}
    more = learned[2].reading.covariance - log[2].reading.covariance
    assert np.linalg.eigvalsh(more).min() > -1e-9 and np.sqrt(more[0, 0]) > 0.3
    assert not not_noted(Usual.of([]).filled([NOTHING])[0])  # where the log says nothing, the trade does


# Learned from: an invented film process, a third of whose temperatures nobody noted


def a_notebook(seed: int, plates: int, unknown: float) -> tuple[list[Trial], list[Trial], list[Recipe], Floats]:
    """Return a log with some heats unknown, the same without those plates, and unseen recipes with their colours."""
    process, rng, space = film(seed), np.random.default_rng([seed, 7]), recipe_space()
    recipes = [space[row] for row in rng.choice(len(space), plates + 60, replace=False)]
    trials = [process.trial(recipe, rng) for recipe in recipes[:plates]]
    lost = set(rng.choice(plates, round(plates * unknown), replace=False).tolist())
    old = [
        replace(trial, recipe=_without_heat(trial.recipe)) if row in lost else trial for row, trial in enumerate(trials)
    ]
    known = [trial for row, trial in enumerate(trials) if row not in lost]
    unseen = recipes[plates:]
    return old, known, unseen, np.array([process.true(recipe) for recipe in unseen])


def _without_heat(recipe: Recipe) -> Recipe:
    return replace(recipe, coats=(replace(recipe.coats[0], surface_temp_c=None),))


def predicted(log: Sequence[Trial], unseen: list[Recipe], truth: Floats) -> tuple[float, Any]:
    """Return the mean ΔE00 from the truth, and which truths lie within the 95 % regions (chi-square, 3 degrees)."""
    model = fit_process(log)
    labs, covariances = model.predict(model.columns(unseen))
    off = truth - labs
    far = np.einsum("ni,nij,nj->n", off, np.linalg.inv(covariances), off)
    return float(delta_e_2000(truth, labs).mean()), far < 7.815


def test_a_log_with_unknown_heats_predicts_better_than_without_those_plates_and_knows_how_well() -> None:
    better, held = [], []
    for seed in range(900, 906):
        old, known, unseen, truth = a_notebook(seed, 36, 1 / 3)
        assert sum(bool(not_noted(trial.recipe)) for trial in old) == 12 and len(TEMPS_C) == 4
        with_them, within = predicted(old, unseen, truth)
        without, _ = predicted(known, unseen, truth)
        better.append(without - with_them)
        held.append(within)
    assert np.mean(better) > 0.0
    assert 0.9 <= np.mean(held) <= 0.99


def test_what_a_recipe_half_noted_would_give_is_as_unsure_as_what_is_not_known_of_it() -> None:
    held = []
    for seed in range(900, 904):
        _, known, unseen, truth = a_notebook(seed, 36, 1 / 3)
        recipe_predictor = Suggester(known).recipe_predictor(unseen[0])
        for recipe, colour in zip(unseen, truth, strict=True):
            prediction = recipe_predictor.of(_without_heat(recipe))
            off = colour - prediction.lab
            held.append(off @ np.linalg.solve(prediction.covariance, off) < 7.815)  # chi-square, 3 degrees, 95 %
    assert 0.9 <= np.mean(held) <= 0.99


def test_passes_that_nobody_counted_make_the_colour_less_sure_and_two_such_recipes_too() -> None:
    log = old_log()
    recipe_predictor = Suggester(log).recipe_predictor(NO_HEAT)
    whole, uncounted = with_passes(4, 104.0), with_passes(None, 104.0)
    sure, unsure = (np.sqrt(recipe_predictor.of(recipe).covariance[0, 0]) for recipe in (whole, uncounted))
    assert unsure > 3 * sure and unsure > 6.0  # the log's own plates lie up to 21 apart in L*
    assert np.ptp(recipe_predictor.apart(whole, uncounted).delta_e00_interval) > 2 * np.ptp(
        recipe_predictor.apart(whole, with_passes(5, 104)).delta_e00_interval
    )


def test_what_stands_in_for_an_unknown_figure_is_never_handed_out() -> None:
    log = old_log()
    prediction = Suggester(log).predict(with_passes(3, 103.0))
    assert any(not_noted(plate.recipe) for plate in prediction.nearest)
    assert all(plate.recipe == log[(plate.id or 0) - 1].recipe for plate in prediction.nearest)


@pytest.mark.parametrize("field", ["alloy", "chemical"])
def test_a_name_cannot_be_a_figure_that_nobody_noted(field):
    with pytest.raises(RecipeError, match="stands for a figure that nobody noted"):
        Recipe("?") if field == "alloy" else Coat("?", 0.5, 3, 105.0)
