"""Two people at one thing on the page: a button acts on what its page showed, and says so when that is no longer so."""

from __future__ import annotations

from pathlib import Path

import pytest
import streamlit as st

from matcher.studio import Studio
from tests.app_pages import button, open_page, said_on
from tests.plates import MADE_AT, a_trial


@pytest.fixture
def other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Studio:
    """The studio of the page, as another bench has it open."""
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    st.cache_resource.clear()
    studio = Studio.open(tmp_path / "studio")
    studio.record(a_trial())
    return studio


def test_a_bottle_that_was_moved_meanwhile_is_not_moved_over(other: Studio) -> None:
    other.save_stock("Fe 1", "ferric nitrate", 400.0, made_at=MADE_AT)
    page = open_page("solutions")
    page.text_input(key="bottle.place.Fe 1").set_value("shelf").run()
    other.bottles.change("Fe 1", "Ann", kept_where="cabinet")
    button(page, "Note the place").click().run()
    assert "its place was changed meanwhile, to cabinet." in said_on(page)
    assert other.bottles.stock("Fe 1").kept_where == "cabinet"
    button(page, "Note the place").click().run()
    assert other.bottles.stock("Fe 1").kept_where == "shelf", "now that it is seen"


def test_a_plate_that_was_set_aside_anew_is_not_taken_back_unseen(other: Studio) -> None:
    other.set_aside(1, "streaky", "Ann")
    page = open_page("log", plate="1")
    assert "Set aside: streaky" in said_on(page)
    other.take_back(1, "Ann")
    other.set_aside(1, "wrong alloy", "Ann")
    button(page, "Restore this plate").click().run()
    assert "set aside anew meanwhile (wrong alloy)" in said_on(page)
    assert other.trial(1).set_aside == "wrong alloy"


def test_a_title_that_was_changed_meanwhile_stays(other: Studio) -> None:
    page = open_page("start")
    page.text_input(key="studio.title").set_value("Otter Yard").run()
    other.give_title("Heron Yard", who="Ann")
    button(page, "Save this title").click().run()
    assert "was changed to &#x27;Heron Yard&#x27; meanwhile" in said_on(page)
    assert other.title == "Heron Yard"
