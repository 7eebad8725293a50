"""Sign-off: this plate is what this area is to look like, judged in this light by this person, and frozen from then on.

All of it as it stood is kept with the signature: target, plate, recipe, bottles. The next cast is aimed at the plate
that was signed and no longer at the photograph, so the plate becomes a target of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.colour.difference import delta_e_2000
from matcher.colour.verdict import Standing, standing
from matcher.colour.wording import difference_in_words
from matcher.commissions.commission import Area, Commission
from matcher.commissions.store import area_in, signed_off
from matcher.dates import in_utc
from matcher.errors import MatcherError, StudioError
from matcher.hands import signed
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Recipe
from matcher.recipe.stages import SEALED_STAGES
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import SignOffRow, TargetRow
from matcher.trials import stocks, targets
from matcher.trials.log import note, one_trial, row_number
from matcher.trials.stocks import Stock
from matcher.trials.trial import FINISHED, Target, Trial


@dataclass(frozen=True, eq=False)
class SignOff:
    """What was signed, as it stood then.

    Parameters
    ----------
    area_id, target_id, trial_id : int
        The area, the target that it was to match, and the plate that was approved.
    signed_by : str
        The client or sculptor.
    light : str
        In what light it was judged: "daylight at the north window".
    target : Reading
        The target's colour, CIELAB under D50, 2 degrees.
    plate : Reading
        The approved plate's, sealed where it was read sealed (``stage`` says which reading).
    recipe : Recipe
        Of the plate.
    bottles : tuple of Stock
        The bottles that the recipe names, as they were.
    tolerance : float
        ΔE00 that counted as a match.
    aim_id : int or None
        Number of the target that the approved plate has become: what the next cast is to match.
    note, who, at
        Anything else, who noted it, and when.
    withdrawn_at, withdrawn_reason
        When and why it was withdrawn; None while it stands.
    id : int or None
        Its number in this studio.
    """

    area_id: int
    target_id: int
    trial_id: int
    signed_by: str
    light: str
    target: Reading
    plate: Reading
    recipe: Recipe
    bottles: tuple[Stock, ...] = ()
    stage: str = FINISHED
    tolerance: float = 2.0
    aim_id: int | None = None
    note: str = ""
    who: str = ""
    at: datetime = field(default_factory=lambda: datetime.now(UTC))
    withdrawn_at: datetime | None = None
    withdrawn_reason: str | None = None
    id: int | None = None

    @property
    def cast_target_id(self) -> int:
        """The target of the next cast: the approved plate, or while that is not in this studio what it was to match."""
        return self.target_id if self.aim_id is None else self.aim_id

    @property
    def delta_e00(self) -> float:
        """ΔE00 of the plate from the target."""
        return float(delta_e_2000(self.target.lab, self.plate.lab))

    @property
    def interval(self) -> tuple[float, float]:
        """The 95 % interval of that."""
        from matcher.reading.comparison import delta_e_interval

        return delta_e_interval(self.target, self.plate)

    @property
    def stands(self) -> Standing:
        """How surely the plate matches the target within the tolerance; a person may approve it all the same."""
        from matcher.reading.comparison import chance_within

        chance = chance_within(self.target, self.plate, self.tolerance)
        return standing(self.interval, chance, self.tolerance)

    @property
    def difference(self) -> str:
        """The plate against the target in words, as far as a difference can be told."""
        return difference_in_words(self.target.lab, self.plate.lab, "than the target", self.interval)

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            **{name: getattr(self, name) for name in ("id", "area_id", "target_id", "trial_id", "aim_id")},
            "signed_by": self.signed_by,
            "light": self.light,
            "note": self.note,
            "who": self.who,
            "at": in_utc(self.at).isoformat(),
            "stage": self.stage,
            "target": self.target.as_dict(),
            "plate": self.plate.as_dict(),
            "recipe": self.recipe.as_dict(),
            "bottles": [bottle.as_dict() for bottle in self.bottles],
            "tolerance_delta_e00": self.tolerance,
            "delta_e00": self.delta_e00,
            "delta_e00_interval": list(self.interval),
            "stands": self.stands,
            "words": self.difference,
            "withdrawn_at": None if self.withdrawn_at is None else in_utc(self.withdrawn_at).isoformat(),
            "withdrawn_reason": self.withdrawn_reason,
        }


class SignOffs:
    """The sign-offs of one studio: given, withdrawn with a reason, never deleted."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def sign(self, area_id: int, trial_id: int, signed_by: str, light: str, note: str = "", who: str = "") -> SignOff:
        """Note that a plate was approved for an area, and freeze what it was approved against.

        Parameters
        ----------
        area_id : int
            The area; it has a target, and no sign-off of it stands.
        trial_id : int
            The plate, which counts. Where it was read sealed, that reading is what was approved.
        signed_by, light : str
            Who approved it, and the light that it was judged in; neither is empty.
        note, who : str
            Anything else; who notes it.

        Returns
        -------
        SignOff
            As kept. The approved plate is a target too from now on (``aim_id``).

        Raises
        ------
        StudioError
            Any of that does not hold; then nothing is changed.
        """
        with self.database.writing() as session:
            commission, area = area_in(session, area_id)
            if area.set_aside is not None:
                raise StudioError(f"{area.name} is set aside ({area.set_aside}): take it back first.")
            if area.target_id is None:
                raise StudioError(f"Give {area.name} a target first: there is nothing yet that a plate could match.")
            if signed_off(session, area.id):
                raise StudioError(f"{area.name} is signed off already: withdraw that sign-off first.")
            trial = one_trial(session, trial_id)
            if trial.set_aside is not None:
                raise StudioError(f"Plate {trial_id} is set aside ({trial.set_aside}): restore it, or choose another.")
            made = _made(session, area, trial, signed_by, light, note, who)
            return _kept(session, commission, area, made)

    def withdraw(self, sign_off_id: int, reason: str, who: str = "") -> SignOff:
        """Let a sign-off no longer stand; what was signed stays in the record. Raises StudioError."""
        text = checked.line(reason, "reason for withdrawing it", required=True)
        with self.database.writing() as session:
            found = load_sign_offs(session, SignOffRow.id == row_number(sign_off_id))
            if not found:
                raise StudioError(f"There is no sign-off {sign_off_id} in this studio: look at the commission.")
            before = found[0].withdrawn_reason
            if before is not None and before != text:
                raise StudioError(f"That sign-off was withdrawn already ({before}): look at it again.")
            if found[0].withdrawn_at is None:
                values = {"withdrawn_at": datetime.now(UTC), "withdrawn_reason": text}
                session.execute(sa.update(SignOffRow).where(SignOffRow.id == sign_off_id).values(**values))
                _note(session, "sign-off withdrawn", found[0], text, who)
            return load_sign_offs(session, SignOffRow.id == sign_off_id)[0]

    def of_area(self, area_id: int | None) -> list[SignOff]:
        """Return the sign-offs of an area, oldest first, those withdrawn too."""
        return self.database.load("sign-off", load_sign_offs, SignOffRow.area_id == row_number(area_id))

    def standing(self, area_id: int | None) -> SignOff | None:
        """Return the sign-off of an area that stands, or None."""
        return next((one for one in self.of_area(area_id) if one.withdrawn_at is None), None)


