"""Which plates of the studio's own log lie in a photograph, found by their tags, and which can serve as references.

Above ``tags`` and below ``studio``, which gathers what is asked for here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from matcher.calibration.references.reference import MOST_REFERENCES, Reference
from matcher.colour.types import Floats
from matcher.dates import TO_THE_MINUTE, now, shown
from matcher.errors import Caveat, StudioError
from matcher.photo.photo import Photo
from matcher.reading.reading import PlateLeftOut, Reading
from matcher.tags.given import TagHistory
from matcher.tags.outlines import FinishOutline, outline_in_picture
from matcher.tags.search import Sighting, find_tags
from matcher.tags.sightings import NO_PLATE, KeptSighting
from matcher.tags.wording import mirrored_in_words, no_plate
from matcher.words import capital, listed

if TYPE_CHECKING:
    from matcher.reading.seen_again import SeenAgain

OTHER_STUDIO, TWICE, NOT_MARKED, SET_ASIDE, BY_HAND = "other-studio", "tag-twice", "not-marked", "set-aside", "by-hand"
TAGGED_LATER, PUT_ELSEWHERE, TOO_MANY, MIRRORED = "tagged-later", "tag-put-elsewhere", "too-many-plates", "mirrored"
"""Why a tag's plate does not serve, besides ``NO_PLATE`` and what reading it finds."""


@dataclass(frozen=True, eq=False)
class PlateInPicture:
    """A tag that was found, and the plate that it is on.

    sighting: where it is. trial_id: the plate that carried it when the photograph was taken, None where nobody has
    said, or it is another studio's. outline: (n, 2) pixels, where its finish lies; None where that was never marked.
    reference: what it serves as, None where it does not, and ``why_not`` then says the reason.
    """

    sighting: Sighting
    trial_id: int | None = None
    outline: Floats | None = None
    reference: Reference | None = None
    why_not: Caveat | None = None

    @property
    def name(self) -> str:
        """How it is called: "plate 88", or its tag where it is on no plate of ours."""
        return f"tag {self.sighting.tag}" if self.trial_id is None else f"plate {self.trial_id}"

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "tag": self.sighting.tag,
            "plate": self.trial_id,
            "corners": self.sighting.corners.tolist(),
            "outline": None if self.outline is None else self.outline.tolist(),
            "why_not": None if self.why_not is None else self.why_not.as_dict(),
        }


@dataclass(frozen=True)
class LoggedPlate:
    """What the log knows of a plate: its uid, its colour as it is by now, and why it is set aside, or None."""

    uid: str | None
    reading: Reading
    set_aside: str | None = None


def plates_in(
    photo: Photo,
    own_signs: str,
    history: TagHistory,
    outlines: Mapping[str, FinishOutline],
    plate: Callable[[int], LoggedPlate],
    taken: datetime | None = None,
) -> tuple[PlateInPicture, ...]:
    """Find the studio's own plates in a photograph.

    Parameters
    ----------
    photo : Photo
        The photograph; whose plate a tag is follows from who carried it when this was taken, as far as the file tells.
    own_signs : str
        The studio's five signs on its tags.
    history, outlines
        Who carried which tag when, and where finishes lay by their tags when this was taken.
    plate : callable
        From a plate's number to what the log knows of it.
    taken : datetime, optional
        When it was taken, where its file does not tell; now, when not given.

    Returns
    -------
    tuple of PlateInPicture
        From the left to the right; those that can't serve say why.
    """
    found = sorted(find_tags(photo), key=lambda one: float(one.corners[:, 0].mean()))
    at = taken_at(photo) or taken or now()
    often = Counter(one.tag for one in found if not one.mirrored)
    plates = [_one_of(one, own_signs, history, outlines, plate, at, often[one.tag] > 1) for one in found]
    return tuple(_mirrored_named(_no_more_than_serve(plates)))


def _mirrored_named(plates: Sequence[PlateInPicture]) -> list[PlateInPicture]:
    """Return plates of which those that are mirrored say so, all in one sentence; nothing is read by them."""
    names = list(dict.fromkeys(one.name for one in plates if one.sighting.mirrored))
    if not names:
        return list(plates)
    why = Caveat(MIRRORED, mirrored_in_words(names))
    return [replace(one, outline=None, reference=None, why_not=why) if one.sighting.mirrored else one for one in plates]


def taken_at(photo: Photo) -> datetime | None:
    """Return when a photograph was taken, as far as its file tells."""
    return None if photo.camera is None else photo.camera.taken_at


