"""The page's own logic without a browser: what comes next, drafts, what a plate changed, and how failures are said."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from matcher.dates import ISO, now, shown
from matcher.errors import StudioError
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.storage.drafts import Kept
from matcher.studio import Studio
from matcher.trials.trial import Target, Trial
from tests.app_pages import plain
from ui.recipe.piece import OF_THE_FIRST
from ui.recipe.recipe_form import fields_of
from ui.state.next_step import next_step
from ui.state.places import ALL, FIRST_PLATES, RECORD, SUGGESTIONS, TARGET
from ui.suggestions.changes import changes, in_words

APP = Path(__file__).parents[1] / "ui" / "app.py"


def plate(number: int, lab: tuple[float, float, float], target: int | None = None) -> Trial:
    recipe = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 6, 105.0),))
    return Trial(recipe=recipe, reading=Reading(lab=np.array(lab)), id=number, target_id=target)


HERON = Target("Heron", Reading(lab=np.array([38.0, 14.0, 22.0])), id=3)


def test_a_studio_without_a_target_starts_from_a_clients_photograph() -> None:
    step = next_step([], 1)
    assert step.place is TARGET
    assert step.button == "Start from a client's photograph"


def test_a_target_without_plates_leads_to_the_ranked_list() -> None:
    step = next_step([HERON], 1)
    assert step.place is SUGGESTIONS
    assert step.address == {"target": "3"}


def test_a_target_in_an_empty_studio_leads_to_the_first_plates() -> None:
    assert next_step([HERON], 0).place is FIRST_PLATES


def test_a_plate_for_the_target_leads_to_what_it_changed() -> None:
    step = next_step([HERON], 2, last=2)
    assert step.place is SUGGESTIONS
    assert step.address == {"target": "3", "logged": "2"}


def test_what_was_half_typed_comes_first() -> None:
    assert next_step([HERON], 0, forms=[Kept("plate", {"from_plate": "Plate 4"}, datetime.now(UTC))]).place is RECORD
    read = [Kept("target 0123456789ab", {"photo": "0" * 64}, now()), Kept("target", {"munsell": "N 5/"}, now())]
    step = next_step([HERON], 0, read)
    assert (step.place, step.address) == (TARGET, {"form": "target 0123456789ab"})
    assert step.sentence == "Its photograph and marks are saved. 1 other target is half read too."
    assert next_step([HERON], 0, read[1:]).sentence == "What you typed is saved."


def test_a_new_plate_moves_those_behind_it_one_place_back() -> None:
    trials = [plate(1, (38, 14, 25)), plate(2, (38, 14, 30)), plate(3, (38, 14, 23), target=3)]
    rows = changes(HERON, trials, trials[2])
    assert [(row.plate, row.before, row.now) for row in rows] == [(3, None, 1), (1, 1, 2), (2, 2, 3)]
    assert "nearer than any plate before" in in_words(HERON, rows)


def test_a_plate_that_comes_last_changes_no_place_and_is_still_shown() -> None:
    trials = [*(plate(k, (38, 14, 22 + k)) for k in range(1, 9)), plate(9, (70, 0, 0), target=3)]
    rows = changes(HERON, trials, trials[-1])
    assert [row.plate for row in rows] == [1, 2, 3, 4, 5, 6, 9]
    assert all(row.before == row.now for row in rows[:-1])
    assert "number 9 of the plates" in in_words(HERON, rows)


def test_a_new_plate_is_called_nearer_only_when_that_can_be_told() -> None:
    """Nearer by ΔE00 0.1 or so, while each plate is read to some 0.5."""
    for first, words in (
        (23.2, "as read nearer than any plate before, but plate 1"),
        (22.9, "may be as near as plate 1"),
    ):
        trials = [plate(1, (38, 14, first)), plate(3, (38, 14, 23), target=3)]
        said = in_words(HERON, changes(HERON, trials, trials[1]))
        assert words in said and "The nearest" not in said
    far = [plate(1, (38, 14, 30)), plate(3, (38, 14, 23), target=3)]
    assert ": nearer than any plate before" in in_words(HERON, changes(HERON, far, far[1]))


def test_the_first_plate_of_all_is_called_so() -> None:
    only = plate(1, (38, 14, 25), target=3)
    assert in_words(HERON, changes(HERON, [only], only)).endswith("It is the first plate.")


@pytest.mark.parametrize(
    "recipe",
    [
        Recipe("silicon bronze"),
        Recipe(
            "tin bronze",
            Undercoat("liver of sulphur", 0.5, 0.25),
            (Coat("cupric nitrate", 0.25, 3, 100.0, "stipple"), Coat("ferric nitrate", 0.75, 11, 104.5)),
            Seal("wax", 3, hot=True),
            "sand-blasted",
        ),
    ],
    ids=["bare metal", "two coats over an undercoat, waxed"],
)
def test_the_recipe_form_gives_back_the_recipe_it_was_filled_with(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, recipe: Recipe
) -> None:
    app = record_page(monkeypatch, tmp_path, {**fields_of(recipe), "way": "typed"})
    for label, value in (("L*", 38.0), ("a*", 14.0), ("b*", 22.0)):
        next(box for box in app.number_input if box.label == label).set_value(value)
    app.run()
    app.button(key="plate.log").click().run()
    with Studio.open(tmp_path / "studio") as studio:
        assert [trial.recipe for trial in studio.trials()] == [recipe]
        assert studio.draft("plate") is None, "a logged plate's form starts afresh"


@pytest.mark.parametrize("reloads", [False, True], ids=["the page stays open", "the page is opened anew"])
def test_a_form_begun_before_midnight_is_logged_on_the_day_that_it_shows(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, reloads: bool
) -> None:
    night = datetime(2026, 3, 31, 23, 50).astimezone()
    monkeypatch.setattr("matcher.dates.now", lambda: night)
    recipe = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 6, 105.0),))
    app = record_page(monkeypatch, tmp_path, {**fields_of(recipe), "way": "typed"})
    typed(app, 30.0, 12.0, 18.0)
    assert labelled(app.text_input, "Made on").value == "2026-03-31"
    monkeypatch.setattr("matcher.dates.now", lambda: night + timedelta(minutes=20))
    if reloads:
        app = AppTest.from_file(str(APP), default_timeout=60).run()
        app.switch_page("screens/record.py").run()
    assert labelled(app.run().text_input, "Made on").value == "2026-03-31"
    labelled(app.button, "Log this plate").click().run()
    with Studio.open(tmp_path / "studio") as studio:
        (logged,) = studio.trials()
        assert shown(logged.made_at, ISO) == "2026-03-31"


def test_a_plate_that_is_not_logged_says_at_the_button_which_fields_are_wrong(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    coats = (Coat("cupric nitrate", 0.25, 3, 100.0), Coat("ferric nitrate", 0.75, 11, 104.0))
    fields = {**fields_of(Recipe("silicon bronze", None, coats)), "way": "typed"}
    app = record_page(monkeypatch, tmp_path, fields | {"coat0_strength": None, "coat1_passes": -3})
    assert "Fill in the" not in said_on(app), "what is empty may still be filled in"
    assert "number of passes as a number from 1 to 200" in said_on(app), "what cannot be is said at its field"
    app.button(key="plate.log").click().run()
    told = next(plain(block.proto.body) for block in app.get("html") if "The plate was not logged" in block.proto.body)
    assert "Coat 1: fill in the strength." in told
    assert "Coat 2: give the number of passes as a number from 1 to 200" in told
    assert "Its colour has not been read yet." in told and "Everything you typed is saved." in told


def test_a_first_plate_is_said_to_be_logged_with_the_way_on_to_the_next(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    recipe = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 6, 105.0),))
    plan = {"way": "typed", "from_plate": "first plate 1", "from_where": OF_THE_FIRST, "target_id": 0}
    app = record_page(monkeypatch, tmp_path, {**fields_of(recipe), **plan})
    assert "The recipe is copied from first plate 1, as planned." in said_on(app)
    for label, value in (("L*", 30.0), ("a*", 12.0), ("b*", 18.0)):
        labelled(app.number_input, label).set_value(value)
    app.run()
    app.button(key="plate.log").click().run()
    assert "Plate 1 is logged." in said_on(app)
    assert "Go on to the next first plate" in [link.proto.label for link in app.get("page_link")]


def test_a_suggested_recipe_that_is_not_made_yet_leads_from_the_record_to_the_bench(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        studio.save_target(HERON)
        studio.record(plate(1, (40, 10, 20)))
    recipe = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 6, 105.0),))
    source = {"from_plate": "the predicted recipe at place 1", "from_where": "from the suggestions", "target_id": 1}
    app = record_page(monkeypatch, tmp_path, {**fields_of(recipe), **source})
    app.button(key="plate.bench").click().run()
    assert "Read the cautions first" in said_on(app)
    assert labelled(app.selectbox, "Recipe").value == "offered"
    with Studio.open(tmp_path / "studio") as studio:
        offered = (studio.draft("bench") or {})["offered"]
    assert Recipe.from_dict(offered) == recipe


def test_taking_out_a_coat_moves_the_next_one_up(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    coats = (Coat("cupric nitrate", 0.25, 3, 100.0), Coat("ferric nitrate", 0.75, 11, 104.0))
    app = record_page(monkeypatch, tmp_path, fields_of(Recipe("silicon bronze", None, coats)))
    app.button(key="plate.dropcoat0").click().run()
    with Studio.open(tmp_path / "studio") as studio:
        draft = studio.draft("plate")
    assert draft is not None
    assert (draft["coats"], draft["coat0_chemical"], draft["coat0_passes"]) == (1, "ferric nitrate", 11)
    assert "coat1_chemical" not in draft


def test_what_is_typed_on_two_screens_is_kept_field_by_field(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    first = record_page(monkeypatch, tmp_path, fields_of(Recipe("silicon bronze")))
    second = record_page(monkeypatch, tmp_path, fields_of(Recipe("silicon bronze")))
    first.text_area[0].set_value("hissed well").run()
    labelled(second.text_input, "Mark on the plate").set_value("H-7").run()
    with Studio.open(tmp_path / "studio") as studio:
        draft = studio.draft("plate")
        assert draft is not None and (draft["notes"], draft["piece"]) == ("hissed well", "H-7")
    assert second.text_area[0].value == "hissed well", "what the other screen typed is shown here too"
    labelled(second.text_input, "Made by").set_value("A.").run()
    first.text_area[0].set_value("hissed well, no streaks").run()
    assert labelled(first.text_input, "Mark on the plate").value == "H-7"
    assert labelled(first.text_input, "Made by").value == "A."


def test_a_form_begun_on_another_screen_is_taken_over_by_one_that_was_only_offered(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        studio.record(plate(1, (40, 10, 20)))
    other = record_page(monkeypatch, tmp_path, {})
    with Studio.open(tmp_path / "studio") as studio:
        studio.save_draft("plate", fields_of(Recipe("tin bronze")))
    labelled(other.text_input, "Mark on the plate").set_value("H-7").run()
    assert labelled(other.selectbox, "Alloy").value == "tin bronze"
    with Studio.open(tmp_path / "studio") as studio:
        today = {"made_on": shown(now(), ISO)}
        assert studio.draft("plate") == {**fields_of(Recipe("tin bronze")), "piece": "H-7", **today}


def test_a_failure_nobody_foresaw_is_said_plainly_without_a_traceback(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    monkeypatch.setattr(Studio, "targets", _breaks(RuntimeError("the flux capacitor is empty")))
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    said = said_on(app)
    assert "Something in this program failed" in said
    assert "are saved" in said
    assert "flux capacitor" not in said, "details are folded away"
    assert any("flux capacitor" in block.value for block in app.code)
    assert not app.exception


def test_an_error_of_ours_is_shown_as_its_sentence(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    monkeypatch.setattr(Studio, "targets", _breaks(StudioError("The disk is full: make room, and try again.")))
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    assert "The disk is full: make room, and try again." in said_on(app)
    assert not app.exception
    assert not app.code


def test_a_studio_that_cannot_be_opened_gets_one_sentence(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "file"))
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    assert "pm-wrong" in said_on(app)
    assert not app.exception
    assert not app.code


def record_page(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, fields: dict[str, Any]) -> AppTest:
    """Return the record page of a new studio, its form half typed as ``fields`` say."""
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    with Studio.open(tmp_path / "studio") as studio:
        studio.save_draft("plate", fields)
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    return app.switch_page("screens/record.py").run()


def test_an_empty_studio_has_no_dead_end(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "new"))
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    for place in ALL:
        app.switch_page(place.file).run()
        assert 'role=\\"alert' not in said_on(app) and not app.exception, place.title
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    labelled(app.button, "Start from a client's photograph").click().run()
    typed(app, 38.0, 14.0, 22.0)
    labelled(app.button, "Save and rank the plates").click().run()
    assert "No plate is logged yet" in said_on(app)
    labelled(app.button, "Plan your first plates").click().run()
    assert any(heading.value.startswith("24 plates on silicon bronze") for heading in app.header)
    app.switch_page(SUGGESTIONS.file).run()
    labelled(app.button, "Record a plate").click().run()
    app.switch_page(RECORD.file).run()
    typed(app, 38.5, 14.0, 22.0)
    labelled(app.button, "Log this plate").click().run()
    assert "What plate 1 changed" in [heading.value for heading in app.subheader] or "What plate 1 changed" in said_on(
        app
    )
    assert "It is the first plate." in said_on(app)


def test_the_studios_title_is_given_on_the_page_and_stands_in_the_bar(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "new"))
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    labelled(app.text_input, "Title of the studio").set_value("x" * 1000).run()
    labelled(app.button, "Save this title").click().run()
    assert "Shorten the studio" in said_on(app)
    labelled(app.text_input, "Title of the studio").set_value("Heron <i>Yard</i>").run()
    labelled(app.button, "Save this title").click().run()
    assert "Heron &lt;i&gt;Yard&lt;/i&gt;" in said_on(app)
    with Studio.open(tmp_path / "new") as studio:
        assert studio.title == "Heron <i>Yard</i>"


def test_a_plate_is_logged_with_the_day_on_which_it_was_made_and_not_with_one_to_come(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "new"))
    with Studio.open(tmp_path / "new") as studio:
        studio.record(plate(1, (40, 10, 20)))
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    app.switch_page(RECORD.file).run()
    assert labelled(app.text_input, "Made on").value == shown(now(), ISO), "today is offered"
    typed(app, 38.5, 14.0, 22.0)
    labelled(app.text_input, "Made on").set_value("2999-01-01").run()
    labelled(app.button, "Log this plate").click().run()
    assert "Give a day that has been" in said_on(app) and "Everything you typed is saved" in said_on(app)
    labelled(app.text_input, "Made on").set_value("2025-03-31").run()
    labelled(app.button, "Log this plate").click().run()
    app.switch_page(RECORD.file).run()
    assert labelled(app.text_input, "Made on").value == shown(now(), ISO), "and for the next plate again"
    typed(app, 39.5, 14.0, 22.0)
    labelled(app.button, "Log this plate").click().run()
    with Studio.open(tmp_path / "new") as studio:
        _, earlier, today = studio.trials()
    assert shown(earlier.made_at, ISO) == "2025-03-31"
    assert abs(now() - today.made_at) < timedelta(hours=1)


def typed(app: AppTest, *lab: float) -> None:
    """Type a reading in."""
    labelled(app.get("button_group"), "Where does the colour come from?").set_value("typed").run()
    for label, value in zip(("L*", "a*", "b*"), lab, strict=True):
        labelled(app.number_input, label).set_value(value).run()


def labelled(widgets: Any, label: str) -> Any:
    return next(widget for widget in widgets if widget.label == label)


def said_on(app: AppTest) -> str:
    return " ".join(plain(element.proto) for element in app.get("html"))


def _breaks(error: Exception) -> Any:
    def broken(*_arguments: Any, **_named: Any) -> Any:
        raise error

    return broken
