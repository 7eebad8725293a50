"""One colour as a file states it, and the named Sample that it becomes: a Reading under D50 with its uncertainty.

The format readers give Measured values, `choices` picks among them; everything about lights, observers and
uncertainty is decided here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.cielab import checked_lab, lab_jacobian, lab_to_xyz
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm, square_root, sum_of
from matcher.errors import Caveat, InstrumentFileError, ReadingError
from matcher.instrument.conversion import (
    STATED,
    conversion_covariance,
    converted,
    lab_to_relative,
    open_covariance,
)
from matcher.instrument.illuminant import sampling_covariance, spectrum_to_lab, white_of
from matcher.instrument.written import GLOSS_TAKEN_IN, illuminant_name, observer_name
from matcher.reading.reading import INSTRUMENT_SIGMA, Reading

UNLIKE_ITS_SPECTRUM, UNLIKE_IN_LIGHTNESS = 1.5, 4.0
"""How far CIELAB may lie from its own spectrum's colour: under D50, and in L* under another light."""
LARGEST_SIGMA = 50.0
LEAST_REFLECTANCE, MOST_REFLECTANCE = -0.02, 2.0
"""Reflectance factors that noise and fluorescence still explain."""


@dataclass(frozen=True)
class Sample:
    """One named colour of a file. given_as: what the file states, "CIELAB, D65, 2 degrees", in words."""

    name: str
    reading: Reading
    given_as: str


@dataclass(frozen=True, eq=False)
class Measured:
    """One colour as a file states it.

    kind: "lab", "xyz" or "spectrum". values: (3,), or reflectances (n,) at wavelengths_nm (n,). white: what XYZ and
    reflectances are for a perfect white, 1 or 100; None when the file does not say. illuminant, observer: as written,
    None when the file does not say; only_in_words: they stand in a comment or a line of text, not in a field of the
    format. sigma: (3,) the whole standard uncertainty of L*, a*, b*, when stated. standard_deviation: (3,) of the
    averaged measurements in the units of values, when stated; it adds to an instrument's usual uncertainty. angle,
    condition: as ``written.Said`` has them.
    """

    kind: str
    values: Floats
    wavelengths_nm: Floats | None = None
    illuminant: str | None = None
    observer: str | None = None
    sigma: Floats | None = None
    standard_deviation: Floats | None = None
    angle: str | None = None
    condition: str | None = None
    white: float | None = None
    only_in_words: bool = False


def lab_reading(
    lab: ArrayLike, illuminant: str = "D50", observer: str = "2", sigma: float | ArrayLike | None = None
) -> Reading:
    """Return the Reading of CIELAB typed in from an instrument.

    lab: (3,). illuminant: a CIE illuminant; observer: "2" or "10" degrees. What is not for D50 and 2 degrees is
    converted, with the uncertainty that adds. sigma: standard uncertainty of L*, a*, b*, one for all or (3,); None
    takes an instrument's usual one. Raises InstrumentFileError for an unknown illuminant or observer, ReadingError for
    values out of range.
    """
    try:
        stated = None if sigma is None else np.broadcast_to(np.asarray(sigma, dtype=float), (3,))
    except (TypeError, ValueError) as error:
        raise InstrumentFileError(
            f"Give standard uncertainties as one number or three: {sigma!r} is not so."
        ) from error
    return _reading(Measured("lab", checked_lab(lab), illuminant=illuminant, observer=observer, sigma=stated))


def best_sample(name: str, stated: Sequence[Measured], said: tuple[Caveat, ...] = ()) -> Sample:
    """Return the Sample of what a file states of one colour: the spectrum first, then what is nearest to D50.

    stated: each with its white. said: caveats about what was chosen. Raises InstrumentFileError when there is nothing,
    or nothing that can be used.
    """
    if not stated:
        raise InstrumentFileError(f"Export CIELAB, XYZ or reflectance: {name!r} has none of them, or not all of one.")
    try:
        best = the_best(stated)
        reading = _reading(best)
    except (ReadingError, InstrumentFileError) as error:
        raise InstrumentFileError(f"{name!r}: {error}") from error
    also = (*said, *_contradiction(reading, best, stated))
    if also:
        reading = replace(reading, caveats=(*reading.caveats, *also))
    return Sample(name, reading, in_words(best))


