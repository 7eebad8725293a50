"""The commissions page: taken on, areas given targets, journal, changes; and the alloy asked once. All invented."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from matcher.commissions.commission import Area, JournalLine
from matcher.studio import Studio
from matcher.trials.trial import Target
from tests.app_pages import plain
from tests.browser import Served, Visitor
from tests.plates import a_reading
from tests.test_commissions import a_commission
from tests.test_page_suggestions import PLATES, limits_line, page, ranked, said
from ui.show.literal import literal

Visit = Callable[..., Visitor]


def the_page(monkeypatch: pytest.MonkeyPatch, folder: Path, **address: str) -> AppTest:
    app = page(monkeypatch, folder, PLATES, screen="commissions")
    for name, value in address.items():
        app.query_params[name] = value
    return app.run()


def kept(folder: Path, **changed: Any) -> None:
    """Keep a commission in the page's studio before it is opened."""
    with Studio.open(folder / "studio") as studio:
        studio.commissions.save(a_commission(**changed))


def field(app: AppTest, label: str) -> Any:
    """Return the first field of this label."""
    every = (*app.text_input, *app.number_input, *app.selectbox, *app.text_area, *app.segmented_control)
    return next(one for one in every if one.label == label)


def test_a_commission_is_taken_on_and_its_half_typed_form_is_kept(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = the_page(monkeypatch, tmp_path)
    assert "No commission is being worked on" in said(app)
    app.button(key="commission.new").click().run()
    field(app, "The piece").set_value("Heron fountain").run()
    field(app, "Casts in the edition").set_value(3).run()
    field(app, "Due on").set_value("in May").run()
    field(app, "Its areas, one to a line").set_value("bird\n\nreeds ").run()
    field(app, "Taken on by").set_value("Ann").run()
    app.button(key="commission.save").click().run()
    assert "Give the day on which it is due as 2026-03-31" in said(app)  # and nothing is lost
    again = the_page(monkeypatch, tmp_path, commission="new")
    assert field(again, "The piece").value == "Heron fountain"
    field(again, "Due on").set_value("2027-05-04").run()
    again.button(key="commission.save").click().run()
    shown = said(again)
    assert "Heron fountain" in shown and "3 casts · due 4 May 2027" in shown and "No target yet" in shown
    with Studio.open(tmp_path / "studio") as studio:
        (one,) = studio.commissions.commissions()
        assert [area.name for area in one.areas] == ["bird", "reeds"]
        assert (one.casts, one.made_by, one.tolerance, one.alloy) == (3, "Ann", 2.0, "silicon bronze")


def test_a_target_read_for_an_area_takes_its_tolerance_and_alloy_and_leads_back(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    kept(tmp_path, alloy="tin bronze")
    app = the_page(monkeypatch, tmp_path, commission="1")
    app.button(key="area.next.1").click().run()
    app.switch_page("screens/target.py")  # where the button led: the test's own page does not follow
    app.query_params["area"] = "1"
    app.run()
    assert "For bird of Heron fountain, in tin bronze." in said(app)
    field(app, "Where does the colour come from?").set_value("typed").run()
    for label, value in (("L*", 44.0), ("a*", 14.0), ("b*", 22.0)):
        field(app, label).set_value(value).run()
    assert field(app, "Name of the target").value == "Heron fountain, bird"
    app.button(key="target.save").click().run()
    assert (
        "Looking for the finish" in said(app) and app.button(key="area.next.1").label == "Make a first plate for bird"
    )
    with Studio.open(tmp_path / "studio") as studio:
        wanted = studio.target(studio.commissions.area(1)[1].target_id or 0)
        assert (wanted.tolerance, wanted.reading.lab[0]) == (1.5, 44.0)
    app.switch_page("screens/suggestions.py").run()
    app.query_params["target"] = str(wanted.id)
    app.run()
    assert "tin bronze" in limits_line(app)


def test_a_delivered_commission_is_found_apart_and_taken_back(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    kept(tmp_path, casts=2)
    app = the_page(monkeypatch, tmp_path, commission="1")
    assert field(app, "Handed to").value == "Park of Aldmere (invented)"
    app.multiselect[0].set_value([1, 2]).run()
    field(app, "Delivered on").set_value("in May").run()
    app.button(key="delivery.note.1").click().run()
    assert "Give the day on which it was delivered as 2026-03-31" in said(app)  # and nothing is lost
    field(app, "Delivered on").set_value("2026-05-02").run()
    app.button(key="delivery.note.1").click().run()
    shown = said(app)
    assert "All 2 casts are delivered" in shown
    assert "Cast 2 was delivered on 2 May 2026 to Park of Aldmere (invented)." in shown
    assert {app.button(key=f"repair.{area}").label for area in (1, 2)} == {"Take on the repair"}
    listed = the_page(monkeypatch, tmp_path)
    assert "No commission is being worked on" in said(listed)
    assert [one.label for one in listed.expander if "Delivered" in one.label] == [literal("Delivered (1)")]
    assert "Park of Aldmere (invented), 2 May 2026" in said(listed)
    start = page(monkeypatch, tmp_path, PLATES, screen="start").run()
    assert "Heron fountain" not in said(start)
    app.button(key="delivery.back.2").click().run()
    assert "1 delivered" in said(app) and "Take that back" in [one.label for one in app.button]
    assert "Heron fountain" in said(page(monkeypatch, tmp_path, PLATES, screen="start").run())


def test_an_area_is_set_aside_and_taken_back(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    kept(tmp_path)
    app = the_page(monkeypatch, tmp_path, commission="1")
    app.button(key="area.aside.2").click().run()
    assert "Give the reason for setting it aside" in said(app)
    app.text_input(key="area.reason.2").set_value("cast without").run()
    app.button(key="area.aside.2").click().run()
    assert "Areas set aside (1)" in [one.label for one in app.expander] and "area.next.2" not in [
        one.key for one in app.button
    ]
    assert "The area reeds was set aside: cast without." in said(app)
    app.button(key="area.back.2").click().run()
    assert app.button(key="area.next.2").label == "Give reeds a target"


def test_targets_are_offered_by_commission_and_what_is_set_aside_is_not(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        old, bird, postponed, aside = (
            studio.save_target(Target(name, a_reading(44.0))) for name in ("old", "brown", "gate green", "gone")
        )
        studio.commissions.save(a_commission(areas=(Area("bird", target_id=bird.id),)))
        other = studio.commissions.save(a_commission(title="Gate", areas=(Area("bars", target_id=postponed.id),)))
        studio.commissions.set_aside(other.id or 0, "postponed")
        studio.set_target_aside(aside.id or 0, "done")
    app = page(monkeypatch, tmp_path, PLATES)  # and saves the newest target, Heron
    assert field(app, "Target").options == ["Heron fountain, bird: brown", "Heron", "old"]
    assert "Plates nearest to brown" in said(app)  # the newest does not push it away
    assert "Find a recipe for brown" in said(app.switch_page("screens/start.py").run())
    app.switch_page("screens/record.py").run()
    assert field(app, "For the target").options == ["Heron fountain, bird: brown", "Heron", "old", "No target"]
    assert old.id == 1


def test_the_alloy_is_asked_once_and_holds_in_list_session_and_forms(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        wanted = studio.save_target(Target("bird", a_reading(44.0)))
        studio.commissions.save(a_commission(alloy="tin bronze", areas=(Area("bird", target_id=wanted.id),)))
    app = page(monkeypatch, tmp_path, PLATES)  # all but one on silicon bronze
    assert limits_line(app).endswith(": tin bronze")
    assert ranked(app) == ["Plate 8"]  # the one on tin bronze
    app.switch_page("screens/record.py").run()
    assert field(app, "Alloy").value == "tin bronze"
    assert "check the alloy" not in said(app)
    field(app, "Alloy").set_value("silicon bronze").run()
    assert "The commission is cast in tin bronze, and this recipe is on silicon bronze" in said(app)
    app.switch_page("screens_at_the_foot/first_plates.py").run()
    assert field(app, "Alloy").value == "tin bronze"


def test_the_journal_takes_a_line_and_remembers_who_wrote_it(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    kept(tmp_path)
    app = the_page(monkeypatch, tmp_path, commission="1")
    app.button(key="journal.keep.1").click().run()
    assert "Write the line, or give it a photograph" in said(app)
    field(app, "What it is").set_value("handover").run()
    field(app, "Write it down").set_value("Wax every spring. <b>Never</b> scrub.").run()
    field(app, "Written by").set_value("Ben").run()
    app.button(key="journal.keep.1").click().run()
    shown = said(app)
    assert "To hand over: Wax every spring. &lt;b&gt;Never&lt;/b&gt; scrub." in shown
    assert field(app, "Written by").value == "Ben" and field(app, "Write it down").value == ""
    app.switch_page("screens/record.py").run()
    assert field(app, "Made by").value == "Ben"
    with Studio.open(tmp_path / "studio") as studio:
        assert [(line.kind, line.who) for line in studio.commissions.journal(1)] == [("handover", "Ben")]


def test_areas_are_added_changed_and_moved(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    kept(tmp_path)
    app = the_page(monkeypatch, tmp_path, commission="1")
    field(app, "What it is called").set_value("base").run()
    app.button(key="area.add.1").click().run()
    app.button(key="area.up.3").click().run()
    names = [one for one in app.text_input if one.label == "Name of the area"]
    names[0].set_value("heron").run()
    app.button(key="area.save.1").click().run()
    with Studio.open(tmp_path / "studio") as studio:
        assert [area.name for area in studio.commissions.commission(1).areas] == ["heron", "base", "reeds"]
    assert "The area heron was changed. Area: heron, was bird." in said(app)


def test_of_two_screens_that_change_one_commission_the_second_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    kept(tmp_path)
    app = the_page(monkeypatch, tmp_path, commission="1")
    field(app, "Client").set_value("another").run()
    with Studio.open(tmp_path / "studio") as studio:
        one = studio.commissions.commission(1)
        studio.commissions.change(replace(one, title="Egret"), one)
    app.button(key="commission.save.1").click().run()
    assert "Look at Egret again before you change it" in said(app)
    app.button(key="commission.discard.1").click().run()
    field(app, "Client").set_value("another").run()
    app.button(key="commission.save.1").click().run()
    with Studio.open(tmp_path / "studio") as studio:
        assert (studio.commissions.commission(1).client, studio.commissions.commission(1).title) == ("another", "Egret")


def test_a_commission_is_set_aside_and_comes_back(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    kept(tmp_path)
    app = the_page(monkeypatch, tmp_path, commission="1")
    app.button(key="commission.aside.1").click().run()
    assert "Give the reason for setting it aside" in said(app)
    field(app, "Set aside because").set_value("delivered").run()
    app.button(key="commission.aside.1").click().run()
    assert "Set aside: delivered" in said(app)
    app.button(key="commission.back.1").click().run()
    assert "No target yet" in said(app)


@pytest.mark.parametrize("wrong", ["7", "bird", "-1", "1e9", "²"])
def test_an_address_of_no_commission_is_answered_in_a_sentence(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, wrong: str
) -> None:
    assert "There is no commission" in said(the_page(monkeypatch, tmp_path, commission=wrong))


def test_what_is_typed_is_shown_as_it_was_typed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    nasty = "<i>x</i> **y** [z](http://a)"
    kept(tmp_path, title=nasty, client=nasty, notes=nasty, areas=(Area(nasty),))
    with Studio.open(tmp_path / "studio") as studio:
        studio.commissions.write(JournalLine(1, nasty))
    for address in ({}, {"commission": "1"}):
        app = the_page(monkeypatch, tmp_path, **address)
        bodies = " ".join(plain(element.proto.body) for element in app.get("html"))
        assert "<i>x</i>" not in bodies and "&lt;i&gt;x&lt;/i&gt;" in bodies


def test_the_page_is_paper_and_its_pictures_lie_on_neutral_grey(read_demo: Served, visit: Visit) -> None:
    visitor = visit(read_demo, phone=True)
    look = "e => getComputedStyle(e).backgroundColor"
    visitor.open("commissions?commission=1")
    visitor.sees(re.compile("^Heron fountain"))
    visitor.shot("commission")
    paper = visitor.page.locator("[data-testid=stApp]").evaluate(look)
    red, green, blue = (int(part) for part in re.findall(r"\d+", visitor.page.locator(".pm-mat").first.evaluate(look)))
    assert red == green == blue
    visitor.open("target")
    assert visitor.page.locator("[data-testid=stApp]").evaluate(look) != paper
