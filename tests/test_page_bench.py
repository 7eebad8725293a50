"""The bench, the readings that go from it into the log, and the page on trust: without a browser, then in Chromium.

Plates are of an invented process.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from matcher.bench.seal import learn_seal_shift
from matcher.bench.work import After, Piece, Taken
from matcher.reading.reading import Reading
from matcher.recipe.cautions import cautions_for
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.storage.drafts import Kept
from matcher.studio import Studio
from matcher.trials.trial import StageReading, Target, Trial
from tests.app_pages import plain
from tests.benchmarks.invented_processes import film, recipe_space
from tests.browser import Served, Visitor, page_file
from ui.recipe.later_reading import photographs_in
from ui.recipe.piece import on_the_bench
from ui.recipe.recipe_form import fields_of, recipe_of
from ui.state.next_step import next_step
from ui.state.places import BENCH, RECORD

APP = Path(__file__).parents[1] / "ui" / "app.py"
PROCESS = film(800)
Visit = Callable[..., Visitor]
Open = Callable[..., AppTest]


def ferric(passes: int, seal: Seal | None = None) -> Recipe:
    return Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, passes, 105.0),), seal)


def lab(passes: int) -> Any:
    return PROCESS.true(ferric(passes))


def fill(studio: Studio, plates: int = 30, target: Any = None) -> None:
    rng, space = np.random.default_rng(4), recipe_space()
    studio.save_target(Target("railing (invented)", Reading(lab=lab(4) if target is None else target), 1.5))
    studio.record_all([PROCESS.trial(space[k], rng) for k in rng.choice(len(space), plates, replace=False)])


@pytest.fixture
def page(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Open:
    """Open a page of one studio: ``page("bench")``; again for what a reload, or another phone, shows."""
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))

    def open_page(name: str, **query: str) -> AppTest:
        app = AppTest.from_file(str(APP), default_timeout=60).run()
        for key, value in query.items():
            app.query_params[key] = value
        return app.switch_page(page_file(name)).run()

    return open_page


@pytest.fixture
def studio(tmp_path: Path) -> Any:
    with Studio.open(tmp_path / "studio") as opened:
        yield opened


def said_on(app: AppTest) -> str:
    return " ".join(plain(element.proto) for element in app.get("html"))


def shown_on(app: AppTest) -> str:
    return "".join(plain(element.proto.body) for element in app.get("html"))


def button(app: AppTest, key: str) -> Any:
    return next((item for item in app.button if item.key == key), None)


def press(app: AppTest, key: str) -> AppTest:
    app.button(key=key).click()
    return app.run()


def with_piece(
    studio: Studio,
    passes: int,
    sealed: str = "no",
    readings: dict[int, Any] | None = None,
    uid: str = "p1",
    **told: Any,
) -> Piece:
    """Put a piece on the bench, the passes of its one coat counted, in the place of one of its uid."""
    taken = tuple(
        Taken(After(0, count), Reading(lab=colour), as_typed(colour)) for count, colour in (readings or {}).items()
    )
    kept: dict[str, Any] = {"recipe": ferric(8), "source": "Plate 3", "target_id": 1, "sealed": sealed, **told}
    studio.shelf.take_off(uid)
    return studio.shelf.put(Piece(uid, counts=(passes,), readings=taken, **kept))


def half_reading(studio: Studio) -> dict[str, Any] | None:
    return studio.draft("bench reading p1")


def as_typed(colour: Any) -> dict[str, Any]:
    return {"way": "typed", **{f"lab_{axis}": float(value) for axis, value in zip("lab", colour, strict=True)}}


# Before the first pass


def test_the_cautions_come_before_anything_is_done(page: Open, studio: Studio) -> None:
    fill(studio)
    recipe = studio.suggester().suggest(studio.targets()[0].reading)[0].recipe
    app = page("bench")
    assert all(html.escape(caution.message) in shown_on(app) for caution in cautions_for(recipe))
    assert button(app, "bench-pass") is None
    press(app, "bench-begin")
    assert button(app, "bench-pass") is not None
    assert "Now: undercoat" in shown_on(app) and "Step 1 of" in shown_on(app)


def test_the_plate_that_is_being_recorded_is_offered_first(page: Open, studio: Studio) -> None:
    fill(studio)
    assert page("bench").selectbox[1].value == "place1"
    studio.save_draft("plate", fields_of(ferric(7)))
    app = page("bench")
    assert app.selectbox[1].value == "form"
    press(app, "bench-begin")
    assert [piece.recipe for piece in studio.shelf.pieces()] == [ferric(7)]


def test_without_a_target_or_a_plate_the_page_says_the_way_on(page: Open, studio: Studio) -> None:
    empty = page("bench")
    assert "There is no target yet" in said_on(empty)
    assert [link.proto.label for link in empty.get("page_link") if "irst plates" in link.proto.label]
    studio.save_target(Target("railing (invented)", Reading(lab=lab(4))))
    app = page("bench")
    assert "No plate is logged yet" in said_on(app) and not app.exception


def test_a_forms_fields_give_back_their_recipe() -> None:
    for recipe in (ferric(6), ferric(3, Seal("wax", 3, hot=True)), recipe_space()[7], Recipe("tin bronze")):
        assert recipe_of(fields_of(recipe)) == recipe
    assert recipe_of({"alloy": "silicon bronze"}) is None


# Pass by pass


def test_passes_are_counted_undone_and_still_there_after_a_reload(page: Open, studio: Studio) -> None:
    fill(studio)
    with_piece(studio, 0)
    app = page("bench")
    for _ in range(3):
        press(app, "bench-pass")
    press(app, "bench-undo")
    assert "2 of about" in shown_on(app)
    assert "2 of about" in shown_on(page("bench")), "a flat battery loses nothing"


def test_the_button_says_what_goes_on_and_which_pass_it_is(page: Open, studio: Studio) -> None:
    fill(studio)
    with_piece(studio, 2)
    label = plain(button(page("bench"), "bench-pass").label).replace("\\", "")
    assert label.startswith("Ferric nitrate, half strength, 105 °C (221 °F), fine mist: **pass 3 of about ")


def test_passes_counted_on_two_screens_add_up(page: Open, studio: Studio) -> None:
    fill(studio)
    with_piece(studio, 0)
    laptop, phone = page("bench"), page("bench")
    for _ in range(3):
        press(laptop, "bench-pass")
    press(phone, "bench-pass")
    assert "4 of about" in shown_on(phone)
    assert studio.shelf.piece("p1").done == 4


def test_a_pass_of_a_piece_that_has_left_the_bench_is_counted_for_no_other(page: Open, studio: Studio) -> None:
    fill(studio)
    with_piece(studio, 2)
    phone = page("bench", piece="p1")
    studio.shelf.take_off("p1")
    with_piece(studio, 0, uid="p2")
    press(phone, "bench-pass")
    assert "no longer on the bench" in shown_on(phone)
    assert studio.shelf.piece("p2").done == 0


def test_a_pass_for_a_coat_that_another_screen_has_finished_is_not_counted_for_the_next(
    page: Open, studio: Studio
) -> None:
    fill(studio)
    two = Recipe("silicon bronze", None, (*ferric(4).coats, Coat("cupric nitrate", 0.25, 3, 105.0)))
    with_piece(studio, 4, recipe=two)
    phone = page("bench")
    studio.shelf.change("p1", lambda piece: piece.gone_on(0))
    press(phone, "bench-pass")
    assert "It was not counted: the piece is at another step now" in shown_on(phone)
    assert studio.shelf.piece("p1").passes == (4, 0)


def test_three_pieces_stay_each_where_it_was_left(page: Open, studio: Studio) -> None:
    """A third piece, and a reading half typed for each, erase nothing."""
    fill(studio)
    app = page("bench", piece="new")
    for count in (1, 2, 3):
        press(app, "bench-begin")
        for _ in range(count):
            press(app, "bench-pass")
        studio.save_draft(
            f"bench reading {studio.shelf.pieces()[-1].uid}",
            {"way": "typed", "reading_open": True, "after": "0.0", "lab_l": 40.0 + count},
        )
        press(app, "bench-another")
    pieces = studio.shelf.pieces()
    assert [sum(piece.counts) for piece in pieces] == [1, 2, 3]
    app = page("bench")
    assert "3 pieces on the bench" in shown_on(app)
    for number in (1, 0, 2):
        press(app, f"bench-open-{pieces[number].uid}")
        assert next(box for box in app.number_input if box.label == "L*").value == 41.0 + number
    assert [sum(piece.counts) for piece in studio.shelf.pieces()] == [1, 2, 3]


def test_a_piece_is_taken_off_only_once_the_person_has_said_so_again(page: Open, studio: Studio) -> None:
    fill(studio)
    with_piece(studio, 4, readings={2: lab(2)})
    app = page("bench")
    assert "4 passes and 1 reading. This is gone for good then" in shown_on(app)
    press(app, "bench-take-off")
    assert studio.shelf.pieces() == []


def test_every_step_is_led_through_and_logged_as_it_was_done(page: Open, studio: Studio) -> None:
    """Undercoat, wash, burnish, two coats and wax: what the log gets is what was counted, coat by coat."""
    fill(studio)
    recipe = Recipe(
        "silicon bronze",
        Undercoat("liver of sulphur", 0.5, 0.25),
        (*ferric(4).coats, Coat("cupric nitrate", 0.25, 3, 105.0)),
        Seal("wax", 2),
    )
    studio.shelf.put(Piece("p1", recipe, source="Plate 3", target_id=1, sealed="wax"))
    app = page("bench")
    for said in ("as undercoat", "wash the undercoat off clean", "Burnish back 25 %"):
        assert said.casefold() in plain(button(app, "bench-pass").label).replace("\\", "").casefold()
        assert "Cautions at this step" in shown_on(app)
        press(app, "bench-pass")
    for _ in range(5):  # one more than planned
        press(app, "bench-pass")
    assert "This coat alone" in shown_on(app) or "this coat alone" in shown_on(app)
    press(app, "bench-next")
    for _ in range(2):
        press(app, "bench-pass")
    press(app, "bench-next")
    assert "Wax, on cool metal: **coat 1 of 2 done**" in button(app, "bench-pass").label.replace("\\", "")
    assert "Cautions at this step: wax" in shown_on(app)
    for _ in range(2):
        press(app, "bench-pass")
    assert "All steps are done" in shown_on(app)
    press(app, "bench-record")
    form = studio.draft("plate")
    assert form is not None
    done = replace(recipe, coats=(replace(recipe.coats[0], passes=5), replace(recipe.coats[1], passes=2)))
    assert recipe_of(form) == done


def test_a_first_coat_is_not_told_to_stop_for_what_the_last_one_brings(page: Open, studio: Studio) -> None:
    fill(studio)
    two = Recipe("silicon bronze", None, (*ferric(4).coats, Coat("cupric nitrate", 0.25, 3, 105.0)))
    with_piece(studio, 4, recipe=two)
    said = shown_on(page("bench"))
    assert "past the target" not in said and "the finished piece is expected at" in said
    assert "coat 1, ferric nitrate: 4 of about" in said.casefold()


def test_without_a_target_the_passes_are_counted_to_the_plan(page: Open, studio: Studio) -> None:
    with_piece(studio, 3, target_id=None)
    app = page("bench")
    assert "5 more to the plan" in shown_on(app)
    assert "pass 4 of 8 done" in button(app, "bench-pass").label


def test_why_list_and_bench_differ_is_said_beside_it(page: Open, studio: Studio) -> None:
    fill(studio)
    with_piece(studio, 0, listed={"delta_e00": 0.4, "chance": 0.97, "basis": "logged"})
    said = shown_on(page("bench")).replace("\N{NO-BREAK SPACE}", " ")
    assert "The list said ΔE00 0.4 and 97" in said and "read at, and this is a new piece" in said
    with_piece(studio, 0)
    assert "The list said" not in shown_on(page("bench"))


def test_the_clock_runs_from_the_last_pass_when_it_is_wanted(page: Open, studio: Studio) -> None:
    fill(studio)
    with_piece(studio, 3)
    app = page("bench")
    assert '<p class="pm-clock"' not in shown_on(app)
    app.toggle[0].set_value(True).run()
    assert "The clock starts with the first pass" in shown_on(app)
    press(app, "bench-pass")
    assert "data-seconds" in shown_on(app)
    assert "data-seconds" in shown_on(page("bench")), "kept for the next time"


def test_a_reading_corrects_the_path_and_can_be_taken_out_and_put_back(page: Open, studio: Studio) -> None:
    """A piece that takes the coat slower is read at what one pass gives: more passes remain than before."""
    fill(studio)
    with_piece(studio, 3)
    before = passes_remaining(page("bench"))
    studio.save_draft("bench reading p1", {"reading_open": True, "after": "0.3", **as_typed(lab(1))})
    app = press(page("bench"), "bench-keep-reading")
    assert passes_remaining(app) > before
    assert half_reading(studio) is None
    press(app, "bench-take-out-0-3")
    assert passes_remaining(app) == before
    press(app, "bench-put-back")
    assert passes_remaining(app) > before


def passes_remaining(app: AppTest) -> int:
    said = re.search(r"pm-instruction[^>]*>([^<]*)", said_on(app))
    assert said is not None
    number = said[1].split()[0]
    return 0 if number.startswith("Stop") else 1 if number == "One" else int(number)


def test_a_wrong_reading_comes_back_to_be_corrected(page: Open, studio: Studio) -> None:
    fill(studio)
    with_piece(studio, 3, readings={2: lab(2)})
    app = press(page("bench"), "bench-correct-0-2")
    assert app.selectbox[0].value == "0.2"
    next(box for box in app.number_input if box.label == "L*").set_value(61.0)
    press(app.run(), "bench-keep-reading")
    kept = studio.shelf.piece("p1").reading_after(After(0, 2))
    assert kept is not None and kept.reading.lab[0] == 61.0


def test_a_pass_with_a_reading_is_not_undone_from_under_it(page: Open, studio: Studio) -> None:
    fill(studio)
    with_piece(studio, 2, readings={2: lab(2)})
    app = press(page("bench"), "bench-undo")
    assert "There is a reading after 2 passes: correct it or remove it first" in said_on(app)
    assert studio.shelf.piece("p1").done == 2


def test_overshoot_is_warned_of_in_large_letters(page: Open, studio: Studio) -> None:
    fill(studio)
    with_piece(studio, 9, readings={9: lab(9)})
    said = said_on(page("bench"))
    assert "Stop: past the target" in said and "passes cannot be taken off" in said
    with_piece(studio, 4, readings={4: lab(4)})
    assert "Lay no more: one more pass is expected to take it to" in said_on(page("bench"))


def test_a_piece_past_the_target_but_within_its_tolerance_is_read_before_it_is_burnished(
    page: Open, studio: Studio
) -> None:
    fill(studio)
    studio.save_target(Target("gate (invented)", Reading(lab=lab(4)), 20.0))
    with_piece(studio, 9, readings={9: lab(9)})
    assert "before you burnish it" not in said_on(page("bench")), "it is farther off than ΔE00 1.5"
    with_piece(studio, 9, readings={9: lab(9)}, target_id=2)
    said = said_on(page("bench"))
    assert "Stop: past the target" in said and "still within ΔE00 20: read the piece" in said
    assert "Chance to be within 20 now:" in said


def test_a_sealed_target_is_compared_through_what_the_seal_did_to_other_plates(page: Open, studio: Studio) -> None:
    fill(studio)
    plain = Trial(
        ferric(5, Seal("wax")), Reading(lab=lab(5) - [5, 0, 0]), stages=(StageReading("cool", Reading(lab(5))),)
    )
    studio.record_all([plain, Trial(plain.recipe, plain.reading, stages=plain.stages)])
    with_piece(studio, 2, sealed="wax")
    said = said_on(page("bench"))
    assert "Wax is expected to change this" in said and "from 2 plates read before and after" in said
    assert "Target before sealing" in said
    with_piece(studio, 2)
    assert "Wax is expected" not in said_on(page("bench"))


def test_a_readings_form_opens_within_the_panel_of_the_readings(page: Open, studio: Studio) -> None:
    fill(studio)
    with_piece(studio, 5)
    app = press(page("bench"), "bench-add-reading")
    panel = next(block for block in blocks(app.main) if block.proto.id.endswith("panel-bench-readings"))
    assert "A reading of the piece" in [heading.value for heading in panel.header]


def blocks(block: Any) -> list[Any]:
    """Return all blocks of a page."""
    below = [child for child in getattr(block, "children", {}).values() if hasattr(child, "children")]
    return [*below, *(deeper for child in below for deeper in blocks(child))]


def test_the_front_page_leads_back_to_the_piece_on_the_bench() -> None:
    form = Kept("plate", {"piece": "H-7"}, datetime.now(UTC))
    piece = Piece("p1", ferric(8), counts=(3,))
    step = next_step([], 0, (), [piece], [form])
    assert step.place is BENCH and "3 passes are done" in step.sentence and step.address == {"piece": "p1"}
    assert "2 pieces are on it" in next_step([], 0, (), [piece, piece], [form]).sentence
    assert next_step([], 0, (), [], [form]).place is RECORD


# Into the log


def test_what_was_laid_and_read_goes_into_the_log(page: Open, studio: Studio) -> None:
    """Five passes of a recipe that said eight, read after two and five: the trial says five, with both stages."""
    fill(studio)
    with_piece(studio, 5, readings={2: lab(2), 5: lab(5)})
    press(page("bench"), "bench-record")
    app = page("record")
    assert "with the passes that were actually done" in said_on(app) and "After pass 2" in said_on(app)
    press(app, "plate.log")
    trial = studio.trials()[-1]
    assert trial.recipe == ferric(5) and trial.target_id == 1
    assert [step.stage for step in trial.stages] == ["pass 2", "pass 5"]
    assert np.allclose(trial.stages[0].reading.lab, lab(2)) and np.allclose(trial.reading.lab, lab(5))
    assert studio.shelf.pieces() == [] and studio.draft("plate") is None


def test_a_piece_in_the_record_form_can_go_back_to_the_bench(page: Open, studio: Studio) -> None:
    fill(studio)
    studio.save_draft("plate", {**fields_of(ferric(3)), "piece": "H-7"})
    with_piece(studio, 5)
    press(page("bench"), "bench-record")
    assert (studio.draft("plate") or {})["piece"] == "H-7", "what stood in the form is kept"
    form = studio.shelf.piece("p1").form
    assert form is not None and (studio.draft(form) or {})["coat0_passes"] == 5
    app = press(page("bench", piece="p1"), "bench-more")
    press(app, "bench-pass")
    press(app, "bench-record")
    assert (studio.draft(form) or {})["coat0_passes"] == 6, "the same form, not another one"
    app = press(page("bench", piece="p1"), "bench-another")
    assert app.selectbox[1].value == "form", "the other plate; the piece in its form is not begun a second time"


def test_any_number_of_record_forms_are_kept_listed_and_thrown_away_only_by_the_person(
    page: Open, studio: Studio
) -> None:
    fill(studio, plates=6)
    for number in (1, 2, 3):
        with_piece(studio, number, uid=f"p{number}", name=f"H-{number}")
        press(page("bench", piece=f"p{number}"), "bench-record")
    app = page("record")
    said = shown_on(app)
    assert "2 other plates are half recorded" in app.expander[0].label and "H-1" in said and "H-2" in said
    first = studio.shelf.piece("p1").form
    press(app, f"record.open.{first}")
    assert next(box for box in app.text_input if box.label == "Mark on the plate").value == "H-1"
    press(app, f"record.away.{studio.shelf.piece('p2').form}")
    assert "1 other plate is half recorded" in app.expander[0].label
    assert [piece.name for piece in on_the_bench(studio)] == ["H-2"], "its piece is on the bench again, counts and all"


def test_a_waxed_reading_is_added_to_a_logged_plate_and_teaches_the_seal(page: Open, studio: Studio) -> None:
    fill(studio, plates=3)
    logged = studio.record(Trial(ferric(5), Reading(lab=lab(5))))
    studio.save_draft(f"reading of plate {logged.id}", {"stage": "waxed", **as_typed(lab(5) - [4, 0, 0])})
    app = press(page("log", plate=str(logged.id)), f"later.add.{logged.id}")
    stages = studio.trial(logged.id or 0).stages
    assert [step.stage for step in stages] == ["waxed"]
    assert "Waxed" in said_on(app)
    assert f"The reading is added to plate {logged.id}: waxed." in shown_on(app)
    shift = learn_seal_shift(studio.trials())
    assert shift.pairs == 1 and shift.at(lab(5)).shift[0] < -2.0


def test_all_photographs_of_a_reading_go_with_it() -> None:
    assert photographs_in({"photo": "a", "frames_used": ["b", "c"]}) == ["a", "b", "c"]
    assert photographs_in({"way": "typed"}) == []


# Trust


def test_trust_needs_four_plates_and_says_the_way_on(page: Open, studio: Studio) -> None:
    assert "log a plate first" in said_on(page("trust")).casefold()
    fill(studio, plates=3)
    app = page("trust")
    assert "Log at least 4 plates" in said_on(app) and not app.exception


def test_trust_says_in_plain_words_what_the_figures_mean(page: Open, studio: Studio) -> None:
    fill(studio, plates=20)
    near = studio.trials()[-1]
    studio.record(Trial(near.recipe, Reading(lab=near.reading.lab + [-25.0, 10.0, -15.0])))
    app = page("trust")
    said = said_on(app)
    assert "of the plates were predicted within" in said and "of 21 plates" in said
    assert len(app.get("plotly_chart")) == 5
    assert any("off by" in item.label for item in app.button)
    assert "disagree" in said and not app.exception


def test_of_many_odd_plates_trust_shows_the_oddest_and_says_how_many_follow(
    page: Open, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each that is shown is read from the log anew: a page of hundreds would take seconds."""
    fill(studio, plates=20)
    near = studio.trials()
    for k in (5, 12):
        studio.record(Trial(near[k].recipe, Reading(lab=near[k].reading.lab + [25.0, -20.0, -15.0])))
    monkeypatch.setattr("ui.suggestions.disagreeing_plates.SHOWN", 1)
    app = page("trust")
    odd = [item for item in app.button if str(item.key).startswith("at-odds-right.")]
    found = re.search(r"The 1 that disagree most are shown; settle these, and the other (\d+) come", said_on(app))
    assert len(odd) == 1 and found and int(found[1]) >= 1 and not app.exception


