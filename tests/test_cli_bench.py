"""The pieces on the bench by the command line: put, listed, counted, read, taken off. Recipes and plates invented."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe
from matcher.studio import Studio
from matcher.trials.trial import Target
from tests.benchmarks.invented_processes import film, recipe_space

STEPS = ("--undercoat", "liver of sulphur,0.5,0.25", "--coat", "ferric nitrate,0.5,6,105", "--seal", "wax,2")
METAL = ("--alloy", "silicon bronze")


@pytest.fixture
def home(tmp_path: Path) -> tuple[str, Path]:
    process, rng, space = film(800), np.random.default_rng(4), recipe_space()
    with Studio.open(tmp_path / "studio") as studio:
        lab = process.true(Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 4, 105.0),)))
        studio.save_target(Target("railing (invented)", Reading(lab=lab), 1.5))
        studio.record_all([process.trial(space[k], rng) for k in rng.choice(len(space), 30, replace=False)])
    return "--studio", tmp_path / "studio"


def test_a_piece_is_put_on_the_bench_counted_step_by_step_and_listed(told: Any, run: Any, home: Any) -> None:
    put = told("bench", "--put", "--target", 1, *METAL, *STEPS, "--mark", "H-7", *home)
    assert put["piece"]["number"] == 1 and put["piece"]["sealed"] == "wax"
    assert put["piece"]["standing"] == "undercoat is next" and put["path"]["last_coat"]
    told("bench", "--put", *METAL, "--coat", "ferric nitrate,0.5,3,105", *home)
    for _ in range(3):  # undercoat, wash, burnish
        told("bench", "--count", "H-7", *home)
    told("bench", "--count", "H-7", *home)
    counted = told("bench", "--count", 1, *home)
    assert counted["piece"]["counts"] == [1, 1, 1, 2, 0]
    assert "liver of sulphur undercoat" in counted["done"] and "2 passes" in counted["done"]
    assert told("bench", "--undo", "H-7", *home)["piece"]["counts"] == [1, 1, 1, 1, 0]
    assert told("bench", "--go-on", "H-7", *home)["piece"]["standing"] == "wax: 0 of 2 coats"
    listed = told("bench", "--list", *home)["pieces"]
    assert [(piece["number"], piece["standing"]) for piece in listed] == [
        (1, "wax: 0 of 2 coats"),
        (2, "ferric nitrate: 0 of 3 passes"),
    ]
    code, out, _ = run("bench", "--count", 2, *home)
    assert code == 0 and "Next: Ferric nitrate, half strength, 105 °C (221 °F), fine mist" in out
    assert "the water flashes off" in out and "nitrogen oxides" in out


def test_a_reading_of_a_piece_corrects_its_path(told: Any, home: Any) -> None:
    told("bench", "--put", "--target", 1, *METAL, "--coat", "ferric nitrate,0.5,8,105", *home)
    for _ in range(3):
        before = told("bench", "--count", 1, *home)
    slow = film(800).true(Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 1, 105.0),)))
    lab = ",".join(f"{value:.2f}" for value in slow)
    after = told("bench", "--show", 1, "--reading", lab, *home)
    assert after["path"]["remaining"] > before["path"]["remaining"]
    assert [reading["passes"] for reading in after["path"]["readings"]] == [3]


def test_a_piece_is_taken_off_only_when_it_is_said_twice(told: Any, refused: Any, home: Any) -> None:
    told("bench", "--put", *METAL, "--coat", "ferric nitrate,0.5,3,105", *home)
    told("bench", "--count", 1, *home)
    assert "1 pass would be gone for good. Add --yes" in refused("bench", "--take-off", 1, *home)
    assert len(told("bench", "--list", *home)["pieces"]) == 1
    told("bench", "--take-off", 1, "--yes", *home)
    assert told("bench", "--list", *home)["pieces"] == []


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (("--count", "9"), "no piece on the bench has it"),
        (("--undo", "1"), "Nothing was counted yet"),
        (("--reading", "40,14,22"), "with --show PIECE"),
        (("--put", "--lab", "40,14,22"), "Keep the target first"),
        (("--put",), "Say which recipe goes on the bench"),
        (("--list", "--count", "1"), "not allowed with"),
    ],
)
def test_what_cannot_be_done_at_the_bench_is_told(
    told: Any, refused: Any, home: Any, asked: tuple[str, ...], said: str
) -> None:
    told("bench", "--put", *METAL, "--coat", "ferric nitrate,0.5,3,105", *home)
    assert said in refused("bench", *asked, *home)
    assert [piece["counts"] for piece in told("bench", "--list", *home)["pieces"]] == [[0]]


def test_a_piece_goes_from_the_bench_into_the_log_as_it_was_done(told: Any, refused: Any, home: Any) -> None:
    told("bench", "--put", "--target", 1, *METAL, *STEPS, "--mark", "H-7", *home)
    for _ in range(5):  # undercoat, wash, burnish, two passes
        told("bench", "--count", "H-7", *home)
    told("bench", "--show", "H-7", "--reading", "52,12,26", *home)
    told("bench", "--count", "H-7", *home)
    log = ("record", "--from-bench", "H-7", "--lab", "48,12,25", *home)
    assert "Give --from-bench alone" in refused(*log, "--after", "2:52,12,26")
    trial = told(*log)["trial"]
    assert trial["recipe"]["coats"][0]["passes"] == 3 and trial["recipe"]["undercoat"]["burnish"] == 0.25
    assert trial["recipe"]["seal"] is None, "no coat of wax was counted"
    assert (trial["piece"], trial["target_id"]) == ("H-7", 1)
    assert [step["stage"] for step in trial["stages"]] == ["pass 2"]
    assert told("bench", "--list", *home)["pieces"] == []
    assert "no piece on the bench has it" in refused(*log)
