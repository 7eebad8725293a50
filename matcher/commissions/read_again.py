"""A kept photograph read again with what is known by now; the better reading counts, the earlier one is kept.

What is known by now is a camera profile made later, the light, another outline or card.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import sqlalchemy as sa
from numpy.typing import ArrayLike
from sqlalchemy.orm import Session

from matcher.colour.difference import delta_e_2000
from matcher.colour.uncertainty import NORMAL_95
from matcher.errors import MatcherError, ReadingError, StudioError
from matcher.hands import signed
from matcher.reading.reading import Conditions, Reading
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import EarlierReadingRow, PlateColourRow, ReadingRow
from matcher.trials import rows
from matcher.trials.log import READ_AGAIN, note, row_number, touch
from matcher.trials.targets import check_unsigned
from matcher.trials.trial import FINISHED, Target, Trial
from matcher.words import counted

if TYPE_CHECKING:
    from matcher.calibration.calibration import Calibration
    from matcher.calibration.profile import CameraProfile
    from matcher.calibration.references.reference import Reference
    from matcher.card.reading import CardReading
    from matcher.photo.photo import Photo
    from matcher.reading.glare import PaleSpots

Kind = Literal["plate", "target"]
SHOWN = 0.05
"""Figures are shown to one decimal: what differs by less looks the same."""


@dataclass(frozen=True, order=True)
class Owner:
    """Whose reading it is: a plate's at a stage, or a target's, by its number."""

    kind: Kind
    number: int
    stage: str = FINISHED


@dataclass(frozen=True, eq=False)
class EarlierReading:
    """A reading as it stood until it was replaced, and why it was."""

    owner: Owner
    reading: Reading
    replaced_at: datetime
    who: str = ""
    why: str = ""


class Readings:
    """The readings of one studio's plates and targets: replaced, and as they were."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def replace(self, owner: Owner, reading: Reading, instead_of: Reading, why: str, who: str = "") -> None:
        """Let a plate or a target have ``reading`` from now on; the earlier one is kept.

        instead_of: the reading that was looked at when the new one was made. Raises StudioError when there is no such
        reading, when it is another one by now, or when a sign-off holds the target; then nothing is changed.
        """
        text = checked.line(why, "reason for reading it again", required=True)
        with self.database.writing() as session:
            row = _row(session, owner)
            if row.whole != checked.plain_json(instead_of.as_dict(), "reading"):
                raise StudioError(f"Look at {owner.kind} {owner.number} again first: it was read anew meanwhile.")
            if owner.kind == "target":
                check_unsigned(session, owner.number, f"target {owner.number}")
            session.execute(sa.insert(EarlierReadingRow), [_earlier_values(row, owner, text, who)])
            key = "trial_id" if owner.kind == "plate" else "target_id"
            values = rows.reading_values(reading, row.stage, row.position, **{key: owner.number})
            session.execute(sa.update(ReadingRow).where(ReadingRow.id == row.id).values(**values))
            if owner.kind == "plate" and row.position == 0:
                colour = rows.colour_values(owner.number, reading)
                session.execute(sa.update(PlateColourRow).filter_by(trial_id=owner.number).values(**colour))
            kind = "trial" if owner.kind == "plate" else "target"
            note(session, READ_AGAIN, kind, owner.number, text, who)
            touch(session)

    def of(self, owner: Owner) -> Reading:
        """Return the reading that counts of a plate at a stage, or of a target. Raises StudioError for none."""
        with self.database.reading() as session:
            return Reading.from_dict(_row(session, owner).whole)

    def earlier(self, kind: Kind, number: int) -> list[EarlierReading]:
        """Return the readings that a plate or a target had before, the oldest first."""
        column = EarlierReadingRow.trial_id if kind == "plate" else EarlierReadingRow.target_id
        query = sa.select(EarlierReadingRow).where(column == row_number(number))
        with self.database.reading() as session:
            return [
                _earlier_of(row, kind, number) for row in session.scalars(query.order_by(EarlierReadingRow.replaced_at))
            ]


