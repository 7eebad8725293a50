"""A kept photograph read again with what is known by now: a profile made later, the light, another outline or card."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from numpy.typing import ArrayLike

from matcher.calibration.calibrate import calibrate
from matcher.calibration.profile import CameraProfile, best_profile
from matcher.card.detect import card_at, find_card
from matcher.card.reading import CardReading
from matcher.commissions.earlier_readings import Owner
from matcher.errors import MatcherError, ReadingError
from matcher.photo.photo import Photo, open_photo
from matcher.reading.finish import read_finish
from matcher.reading.glare import PALE_SPOTS, PaleSpots
from matcher.reading.reading import Conditions, Reading
from matcher.trials.trial import FINISHED, Target, Trial


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
    photo = open_photo(path)
    taken = reading.conditions
    if taken is None or taken.encoding in (None, photo.encoding):
        return photo
    named = {"sRGB": "srgb", "linear": "linear"}.get(taken.encoding)
    return photo if named is None else open_photo(path, encoding=named)


def card_of(photo: Photo, reading: Reading) -> CardReading | None:
    """Return the card that a reading was made by, where it lay; of a reading that does not say, found again.

    None for a reading that was made without a card. Raises CardError.
    """
    taken = reading.conditions or Conditions()
    if taken.card is not None:
        seen = taken.card
        spot = seen.lab[0] if seen.lab is not None and len(seen.lab) == 1 else seen.lab
        return card_at(photo, seen.kind, seen.corners, seen.found_by, spot)
    return None if taken.noted else find_card(photo, kind=None)


def read_again(
    photo: Photo,
    reading: Reading,
    camera: CameraProfile | None = None,
    light: str | None = None,
    region: ArrayLike | None = None,
    card: CardReading | None = None,
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

    Returns
    -------
    Reading
        The new one; nothing is kept of it here.

    Raises
    ------
    MatcherError
        The reading is of no photograph or of several, or the photograph cannot be read so.
    """
    taken = reading.conditions or Conditions()
    if reading.region is None:
        raise ReadingError("It does not say which part of a photograph was read: mark the finish again.")
    if taken.exposures > 1:
        raise ReadingError(
            f"It is of {taken.exposures} photographs with the lamp moved: bring them in again to read them anew."
        )
    if taken.evened:
        raise ReadingError(
            "The light over its picture was evened out by a second photograph or card: bring both in again."
        )
    found = card_of(photo, reading) if card is None else card
    calibration = calibrate(photo, found, camera=camera, light=taken.light if light is None else light)
    outline = reading.region if region is None else region
    spots: PaleSpots = next((known for known in PALE_SPOTS if known == taken.pale_spots), "unknown")
    return read_finish(photo, calibration, outline, spots)


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
) -> Iterator[Proposal]:
    """Read again, one after the other, each photograph that a profile fits and that was not read with it.

    light: "profile" when the person knows that all of them were taken under its light; None leaves each as it was,
    and where the file does not prove the light the profile makes a reading hardly surer. Those that the profile does
    not fit (another camera, another light, no card) are passed over; one that cannot be read again says why. Takes a
    third of a second a photograph.
    """
    for owner, name, before in readings:
        taken = before.conditions or Conditions()
        if taken.profile == profile.name:
            continue
        try:
            photo = photo_as_read(photo_path(str(before.photo)), before)
            found = card_of(photo, before)
            fits = found is not None and found.card.layout != "chart" and best_profile([profile], photo, found)[0]
            if fits:
                yield Proposal(owner, name, before, read_again(photo, before, profile, light, card=found))
        except MatcherError as error:
            yield Proposal(owner, name, before, None, str(error))


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