def _no_more_than_serve(plates: Sequence[PlateInPicture]) -> list[PlateInPicture]:
    """Return plates of which at most MOST_REFERENCES serve, those that are known most surely."""
    unsure = {
        one.sighting.tag: float(np.trace(one.reference.reading.covariance))
        for one in plates
        if one.reference is not None
    }
    over = sorted(unsure, key=unsure.__getitem__)[MOST_REFERENCES:]
    return [
        replace(one, reference=None, why_not=Caveat(TOO_MANY, _one_too_many(one))) if one.sighting.tag in over else one
        for one in plates
    ]


def _one_too_many(one: PlateInPicture) -> str:
    why = f"the picture shows more than {MOST_REFERENCES}, and others are known more surely"
    return f"{capital(one.name)} is passed over: {why}."


def _one_of(
    seen: Sighting,
    own_signs: str,
    history: TagHistory,
    outlines: Mapping[str, FinishOutline],
    plate: Callable[[int], LoggedPlate],
    taken: datetime,
    twice: bool,
) -> PlateInPicture:
    tag = seen.tag
    if seen.mirrored:
        carried = history.plate_of(tag, taken)
        return PlateInPicture(seen, None if carried is None else carried.trial_id)
    if seen.code.studio != own_signs and history.plate_of(tag) is None:
        message = f"Tag {tag} is another studio's: its plate is passed over."
        return PlateInPicture(seen, why_not=Caveat(OTHER_STUDIO, message))
    owner = history.plate_of(tag, taken)
    by_now = history.plate_of(tag)
    if owner is None and by_now is not None:
        message = (
            f"Plate {by_now.trial_id} is passed over: it got tag {tag} after {shown(taken, TO_THE_MINUTE)}, when this "
            "photograph was taken as its file says. If the camera's clock is wrong, set it and take it again."
        )
        return PlateInPicture(seen, why_not=Caveat(TAGGED_LATER, message))
    if owner is None:
        return PlateInPicture(seen, why_not=Caveat(NO_PLATE, no_plate(tag, history)))
    number = owner.trial_id
    if twice:
        message = f"Tag {tag} is in the picture twice: plate {number} is passed over. Take the copy off."
        return PlateInPicture(seen, number, why_not=Caveat(TWICE, message))
    outline, known = outlines.get(tag), plate(number)
    if (outline is None or outline.trial_id != number) and owner != by_now:
        message = (
            f"Plate {number} is passed over: its tag was taken off or given again after {shown(taken, TO_THE_MINUTE)}, "
            "when this photograph was taken, and nobody had marked its finish by it."
        )
        return PlateInPicture(seen, number, why_not=Caveat(PUT_ELSEWHERE, message))
    if outline is None or outline.trial_id != number:
        message = f"Mark the finish of plate {number} in this picture once: where it lies by its tag is not known yet."
        return PlateInPicture(seen, number, why_not=Caveat(NOT_MARKED, message))
    try:
        place = outline_in_picture(seen.corners, outline.points)
    except StudioError as error:
        return PlateInPicture(seen, number, why_not=Caveat(NOT_MARKED, str(error)))
    if known.set_aside is not None:
        message = f"Plate {number} is set aside ({known.set_aside}): it is passed over."
        return PlateInPicture(seen, number, place, why_not=Caveat(SET_ASIDE, message))
    return PlateInPicture(seen, number, place, Reference(place, known.reading, f"plate {number}", known.uid))


def serving(plates: Sequence[PlateInPicture], left_out: Collection[str] = ()) -> list[Reference]:
    """Return the references among plates, but for those whose tags a person left out."""
    return [one.reference for one in plates if one.reference is not None and one.sighting.tag not in left_out]


def noting_left_out(reading: Reading, plates: Sequence[PlateInPicture], left_out: Collection[str]) -> Reading:
    """Return a reading that keeps which plates a person left out of it, so that it is read again without them."""
    out = {one.sighting.tag: one.name for one in plates if one.reference is not None and one.sighting.tag in left_out}
    if not out or reading.conditions is None:
        return reading
    kept = tuple(PlateLeftOut(tag, name) for tag, name in out.items())
    return replace(reading, conditions=replace(reading.conditions, left_out=kept))


