"""What a studio shares and what it sees of others: choose a place, look, share, withdraw; others' plates apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import sqlalchemy as sa

from matcher.colour.difference import delta_e_2000, interval_of
from matcher.colour.types import Floats
from matcher.errors import StudioError
from matcher.hands import Work
from matcher.reading.reading import Reading
from matcher.sharing.carry_over import CarryOver, carry_over
from matcher.sharing.places import SharedPlace, shared_place
from matcher.sharing.shared_plate import SharedPlate, to_share
from matcher.storage import checked
from matcher.storage.damaged import load_readable
from matcher.storage.database import Database
from matcher.storage.drafts import load_kept
from matcher.storage.schema import DraftRow, StudioRow
from matcher.trials.log import TrialLog, note
from matcher.trials.trial import Trial

PLACE = "place of the shared log"
"""The form under which it is kept; it may hold a password, and no export carries it."""
SHARED, WITHDRAWN = "shared", "withdrawn"


@dataclass(frozen=True, eq=False)
class OtherPlate:
    """Another studio's plate against a target.

    delta_e00, interval: of its own colour, as they read it. here: CIELAB (3,) expected of its recipe when it is made
    here, with its ΔE00 and 95 % interval; None where that is not known, or no recipe is shared.
    """

    plate: SharedPlate
    delta_e00: float
    interval: tuple[float, float]
    here: Floats | None
    here_delta_e00: float | None
    here_interval: tuple[float, float] | None

    def as_dict(self) -> dict[str, Any]:
        return {
            **self.plate.as_dict(),
            "delta_e00": round(self.delta_e00, 4),
            "delta_e00_interval": [round(value, 4) for value in self.interval],
            "expected_here": None if self.here is None else [round(float(value), 4) for value in self.here],
            "expected_delta_e00": None if self.here_delta_e00 is None else round(self.here_delta_e00, 4),
            "expected_delta_e00_interval": (
                None if self.here_interval is None else [round(value, 4) for value in self.here_interval]
            ),
        }


@dataclass(frozen=True, eq=False)
class OtherStudio:
    """What one other studio lets us see, the nearest first; carry: how far its plates carry over to ours."""

    uid: str
    title: str
    plates: tuple[OtherPlate, ...]
    shared: int
    carry: CarryOver


@dataclass(frozen=True, eq=False)
class Others:
    """The other studios' plates, ranked apart; unread: how many there could not be read."""

    studios: tuple[OtherStudio, ...]
    unread: int = 0


