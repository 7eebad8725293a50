"""The casts of an edition: which logged plates are an area of one, which comes next, and which were delivered."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.commissions.commission import Commission, Delivery
from matcher.commissions.fields import DELIVERY, MOST_CASTS, values_of
from matcher.commissions.sign_off import load_sign_offs
from matcher.commissions.store import area_in, load_deliveries, one_commission
from matcher.dates import day_shown, local, now
from matcher.errors import StudioError
from matcher.hands import Work, signed
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import CastRow, DeliveryRow, SignOffRow
from matcher.trials.log import note, one_trial, row_number
from matcher.trials.trial import Trial


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
            if area.set_aside is not None:
                raise StudioError(f"{area.name} is set aside ({area.set_aside}): take it back first.")
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

    def note_begun(self, trial: Trial, number: int | None, who: str = "") -> Cast | None:
        """Note a plate that was begun at the bench as a cast, of the area whose approved plate it is aimed at.

        None where it was begun as none, or where that cannot be noted, so that a person has to say which cast it is.
        """
        if number is None or trial.target_id is None:
            return None
        areas = self.areas_approved_as(trial.target_id)
        try:
            return self.note(trial.id or 0, areas[0], number, who) if areas else None
        except StudioError:
            return None

    def areas_approved_as(self, target_id: int) -> list[int]:
        """Return the numbers of the areas whose approved plate a target is; none where no plate was approved as it."""
        standing = self.database.load("sign-off", load_sign_offs, SignOffRow.withdrawn_at.is_(None))
        return [one.area_id for one in standing if one.aim_id == target_id]

    def deliver(
        self, commission_id: int, numbers: Sequence[int], on: date | str, to: str = "", who: str = ""
    ) -> Commission:
        """Note that casts were delivered, and return the commission. Noting the same again changes nothing.

        Raises StudioError: a number is none of the edition's, the day is yet to come, the commission is set aside, or a
        cast was delivered on another day or to somebody else; then nothing is noted.
        """
        with self.database.writing() as session:
            commission = one_commission(session, commission_id)
            if commission.set_aside is not None:
                raise StudioError(f"{commission.title} is set aside ({commission.set_aside}): take it back first.")
            if not numbers:
                raise StudioError("Say which casts were delivered.")
            noted = {delivery.number: delivery for delivery in commission.deliveries}
            for number in sorted(set(numbers)):
                values = _delivered(commission, number, on, to)
                there = noted.get(number)
                if there is not None and values_of(DELIVERY, there) == values:
                    continue
                if there is not None:
                    raise StudioError(
                        f"{which_cast(commission, number)} was delivered on {day_shown(there.on)}"
                        f"{f' to {there.to}' if there.to else ''} already: take that back first if it is wrong."
                    )
                who_kept = checked.line(signed(who), "name of who notes it")
                row = {"uid": checked.new_uid(), "commission_id": commission.id, "at": now(), "who": who_kept}
                session.execute(sa.insert(DeliveryRow), [{**row, **values}])
                told = f"cast {number}, {values['delivered_on']}" + (f", {to}" if to else "")
                note(session, "delivered", "commission", commission.id, told, who)
            return one_commission(session, commission_id)

    def take_delivery_back(self, delivery_id: int | None, who: str = "") -> Delivery:
        """Take back that a cast was delivered; the record keeps that it was noted. Raises StudioError."""
        with self.database.writing() as session:
            which = DeliveryRow.id == row_number(delivery_id)
            found = load_deliveries(session, which)
            if not found:
                raise StudioError("There is no such delivery in this studio: look at the commission again.")
            if found[0].taken_back_at is None:
                back = {"taken_back_at": now(), "taken_back_by": checked.line(signed(who), "name of who takes it back")}
                session.execute(sa.update(DeliveryRow).where(which).values(**back))
                told = f"cast {found[0].number}, {found[0].on.isoformat()}"
                note(session, "delivery taken back", "commission", found[0].commission_id, told, who)
            return load_deliveries(session, which)[0]

    def deliveries(self, commission_id: int | None) -> list[Delivery]:
        """Return all deliveries that were ever noted of a commission, those taken back too."""
        return self.database.load("delivery", load_deliveries, DeliveryRow.commission_id == row_number(commission_id))

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


def which_cast(commission: Commission, number: int) -> str:
    """Return how a cast is called at the head of a sentence: the piece itself where there is but one."""
    return f"Cast {number}" if commission.casts > 1 or number > 1 else commission.title


def _delivered(commission: Commission, number: int, on: date | str, to: str) -> dict[str, object]:
    """Return the columns of a delivery as they are kept. Raises StudioError."""
    numbered = isinstance(number, int) and not isinstance(number, bool) and 1 <= number <= commission.casts
    if not numbered:
        raise StudioError(f"Number the casts from 1 to {commission.casts}: {number!r} is none of {commission.title}.")
    kept = {field.name: field.kept(value) for field, value in zip(DELIVERY, (number, on, to), strict=True)}
    if date.fromisoformat(kept["on"]) > local(now()).date() + timedelta(days=1):  # a day's grace, as for plates
        raise StudioError(f"Give a day that has been: {kept['on']} is yet to come.")
    return {field.column: kept[field.name] for field in DELIVERY}


def load_casts(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[Cast]:
    query = sa.select(CastRow).order_by(CastRow.number, CastRow.trial_id)
    found = session.scalars(query if which is None else query.where(which))
    return [Cast(row.area_id, row.number, row.trial_id) for row in found]