def the_best(stated: Sequence[Measured]) -> Measured:
    """Return what gives a colour under D50 most surely. Raises InstrumentFileError for a light that is unknown."""
    return min(stated, key=_rank)


def in_words(stated: Measured) -> str:
    """Return "CIELAB, D65, 2 degrees" or "spectrum, 400 to 700 nm"."""
    if stated.kind == "spectrum" and stated.wavelengths_nm is not None:
        return f"spectrum, {stated.wavelengths_nm.min():.0f} to {stated.wavelengths_nm.max():.0f} nm"
    illuminant, observer = _conditions(stated)
    light = "light not stated" if stated.illuminant is None else illuminant
    seen_by = "observer not stated" if stated.observer is None else f"{observer} degrees"
    return f"{'CIELAB' if stated.kind == 'lab' else 'XYZ'}, {light}, {seen_by}"


def lightness_with(stated: Measured, white: float) -> float | None:
    """Return L* of XYZ or a spectrum if ``white`` is its perfect white; None where that is no colour."""
    try:
        return float(_lab(replace(stated, white=white))[0])
    except (ReadingError, InstrumentFileError):
        return None


def _rank(stated: Measured) -> int:
    if stated.kind == "spectrum":
        return 0
    if stated.illuminant is None or stated.observer is None:
        return 4
    illuminant, observer = _conditions(stated)
    return 3 if observer != "2" else 1 if illuminant == "D50" else 2


def _conditions(stated: Measured) -> tuple[str, str]:
    """Return illuminant and observer; what is not said is D50 and 2 degrees, the conditions of ISO 13655."""
    return illuminant_name(stated.illuminant or STATED[0]), observer_name(stated.observer or STATED[1])


def _relative(stated: Measured) -> Floats:
    """Return X/Xn, Y/Yn, Z/Zn (3,) of CIELAB or XYZ."""
    if stated.kind == "lab":
        return lab_to_relative(checked_lab(stated.values))
    if not (stated.values >= 0).all():
        raise InstrumentFileError(f"Export it again: XYZ can't be below 0, as in {stated.values.tolist()}.")
    return np.asarray(stated.values / (stated.white or 100.0) / white_of(*_conditions(stated)))


def _lab(stated: Measured) -> Floats:
    """Return CIELAB (3,), D50, 2 degrees."""
    if stated.kind == "spectrum":
        assert stated.wavelengths_nm is not None
        factors = stated.values / (stated.white or 1.0)
        if factors.min() < LEAST_REFLECTANCE or factors.max() > MOST_REFLECTANCE:
            wrong = factors.min() if factors.min() < LEAST_REFLECTANCE else factors.max()
            raise InstrumentFileError(f"Export it again: no finish has a reflectance factor of {wrong:.4g}.")
        return checked_lab(spectrum_to_lab(stated.wavelengths_nm, factors))
    if stated.kind == "lab" and _conditions(stated) == STATED:
        return checked_lab(stated.values)
    return checked_lab(converted(_relative(stated), *_conditions(stated)))


def _reading(stated: Measured) -> Reading:
    lab = _lab(stated)
    own = _instrument_covariance(stated, lab)
    if stated.wavelengths_nm is not None:
        own = own + sampling_covariance(stated.wavelengths_nm)
    budget = [BudgetTerm(Source.INSTRUMENT, square_root(own), "state the instrument's own uncertainty")]
    if stated.kind != "spectrum":
        budget += _of_light(stated, lab)
    return Reading(lab, sum_of(budget), budget=tuple(budget), caveats=_caveats(stated))


