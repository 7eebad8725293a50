"""Known finishes seen again: each as the others in its picture read it, beside what it is known as.

After ``finish``. Each reading leaves its own reference out, so that it is a measurement of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from matcher.calibration.calibration import Calibration
from matcher.calibration.references.reference import SeenReference
from matcher.calibration.references.update import Conditioned
from matcher.colour.difference import delta_e_2000
from matcher.colour.uncertainty import sum_of
from matcher.errors import Caveat
from matcher.photo.photo import Photo
from matcher.reading.comparison import delta_e_interval
from matcher.reading.finish import called, known_finishes, reference_caveats
from matcher.reading.reading import Reading


@dataclass(frozen=True, eq=False)
class SeenAgain:
    """A reference as the others read it.

    index: its place among those given; name: how it is called. reading: by the other references, None where it can't be
    read. delta_e00 and interval (95 %): from what it is known as. left_out: why it did not serve, None when it did.
    as_unknown: whether it was known by a camera as unknown as this picture's, of which it tells nothing then.
    """

    index: int
    name: str
    reading: Reading | None
    delta_e00: float | None
    interval: tuple[float, float] | None
    left_out: Caveat | None = None
    as_unknown: bool = False

    @property
    def used(self) -> bool:
        """Whether the picture's colours were read by it."""
        return self.left_out is None and not self.as_unknown

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "name": self.name,
            "used": self.used,
            "as_unknown": self.as_unknown,
            "lab": None if self.reading is None else self.reading.lab.tolist(),
            "delta_e00": self.delta_e00,
            "delta_e00_interval": None if self.interval is None else list(self.interval),
            "left_out": None if self.left_out is None else self.left_out.as_dict(),
        }


def seen_again(photo: Photo, calibration: Calibration) -> tuple[SeenAgain, ...]:
    """Return each reference of a calibration as the others show it, in the order in which they were given.

    Parameters
    ----------
    photo : Photo
        The photograph.
    calibration : Calibration
        Of it, made with ``references``; empty without.

    Examples
    --------
    >>> from matcher import calibrate, open_photo
    >>> from matcher.shipped import shipped
    >>> photo = open_photo(shipped("demo_images") / "plate_no_card.jpg")
    >>> seen_again(photo, calibrate(photo, None))
    ()
    """
    known = known_finishes(photo, calibration)
    if known is None:
        return ()
    found = [_by_the_others(item, known.without(row), calibration) for row, item in enumerate(known.used)]
    for out in known.left_out:
        (why,) = reference_caveats([out], calibration.references)
        if out.seen is None:
            found.append(SeenAgain(out.index, called(out.index, calibration.references), None, None, None, why))
        else:
            found.append(replace(_by_the_others(out.seen, known, calibration), left_out=why))
    return tuple(sorted(found, key=lambda item: item.index))


def _by_the_others(item: SeenReference, others: Conditioned, calibration: Calibration) -> SeenAgain:
    assert isinstance(item.seen, Reading) and isinstance(item.reference.reading, Reading)
    lab, budget = others.corrected(item.seen.lab, item.seen.budget, item.place)
    reading = replace(item.seen, lab=np.asarray(lab), budget=budget, covariance=sum_of(budget))
    known = item.reference.reading
    return SeenAgain(
        item.index,
        called(item.index, calibration.references),
        reading,
        float(delta_e_2000(reading.lab, known.lab)),
        delta_e_interval(known, reading, given=True),
        as_unknown=item.as_unknown,
    )
