"""What a new plate changed for its target: the plates in the order of their nearness, without it and with it.

Only plates that were made are compared, by their measured ΔE00: that needs no model, so it is there at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from ui.escaped import escaped

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.trials.trial import Target, Trial

SHOWN = 5


@dataclass(frozen=True)
class Change:
    """One plate's place among the plates before and now; before is None for the new one.

    tied: the new one can't be told apart from the nearest of the others, by their distances to the target.
    """

    plate: int
    before: int | None
    now: int
    delta_e00: float
    tied: bool = False


def last_trial_for(studio: Studio, target: Target) -> Trial | None:
    """Return the plate that was last logged for a target, or None."""
    number = studio.log.last_for(target.id or 0)
    return None if number is None else next(iter(studio.log.some([number])), None)


def changes(target: Target, trials: Sequence[Trial], new: Trial) -> list[Change]:
    """Return the plates nearest to the target, nearest first, and the new one wherever it stands."""
    from matcher.colour.difference import delta_e_2000
    from matcher.reading.comparison import draws_to_target, ties

    distances = delta_e_2000(target.reading.lab, [trial.reading.lab for trial in trials])
    order = sorted(zip(distances.tolist(), (trial.id or 0 for trial in trials), strict=True))
    place_of_new = next(place for place, (_, plate) in enumerate(order, start=1) if plate == new.id)
    others = {trial.id or 0: trial.reading for trial in trials if trial.id != new.id}
    nearest = next((others[plate] for _, plate in order if plate in others), None)
    draws = draws_to_target(target.reading, [new.reading, *([] if nearest is None else [nearest])])
    tied = bool(ties(draws)[0])
    rows = [
        Change(
            plate,
            None if plate == new.id else place - (place > place_of_new),
            place,
            distance,
            tied and plate == new.id,
        )
        for place, (distance, plate) in enumerate(order, start=1)
    ]
    return [row for row in rows if row.now <= SHOWN + 1 or row.before is None]


def show_changes(target: Target, rows: Sequence[Change]) -> None:
    """Say what the plate changed, then show the places before and now."""
    st.html(f"<p>{escaped(in_words(target, rows))}</p>" + _table(rows))


def in_words(target: Target, rows: Sequence[Change]) -> str:
    """Say in one or two sentences what the new plate changed."""
    new = next(row for row in rows if row.before is None)
    others = [row for row in rows if row.before is not None]
    said = f"Plate {new.plate} came to ΔE00 {new.delta_e00:.1f} from {target.name}"
    if not others:
        return f"{said}. It is the first plate."
    nearest = f"{others[0].plate}, at ΔE00 {others[0].delta_e00:.1f}"
    if new.now == 1:
        if new.tied:
            return f"{said}: as read nearer than any plate before, but plate {nearest}, may be as near."
        return f"{said}: nearer than any plate before. The nearest was plate {nearest}."
    place = f"{said} and is number {new.now} of the plates"
    if new.tied:
        return f"{place}, but as read it may be as near as plate {nearest}."
    return f"{place}. The nearest stays plate {nearest}."


def _table(rows: Sequence[Change]) -> str:
    body = "".join(
        f"<tr{' class=pm-new' if row.before is None else ''}>"
        f'<th scope="row">Plate {row.plate}{" (new)" if row.before is None else ""}</th>'
        f"<td>{'not made' if row.before is None else row.before}</td><td>{row.now}</td>"
        f"<td>{row.delta_e00:.1f}</td></tr>"
        for row in rows
    )
    return (
        '<table class="pm-changes"><thead><tr><th scope="col">Of the plates made</th><th scope="col">Place before</th>'
        f'<th scope="col">Place now</th><th scope="col">ΔE00</th></tr></thead><tbody>{body}</tbody></table>'
    )
