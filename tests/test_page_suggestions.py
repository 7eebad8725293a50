"""The suggestions page and the first plates: limits of the day, reach, sessions, lights and darks. Invented plates."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.studio import Studio
from matcher.trials.facts import facts_of
from matcher.trials.trial import Target, Trial
from tests.app_pages import plain
from tests.browser import Served, Visitor, page_file
from ui.recipe.piece import OF_THE_FIRST
from ui.recipe.record_forms import half_filled

APP = Path(__file__).parents[1] / "ui" / "app.py"
Visit = Callable[..., Visitor]


def film(passes: int, chemical: str = "ferric nitrate", alloy: str = "silicon bronze") -> Trial:
    """Return a plate that darkens with every pass, in an invented way."""
    lab = np.array([70.0 - 3.5 * passes, 10.0 + 0.8 * passes, 32.0 - 0.9 * passes])
    return Trial(Recipe(alloy, None, (Coat(chemical, 0.5, passes, 105.0),)), Reading(lab=lab))


PLATES = (*(film(k) for k in (1, 3, 5, 7, 9, 11)), film(4, "cupric nitrate"), film(6, alloy="tin bronze"))
BETWEEN = Target("Heron", Reading(lab=np.array([49.0, 14.8, 26.6])), tolerance=3.0)


def page(
    monkeypatch: pytest.MonkeyPatch,
    folder: Path,
    trials: Sequence[Trial] = (),
    target: Target | None = BETWEEN,
    drafts: dict[str, dict[str, Any]] | None = None,
    screen: str = "suggestions",
) -> AppTest:
    """Return a page of a new studio with these plates, a target of number 1 and what was typed before."""
    monkeypatch.setenv("MATCHER_STUDIO", str(folder / "studio"))
    with Studio.open(folder / "studio") as studio:
        studio.record_all(list(trials))
        if target is not None:
            studio.save_target(target)
        for form, body in (drafts or {}).items():
            studio.save_draft(form, body)
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    return app.switch_page(page_file(screen)).run()


def said(app: AppTest) -> str:
    """Return all HTML of the page, without tags."""
    assert not app.exception
    return re.sub(r"<[^>]+>", " ", " ".join(plain(element.proto.body) for element in app.get("html")))


def headings(app: AppTest) -> list[str]:
    return [expander.label for expander in app.expander]


def ranked(app: AppTest) -> list[str]:
    bodies = [plain(element.proto.body) for element in app.get("html")]
    return [found for body in bodies for found in re.findall(r'class="pm-rank">\d+\. (Plate \d+|Predicted)', body)]


def unfold(app: AppTest, part: str) -> AppTest:
    """Unfold one of the parts that explain the answer: it is worked out only then."""
    return explanations(app).set_value(part).run()


def explained_by(app: AppTest) -> list[str]:
    return [option.content for option in explanations(app).proto.options]


def explanations(app: AppTest) -> Any:
    groups: list[Any] = list(app.get("button_group"))
    return next(group for group in groups if group.label == "What explains it")


def open_plate(app: AppTest, plate: int) -> AppTest:
    """Open a plate's line of the list, where it is not open already."""
    place = ranked(app).index(f"Plate {plate}") + 1
    lines = [button for button in app.button if button.key == f"open{place}"]
    return lines[0].click().run() if lines else app


def limits_line(app: AppTest) -> str:
    return next(label for label in headings(app) if label.startswith("What can be used today"))