# In Chromium


def fits_a_hand(visitor: Visitor) -> None:
    """Nothing is wider than the phone, and what is pressed is 44 px high (WCAG 2.2, 2.5.5, from memory)."""
    assert visitor.page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    heights = visitor.page.evaluate(
        """[...document.querySelectorAll(".stButton button, summary, button[data-variant=segmented_control]")]
            .filter(e => e.offsetParent).map(e => [Math.round(e.getBoundingClientRect().height), e.innerText])"""
    )
    assert heights and min(heights)[0] >= 44, min(heights)


PASS = re.compile("pass [0-9]+ ", re.IGNORECASE)


def start(visitor: Visitor) -> None:
    """Begin, and go on past what comes before the first coat."""
    visitor.press("I have read them: start")
    for _ in range(4):
        if visitor.page.get_by_role("button", name=PASS).count():
            return
        visitor.press(re.compile("done$", re.IGNORECASE))


def in_view(visitor: Visitor) -> None:
    """The button is what one sees: whole, large enough for a glove, without a touch of the page."""
    box = visitor.page.get_by_role("button", name=PASS).first.bounding_box()
    assert box["height"] >= 90 and box["width"] >= 300, "pressed with gloves on"
    assert box["y"] >= 0 and box["y"] + box["height"] <= visitor.page.viewport_size["height"], box


