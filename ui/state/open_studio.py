"""The open studio, and what the pages ask of it more than once in a run."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import streamlit as st

from ui.state.cache_keys import Key, log_key
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.trials.trial import Target, Trial


def the_studio() -> Studio:
    """Return the studio that MATCHER_STUDIO names, opened once for all visitors. Raises StudioError."""
    return _open(os.environ.get("MATCHER_STUDIO", ""))


@st.cache_resource(show_spinner=False)
def _open(where: str) -> Studio:
    from matcher.studio import Studio

    return Studio.open(where or None)


def logged(studio: Studio) -> list[Trial]:
    """Return the trials that count, oldest first; read anew only when the log has changed."""
    return _logged(log_key(studio), studio)


@st.cache_resource(show_spinner=False, max_entries=2)
def _logged(key: Key, _studio: Studio) -> list[Trial]:
    return _studio.trials()


def chosen_target(studio: Studio) -> Target | None:
    """Return the target being worked on: the one in the address, else the last one chosen, else the newest.

    An address that names a target that is not there is answered with a sentence.
    """
    targets = {str(target.id): target for target in studio.targets()}
    named = st.query_params.get("target")
    if not targets:
        return None
    chosen = targets.get(str(named or st.session_state.get("target")), list(targets.values())[-1])
    if named and named not in targets:
        tell(
            f"There is no target {named} in this studio: the address may be mistyped, or of another studio. "
            f"This is {chosen.name} instead."
        )
    choose_target(chosen)
    return chosen


def choose_target(target: Target) -> None:
    """Work on ``target`` from now on; the address says so too, so that a reload comes back to it."""
    st.session_state["target"] = target.id


def ask_for_target(studio: Studio, target: Target, page: str) -> Target:
    """Let another target be chosen; return the one that is. page: what tells this field from those of other pages."""
    targets = {str(item.id): item for item in reversed(studio.targets())}
    number = st.selectbox(
        "Target",
        list(targets),
        index=list(targets).index(str(target.id)),
        format_func=lambda key: targets[key].name,
        key=f"{page}.target.{target.id}",
    )
    if number != str(target.id):
        choose_target(targets[number])
        st.query_params["target"] = number
        st.rerun()
    return target