class Sharing:
    """What one studio shares, and with whom it does; nothing leaves it but by ``share``."""

    def __init__(self, database: Database) -> None:
        self.database = database

    @property
    def place(self) -> str | None:
        """Where plates are shared, as it was named (it may hold a password); None for nowhere."""
        with self.database.reading() as session:
            found, _ = load_readable(session, "half-typed form", load_kept, DraftRow.form == PLACE)
        named = found[0].body.get("place") if found else None
        return named if isinstance(named, str) else None

    def keep_place(self, where: str | None) -> None:
        """Keep where plates are shared, None for nowhere. Raises StudioError for what can't be reached."""
        if where is not None:
            where = checked.line(where, "shared place", required=True, longest=1000)
            shared_place(where).shelf()  # what can't be reached is said now
        with self.database.writing(Work.RUN) as session:
            session.execute(sa.delete(DraftRow).where(DraftRow.form == PLACE))
            if where is not None:
                now = datetime.now(UTC)
                session.execute(sa.insert(DraftRow).values(form=PLACE, body={"place": where}, saved_at=now))

    def what_would_leave(self, numbers: Sequence[int], with_recipe: bool = True) -> list[SharedPlate]:
        """Return just what sharing these plates would put in the shared place. Raises StudioError."""
        return [one for _, one in self._chosen(numbers, with_recipe)]

    def share(self, numbers: Sequence[int], with_recipe: bool = True, who: str = "") -> list[SharedPlate]:
        """Share plates: colour and recipe, or the colour only. Raises StudioError; our history tells of it."""
        place, chosen = self._the_place(), self._chosen(numbers, with_recipe)
        with self.database.writing(Work.RUN) as session:
            for trial, _ in chosen:
                note(session, SHARED, "trial", trial.id, "with its recipe" if with_recipe else "its colour only", who)
            place.put([one for _, one in chosen])
        return [one for _, one in chosen]

    def withdraw(self, numbers: Sequence[int], who: str = "") -> int:
        """Take plates away from the shared place again; return how many were there. Raises StudioError."""
        place = self._the_place()
        trials = [TrialLog(self.database).trial(number) for number in numbers]
        uid, _ = self._own()
        with self.database.writing(Work.RUN) as session:
            count = place.withdraw(uid, [str(trial.uid) for trial in trials])
            for trial in trials:
                note(session, WITHDRAWN, "trial", trial.id, "", who)
        return count

    def shared(self) -> list[SharedPlate]:
        """Return what we share now, as it lies in the shared place. Raises StudioError."""
        uid, _ = self._own()
        return [plate for plate in self._the_place().shelf().plates if plate.studio_uid == uid]

    def others(self, target: Reading, ours: Sequence[Trial], count: int = 5) -> Others:
        """Return the ``count`` plates of each other studio nearest to a target, ranked apart from ours.

        ours: the plates that count, from which it is learned how far theirs carry over. Raises StudioError.
        """
        uid, _ = self._own()
        shelf = self._the_place().shelf()
        by_studio: dict[str, list[SharedPlate]] = {}
        for plate in shelf.plates:
            if plate.studio_uid != uid:
                by_studio.setdefault(plate.studio_uid, []).append(plate)
        studios = [_of_studio(target, plates, ours, count) for plates in by_studio.values()]
        return Others(tuple(sorted(studios, key=lambda one: one.plates[0].delta_e00)), shelf.unread)

    def _chosen(self, numbers: Sequence[int], with_recipe: bool) -> list[tuple[Trial, SharedPlate]]:
        uid, title = self._own()
        if not title:
            raise StudioError("Give the studio a title first: others see its plates under it.")
        if not numbers:
            raise StudioError("Name the plates to share.")
        trials = [TrialLog(self.database).trial(number) for number in dict.fromkeys(numbers)]
        aside = [trial.id for trial in trials if trial.set_aside is not None]
        if aside:
            raise StudioError(f"Leave out plate {aside[0]}: it is set aside.")
        return [(trial, to_share(trial, uid, title, with_recipe)) for trial in trials]

    def _the_place(self) -> SharedPlace:
        where = self.place
        if where is None:
            raise StudioError("Say first where plates are shared: a folder that all reach, or a database's URL.")
        return shared_place(where)

    def _own(self) -> tuple[str, str]:
        with self.database.reading() as session:
            row = session.scalars(sa.select(StudioRow)).one()
            return row.uid, row.title


def _of_studio(target: Reading, plates: Sequence[SharedPlate], ours: Sequence[Trial], count: int) -> OtherStudio:
    carry = carry_over(plates, ours)
    delta = delta_e_2000(target.lab, np.array([plate.lab for plate in plates]))
    nearest = np.argsort(delta, kind="stable")[:count]
    found = tuple(_against(target, plates[row], float(delta[row]), carry) for row in nearest)
    latest = max(plates, key=lambda plate: plate.shared_at)
    return OtherStudio(latest.studio_uid, latest.studio_title, found, len(plates), carry)


def _against(target: Reading, plate: SharedPlate, delta: float, carry: CarryOver) -> OtherPlate:
    interval = _interval(target, plate.lab, plate.covariance)
    here = carry.expected_here(plate) if plate.recipe is not None else None
    if here is None:
        return OtherPlate(plate, delta, interval, None, None, None)
    lab, covariance = here
    apart = float(delta_e_2000(target.lab, lab))
    return OtherPlate(plate, delta, interval, lab, apart, _interval(target, lab, covariance))


def _interval(target: Reading, lab: Floats, covariance: Floats) -> tuple[float, float]:
    """Return the 95 % interval of ΔE00; the two were read apart, by other cameras and cards, and share no error."""
    low, high = interval_of(target.lab, lab, target.covariance + covariance)
    return float(low), float(high)