def load_sign_offs(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[SignOff]:
    """Return the sign-offs for which ``which`` holds, oldest first."""
    query = sa.select(SignOffRow).order_by(SignOffRow.at, SignOffRow.id)
    found = session.scalars(query if which is None else query.where(which)).all()
    named = session.execute(sa.select(TargetRow.uid, TargetRow.id)) if found else ()
    aims = {row[0]: row[1] for row in named}
    return [_sign_off_of(row, aims) for row in found]


def check_body(body: Mapping[str, Any]) -> None:
    """Raise a MatcherError for a document of a sign-off that can't be understood."""
    _body_of(body)


def approved_reading(trial: Trial) -> tuple[str, Reading]:
    """Return which reading of a plate is approved: its last one after sealing, else the finished plate's."""
    sealed = [step for step in trial.stages if step.stage in SEALED_STAGES.values()]
    return (sealed[-1].stage, sealed[-1].reading) if sealed else (FINISHED, trial.reading)


def _made(session: Session, area: Area, trial: Trial, signed_by: str, light: str, note: str, who: str) -> SignOff:
    target = targets.load_targets(session, TargetRow.id == area.target_id)[0]
    stage, reading = approved_reading(trial)
    named = {layer.stock for layer in (trial.recipe.undercoat, *trial.recipe.coats) if layer is not None} - {None}
    return SignOff(
        area_id=area.id or 0,
        target_id=area.target_id or 0,
        trial_id=trial.id or 0,
        signed_by=checked.line(signed_by, "name of who signs", required=True),
        light=checked.line(light, "light that it was judged in", required=True),
        target=target.reading,
        plate=reading,
        recipe=trial.recipe,
        bottles=tuple(stock for stock in stocks.load_stocks(session) if stock.label in named),
        stage=stage,
        tolerance=target.tolerance,
        note=checked.storable(note, "note"),
        who=checked.line(signed(who), "name of who notes it"),
    )


def _kept(session: Session, commission: Commission, area: Area, made: SignOff) -> SignOff:
    """Write a sign-off, with the target that its plate becomes."""
    aim = targets.save_in(
        session,
        Target(
            name=f"{commission.title}, {area.name}: as signed off",
            reading=made.plate,
            tolerance=made.tolerance,
            photo=made.plate.photo,
            notes=f"Plate {made.trial_id}, approved by {made.signed_by}.",
        ),
        made.who,
    )
    body = {
        "target": made.target.as_dict(),
        "plate": made.plate.as_dict(),
        "recipe": made.recipe.as_dict(),
        "bottles": [bottle.as_dict() for bottle in made.bottles],
        "stage": made.stage,
        "tolerance_delta_e00": made.tolerance,
        "aim_uid": aim.uid,
        "note": made.note,
    }
    values = {
        "uid": checked.new_uid(),
        "at": made.at,
        "who": made.who,
        "area_id": made.area_id,
        "target_id": made.target_id,
        "trial_id": made.trial_id,
        "signed_by": made.signed_by,
        "light": made.light,
        "body": checked.plain_json(body, "sign-off"),
    }
    number = session.scalars(sa.insert(SignOffRow).returning(SignOffRow.id), [values]).one()
    kept = load_sign_offs(session, SignOffRow.id == number)[0]
    _note(session, "signed off", kept, f"plate {made.trial_id}, {made.signed_by}", made.who)
    return kept


def _note(session: Session, what: str, one: SignOff, detail: str, who: str) -> None:
    note(session, what, "area", one.area_id, detail, who)


def _sign_off_of(row: SignOffRow, aims: Mapping[str, int]) -> SignOff:
    known = _body_of(row.body)
    return SignOff(
        **known,
        **{
            name: getattr(row, name) for name in ("area_id", "target_id", "trial_id", "signed_by", "light", "who", "at")
        },
        aim_id=aims.get(str(row.body.get("aim_uid"))),
        withdrawn_at=row.withdrawn_at,
        withdrawn_reason=row.withdrawn_reason,
        id=row.id,
    )


def _body_of(body: Mapping[str, Any]) -> dict[str, Any]:
    try:
        return {
            "target": Reading.from_dict(body["target"]),
            "plate": Reading.from_dict(body["plate"]),
            "recipe": Recipe.from_dict(body["recipe"]),
            "bottles": tuple(Stock.from_dict(bottle) for bottle in body["bottles"]),
            "stage": str(body["stage"]),
            "tolerance": float(body["tolerance_delta_e00"]),
            "note": str(body["note"]),
        }
    except MatcherError:
        raise
    except (KeyError, TypeError, ValueError) as error:
        raise StudioError(f"Check the sign-off against an exported studio: {error!r}.") from error
