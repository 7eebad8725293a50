"""Which logged plates are no sample plates but an area of a cast of the edition, and which cast comes next."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.commissions.commission import Commission
from matcher.commissions.store import area_in
from matcher.errors import StudioError
from matcher.hands import Work
from matcher.storage.database import Database
from matcher.storage.schema import CastRow
from matcher.trials.log import note, one_trial, row_number

MOST_CASTS = 9999


@dataclass(frozen=True, order=True)
class Cast:
    """An area of a cast: the cast's number, from 1, and the logged plate that tells how it was made."""

    area_id: int
    number: int
    trial_id: int


class Casts:
    """The casts of one studio's editions."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def note(self, trial_id: int, area_id: int, number: int, who: str = "") -> Cast:
        """Note that a logged plate is an area of a cast. Noting the same again changes nothing.

        Raises StudioError: there is no such plate or area, the number is none of the edition's, or that area of that
        cast is another plate already.
        """
        with self.database.writing(Work.NOTE) as session:
            commission, area = area_in(session, area_id)
            trial = one_trial(session, trial_id)
            if not (isinstance(number, int) and 1 <= number <= max(commission.casts, MOST_CASTS)):
                raise StudioError(f"Number the casts from 1: {number!r} is none of {commission.title}.")
            cast = Cast(area.id or 0, number, trial.id or 0)
            held = load_casts(session, CastRow.trial_id == trial.id)
            if held == [cast]:
                return cast
            if held:
                raise StudioError(f"Plate {trial_id} is part of cast {held[0].number} already.")
            there = load_casts(session, (CastRow.area_id == area.id) & (CastRow.number == number))
            if any(one_trial(session, one.trial_id).set_aside is None for one in there):
                raise StudioError(
                    f"{area.name} of cast {number} is plate {there[0].trial_id} already: set that aside first if it "
                    "was done anew."
                )
            session.execute(sa.insert(CastRow), [vars(cast)])
            note(session, "cast noted", "area", area.id, f"cast {number}, plate {trial_id}", who)
            return cast

    def of_area(self, area_id: int | None) -> list[Cast]:
        """Return the casts of an area, by their numbers."""
        return self.database.load("cast plate", load_casts, CastRow.area_id == row_number(area_id))

    def of_trial(self, trial_id: int | None) -> Cast | None:
        """Return of which cast a logged plate is an area, or None for a sample plate."""
        return next(iter(self.database.load("cast plate", load_casts, CastRow.trial_id == row_number(trial_id))), None)


def next_cast(commission: Commission, casts: Iterable[Cast]) -> int | None:
    """Return the number of the first cast of which an area is still to be done, or None when the edition is done.

    casts: those of all its areas; an area that was added for a repair has none.
    """
    done = {(cast.area_id, cast.number) for cast in casts}
    areas = [area.id for area in commission.areas if area.target_id is not None]
    missing = (n for n in range(1, commission.casts + 1) if any((area, n) not in done for area in areas))
    return next(missing, None) if areas else None


def load_casts(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[Cast]:
    query = sa.select(CastRow).order_by(CastRow.number, CastRow.trial_id)
    found = session.scalars(query if which is None else query.where(which))
    return [Cast(row.area_id, row.number, row.trial_id) for row in found]
