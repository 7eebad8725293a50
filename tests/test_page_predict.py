"""What would it give?, on the page: moving a recipe moves the colour and fits nothing; a second one beside it."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from matcher import Coat, Reading, Recipe, Studio, Target, Undercoat
from matcher.colour.words_for_colours import colour_in_words
from matcher.suggest import predictor
from tests.app_pages import plain
from tests.benchmarks.invented_processes import film, recipe_space
from ui.recipe.mix_link import PREDICTED
from ui.recipe.recipe_form import recipe_of
from ui.state.places import PREDICT

APP = Path(__file__).parents[1] / "ui" / "app.py"
RECIPE = Recipe("silicon bronze", Undercoat("liver of sulphur", 0.5, 0.25), (Coat("ferric nitrate", 0.5, 5, 105.0),))


@pytest.fixture
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Studio]:
    """A studio of 16 plates of an invented process, the last of a known recipe, and a target."""
    process, rng, space = film(800), np.random.default_rng(4), recipe_space()
    with Studio.open(tmp_path / "studio") as opened:
        opened.record_all([process.trial(space[k], rng) for k in rng.choice(len(space), 15, replace=False)])
        opened.record(process.trial(RECIPE, rng))
        opened.save_target(Target("railing (invented)", Reading(np.array([38.0, 14.0, 22.0])), 1.5))
        monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
        yield opened


def opened() -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=120).run()
    return app.switch_page(PREDICT.file).run()


def said(app: AppTest) -> str:
    assert not app.exception
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", plain(element.proto.body)) for element in app.get("html")))


def slider(app: AppTest, label: str) -> Any:
    return next(one for one in app.slider if one.label.startswith(label))


def button(app: AppTest, label: str) -> Any:
    return next(one for one in app.button if one.label == label)


def test_moving_the_recipe_moves_the_colour_and_fits_nothing_anew(studio, monkeypatch):
    fits = []
    real = predictor.fit_process
    monkeypatch.setattr(predictor, "fit_process", lambda *rest: fits.append(1) or real(*rest))
    app = opened()
    first = said(app)
    assert len(fits) == 1 and "to come within ΔE00 1.5 of railing (invented)" in first
    for label, value in (("Passes", 9), ("Strength", 0.75), ("Surface", 112.0), ("Burnished", 0.5), ("Undercoat", 0.3)):
        slider(app, label).set_value(value).run()
    moved = replace(
        RECIPE, undercoat=Undercoat("liver of sulphur", 0.3, 0.5), coats=(Coat("ferric nitrate", 0.75, 9, 112.0),)
    )
    assert recipe_of(studio.draft(PREDICTED)) == moved
    prediction = studio.suggester().predict(moved)
    figures = ", ".join(f"{name} {value:.1f}" for name, value in zip(("L*", "a*", "b*"), prediction.lab, strict=True))
    faces = [plain(element.proto.body) for element in app.get("html")]
    assert any(f"this recipe: {figures}" in face for face in faces)
    assert len(fits) == 2  # the second is the test's own, by another tolerance
    assert "112 °C (234 °F)" in slider(app, "Surface").label


def test_a_second_recipe_stands_beside_the_one_kept_until_it_is_dropped(studio):
    app = opened()
    button(app, "Keep this one to compare").click().run()
    slider(app, "Passes").set_value(12).run()
    apart = studio.suggester().recipe_predictor(RECIPE)
    words = apart.apart(RECIPE, replace(RECIPE, coats=(replace(RECIPE.coats[0], passes=12),)), "")
    told = said(app)
    assert f"Against the one kept: {words.difference.rstrip()}" in told
    low, high = words.delta_e00_interval
    assert f"ΔE00 {words.delta_e00:.1f}  95 %: {low:.1f} to {high:.1f}" in re.sub(r"\s\s+", "  ", told)
    button(app, "Drop the one kept").click().run()
    assert "Against the one kept" not in said(app)


def test_without_a_target_the_colour_is_said(studio):
    app = opened()
    app.selectbox[0].set_value(0).run()
    lab = studio.suggester().predict(RECIPE).lab
    assert colour_in_words(lab) in said(app).lower() and "to come within" not in said(app)


def test_the_whole_recipe_can_be_changed_and_then_moved_on(studio):
    app = opened()
    app.segmented_control[0].set_value("The whole recipe").run()
    button(app, "Add a coat").click().run()
    app.segmented_control[0].set_value("Move it").run()
    assert not app.exception and len([one for one in app.slider if one.label.startswith("Passes")]) == 2
    assert slider(app, "Passes").value == 5
    assert len(recipe_of(studio.draft(PREDICTED)).coats) == 2


@pytest.mark.parametrize(
    ("field", "typed", "label", "stands"),
    [
        ("Passes", 0, "Passes", 1),
        ("Passes", 900, "Passes", 200),
        ("Strength", 0.0, "Strength", 0.05),
        ("Strength", 7.0, "Strength", 1.0),
        ("Surface", 900.0, "Surface", 400.0),
    ],
)
def test_a_figure_that_no_recipe_holds_is_refused_and_the_slider_stands_as_near_as_it_can(
    studio, field, typed, label, stands
):
    app = opened()
    app.segmented_control[0].set_value("The whole recipe").run()
    number = [one for one in app.number_input if one.label.startswith(field)][-1]  # the coat's, not the undercoat's
    number.set_value(typed).run()
    said(app)
    app.segmented_control[0].set_value("Move it").run()
    said(app)
    assert slider(app, label).value == pytest.approx(stands)
    assert slider(app, label).set_value(slider(app, label).value).run().exception == []


def test_another_plate_can_be_started_from_and_a_slip_in_its_number_is_said(studio):
    app = opened()
    app.number_input[0].set_value(99).run()
    assert "There is no plate 99" in said(app)
    app.number_input[0].set_value(3).run()
    assert recipe_of(studio.draft(PREDICTED)) == studio.trial(3).recipe


def test_what_nobody_noted_is_filled_in_and_said(studio):
    lacking = replace(RECIPE, coats=(replace(RECIPE.coats[0], surface_temp_c=None),))
    studio.record(replace(film(800).trial(RECIPE, np.random.default_rng(1)), recipe=lacking))
    app = opened()
    assert "Nobody noted the surface temperature of the coat of Plate 17" in said(app)
    assert slider(app, "Surface").value is not None


def test_the_recipe_goes_to_the_bench_as_it_was_moved(studio):
    app = opened()
    slider(app, "Passes").set_value(7).run()
    button(app, "Make this plate").click().run()
    assert not app.exception and studio.draft("bench")["offered"]["coats"][0]["passes"] == 7


def test_a_plate_leads_here_with_its_recipe(studio):
    app = AppTest.from_file(str(APP), default_timeout=120).run()
    app.switch_page("screens/log.py")
    app.query_params["plate"] = "4"
    app.run()
    button(app, PREDICT.title).click().run()
    assert not app.exception and recipe_of(studio.draft(PREDICTED)) == studio.trial(4).recipe


def test_an_empty_log_leads_to_the_first_plates(tmp_path, monkeypatch):
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "none"))
    assert "No plate is logged yet" in said(opened())
