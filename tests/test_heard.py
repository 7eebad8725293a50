"""What a part of the page says in the browser: heard once it stands in the page, and nothing else ends in an error."""

from __future__ import annotations

from pathlib import Path

from streamlit.testing.v1 import AppTest


def heard_by(said: object) -> object:
    """Return what is heard under "sent" of a part whose state is ``said``, None where it has none."""

    def page(said: object) -> None:
        import streamlit as st

        from ui.heard import heard

        if said is not None:
            st.session_state["part"] = said
        st.session_state["found"] = heard("part", "sent")

    app = AppTest.from_function(page, args=(said,)).run()
    assert not app.exception
    return app.session_state["found"]


def test_a_part_that_the_last_run_did_not_come_to_says_nothing():
    assert heard_by(None) is None
    assert heard_by({"other": 1}) is None
    assert heard_by({"sent": {"uid": "a"}}) == {"uid": "a"}


def test_every_part_is_heard_in_this_way():
    ui = Path(__file__).parents[1] / "ui"
    straight = [path.name for path in ui.rglob("*.py") if "session_state[KEY].get(" in path.read_text(encoding="utf-8")]
    assert straight == []
    assert sum("heard(KEY, " in path.read_text(encoding="utf-8") for path in ui.rglob("*.py")) >= 4
