"""The plate that was last made to a recipe, looked up in the log however long it is."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.ranking.in_log import PORTION, values_in
from matcher.recipe.names import same
from matcher.recipe.recipe import Recipe, as_compared
from matcher.storage.schema import CoatRow, TrialRow
from matcher.trials.log import TrialLog


def last_made(log: TrialLog, recipe: Recipe) -> int | None:
    """Return the number of the last plate that counts and whose recipe is of the same work (``as_compared``)."""
    wanted = as_compared(recipe)
    with log.database.reading() as session:
        query = sa.select(TrialRow.id).where(TrialRow.set_aside_reason.is_(None), *_alike(session, wanted))
        numbers = list(session.scalars(query.order_by(TrialRow.id.desc())))
    for start in range(0, len(numbers), PORTION):
        for trial in log.some(numbers[start : start + PORTION]):
            if as_compared(trial.recipe) == wanted:
                return trial.id
    return None


def _alike(session: Session, recipe: Recipe) -> list[sa.ColumnElement[bool]]:
    """Return conditions that every plate of a recipe meets; some of other recipes may meet them too."""
    where: list[sa.ColumnElement[bool]] = [
        TrialRow.alloy.in_([name for name in values_in(session, TrialRow.alloy) if same(name, recipe.alloy)])
    ]
    of_plate = CoatRow.trial_id == TrialRow.id
    if not recipe.coats:
        return [*where, ~sa.exists().where(of_plate)]
    first = recipe.coats[0]
    spelt = [name for name in values_in(session, CoatRow.chemical) if same(name, first.chemical)]
    figures = ((CoatRow.passes, first.passes), (CoatRow.surface_temp_c, first.surface_temp_c))
    alike = [column.is_(None) if value is None else column == value for column, value in figures]
    return [*where, sa.exists().where(of_plate, CoatRow.position == 0, CoatRow.chemical.in_(spelt), *alike)]