def _row(session: Session, owner: Owner) -> ReadingRow:
    number = row_number(owner.number)
    if owner.kind == "target":
        which = ReadingRow.target_id == number
    else:
        which = (ReadingRow.trial_id == number) & (ReadingRow.stage == owner.stage)
    found = session.scalars(sa.select(ReadingRow).where(which).order_by(ReadingRow.position.desc())).first()
    if found is None:
        at = "" if owner.stage == FINISHED else f", {owner.stage}"
        raise StudioError(f"There is no reading of {owner.kind} {owner.number}{at}: look at it in the log.")
    return found


def _earlier_values(row: ReadingRow, owner: Owner, why: str, who: str) -> dict[str, Any]:
    return {
        "uid": checked.new_uid(),
        "trial_id": row.trial_id,
        "target_id": row.target_id,
        "stage": owner.stage,
        "replaced_at": datetime.now(UTC),
        "who": checked.line(signed(who), "name of who does it"),
        "why": why,
        "whole": row.whole,
    }


def _earlier_of(row: EarlierReadingRow, kind: Kind, number: int) -> EarlierReading:
    return EarlierReading(
        Owner(kind, number, row.stage), Reading.from_dict(row.whole), row.replaced_at, row.who, row.why
    )


@dataclass(frozen=True, eq=False)
class Proposal:
    """What reading a photograph again gives, to be looked at and kept or not.

    before: the reading as it is kept; after: the new one, None where the photograph cannot be read again, and ``why``
    then says the reason. name: the target's own, or the mark on the plate.
    """

    owner: Owner
    name: str
    before: Reading
    after: Reading | None = None
    why: str = ""


def photo_as_read(path: Path, reading: Reading) -> Photo:
    """Open a reading's photograph with the encoding that it was read with. Raises PhotoError."""
    from matcher.photo.encoding import LINEAR
    from matcher.photo.photo import open_photo

    taken = reading.conditions
    if taken is not None and taken.encoding == LINEAR:
        return open_photo(path, encoding=LINEAR)  # a file of floating-point values opens in no other way
    photo = open_photo(path)
    if taken is None or taken.encoding in (None, photo.encoding):
        return photo
    return open_photo(path, encoding="srgb") if taken.encoding == "sRGB" else photo


def card_of(photo: Photo, reading: Reading) -> CardReading | None:
    """Return the card that a reading was made by, where it lay; of a reading that does not say, found again.

    None for a reading that was made without a card. Raises CardError.
    """
    from matcher.card.card import OWN_DELTA_E00
    from matcher.card.detect import card_at, find_card

    taken = reading.conditions or Conditions()
    if taken.card is not None:
        seen = taken.card
        spot = seen.lab[0] if seen.lab is not None and len(seen.lab) == 1 else seen.lab
        to = OWN_DELTA_E00 if seen.measured_to is None else seen.measured_to
        return card_at(photo, seen.kind, seen.corners, seen.found_by, spot, measured_to=to)
    return None if taken.noted else find_card(photo, kind=None)


def references_of(reading: Reading) -> tuple[Reference, ...]:
    """Return the known finishes that a reading was made by, as they were known then."""
    from matcher.calibration.references.reference import Reference

    kept = (reading.conditions or Conditions()).references
    return tuple(
        Reference(np.array(item.outline), Reading(np.array(item.lab), np.array(item.covariance)), item.name, item.uid)
        for item in kept
    )


def read_again(
    photo: Photo,
    reading: Reading,
    camera: CameraProfile | None = None,
    light: str | None = None,
    region: ArrayLike | None = None,
    card: CardReading | None = None,
    references: Sequence[Reference] | None = None,
) -> Reading:
    """Read the photograph of a reading again.

    Parameters
    ----------
    photo : Photo
        The photograph that ``reading.photo`` names.
    reading : Reading
        As it is kept; what is not given is taken as it was for it.
    camera : CameraProfile, optional
        The profile to read with, None for none.
    light : {"unknown", "daylight", "profile"}, optional
        As ``calibrate`` takes it.
    region : array_like, shape (n, 2), optional
        Another outline of the finish, in pixels.
    card : CardReading, optional
        Another card, or the same marked anew.
    references : sequence of Reference, optional
        Known finishes in the picture; those that it was read by, as they were known then, when not given.

    Returns
    -------
    Reading
        The new one; nothing is kept of it here.

    Raises
    ------
    MatcherError
        The reading is of no photograph or of several, or the photograph cannot be read so.
    """
    from matcher.reading.finish import read_finish
    from matcher.reading.glare import PALE_SPOTS

    taken = reading.conditions or Conditions()
    if reading.region is None:
        raise ReadingError("It does not say which part of a photograph was read: mark the finish again.")
    if taken.exposures > 1:
        raise ReadingError(
            f"It is of {counted(taken.exposures, 'photograph')} with the lamp moved: bring them in again to read them "
            "anew."
        )
    if taken.evened:
        raise ReadingError(
            "The light over its picture was evened out by a second photograph or card: bring both in again."
        )
    calibration = calibrated_again(photo, reading, camera, light, card, references)
    outline = reading.region if region is None else region
    spots: PaleSpots = next((known for known in PALE_SPOTS if known == taken.pale_spots), "unknown")
    after = read_finish(photo, calibration, outline, spots)
    if after.conditions is None or not taken.left_out:
        return after
    return replace(after, conditions=replace(after.conditions, left_out=taken.left_out))


