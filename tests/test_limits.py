"""Today's limits in words and the way out of them; what the log shows that there is; plates to make as a table."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pytest

from matcher.errors import SuggestionError
from matcher.plan.inventory import means_of, one_alloy
from matcher.plan.limits import Limits, way_out
from matcher.reading.reading import PaletteColour, Reading
from matcher.recipe.cautions import cautions_for, cautions_for_all
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.studio import Studio
from matcher.suggest.palettes import is_mottled
from matcher.suggest.suggester import Suggester
from matcher.trials.spreadsheet import planned_table
from matcher.trials.trial import Trial

MIST = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 6, 105.0),))
OVER_DARK = Recipe(
    "tin bronze",
    Undercoat("liver of sulphur", 0.25, 0.5),
    (Coat("ferric nitrate", 0.25, 12, 95.0), Coat("cupric nitrate", 1.0, 2, 110.0)),
    Seal("wax", 3, hot=True),
)
BETWEEN = (54.0, 14.0, 22.0)


def plate(number: int, recipe: Recipe, lightness: float) -> Trial:
    return Trial(recipe=recipe, reading=Reading(lab=np.array([lightness, 14.0, 22.0])), id=number)


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (Limits(), "everything in the log"),
        (
            Limits("silicon bronze", 12, excluded=frozenset({"cupric nitrate"})),
            "silicon bronze; at most 12 passes; without cupric nitrate",
        ),
        (Limits(surface_temp_c=(95.0, 110.0), max_passes=1), "at most 1 pass; metal at 95 to 110 °C"),
        (Limits(surface_temp_c=(0.0, 110.0)), "metal up to 110 °C"),
        (Limits(surface_temp_c=(95.0, 400.0)), "metal from 95 °C"),
        (
            Limits(strengths=(0.25, 0.5), stock=frozenset({"ferric nitrate", "liver of sulphur"})),
            "coats at quarter strength or half strength; only ferric nitrate and liver of sulphur",
        ),
    ],
)
def test_limits_are_said_in_one_line(limits: Limits, words: str) -> None:
    assert limits.in_words() == words


def test_limits_that_exclude_everything_name_the_one_to_lift() -> None:
    said = way_out(Limits("yellow brass", max_passes=20), [MIST, MIST, OVER_DARK])
    assert said.startswith("None of the 3 logged plates keeps within today's limits (yellow brass; at most 20 passes)")
    assert said.endswith("Any alloy would let 3 in again.")


def test_when_no_single_limit_is_to_blame_several_must_be_lifted() -> None:
    said = way_out(Limits("yellow brass", max_passes=1), [MIST, OVER_DARK])
    assert said.endswith("Lifting one of them is not enough: lift several.")


def test_the_log_shows_what_the_studio_has() -> None:
    means = means_of([OVER_DARK, MIST, MIST])
    assert means.alloys == ("silicon bronze", "tin bronze"), "the most used first"
    assert means.all_chemicals == ("ferric nitrate", "cupric nitrate", "liver of sulphur")
    assert means.strengths == (0.25, 0.5, 1.0)
    assert means.temps_c == (95.0, 105.0, 110.0)
    assert means.most_passes == 12
    assert means_of([]).most_passes == 0


def test_a_job_has_an_alloy_when_all_its_plates_agree() -> None:
    assert one_alloy([MIST, MIST]) == "silicon bronze"
    assert one_alloy([MIST, OVER_DARK]) is None
    assert one_alloy([]) is None


def a_row_of_plates() -> list[Trial]:
    """Return eight plates in steps of two passes and L* 6; what lies between was not made."""
    return [
        plate(k, Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 2 * k, 105.0),)), 75 - 6 * k)
        for k in range(1, 9)
    ]


def test_one_plate_of_a_very_weak_solution_does_not_stop_the_predictions() -> None:
    weak = plate(9, Recipe("silicon bronze", None, (Coat("ferric nitrate", 1e-5, 1, 105.0),)), 75)
    ranked = Suggester([*a_row_of_plates(), weak]).suggest(BETWEEN, 5)
    assert "predicted" in {item.basis for item in ranked}


def test_plates_by_palette_are_asked_for_by_a_number_from_one() -> None:
    with pytest.raises(SuggestionError, match="at least 1 plate"):
        Suggester(a_row_of_plates()).palettes(Reading(np.array(BETWEEN)), 0)


def test_the_logged_list_alone_needs_no_model() -> None:
    suggester = Suggester(a_row_of_plates())
    alone = suggester.suggest(BETWEEN, 5, predict=False)
    assert {item.basis for item in alone} == {"logged"}
    assert not suggester._predictor._fits, "nothing was fitted for it"
    everything = suggester.suggest(BETWEEN, 5)
    logged = [item.recipe for item in everything if item.basis == "logged"]
    assert logged == [item.recipe for item in alone][: len(logged)]
    predicted = [item for item in everything if item.basis == "predicted"]
    assert predicted
    for item in predicted:
        assert item.grounds.startswith("Predicted from 8 logged plates, most from plates ")
        assert item.grounds[1:] in item.because


def test_a_trial_read_from_the_log_again_is_not_learned_from_twice() -> None:
    trials = a_row_of_plates()
    suggester = Suggester(trials)
    again = plate(3, trials[2].recipe, 57.0)
    assert suggester.advice(BETWEEN, again).sentence == suggester.advice(BETWEEN, trials[2]).sentence
    once, twice = suggester.advice(BETWEEN, again), suggester.with_trial(again).advice(BETWEEN, again)
    assert once.on_this_piece[0].interval != twice.on_this_piece[0].interval


def test_a_finish_is_mottled_when_its_lights_and_darks_are_two_colours_to_the_eye() -> None:
    lab = np.array([40.0, 14.0, 22.0])
    far = Reading(lab=lab, lights=lab + [6.0, 0, 0], darks=lab - [6.0, 0, 0])
    near = Reading(lab=lab, lights=lab + [1.0, 0, 0], darks=lab - [1.0, 0, 0])
    assert is_mottled(far)
    assert not is_mottled(near)
    assert not is_mottled(Reading(lab=lab, palette=(PaletteColour((40.0, 14.0, 22.0), 1.0),)))


def test_a_table_of_plates_to_make_is_taken_in_once_its_colours_are_filled_in(tmp_path: Path) -> None:
    table = planned_table([MIST, OVER_DARK], ["Expected at ΔE00 1.0", "=a note that looks like a formula"])
    text = table.decode("utf-8-sig")
    assert "'=a note" in text
    filled = list(csv.DictReader(io.StringIO(text)))
    for row, lab in zip(filled, ((41, 12, 20), (30, 8, 11)), strict=True):
        row |= {f"lab_{axis}": str(value) for axis, value in zip("lab", lab, strict=True)}
    with (tmp_path / "filled.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(filled[0]))
        writer.writeheader()
        writer.writerows(filled)
    with Studio.open(tmp_path / "studio") as studio:
        studio.import_file(tmp_path / "filled.csv")
        assert [trial.recipe for trial in studio.trials()] == [MIST, OVER_DARK]
        assert studio.trials()[0].reading.lab.tolist() == [41.0, 12.0, 20.0]


def test_the_cautions_of_a_day_warn_of_solutions_that_never_meet_in_one_recipe() -> None:
    """Polysulphide and acid in one bucket: the caution holds for the bench, not for the plate alone."""
    sulphide = Recipe("silicon bronze", Undercoat("liver of sulphur", 0.5))
    assert "sulphide_meets_acid" not in {c.code for c in (*cautions_for(MIST), *cautions_for(sulphide))}
    day = cautions_for_all([MIST, sulphide])
    assert day[0].code == "sulphide_meets_acid"
    assert day[-1].code == "defer"
    assert len(set(day)) == len(day)
    assert cautions_for_all([OVER_DARK]) == cautions_for(OVER_DARK)
