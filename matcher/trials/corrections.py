"""Corrections of what was typed of a logged plate: the plate says the new at once, its history keeps the old.

Number, readings and photographs stay as they are, so that whatever names the plate goes on naming it. A correction
says which version it mends, and is refused when that is no longer the one in the log.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.errors import MatcherError, StudioError
from matcher.recipe.recipe import MAX_PASSES, Recipe
from matcher.recipe.stages import passes_at
from matcher.storage.database import Database
from matcher.storage.schema import CoatRow, TargetRow, TrialRow
from matcher.trials import rows
from matcher.trials.facts import TypedFacts, facts_of, what_changed
from matcher.trials.log import CORRECTED, Change, check_what_they_name, note, one_trial, touch
from matcher.trials.trial import Trial
from matcher.words import counted

_STAYS = ("uid", "set_aside_reason", "logged_at")


@dataclass(frozen=True)
class Correction:
    """One correction as the history tells it. changed: one line each. recipe, notes: as they were before it."""

    at: datetime
    who: str
    changed: tuple[str, ...]
    recipe: Recipe
    notes: str


class Corrections:
    """The corrections of one studio's plates."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def correct(self, trial_id: int, facts: TypedFacts, instead_of: TypedFacts, who: str = "") -> Trial:
        """Let a logged plate say ``facts`` instead of ``instead_of``, and return it; the earlier version is kept.

        Making the same correction again changes nothing. Raises StudioError for what cannot be kept, and when the
        plate no longer says ``instead_of``; then nothing is changed.
        """
        with self.database.writing() as session:
            before = one_trial(session, trial_id)
            after = replace(before, **vars(facts))
            values = rows.trial_values(after)
            _check(session, before, after)
            if facts_of(before) == facts:
                return before
            if facts_of(before) != instead_of:
                raise StudioError(
                    f"Look at plate {trial_id} again before you correct it: what is logged of it was changed meanwhile."
                )
            _write(session, trial_id, values, after.recipe)
            return _noted(session, before, who)


def corrections_among(changes: Iterable[Change]) -> list[Correction]:
    """Return the corrections among the changes of one plate, in their order."""
    found = (_told(change) for change in changes if change.what == CORRECTED)
    return [correction for correction in found if correction is not None]


def target_names(session: Session) -> dict[int, str]:
    """Return the targets' names by their numbers, those set aside too."""
    return {row.id: row.name for row in session.execute(sa.select(TargetRow.id, TargetRow.name))}


def _check(session: Session, before: Trial, after: Trial) -> None:
    """Raise StudioError when the plate would name what is not there, or fewer passes than it was read after."""
    check_what_they_name(session, [after])
    passes = _last_passes(after)
    read = max((passes_at(step.stage) or 0 for step in after.stages), default=0)
    if passes < min(read, _last_passes(before)):
        raise StudioError(
            f"Check the passes of the last coat: plate {after.id} was read after pass {read}, and this says "
            f"{counted(passes, 'pass')}."
        )


def _last_passes(trial: Trial) -> int:
    """Return the passes of the last coat; as many as may be where nobody counted them."""
    if not trial.recipe.coats:
        return 0
    passes = trial.recipe.coats[-1].passes
    return MAX_PASSES if passes is None else int(passes)


def _write(session: Session, trial_id: int, values: Mapping[str, Any], recipe: Recipe) -> None:
    mended = {name: value for name, value in values.items() if name not in _STAYS}
    session.execute(sa.update(TrialRow).where(TrialRow.id == trial_id).values(**mended))
    session.execute(sa.delete(CoatRow).where(CoatRow.trial_id == trial_id))  # the history keeps what they said
    if recipe.coats:
        session.execute(sa.insert(CoatRow), rows.coat_values(trial_id, recipe))


def _noted(session: Session, before: Trial, who: str) -> Trial:
    """Write the line of history, unless the plate says the same as before once it is written down."""
    trial_id = before.id or 0
    after = one_trial(session, trial_id)
    was, now = facts_of(before), facts_of(after)
    if was != now:
        changed = what_changed(was, now, target_names(session))
        kept = {"was": _portable(session, was), "now": _portable(session, now), "changed": changed}
        note(session, CORRECTED, "trial", trial_id, json.dumps(kept, ensure_ascii=False), who)
        touch(session)
    return after


def _portable(session: Session, facts: TypedFacts) -> dict[str, Any]:
    """Return facts as they hold in every studio: a target by its uid, for its number is this studio's own."""
    data = facts.as_dict()
    target_id = data.pop("target_id")
    uid = (
        None if target_id is None else session.scalars(sa.select(TargetRow.uid).where(TargetRow.id == target_id)).one()
    )
    return {**data, "target_uid": uid}


def _told(change: Change) -> Correction | None:
    """Read a correction's line of history; None for one that another program has mangled."""
    try:
        detail = json.loads(change.detail)
        was, changed = detail["was"], tuple(str(line) for line in detail["changed"])
        return Correction(change.at, change.who, changed, Recipe.from_dict(was["recipe"]), str(was["notes"]))
    except (ValueError, KeyError, TypeError, MatcherError):
        return None
