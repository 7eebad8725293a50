"""The open studio, and what the pages ask of it more than once in a run."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import streamlit as st

from matcher.commissions.store import by_due_day
from ui.state.cache_keys import Key, log_key
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.plan.limits import Limits
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
    """Return the trials that count by their numbers, of a long log a part that holds some of everything.

    Read anew only when the log has changed. ``how_many`` counts them all.
    """
    return _logged(log_key(studio), studio)


def how_many(studio: Studio) -> int:
    """Return how many plates count, without reading the log; counted anew only when it has changed."""
    return _how_many(log_key(studio), studio)


@st.cache_resource(show_spinner=False, max_entries=2)
def _how_many(key: Key, _studio: Studio) -> int:
    return _studio.log.count()


def newest(studio: Studio, count: int) -> list[Trial]:
    """Return the plates logged last, the newest first, without reading the whole log."""
    return _newest(log_key(studio), count, studio)


@st.cache_resource(show_spinner=False, max_entries=8)
def _newest(key: Key, count: int, _studio: Studio) -> list[Trial]:
    return _studio.log.newest(count)


@st.cache_resource(show_spinner=False, max_entries=2)
def _logged(key: Key, _studio: Studio) -> list[Trial]:
    return list(_studio.part_of_log().trials)


def say_part(studio: Studio, target: Target | None = None, limits: Limits | None = None) -> None:
    """Say from which plates of a long log what stands here is worked out; nothing where it is all of them."""
    from matcher.suggest.wording import worked_out_from

    if said := worked_out_from(studio.part_of_log(None if target is None else target.reading, limits)):
        st.html(f'<p class="pm-soft">{said}</p>')


def chosen_target(studio: Studio) -> Target | None:
    """Return the target being worked on: the one in the address, else the last one chosen, else the first to choose.

    An address that names a target that is not there is answered with a sentence.
    """
    targets = {str(target.id): target for target in studio.targets()}
    named = st.query_params.get("target")
    if not targets:
        return None
    first = next(iter(target_choices(studio)), None)
    otherwise = targets.get(str(first), list(targets.values())[-1])
    chosen = targets.get(str(named or st.session_state.get("target")), otherwise)
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


def target_choices(studio: Studio, keep: int | None = None) -> dict[int, str]:
    """Return the targets to choose from, by number: those of a commission together, the others after them.

    Those set aside are not among them, nor are those of an area or a commission that is, or of one that is delivered;
    keep: one that stays all the same.
    """
    targets = {target.id or 0: target for target in studio.targets()}
    if keep is not None and keep not in targets:
        targets[keep] = studio.target(keep)
    named: dict[int, str] = {}
    of_an_area: set[int] = set()
    for commission in by_due_day(studio.commissions.commissions(include_set_aside=True)):
        closed = commission.set_aside is not None or commission.delivered
        for area in commission.every_area:
            of_an_area |= {area.target_id or 0}
            apart = closed or area.set_aside is not None
            if area.target_id in targets and (not apart or area.target_id == keep):
                named.setdefault(
                    area.target_id or 0, f"{commission.title}, {area.name}: {targets[area.target_id].name}"
                )
    alone = [target for number, target in reversed(targets.items()) if number not in of_an_area]
    return {**named, **{target.id or 0: target.name for target in alone}}


def alloy_for(studio: Studio, target_id: int | None) -> str | None:
    """Return the alloy of the commission that a target is for; None where there is none, or several differ.

    An approved plate is for what it was approved for.
    """
    commissions = [commission for commission, _ in studio.commissions.of_target(target_id)]
    approved = [] if target_id is None else studio.casts.areas_approved_as(target_id)
    alloys = {each.alloy for each in [*commissions, *(studio.commissions.area(area)[0] for area in approved)]}
    return alloys.pop() if len(alloys) == 1 else None


def ask_for_target(studio: Studio, target: Target, page: str) -> Target:
    """Let another target be chosen; return the one that is. page: what tells this field from those of other pages."""
    choices = target_choices(studio, keep=target.id)
    number = st.selectbox(
        "Target",
        list(choices),
        index=list(choices).index(target.id or 0),
        format_func=choices.__getitem__,
        key=f"{page}.target.{target.id}",
    )
    if number != target.id:
        choose_target(studio.target(number))
        st.query_params["target"] = str(number)
        st.rerun()
    return target