def test_three_pieces_are_worked_on_at_once_with_a_phone(demo: Served, visit: Visit) -> None:
    visitor = visit(demo, phone=True)
    page = visitor.page
    for count in (1, 2, 3):
        visitor.open("bench?piece=new")
        start(visitor)
        in_view(visitor)
        for _ in range(count):
            visitor.press(PASS)
    page.reload()  # a locked phone
    page.get_by_role("button", name=PASS).first.wait_for()
    visitor.settle()
    visitor.sees(re.compile("3 of about"))
    in_view(visitor)
    fits_a_hand(visitor)
    visitor.shot("bench-three")
    other = visit(demo)  # another device
    other.open("bench")
    other.sees("3 pieces on the bench")
    other.shot("bench-shelf")
    with demo.studio() as studio:
        pieces = studio.shelf.pieces()
    assert [sum(piece.passes) for piece in pieces] == [1, 2, 3]


def test_a_piece_is_led_to_its_target_with_a_phone(demo: Served, visit: Visit) -> None:
    visitor = visit(demo, phone=True)
    page = visitor.page
    visitor.open("bench")
    fits_a_hand(visitor)
    start(visitor)
    in_view(visitor)
    for _ in range(2):
        visitor.press(PASS)
    visitor.sees(re.compile("2 of about"))
    visitor.press("Add a reading")
    visitor.press(re.compile("L\\*, a\\*, b\\*|Instrument"), "radio")
    for label, value in (("L*", "29"), ("a*", "12.5"), ("b*", "14")):  # far darker than the target
        visitor.type_number(label, value)
    page.reload()  # half-way through a reading
    page.get_by_role("button", name="Save this reading").wait_for()
    visitor.settle()
    visitor.press("Save this reading")
    visitor.sees("After 2 passes: ΔE00")
    in_view(visitor)
    fits_a_hand(visitor)
    visitor.shot("bench")
    visitor.sees("Stop: past the target")
    visitor.press("Record this plate")
    visitor.sees("with the passes that were actually done")
    with demo.studio() as studio:
        plate = studio.draft("plate")
    assert plate is not None and plate["coat0_passes"] == 2 and plate["stages"][0]["stage"] == "pass 2"


