"""The page of solutions without a browser: the shelf, making a bottle, mixing for a recipe, noting what was used."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from matcher.bench.shelf import new_uid
from matcher.bench.work import Piece
from matcher.dates import now
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.studio import Studio
from matcher.trials.stocks import SolutionUse, Stock
from matcher.trials.trial import Trial
from tests.app_pages import plain
from tests.browser import page_file
from ui.recipe.piece import FORM

APP = Path(__file__).parents[1] / "ui" / "app.py"
FE = Stock(
    "Fe 12",
    "ferric nitrate",
    400.0,
    "A7",
    formula="Fe(NO3)3·9H2O",
    made_by="Ana",
    kept_where="cabinet",
    volume_ml=1000.0,
)
NEWER = Stock("Fe 13", "ferric nitrate", 500.0, formula="Fe(NO3)3·9H2O")
OLD = Stock("LS <3>", "liver of sulphur", 50.0, "", now() - timedelta(days=60), kept_where="cabinet")
RECIPE = Recipe(
    "silicon bronze", Undercoat("liver of sulphur", 0.5), (Coat("ferric nitrate", 0.5, 10, 105.0, stock="Fe 12"),)
)


@pytest.fixture
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Studio]:
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    with Studio.open(tmp_path / "studio") as opened:
        yield opened


def opened(screen: str = "solutions", **query: str) -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=120).run()
    app.switch_page(page_file(screen))
    for name, value in query.items():
        app.query_params[name] = value
    return app.run()


def said(app: AppTest) -> str:
    assert not app.exception
    bodies = " ".join(re.sub(r"<[^>]+>", " ", plain(element.proto.body)) for element in app.get("html"))
    return " ".join(html.unescape(bodies).split())


def field(app: AppTest, kind: str, label: str):
    return next(widget for widget in getattr(app, kind) if widget.label == label)


def press(app: AppTest, label: str) -> AppTest:
    return next(button for button in app.button if button.label == label).click().run()


def test_an_empty_shelf_says_what_to_do(studio: Studio) -> None:
    assert "No bottle is on the shelf yet. Make the first one" in said(opened())
    assert "Weigh 200 g" in said(press(opened(), "Make the first bottle"))
    assert "Make a bottle first" in said(opened(part="used"))
    assert "Choose a recipe above" in said(opened(part="mix"))


def test_the_shelf_shows_strength_age_hazards_and_what_must_not_stand_side_by_side(studio: Studio) -> None:
    for stock in (FE, OLD):
        studio.bottles.save(stock)
    words = said(opened())
    for part in (
        "Fe 12 ferric nitrate, 400 g/L of Fe(NO3)3·9H2O", "made today, by Ana · not opened yet · about 1,000 ml left",
        "Warning May be corrosive to metals.", "LS <3>", "This liver of sulphur is 8 weeks old.",
        "Don't keep these side by side (cabinet).", "safety data sheet decides",
    ):  # fmt: skip
        assert part in words


def test_what_became_of_a_bottle_is_noted_on_the_shelf(studio: Studio) -> None:
    studio.bottles.save(FE)
    app = press(opened(), "Opened")
    assert "opened" in said(app) and studio.bottles.stock("Fe 12").opened_at is not None
    field(app, "text_input", "Where it stands now").set_value("window").run()
    app = press(app, "Note the place")
    assert studio.bottles.stock("Fe 12").kept_where == "window"
    app = press(app, "Yes, it is used up")
    assert "Every bottle is used up" in said(app)
    press(app, "Not used up after all")
    assert studio.bottles.stock("Fe 12").used_up_at is None


def test_a_bottle_is_made_from_the_hydrate_at_hand_and_goes_onto_the_shelf(studio: Studio) -> None:
    """By hand: 400 g/L of the nonahydrate is 346.47 g/L of the hexahydrate: 173.2 g in half a litre."""
    app = opened(part="make")
    assert "Weigh 200 g of ferric nitrate and fill up to 500 ml" in said(app)
    field(app, "text_input", "Salt at hand, with its water").set_value("Fe(NO3)3·6H2O").run()
    field(app, "toggle", "Those grams are of another form of the salt").set_value(True).run()
    field(app, "text_input", "Those grams are of").set_value("Fe(NO3)3·9H2O").run()
    assert "Weigh 173.2 g of Fe(NO3)3·6H2O and fill up to 500 ml: 346.4 g/L." in said(app)
    assert "Acid into water, never water into acid." in said(app) and "May intensify fire; oxidizer." in said(app)
    app = press(app, "Put it on the shelf")
    assert "Give the stock's label" in said(app) and studio.stocks() == []
    field(app, "text_input", "Label on the bottle").set_value("Fe 14").run()
    field(app, "text_input", "Made by").set_value("Bo").run()
    assert "Fe 14 is on the shelf." in said(press(app, "Put it on the shelf"))
    (stock,) = studio.stocks()
    assert (stock.label, stock.formula, stock.made_by) == ("Fe 14", "Fe(NO3)3·6H2O", "Bo")
    assert stock.grams_per_litre == pytest.approx(346.4) and stock.volume_ml == 500.0
    assert studio.draft("bottle") is None


def test_what_is_half_typed_of_a_bottle_comes_back_and_what_cannot_be_is_said(studio: Studio) -> None:
    app = opened(part="make")
    field(app, "text_input", "Salt at hand, with its water").set_value("rust").run()
    assert "Check the formula 'rust'" in said(app)
    again = opened(part="make")
    assert field(again, "text_input", "Salt at hand, with its water").value == "rust"
    assert "Check the formula" in said(press(again, "Put it on the shelf")) and studio.stocks() == []


def test_the_way_from_a_plate_leads_to_what_is_poured_and_on_to_the_bench(studio: Studio) -> None:
    for stock in (FE, NEWER, OLD):
        studio.bottles.save(stock)
    for _ in range(5):
        studio.bottles.note_use(SolutionUse("Fe 12", 0.5, 5.0, 100.0, 10, "fine mist"))
    plate = studio.record(Trial(RECIPE, Reading(lab=(38.0, 14.0, 22.0))))
    assert "Plate 1" in str(
        field(press(opened("log", plate=str(plate.id)), "What to mix"), "selectbox", "Another recipe")
    )
    app = opened(part="mix")  # a test's own page does not stay where a button led
    field(app, "number_input", "Area, cm²").set_value(400.0).run()
    words = said(app)
    # by hand: 0.5 ml a pass on 100 cm², so 20 ml for 400 cm² and ten passes, and a fifth to spare
    assert "12 ml water, first 12 ml Fe 12, stirred in" in words and "That is half strength." in words
    assert "from 5 noted uses" in words and "Keep liver of sulphur apart from ferric nitrate" in words
    assert "The recipe names no bottle of liver of sulphur" in words
    choose = [widget for widget in app.selectbox if widget.label == "From the bottle"]
    choose[-1].set_value("Fe 13").run()
    assert "Half strength of Fe 12 is 0.4 of stock from Fe 13" in said(app)
    app = press(app, "Take it to the bench with these bottles")
    offered = Recipe.from_dict((studio.draft(FORM) or {})["offered"])
    assert offered.coats[0].strength == pytest.approx(0.4) and offered.coats[0].stock == "Fe 13"
    studio.shelf.put(Piece(new_uid(), offered))
    app = press(opened("bench"), "What to mix")
    assert "Coat 1: ferric nitrate, 0.4 of stock of Fe 13" in said(app)


def test_a_leftover_goes_into_what_is_mixed(studio: Studio) -> None:
    """By hand: 60 ml of ½ with 20 ml of ¼ in it: 30 ml of stock are wanted, 5 are there: 25 more, and 15 of water."""
    studio.bottles.save(FE)
    plate = studio.record(Trial(Recipe("bronze", None, RECIPE.coats), Reading(lab=(38.0, 14.0, 22.0))))
    assert "Plate 1" in str(
        field(press(opened("log", plate=str(plate.id)), "What to mix"), "selectbox", "Another recipe")
    )
    app = opened(part="mix")  # a test's own page does not stay where a button led
    field(app, "number_input", "Area, cm²").set_value(1000.0).run()
    field(app, "number_input", "To spare, %").set_value(0.0).run()
    field(app, "number_input", "Left over, ml").set_value(20.0).run()
    field(app, "number_input", "Its strength").set_value(0.25).run()
    assert "15 ml of water, then 20 ml of the leftover, then 25 ml of Fe 12: 60 ml at half strength." in said(app)


def test_a_recipe_without_its_bottle_says_which_to_make(studio: Studio) -> None:
    plate = studio.record(
        Trial(Recipe("bronze", None, (Coat("ferric nitrate", 0.5, 10, 105.0),)), Reading(lab=(38, 14, 22)))
    )
    app = press(opened("log", plate=str(plate.id)), "What to mix")
    assert "Make a bottle of ferric nitrate first: none is on the shelf." in said(app)
    assert "Take it to the bench with these bottles" not in [button.label for button in app.button]


def test_what_was_used_is_noted_learned_from_and_taken_back(studio: Studio) -> None:
    studio.bottles.save(FE)
    app = opened(part="used")
    assert "Nothing noted yet." in said(app) and "from memory" in said(app)
    app = press(app, "Note it")
    assert "Fill in how many millilitres were used" in said(app) and studio.bottles.uses() == []
    field(app, "number_input", "Used, ml").set_value(5.0).run()
    field(app, "number_input", "Passes").set_value(10.0).run()
    app = press(app, "Note it")
    (use,) = studio.bottles.uses()
    assert (use.stock, use.strength, use.millilitres, use.passes) == ("Fe 12", 0.5, 5.0, 10)
    assert "Noted: 5 ml of Fe 12." in said(app) and "about 50 ml on a square metre" in said(app)
    press(app, "Take back")
    assert studio.bottles.uses() == []


def test_the_bottle_offered_is_that_of_the_piece_on_the_bench_then_the_one_used_last(studio: Studio) -> None:
    newest = Stock("Cu 1", "cupric nitrate", 250.0)
    for stock in (FE, NEWER, newest):
        studio.bottles.save(stock)
    piece = studio.shelf.put(Piece(new_uid(), Recipe("silicon bronze", None, RECIPE.coats)))
    app = opened(part="used")
    assert field(app, "selectbox", "Bottle").value == "Fe 12", "not the one made last"
    field(app, "selectbox", "Bottle").set_value("Fe 13").run()
    field(app, "number_input", "Used, ml").set_value(5.0).run()
    app = press(app, "Note it")
    assert [use.stock for use in studio.bottles.uses()] == ["Fe 13"], "what was chosen stands until it is noted"
    assert field(app, "selectbox", "Bottle").value == "Fe 12"
    studio.shelf.take_off(piece.uid)
    assert field(opened(part="used"), "selectbox", "Bottle").value == "Fe 13"


def test_a_newly_chosen_bottle_in_the_record_form_converts_the_strength_with_a_sentence(studio: Studio) -> None:
    for stock in (FE, NEWER, Stock("weak", "ferric nitrate", 100.0)):
        studio.bottles.save(stock)
    studio.record(Trial(Recipe("bronze", None, RECIPE.coats), Reading(lab=(38.0, 14.0, 22.0))))
    app = opened("record")
    assert field(app, "selectbox", "From the bottle").value == "Fe 12"
    field(app, "selectbox", "From the bottle").set_value("Fe 13").run()
    assert field(app, "number_input", "Strength (1 is stock)").value == pytest.approx(0.4)
    assert "Half strength of Fe 12 is 0.4 of stock from Fe 13" in said(app)
    field(app, "selectbox", "From the bottle").set_value("weak").run()
    assert field(app, "number_input", "Strength (1 is stock)").value == pytest.approx(0.4)
    assert "Use a stronger stock than weak" in said(app)
    (draft,) = studio.drafts("plate")
    assert (draft.body["coat0_stock"], draft.body["coat0_strength"]) == ("weak", 0.4)


def test_a_corrected_bottle_leaves_the_strength_as_it_was_typed(studio: Studio) -> None:
    for stock in (FE, NEWER):
        studio.bottles.save(stock)
    plate = studio.record(Trial(Recipe("bronze", None, RECIPE.coats), Reading(lab=(38.0, 14.0, 22.0))))
    app = opened("log", plate=str(plate.id))
    app = next(button for button in app.button if button.label.startswith("Correct")).click().run()
    field(app, "selectbox", "From the bottle").set_value("Fe 13").run()
    assert field(app, "number_input", "Strength (1 is stock)").value == 0.5


def test_the_ways_to_mix_stand_beside_suggestions_and_in_the_record_form(studio: Studio) -> None:
    studio.bottles.save(FE)
    studio.record(Trial(RECIPE, Reading(lab=(38.0, 14.0, 22.0))))
    app = press(opened("record"), "What to mix")
    assert "Coat 1: ferric nitrate, half strength of Fe 12" in said(app)