def test_the_days_limits_are_said_in_one_line_and_hold_for_the_list(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    limits = {"alloy": "silicon bronze", "passes": 7, "excluded": ["cupric nitrate"]}
    app = page(monkeypatch, tmp_path, PLATES, drafts={"limits 1": limits})
    assert limits_line(app).endswith(": silicon bronze; at most 7 passes; without cupric nitrate")
    plates = {name for name in ranked(app) if name != "Predicted"}
    assert plates == {"Plate 1", "Plate 2", "Plate 3", "Plate 4"}, "5 and 6 have more passes, 7 and 8 other means"


def test_the_alloy_of_a_new_target_limits_its_plates(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    typed = {"way": "typed", "lab_l": 49.0, "lab_a": 14.8, "lab_b": 26.6}
    app = page(monkeypatch, tmp_path, PLATES, None, {"target": typed}, "target")
    (alloy,) = (box for box in app.selectbox if box.label == "Alloy of the piece")
    assert list(alloy.options) == ["Not known: plates of every alloy", "silicon bronze", "tin bronze"]
    alloy.set_value("tin bronze").run()
    app.button(key="target.save").click().run()
    assert limits_line(app).endswith(": tin bronze")
    assert {name for name in ranked(app) if name != "Predicted"} == {"Plate 8"}


def test_a_target_of_no_known_alloy_is_ranked_among_all_plates(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    typed = {"way": "typed", "lab_l": 49.0, "lab_a": 14.8, "lab_b": 26.6}
    app = page(monkeypatch, tmp_path, PLATES, None, {"target": typed}, "target")
    app.button(key="target.save").click().run()
    assert limits_line(app).endswith(": everything in the log")


def test_where_every_plate_is_of_one_alloy_no_target_asks_for_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    typed = {"way": "typed", "lab_l": 49.0, "lab_a": 14.8, "lab_b": 26.6}
    app = page(monkeypatch, tmp_path, PLATES[:6], None, {"target": typed}, "target")
    assert "Alloy of the piece" not in [box.label for box in app.selectbox]


def test_an_address_of_a_target_or_plate_that_is_not_there_says_so(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = page(monkeypatch, tmp_path, PLATES)
    assert "There is no" not in said(app)
    app.query_params["target"] = "77"
    assert "There is no target 77 in this studio" in said(app.run())
    app.switch_page("screens/log.py")
    for number in ("99", "abc"):
        app.query_params["plate"] = number
        assert f"There is no plate {number} in this log" in said(app.run())


def test_a_file_of_another_kind_is_refused_in_a_sentence_until_a_right_one_comes(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = page(monkeypatch, tmp_path, PLATES, screen="log")
    files: list[Any] = list(app.get("file_uploader"))
    files[0].set_value(("plate.jpg", b"or a table", "image/jpeg")).run()
    assert "plate.jpg is not an export, a backup" in said(app)
    files = list(app.get("file_uploader"))
    files[0].set_value(("plates.csv", b"alloy", "text/csv")).run()
    assert "is not an export" not in said(app)
    assert any(button.key == "log.take" for button in app.button)


def test_a_search_without_a_hit_says_the_way_on(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    app = page(monkeypatch, tmp_path, PLATES, screen="log")
    app.text_input(key="log.words").set_value("verdigris").run()
    assert "0 of 8 plates" in said(app) and "Try fewer words" in said(app)


def test_a_limit_set_on_the_page_is_kept_for_the_target(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    app = page(monkeypatch, tmp_path, PLATES)
    assert limits_line(app).endswith(": everything in the log")
    next(box for box in app.number_input if box.label == "Most passes in a coat").set_value(5).run()
    assert limits_line(app).endswith(": at most 5 passes")
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.draft("limits 1") == {"passes": 5}


def test_the_alloy_of_the_plates_made_for_a_target_is_the_jobs_until_another_is_chosen(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = page(monkeypatch, tmp_path, PLATES)
    with Studio.open(tmp_path / "studio") as studio:
        studio.record(Trial(PLATES[1].recipe, PLATES[1].reading, target_id=1))
    app.run()
    app.switch_page("screens/log.py").run()
    app.switch_page("screens/suggestions.py").run()
    assert limits_line(app).endswith(": silicon bronze")
    next(box for box in app.selectbox if box.label == "Alloy").set_value("").run()
    assert limits_line(app).endswith(": everything in the log")


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        (
            {"coolest": 200.0, "hottest": 100.0},
            "200 to 100 °C is the wrong way round: put the lower one first.",
        ),
        ({"hottest": 1e9}, "temperature is a number from 0 to 400 °C, not 1000000000: type one."),
        ({"passes": 0}, "The most passes in a coat are a number from 1 to 200, not 0"),
    ],
    ids=["turned round", "too hot", "no pass"],
)
def test_what_cannot_be_a_limit_is_said_and_binds_nothing(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, typed: dict[str, Any], sentence: str
) -> None:
    app = page(monkeypatch, tmp_path, PLATES, drafts={"limits 1": typed})
    assert sentence in said(app)
    assert limits_line(app).endswith(": everything in the log")
    usual = {"chemicals": ["ferric nitrate"], "coolest": 95.0, "hottest": 115.0}
    first = page(monkeypatch, tmp_path, drafts={"first plates": usual | typed}, screen="first_plates")
    assert sentence in said(first)
    assert not keys(first, "Record it as made")


def test_limits_that_leave_nothing_say_so_and_can_be_lifted(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    app = page(monkeypatch, tmp_path, PLATES, drafts={"limits 1": {"coolest": 200.0}})
    assert "None of the 8 logged plates keeps within today" in said(app)
    assert "Other surface temperatures would let 8 in again." in said(app)
    assert ranked(app) == []
    next(button for button in app.button if button.label == "Clear all limits").click().run()
    assert len(ranked(app)) == 5


def test_every_figure_is_for_the_targets_own_tolerance(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    app = page(monkeypatch, tmp_path, PLATES)
    assert "Chance to be within 3:" in said(app)
    assert re.search(r"in \d+  to come within the target’s ΔE00 3", said(app).replace("\u00a0", " ")), "in words too"
    assert re.search(r"comes within ΔE00 3 is \d+ %", said(unfold(app, "reach"))), "reach too"


def test_measured_and_predicted_recipes_are_told_apart(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    app = page(monkeypatch, tmp_path, PLATES)
    predicted = ranked(app).count("Predicted")
    assert predicted >= 1
    assert f"{len(ranked(app)) - predicted} measured plates and {predicted} predicted recipe" in said(app)
    assert said(app).count("not made yet") == predicted, "under each picture of what nobody made"
    for place, name in enumerate(ranked(app), start=1):
        if place > 1:
            app.button(key=f"open{place}").click().run()
        grounds = said(app).count("Predicted from 8 logged plates, most from plates")
        assert grounds == (name == "Predicted"), "where a prediction comes from stands with its figures"


def test_a_target_that_nothing_comes_near_is_out_of_reach(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    blue = Target("Sky", Reading(lab=np.array([60.0, -10.0, -40.0])))
    app = page(monkeypatch, tmp_path, PLATES, blue)
    assert "Out of reach : more on that below." in said(app)
    unfold(app, "reach")
    assert "Out of reach" in [heading.value for heading in app.subheader]
    assert "The nearest recipe in range is expected at" in said(app)


@pytest.mark.parametrize("trials", [PLATES[:1], (PLATES[2],) * 7], ids=["one plate", "all alike"])
def test_a_log_that_can_tell_little_still_gives_a_whole_page(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, trials: Sequence[Trial]
) -> None:
    app = page(monkeypatch, tmp_path, trials)
    assert "Plate 1" in ranked(app)
    assert "Something in this program failed" not in said(app)
    unfold(app, "next")
    assert "Most worth making next" in [heading.value for heading in app.subheader]


def test_what_would_bring_a_plate_nearer_comes_with_recipes_to_make(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = page(monkeypatch, tmp_path, PLATES)
    open_plate(app, 3)
    app.button(key="nearer.1.3.ask").click().run()  # plate 3: 5 passes, where 6 are wanted
    assert re.search("too light.*one more pass at the same strength is expected to bring", said(app))
    assert "passes can’t be taken off" in said(app)
    next(button for button in app.button if button.label == "Continue with this piece").click().run()
    with Studio.open(tmp_path / "studio") as studio:
        draft = studio.draft("plate")
    assert draft is not None
    assert draft["coat0_passes"] > 5 and draft["target_id"] == 1


def test_a_planned_session_stays_and_shows_which_of_its_plates_are_made(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = page(monkeypatch, tmp_path, PLATES, drafts={"session 1": {"count": 3}})
    unfold(app, "session")
    app.button(key="session.plan.1").click().run()
    with Studio.open(tmp_path / "studio") as studio:
        draft = studio.draft("session 1")
        assert draft is not None
        recipes = [Recipe.from_dict(plate["recipe"]) for plate in draft["plates"]]
        assert len(set(recipes)) == 3
        assert "Planned before" not in said(app)
        studio.record(Trial(recipes[1], Reading(lab=np.array([50.0, 14.0, 26.0])), target_id=1))
    app.run()
    assert "Logged as plate 9" in said(app)
    assert "Planned before plate 9 was logged" in said(app)
    made = {button.key for button in app.button if button.label == "Make this plate" and button.key != "make1"}
    assert made == {"session.1.1", "session.1.3"}
    next(box for box in app.number_input if box.label == "Most passes in a coat").set_value(1).run()
    assert said(app).count("Outside today’s limits") == sum(recipe.coats[0].passes > 1 for recipe in recipes) > 0
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.draft("session 1") == draft, "a plan does not change under the hand"


def test_a_session_of_too_many_plates_is_refused_in_a_sentence(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    app = unfold(page(monkeypatch, tmp_path, PLATES, drafts={"session 1": {"count": 99999}}), "session")
    assert "A session has 2 to 12 plates" in said(app)
    app.button(key="session.plan.1").click().run()
    next(box for box in app.number_input if box.label == "Plates").set_value(2).run()
    assert "A session has" not in said(app)
    app.button(key="session.plan.1").click().run()
    assert len([key for key in keys(app, "Make this plate") if key.startswith("session.1.")]) == 2


def test_only_a_mottled_target_is_ranked_by_lights_and_darks_too(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    lab = BETWEEN.reading.lab
    mottled = Target("Mottled", Reading(lab=lab, lights=lab + [9, 0, 4], darks=lab - [9, 0, 4]))
    under = Trial(
        Recipe("silicon bronze", Undercoat("liver of sulphur", 0.5), PLATES[2].recipe.coats),
        Reading(lab=np.array([35.0, 9.0, 14.0])),
    )
    even = page(monkeypatch, tmp_path / "even", PLATES)
    assert "Lights and darks" not in explained_by(even)
    app = page(monkeypatch, tmp_path / "mottled", (*PLATES, under), mottled)
    assert "Lights and darks" in explained_by(app)
    unfold(app, "mottle")
    text = said(app)
    assert text.count("by lights and darks") >= 6, "five plates, and recipes for both together"
    assert "Liver of sulphur under the coat for the darks" in text
    share = next(box for box in app.number_input if box.label.startswith("Bare metal"))
    share.set_value(95).run()
    assert "Type a share of bare metal from 5 to 90 %." in said(app)
    next(box for box in app.number_input if box.label.startswith("Bare metal")).set_value(20).run()
    assert re.search("burnished back 20 %", said(app)), "the undercoat is burnished as far as the lights need"


def test_every_recipe_that_can_be_made_has_its_cautions_and_the_bench_beside_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    lab = np.array([60.0, -10.0, -40.0])
    out_of_reach = Target("Mottled sky", Reading(lab=lab, lights=lab + [9, 0, 4], darks=lab - [9, 0, 4]))
    under = Trial(Recipe("silicon bronze", Undercoat("liver of sulphur", 0.5), PLATES[2].recipe.coats), film(9).reading)
    app = page(monkeypatch, tmp_path, (*PLATES, under), out_of_reach, {"session 1": {"count": 3}})
    open_plate(app, 3)
    app.button(key="nearer.1.3.ask").click().run()
    going_on = [button.label for button in app.button].count("Continue with this piece")
    each_has_its_ways(app, going_on)
    app.button(key="nearer.1.3.ask").click().run()
    for part, key in (("reach", "make-nearest"), ("next", "make-next"), ("session", ""), ("mottle", "palette")):
        unfold(app, part)
        if part == "session":
            app.button(key="session.plan.1").click().run()
        assert any(made.startswith(key or "session.1.") for made in keys(app, "Make this plate")), part
        each_has_its_ways(app)
    assert any(made.startswith("both.") for made in keys(app, "Make this plate"))


def each_has_its_ways(app: AppTest, going_on: int = 0) -> None:
    """Each recipe on the page has a coat, and so the bench; going_on: pieces begun, which it can't begin with."""
    made = keys(app, "Make this plate")
    assert keys(app, "Record it as made") == [f"record.{key}" for key in made]
    assert headings(app).count("Cautions for these chemicals") == len(made) + going_on


def test_make_this_plate_goes_to_the_bench_and_record_to_the_form(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = page(monkeypatch, tmp_path, PLATES)
    app.button(key="make1").click().run()
    assert "Read the cautions first" in said(app) and any(button.key == "bench-begin" for button in app.button)
    app.switch_page("screens/suggestions.py").run()
    app.button(key="record.make1").click().run()
    assert "Record a plate" in said(app) and "from the suggestions" in said(app)


def test_figures_stay_unfolded_for_a_person_who_unfolds_them(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    app = page(monkeypatch, tmp_path, PLATES)
    assert not next(item for item in app.expander if item.label == "Figures").proto.expanded
    app.session_state["figures.1.1"] = True
    app.session_state["remembered.figures"] = True
    app.button(key="open2").click().run()
    assert next(item for item in app.expander if item.label == "Figures").proto.expanded


def test_a_chance_is_said_in_tenths_beside_a_verdict_that_the_interval_bears(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = page(monkeypatch, tmp_path, PLATES)
    lines = [button.label for button in app.button if str(button.key).startswith("open")]
    assert len(lines) == 4, "one of the five is open"
    nearness = "close match|likely a close match|may or may not match|no match yet"
    chance = r"\d in 10|under 1 in 20|over 19 in 20"
    said_of = re.compile(rf"\d\\\. \*\*(Plate \d+|Predicted)(?:, the next plate)?\*\* · ({nearness}), .+ · ({chance})$")
    assert all(said_of.match(line.replace("\u00a0", " ")) for line in lines), lines


def keys(app: AppTest, label: str) -> list[str]:
    return [str(button.key) for button in app.button if button.label == label]


def test_a_plate_at_odds_with_the_others_is_pointed_out_with_the_way_to_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    odd = Trial(film(6).recipe, Reading(lab=np.array([80.0, -20.0, 5.0])))
    app = unfold(page(monkeypatch, tmp_path, (*PLATES, film(6), odd)), "odds")
    assert any(re.search(r"plates? disagrees? with those near", heading.value) for heading in app.subheader)
    app.button(key="at-odds.10").click().run()
    assert any("<h1>Plate 10</h1>" in element.proto.body for element in app.get("html")), "its page in the log"


def test_a_slip_of_the_pen_is_put_right_in_a_tap_and_its_history_keeps_what_it_said(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A plate of 11 passes logged as one of 3, on plates of which each count was made three times."""
    plates = [film(k) for k in (1, 3, 5, 7, 9, 11) for _ in range(3)]
    slipped = Trial(film(3).recipe, Reading(lab=film(11).reading.lab + 0.2))
    app = unfold(page(monkeypatch, tmp_path, (*plates, slipped)), "odds")
    assert "as if 11 passes had been laid and not 3" in said(app) and "counts little in predictions" in said(app)
    assert app.button(key="at-odds-mend.19").label == "Correct plate 19 to 11 passes and not 3"
    app.button(key="at-odds-mend.19").click().run()
    assert "Plate 19 now says 11 passes and not 3" in said(app) and "No plate disagrees" in said(app)
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.trial(19).recipe.coats[0].passes == 11
        assert any(change.what == "corrected" for change in studio.history("trial", 19))


def test_an_odd_plate_is_said_to_be_right_in_a_tap_and_that_is_taken_back_in_another(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    plates = [film(k) for k in (1, 3, 5, 7, 9, 11) for _ in range(3)]
    odd = Trial(film(3).recipe, Reading(lab=film(11).reading.lab + 0.2))
    app = unfold(page(monkeypatch, tmp_path, (*plates, odd)), "odds")
    app.button(key="at-odds-right.19").click().run()
    assert "Plate 19 counts in full from now on" in said(app)
    assert re.search(r"Plate 19 .*: it was checked( by \w+)? on .* and is right, so it counts in full\.", said(app))
    assert not keys(app, "Plate 19 is right, I checked it") and [one.value for one in app.subheader] == [
        "Checked, and right"
    ]
    with Studio.open(tmp_path / "studio") as studio:
        assert list(studio.log.checked([19])) == [19]
    app.button(key="at-odds-doubt.19").click().run()
    assert "counts little in predictions" in said(app) and keys(app, "Plate 19 is right, I checked it")
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.log.checked([19]) == {}


@pytest.mark.parametrize("tap", ["at-odds-right.19", "at-odds-mend.19"])
def test_a_tap_on_an_odd_plate_that_was_corrected_meanwhile_is_refused(
    tap: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    plates = [film(k) for k in (1, 3, 5, 7, 9, 11) for _ in range(3)]
    odd = Trial(film(3).recipe, Reading(lab=film(11).reading.lab + 0.2))
    app = unfold(page(monkeypatch, tmp_path, (*plates, odd)), "odds")
    with Studio.open(tmp_path / "studio") as studio:
        seen = facts_of(studio.trial(19))
        studio.correct(19, replace(seen, recipe=film(5).recipe, notes="By Ann."), seen, "Ann")
    app.button(key=tap).click().run()
    assert not app.exception and re.search("Look at plate 19 again .* changed meanwhile", said(app))
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.log.checked([19]) == {} and studio.trial(19).recipe == film(5).recipe
        assert studio.trial(19).notes == "By Ann."


def test_an_empty_studio_leads_to_its_first_plates(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    app = page(monkeypatch, tmp_path)
    assert "plan your first plates" in said(app)
    next(button for button in app.button if button.label == "Plan your first plates").click().run()
    assert "First plates" in said(app)
    start = page(monkeypatch, tmp_path / "new", target=None, screen="start")
    assert "Plan your first plates" in [button.label for button in start.button]


def test_first_plates_cover_what_is_owned_and_show_what_is_done(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    owned = {
        "chemicals": ["ferric nitrate", "bismuth nitrate"],
        "undercoats": [],
        "count": 12,
        "strengths": [0.25, 1.0],
    }
    app = page(monkeypatch, tmp_path, target=None, drafts={"first plates": owned}, screen="first_plates")
    plans = [plain(element.proto.body) for element in app.get("html") if 'class="pm-planned"' in element.proto.body]
    assert len(plans) == 12
    assert any("Bismuth nitrate at full strength" in plan for plan in plans)
    assert any("Ferric nitrate at quarter strength" in plan for plan in plans)
    assert "Hot bismuth nitrate gives off nitrogen oxides" in said(app), "cautions for all of them"
    app.button(key="first.2").click().run()
    with Studio.open(tmp_path / "studio") as studio:
        draft = studio.draft("plate")
        assert draft is not None
        coat = Coat(*(draft[f"coat0_{name}"] for name in ("chemical", "strength", "passes", "surface_temp_c")))
        studio.record(Trial(Recipe(draft["alloy"], None, (coat,)), Reading(lab=np.array([50.0, 14.0, 26.0]))))
    app.switch_page("screens_at_the_foot/first_plates.py").run()
    assert "Logged as plate 1" in said(app)
    assert "1 of them is logged." in said(app)


def test_first_plates_without_a_chemical_say_what_to_name(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    nothing: dict[str, Any] = {"chemicals": []}
    app = page(monkeypatch, tmp_path, target=None, drafts={"first plates": nothing}, screen="first_plates")
    assert "Name at least one chemical for the coats." in said(app)
    weak = page(monkeypatch, tmp_path, target=None, drafts={"first plates": {"strengths": []}}, screen="first_plates")
    assert "Choose at least one strength that you mix." in said(weak)


def test_the_address_opens_a_line_and_every_picture_leads_to_its_own(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = page(monkeypatch, tmp_path, PLATES)
    for asked, opened in (("2", 2), ("999", None), ("-1", 1), ("x", 1)):
        app.query_params["open"] = asked
        shown = said(app.run())
        (strip,) = (plain(one.proto.body) for one in app.get("html") if '"pm-answer"' in one.proto.body)
        places = re.findall(r'href="suggestions\?target=1&amp;open=(\d+)"', strip)
        assert places == sorted(set(places)) and len(places) == strip.count("<figure") - 1
        open_now = re.findall(r'data-place="(\d+)"[^>]*aria-current', strip)
        assert len(open_now) == 1 and open_now == [str(opened or places[-1])]
        assert f"{open_now[0]}. " in shown


def test_measured_plates_are_there_first_and_wait_to_be_pressed_until_the_list_is_whole(
    demo: Served, visit: Visit
) -> None:
    visitor = visit(demo)
    visitor.page.add_init_script(
        """window.early = [];
        new MutationObserver(() => {
          const panels = document.querySelectorAll('[class*="st-key-panel-early"]');
          if (panels.length) window.early.push([panels.length, document.querySelectorAll(
            '[class*="st-key-ranked-early"] button:not(:disabled)').length, document.querySelectorAll(
            '[class*="st-key-ranked-early"] .pm-answer figure:not(.target)').length]);
        }).observe(document, {childList: true, subtree: true});"""
    )
    visitor.open("suggestions")
    visitor.page.locator('[class*="st-key-panel-place"]').first.wait_for()
    visitor.settle()
    early = visitor.page.evaluate("window.early")
    assert early and max(pairs for _, _, pairs in early) == 5, "five plates with their colours"
    assert all(pressable == 0 for _, pressable, _ in early)
    assert visitor.page.locator('[class*="st-key-panel-early"]').count() == 0
    assert visitor.page.locator('.st-key-ranked [class*="st-key-open"] button').count() == 4
    visitor.page.locator(".pm-answer figure").nth(3).click()
    visitor.sees(re.compile("^3. Plate 87: "))
    visitor.settle()
    visitor.page.locator(".pm-tap").nth(4).focus()
    visitor.page.keyboard.press("Enter")
    visitor.sees(re.compile("^5. Plate 9: "))
    visitor.page.wait_for_function("document.activeElement.dataset.place === '5'")
    panel = visitor.page.get_by_text(re.compile("^What can be used today: silicon bronze$"))
    panel.click()
    visitor.press("cupric nitrate")
    visitor.sees("What can be used today: silicon bronze; without cupric nitrate")
    assert visitor.page.get_by_role("button", name="bismuth nitrate").is_visible(), "the panel stays open"


@pytest.mark.parametrize("phone", [False, True])
def test_the_ranked_answer_stands_in_the_first_screen(read_demo: Served, visit: Visit, phone: bool) -> None:
    """At a desk pictures and lines of all five; on a phone the five pictures, their chances, and what to make first."""
    visitor = visit(read_demo, phone=phone)
    visitor.open("suggestions?target=1")
    visitor.page.locator('[class*="st-key-panel-place"]').first.wait_for()
    visitor.settle()
    visitor.shot("first-screen")
    fold = visitor.page.viewport_size["height"]

    def lowest(selector: str) -> float:
        boxes = [found.bounding_box() for found in visitor.page.locator(selector).all()]
        return max(box["y"] + box["height"] for box in boxes if box)

    assert visitor.page.locator(".pm-answer figure:visible").count() == 6
    assert lowest(".pm-answer figcaption") < fold
    assert lowest(".pm-opened") < fold and lowest("p.pm-steps") < fold
    assert visitor.page.locator(".pm-odds:visible").count() == (4 if phone else 0)
    if not phone:
        assert visitor.page.locator('.st-key-ranked [class*="st-key-open"] button').count() == 4
        assert lowest('.st-key-ranked [class*="st-key-open"] button') <= fold
        assert visitor.page.get_by_text(re.compile("^Lay plates .* becomes about")).bounding_box()["y"] < fold


def test_on_a_phone_all_that_unfolds_fits_and_is_big_enough(demo: Served, visit: Visit) -> None:
    """44 px a side: WCAG 2.2, success criterion 2.5.5 (from memory)."""
    visitor = visit(demo, phone=True)
    visitor.open("suggestions?target=1&logged=97")
    for heading in ("^What can be used today", "^Figures", "^Cautions for these"):
        visitor.page.get_by_text(re.compile(heading)).first.click()
    visitor.press(re.compile(r"Plate \d+"))
    visitor.press("What would bring this plate nearer?")
    fits_a_hand(visitor)
    for part in ("How near a recipe can come", "Lights and darks", "All plates as a plot", "Plates that disagree"):
        visitor.press(part, role="radio")
        fits_a_hand(visitor)
    visitor.press("Plan a session", role="radio")
    visitor.press("Plan the session")
    fits_a_hand(visitor)
    visitor.open("first-plates")
    visitor.sees(re.compile("^24 plates on silicon bronze"))
    fits_a_hand(visitor)


def fits_a_hand(visitor: Visitor) -> None:
    main = visitor.page.locator("[data-testid=stMain]").evaluate("e => e.scrollWidth - e.clientWidth")
    assert main <= 0, "wider than the screen"
    small = visitor.page.evaluate(
        """() => [...document.querySelectorAll(`.stButton button, .stDownloadButton button, summary,
             button[data-variant=segmented_control], button[data-variant=pills], .stNumberInput input`)]
             .filter(e => e.offsetParent && Math.round(e.getBoundingClientRect().height) < 44)
             .map(e => e.innerText + ' ' + e.getBoundingClientRect().height)"""
    )
    assert small == []
    assert visitor.page.get_by_role("alert").count() == 0


def test_a_planned_session_goes_to_the_bench_as_a_run_and_comes_back_as_records(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Each plate has a counter of its own; pressed again, the run is not put there twice."""
    plates = [
        {"recipe": film(n).recipe.as_dict(), "lab": [40, 14, 22], "delta_e00": 1.2, "interval": [0, 3], "chance": 0.6}
        for n in (4, 6, 8)
    ]
    app = page(monkeypatch, tmp_path, PLATES, drafts={"session 1": {"count": 3, "plates": plates}})
    for _ in range(2):
        unfold(app, "session")
        app.button(key="session.bench.1").click().run()
        app.switch_page("screens/suggestions.py").run()
    with Studio.open(tmp_path / "studio") as studio:
        run = studio.shelf.pieces()
        assert [piece.source for piece in run] == [f"plate {number} of the session" for number in (1, 2, 3)]
        assert all(piece.target_id == 1 and piece.listed == {"delta_e00": 1.2, "chance": 0.6, "basis": "predicted"}
                   for piece in run)  # fmt: skip
        for count, piece in enumerate(run, start=1):
            for _ in range(count):
                studio.shelf.change(piece.uid, lambda one: one.count(one.at, ""))
    for piece in run:
        app.query_params["piece"] = piece.uid
        app.switch_page("screens/bench.py").run()
        app.button(key="bench-record").click().run()
    with Studio.open(tmp_path / "studio") as studio:
        forms = half_filled(studio)
    assert sorted(form.body["coat0_passes"] for form in forms) == [1, 2, 3]


def test_first_plates_go_to_the_bench_as_a_run_without_a_target(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    owned = {"chemicals": ["ferric nitrate"], "undercoats": [], "count": 12}
    app = page(monkeypatch, tmp_path, target=None, drafts={"first plates": owned}, screen="first_plates")
    app.button(key="first.run").click().run()
    with Studio.open(tmp_path / "studio") as studio:
        run = studio.shelf.pieces()
    assert len(run) == 4 and {piece.run for piece in run} == {OF_THE_FIRST}
    assert "First plate 1" in said(app) and "more to the plan" in said(app)
    app.query_params["piece"] = run[0].uid
    app.switch_page("screens/bench.py").run()
    app.button(key="bench-pass").click().run()
    app.button(key="bench-record").click().run()
    assert "Record a plate" in said(app)
    with Studio.open(tmp_path / "studio") as studio:
        assert (studio.draft("plate") or {})["from_where"] == OF_THE_FIRST, "once logged it leads to the next one"
