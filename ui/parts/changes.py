"""What a new plate changed for its target: the list without it beside the list with it."""

from __future__ import annotations

import html
from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from ui.parts.opened import logged

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.suggest import Suggestion
    from matcher.trials.trial import Target, Trial

SHOWN = 5
LOOKED_AT = 25


@dataclass(frozen=True)
class Change:
    """One plate's place before and now; None is outside the list that was looked at."""

    plate: int
    before: int | None
    now: int | None
    delta_e00: float
    is_new: bool


def last_trial_for(studio: Studio, target: Target) -> Trial | None:
    """Return the plate that was last logged for a target, or None."""
    return next((trial for trial in reversed(logged(studio)) if trial.target_id == target.id), None)


def lists_around(studio: Studio, target: Target, trial: Trial) -> tuple[list[Suggestion], list[Suggestion]]:
    """Return the ranked list as it was without a trial, and as it is now."""
    from matcher.suggest import Suggester

    others = [item for item in logged(studio) if item.id != trial.id]
    before = Suggester(others).suggest(target.reading, LOOKED_AT) if others else []
    return before, studio.suggester().suggest(target.reading, LOOKED_AT)


def changes(before: list[Suggestion], now: list[Suggestion], trial: Trial) -> list[Change]:
    """Return what stands in the top of either list, in the order of now."""
    places_before, places_now = _places(before), _places(now)
    distance = {_plate(item): item.delta_e00 for item in (*before, *now)}
    top = dict.fromkeys([*list(places_now)[:SHOWN], *list(places_before)[:SHOWN]])
    new = trial.id or 0
    if new in places_now:
        top.setdefault(new)
    rows = [
        Change(plate, places_before.get(plate), places_now.get(plate), distance[plate], plate == new) for plate in top
    ]
    return sorted(rows, key=lambda row: row.now or LOOKED_AT + 1)


def show_changes(target: Target, trial: Trial, before: list[Suggestion], now: list[Suggestion]) -> None:
    """Say what the plate changed, then show the places before and now."""
    st.html(f"<p>{html.escape(in_words(target, trial, before, now))}</p>" + _table(changes(before, now, trial)))


def in_words(target: Target, trial: Trial, before: list[Suggestion], now: list[Suggestion]) -> str:
    """Say in one or two sentences what the plate changed."""
    place = _places(now).get(trial.id or 0)
    own = next((item for item in now if _plate(item) == trial.id), None)
    if place is None or own is None:
        return f"Plate {trial.id} is not among the {LOOKED_AT} nearest to {target.name}."
    said = f"Plate {trial.id} came to ΔE00 {own.delta_e00:.1f} from {target.name} and stands at place {place}."
    if not before:
        return said
    nearest = before[0].delta_e00
    if place == 1:
        said += f" The nearest was ΔE00 {nearest:.1f} before; it is {own.delta_e00:.1f} now."
    else:
        said += f" The nearest stays plate {_plate(now[0])}, at ΔE00 {now[0].delta_e00:.1f}."
    return said


def _table(rows: list[Change]) -> str:
    body = "".join(
        f"<tr{' class=pm-new' if row.is_new else ''}>"
        f'<th scope="row">Plate {row.plate}{" (new)" if row.is_new else ""}</th>'
        f"<td>{_place(row.before, row.is_new)}</td><td>{_place(row.now, False)}</td><td>{row.delta_e00:.1f}</td></tr>"
        for row in rows
    )
    return (
        '<table class="pm-changes"><thead><tr><th scope="col">Plate</th><th scope="col">Place before</th>'
        f'<th scope="col">Place now</th><th scope="col">ΔE00</th></tr></thead><tbody>{body}</tbody></table>'
    )


def _place(place: int | None, is_new: bool) -> str:
    if is_new:
        return "not made"
    return f"after {LOOKED_AT}" if place is None else str(place)


def _places(ranked: list[Suggestion]) -> dict[int, int]:
    return {_plate(item): place for place, item in enumerate(ranked, start=1)}


def _plate(item: Suggestion) -> int:
    return (item.trial.id or 0) if item.trial is not None else 0