@dataclass(frozen=True, eq=False)
class PlateSeen:
    """A plate in a photograph after reading it. again: as the others read it, None where it did not come to that."""

    plate: PlateInPicture
    again: SeenAgain | None = None
    by_hand: bool = False

    @property
    def left_out(self) -> Caveat | None:
        """Why it did not serve; None when it did."""
        if self.by_hand:
            return Caveat(BY_HAND, f"{capital(self.plate.name)} was left out by hand.")
        return self.plate.why_not if self.again is None else self.again.left_out

    @property
    def used(self) -> bool:
        """Whether the photograph's colours were read by it."""
        return self.left_out is None and self.again is not None and self.again.used

    @property
    def of_no_help(self) -> bool:
        """Whether it serves and tells nothing of the colours: it was known by a camera as unknown as this one."""
        return self.left_out is None and self.again is not None and self.again.as_unknown

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        again = {} if self.again is None else self.again.as_dict()
        left_out = None if self.left_out is None else self.left_out.as_dict()
        return {**self.plate.as_dict(), **again, "name": self.plate.name, "used": self.used, "left_out": left_out}

    def kept(self, taken: datetime, sha256: str | None) -> KeptSighting:
        """Return the sighting as the log keeps it, of a photograph that was taken then."""
        return KeptSighting(
            self.plate.sighting.tag,
            self.plate.sighting.corners,
            self.plate.trial_id,
            seen_at=taken,
            photo=sha256,
            outline=self.plate.outline,
            reading=None if self.again is None else self.again.reading,
            left_out=self.left_out,
        )


def seen_in(
    plates: Sequence[PlateInPicture], again: Sequence[SeenAgain], left_out: Collection[str] = ()
) -> tuple[PlateSeen, ...]:
    """Put together what was found and how it was read: ``again`` is of what ``serving`` gave, in its order."""
    served = [one.sighting.tag for one in plates if one.reference is not None and one.sighting.tag not in left_out]
    by_tag = dict(zip(served, again, strict=False))  # those that were marked by hand come after them
    return tuple(
        PlateSeen(
            one,
            None if one.reference is None else by_tag.get(one.sighting.tag),
            one.reference is not None and one.sighting.tag in left_out,
        )
        for one in plates
    )


def kept_sightings(
    seen: Sequence[PlateSeen], taken: datetime, sha256: str | None, own_tag: str = ""
) -> list[KeptSighting]:
    """Return what the log keeps of the plates in a photograph that is read for keeps, and when it was taken.

    Those of another studio and mirrored ones are none of it; neither is the plate itself that the photograph is logged
    for, whose tag is ``own_tag``.
    """
    ours = [one for one in seen if one.left_out is None or one.left_out.code not in (OTHER_STUDIO, MIRRORED)]
    return [one.kept(taken, sha256) for one in ours if one.plate.sighting.tag != own_tag]


def corners_of(seen: Sequence[PlateSeen], tag: str) -> Floats | None:
    """Return the corners (4, 2) of a tag in the picture, None where it is not found once."""
    found = [one.plate.sighting for one in seen if one.plate.sighting.tag == tag]
    found = [one for one in found if not one.mirrored]
    return found[0].corners if len(found) == 1 else None


def seen_in_words(seen: Sequence[PlateSeen]) -> list[str]:
    """Say which plates a photograph was read by, and which not and why; nothing where it shows none.

    Those that are of no help say so in the readings' own caveats, with what to do.
    """
    used = [one for one in seen if one.used]
    lines = []
    if len(used) == 1:
        lines.append(f"Read by {used[0].plate.name}.")
    elif used:
        lines.append(f"Read by {listed([_with_difference(one) for one in used])}.")
    return lines + list(dict.fromkeys(left_out_in_words(one) for one in seen if one.left_out is not None))


def left_out_in_words(one: PlateSeen) -> str:
    """Say why a plate did not serve, with how far the others read it from what is logged, where they tell."""
    if one.left_out is None:
        return ""
    if one.again is None or one.again.interval is None or one.again.interval[0] == 0.0:
        return one.left_out.message
    why = one.left_out.message if one.by_hand else f"{capital(one.plate.name)} is left out."  # the reading warns why
    return f"{why} {capital(agreement(one))}."


def _with_difference(one: PlateSeen) -> str:
    return f"{one.plate.name} ({agreement(one)})" if agreement(one) else one.plate.name


def agreement(one: PlateSeen) -> str:
    """Say how far the others read a plate from what is logged, by its interval; nothing where there are no others."""
    if one.again is None or one.again.interval is None:
        return ""
    low, high = one.again.interval
    if low == 0.0:  # it can't be told from what is logged (``delta_e_interval``)
        return f"as logged, as far as the others can tell: ΔE00 {high:.1f} at most"
    return f"by the others ΔE00 {low:.1f} to {high:.1f} from what is logged"