def calibrated_again(
    photo: Photo,
    reading: Reading,
    camera: CameraProfile | None = None,
    light: str | None = None,
    card: CardReading | None = None,
    references: Sequence[Reference] | None = None,
) -> Calibration:
    """Return the calibration with which ``read_again`` reads the photograph of a reading, by that photograph alone.

    Raises a MatcherError.
    """
    from matcher.calibration.calibrate import calibrate

    taken = reading.conditions or Conditions()
    found = card_of(photo, reading) if card is None else card
    known = references_of(reading) if references is None else references
    return calibrate(photo, found, camera=camera, light=taken.light if light is None else light, references=known)


def readings_of(targets: Iterable[Target], trials: Iterable[Trial]) -> list[tuple[Owner, str, Reading]]:
    """Return every reading that is of a kept photograph, with whose it is and its name; the targets' first."""
    found = [(Owner("target", target.id or 0), target.name, target.reading) for target in targets]
    for trial in trials:
        found.append((Owner("plate", trial.id or 0, FINISHED), trial.piece, trial.reading))
        found += [(Owner("plate", trial.id or 0, step.stage), trial.piece, step.reading) for step in trial.stages]
    return [item for item in found if item[2].photo is not None]


def proposals(
    readings: Sequence[tuple[Owner, str, Reading]],
    photo_path: Callable[[str], Path],
    profile: CameraProfile,
    light: str | None = None,
    known: Callable[[Photo, Reading], Sequence[Reference]] | None = None,
) -> Iterator[Proposal]:
    """Read again, one after the other, each photograph that a profile fits and that was not read with it.

    light: "profile" when the person knows that all of them were taken under its light; None leaves each as it was,
    and where the file does not prove the light the profile makes a reading hardly surer. Those that the profile does
    not fit (another camera, another light, no card) are passed over; one that cannot be read again says why. Takes a
    third of a second a photograph.
    """
    from matcher.calibration.profile import best_profile

    for owner, name, before in readings:
        taken = before.conditions or Conditions()
        if taken.profile == profile.name:
            continue
        try:
            photo = photo_as_read(photo_path(str(before.photo)), before)
            found = card_of(photo, before)
            fits = found is not None and found.card.layout != "chart" and best_profile([profile], photo, found)[0]
            if fits:
                references = None if known is None else known(photo, before)
                after = read_again(photo, before, profile, light, card=found, references=references)
                yield Proposal(owner, name, before, after)
        except MatcherError as error:
            yield Proposal(owner, name, before, None, str(error))


def nothing_changed(before: Reading, after: Reading) -> bool:
    """Tell whether a photograph read again says what it said before, colour and ±, as far as figures are shown."""
    apart = float(delta_e_2000(before.lab, after.lab))
    sigma, now = (np.sqrt(np.diag(one.covariance)) for one in (before, after))
    return apart < SHOWN and bool(np.all(np.abs(sigma - now) < SHOWN / NORMAL_95))


def said(proposal: Proposal) -> dict[str, Any]:
    """Return a proposal as plain JSON types."""
    return {
        "kind": proposal.owner.kind,
        "id": proposal.owner.number,
        "stage": proposal.owner.stage,
        "name": proposal.name,
        "before": proposal.before.as_dict(),
        "after": None if proposal.after is None else proposal.after.as_dict(),
        "why": proposal.why,
    }