def _of_light(stated: Measured, lab: Floats) -> list[BudgetTerm]:
    """Return what the light and the observer leave open: not stated, or other than D50 and 2 degrees."""
    conditions = _conditions(stated)
    if stated.illuminant is None or stated.observer is None:
        known = (
            None if stated.illuminant is None else conditions[0],
            None if stated.observer is None else conditions[1],
        )

        def relative(illuminant: str, observer: str) -> Floats:
            return _relative(replace(stated, illuminant=illuminant, observer=observer))

        left = square_root(open_covariance(relative, lab, *known))
        return [BudgetTerm(Source.LIGHT_NOT_STATED, left, "state the light and the observer, or export the spectrum")]
    if conditions == STATED:
        return []
    left = square_root(conversion_covariance(_relative(stated), *conditions))
    return [BudgetTerm(Source.CHANGE_OF_LIGHT, left, "export the values for D50 and 2 degrees, or the spectrum")]


def _instrument_covariance(stated: Measured, lab: Floats) -> Floats:
    if stated.sigma is not None:
        return np.diag(np.square(_checked_sigma(stated.sigma)))
    usual = np.eye(3) * INSTRUMENT_SIGMA**2
    if stated.standard_deviation is None:
        return usual
    scatter = np.diag(np.square(_checked_sigma(stated.standard_deviation)))
    if stated.kind == "xyz":
        to_lab = lab_jacobian(lab_to_xyz(lab)) / (stated.white or 100.0)
        scatter = to_lab @ scatter @ to_lab.T
    return np.asarray(usual + scatter)


def _checked_sigma(sigma: Floats) -> Floats:
    values = np.asarray(sigma, dtype=float)
    if not (np.isfinite(values).all() and (values >= 0).all() and (values <= LARGEST_SIGMA).all()):
        raise InstrumentFileError(
            f"Give standard uncertainties from 0 to {LARGEST_SIGMA:.0f}: {values.tolist()} are not that."
        )
    return values


def _caveats(stated: Measured) -> tuple[Caveat, ...]:
    caveats = []
    if stated.kind != "spectrum":
        caveats += _caveats_of_light(stated)
    if stated.angle == GLOSS_TAKEN_IN:
        words = "The instrument took the gloss in: a photograph leaves it out, and reads a shiny finish darker."
        caveats.append(Caveat("gloss-included", words))
    if stated.angle is not None and stated.angle.endswith("°"):
        words = f"Measured {stated.angle} from the mirror direction: turned, a metallic finish looks another colour."
        caveats.append(Caveat("one-angle", words))
    if stated.condition == "M3":
        words = "Measured through polarizers (M3): without the gloss a shiny finish reads darker."
        caveats.append(Caveat("polarized", words))
    return tuple(caveats)


def _caveats_of_light(stated: Measured) -> list[Caveat]:
    caveats, (illuminant, observer) = [], _conditions(stated)
    missing = [word for word, said in (("light", stated.illuminant), ("observer", stated.observer)) if said is None]
    if missing:
        words = (
            f"The file does not say its {' or '.join(missing)}: {illuminant} and {observer}° were taken, and the ± "
            "allows for the other usual ones."
        )
        caveats.append(Caveat("light-not-stated", words))
    if stated.only_in_words and len(missing) < 2:
        words = f"Its light and observer stand in a comment only: {illuminant} and {observer}° were taken."
        caveats.append(Caveat("light-in-a-comment", words))
    if not missing and (illuminant, observer) != STATED:
        words = (
            f"The values were measured for {illuminant} and {observer}°, and converted to D50 and 2°: the spectrum "
            "would be more accurate."
        )
        caveats.append(Caveat("light-converted", words))
    return caveats


def _contradiction(reading: Reading, best: Measured, stated: Sequence[Measured]) -> tuple[Caveat, ...]:
    """Return a caveat when a file's own CIELAB is not what its spectrum gives."""
    others = sorted((other for other in stated if other.kind == "lab"), key=_rank)
    if best.kind != "spectrum" or not others:
        return ()
    off = np.asarray(others[0].values, float) - reading.lab
    under_d50 = _rank(others[0]) == 1
    apart = float(np.linalg.norm(off) if under_d50 else abs(off[0]))
    if apart < (UNLIKE_ITS_SPECTRUM if under_d50 else UNLIKE_IN_LIGHTNESS):
        return ()
    words = f"The file's CIELAB and its spectrum are {apart:.1f} apart: check its units. The spectrum was taken."
    return (Caveat("file-contradicts-itself", words),)