def test_a_piece_is_read_from_a_photograph_at_the_bench(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("bench")
    start(visitor)
    visitor.press(PASS)
    visitor.press("Add a reading")
    visitor.press("The next plate with a grey card, in daylight")
    visitor.press("Yes, that is the card")
    visitor.bench().drag((440, 560), (640, 720))
    visitor.press("Save this reading")
    visitor.sees("After 1 pass: ΔE00")
    visitor.shot("bench-photograph")
    with demo.studio() as studio:
        (piece,) = studio.shelf.pieces()
        reading = piece.readings[0].reading
        assert reading.photo is not None and studio.photo_path(reading.photo).is_file()
    visitor.press("Correct")
    visitor.sees("1 finish marked.")
    visitor.press("Not now")


def test_the_plots_on_trust_are_drawn_and_lead_to_the_plates(read_demo: Served, visit: Visit) -> None:
    visitor = visit(read_demo, phone=True)
    visitor.open("trust")
    visitor.page.locator(".js-plotly-plot").nth(4).wait_for()
    visitor.settle()  # a plot takes its width once it is drawn
    fits_a_hand(visitor)
    visitor.sees(re.compile("Half of the plates were predicted within ΔE00"))
    visitor.shot("trust")
    worst = visitor.page.get_by_role("button", name=re.compile("Plate .* off by")).first
    number = worst.inner_text().split(",")[0]
    visitor.press(worst.inner_text())
    visitor.page.get_by_role("heading", name=number, exact=True).wait_for()
