"""One colour as a file states it, and the named Sample that it becomes: a Reading under D50 with its uncertainty.

The format readers give Measured values; everything about lights, observers and uncertainty is decided here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.cielab import checked_lab, lab_jacobian, lab_to_xyz, xyz_to_lab
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm, square_root, sum_of
from matcher.errors import Caveat, InstrumentFileError, ReadingError
from matcher.instrument.illuminant import adapted, conversion_covariance, spectrum_to_lab, white_of
from matcher.instrument.written import illuminant_name, observer_name
from matcher.reading.reading import INSTRUMENT_SIGMA, Reading

UNLIKE_ITS_SPECTRUM = 1.5
LARGEST_SIGMA = 50.0


@dataclass(frozen=True)
class Sample:
    """One named colour of a file. given_as: what the file states, "CIELAB, D65, 2 degrees", in words."""

    name: str
    reading: Reading
    given_as: str


@dataclass(frozen=True, eq=False)
class Measured:
    """One colour as a file states it.

    kind: "lab", "xyz" (white Y = 100) or "spectrum" (reflectance factor, 1 for white). values: (3,), or (n,) at
    wavelengths_nm (n,). illuminant, observer: as written, None when the file does not say. sigma: (3,) the whole
    standard uncertainty of L*, a*, b*, when stated. standard_deviation: (3,) of the averaged measurements
    in the units of values, when stated; it adds to an instrument's usual uncertainty. with_gloss: the instrument
    took the mirror reflection in.
    """

    kind: str
    values: Floats
    wavelengths_nm: Floats | None = None
    illuminant: str | None = None
    observer: str | None = None
    sigma: Floats | None = None
    standard_deviation: Floats | None = None
    with_gloss: bool = False


def lab_reading(
    lab: ArrayLike, illuminant: str = "D50", observer: str = "2", sigma: float | ArrayLike | None = None
) -> Reading:
    """Return the Reading of CIELAB typed in from an instrument.

    lab: (3,). illuminant: a CIE illuminant; other than D50 it is converted by Bradford, with the uncertainty that adds.
    sigma: standard uncertainty of L*, a*, b*, one for all or (3,); None takes an instrument's usual one. Raises
    InstrumentFileError for the 10-degree observer or an unknown illuminant, ReadingError for values out of range.
    """
    try:
        stated = None if sigma is None else np.broadcast_to(np.asarray(sigma, dtype=float), (3,))
    except (TypeError, ValueError) as error:
        raise InstrumentFileError(
            f"Give standard uncertainties as one number or three: {sigma!r} is not so."
        ) from error
    return _converted(Measured("lab", checked_lab(lab), illuminant=illuminant, observer=observer, sigma=stated))


def best_sample(name: str, stated: list[Measured]) -> Sample:
    """Return the Sample of what a file states of one colour: the spectrum first, then what is nearest to D50.

    Raises InstrumentFileError when there is nothing, or nothing that can be converted.
    """
    if not stated:
        raise InstrumentFileError(f"Export CIELAB, XYZ or reflectance: {name!r} has none of them.")
    best = min(stated, key=_rank)
    try:
        reading = _converted(best)
    except (ReadingError, InstrumentFileError) as error:
        raise InstrumentFileError(f"{name!r}: {error}") from error
    caveat = _contradiction(reading, best, stated)
    if caveat is not None:
        reading = Reading(reading.lab, reading.covariance, budget=reading.budget, caveats=(*reading.caveats, caveat))
    return Sample(name, reading, in_words(best))


def in_words(stated: Measured) -> str:
    """Return "CIELAB, D65, 2 degrees" or "spectrum, 400 to 700 nm"."""
    if stated.kind == "spectrum" and stated.wavelengths_nm is not None:
        return f"spectrum, {stated.wavelengths_nm.min():.0f} to {stated.wavelengths_nm.max():.0f} nm"
    illuminant, observer = _conditions(stated)
    return f"{'CIELAB' if stated.kind == 'lab' else 'XYZ'}, {illuminant}, {observer} degrees"


def _rank(stated: Measured) -> int:
    if stated.kind == "spectrum":
        return 0
    illuminant, observer = _conditions(stated)
    return 3 if observer != "2" else 1 if illuminant == "D50" else 2


def _conditions(stated: Measured) -> tuple[str, str]:
    """Return illuminant and observer; what is not said is D50 and 2 degrees, the conditions of ISO 13655."""
    return illuminant_name(stated.illuminant or "D50"), observer_name(stated.observer or "2")


def _converted(stated: Measured) -> Reading:
    if stated.kind == "spectrum":
        assert stated.wavelengths_nm is not None
        lab, illuminant = spectrum_to_lab(stated.wavelengths_nm, stated.values), "D50"
    else:
        illuminant, observer = _conditions(stated)
        if observer != "2":
            raise InstrumentFileError(
                "Export the values for the 2-degree observer, or the spectrum: "
                f"{observer}-degree values cannot be converted without it."
            )
        xyz = lab_to_relative(stated.values) * white_of(illuminant) if stated.kind == "lab" else stated.values / 100
        lab = (
            np.array(stated.values, float)
            if (stated.kind, illuminant) == ("lab", "D50")
            else xyz_to_lab(adapted(xyz, illuminant))
        )
    lab = checked_lab(lab)
    own = square_root(_instrument_covariance(stated, lab))
    budget = [BudgetTerm(Source.INSTRUMENT, own, "state the instrument's own uncertainty")]
    if illuminant != "D50":
        remedy = "export the values under D50, or the spectrum"
        budget.append(BudgetTerm(Source.CHANGE_OF_LIGHT, square_root(conversion_covariance(lab, illuminant)), remedy))
    return Reading(lab, sum_of(budget), budget=tuple(budget), caveats=_caveats(stated, illuminant))


def lab_to_relative(lab: Floats) -> Floats:
    """Return X/Xn, Y/Yn, Z/Zn (3,) of CIELAB (3,) under whatever light it was measured."""
    from matcher.colour.cielab import D50_WHITE

    return lab_to_xyz(lab) / D50_WHITE


def _instrument_covariance(stated: Measured, lab: Floats) -> Floats:
    if stated.sigma is not None:
        return np.diag(np.square(_checked_sigma(stated.sigma)))
    usual = np.eye(3) * INSTRUMENT_SIGMA**2
    if stated.standard_deviation is None:
        return usual
    scatter = np.diag(np.square(_checked_sigma(stated.standard_deviation)))
    if stated.kind == "xyz":
        to_lab = lab_jacobian(lab_to_xyz(lab)) / 100
        scatter = to_lab @ scatter @ to_lab.T
    return np.asarray(usual + scatter)


def _checked_sigma(sigma: Floats) -> Floats:
    values = np.asarray(sigma, dtype=float)
    if not (np.isfinite(values).all() and (values >= 0).all() and (values <= LARGEST_SIGMA).all()):
        raise InstrumentFileError(
            f"Give standard uncertainties from 0 to {LARGEST_SIGMA:.0f}: {values.tolist()} are not that."
        )
    return values


def _caveats(stated: Measured, illuminant: str) -> tuple[Caveat, ...]:
    caveats = []
    if stated.kind != "spectrum" and (stated.illuminant is None or stated.observer is None):
        missing = [word for word, said in (("light", stated.illuminant), ("observer", stated.observer)) if said is None]
        words = f"The file does not say its {' or '.join(missing)}: D50 and 2 degrees were taken, as in ISO 13655."
        caveats.append(Caveat("light-not-stated", words))
    if illuminant != "D50":
        words = f"The values were measured for {illuminant} and converted to D50: the spectrum would be more accurate."
        caveats.append(Caveat("light-converted", words))
    if stated.with_gloss:
        words = "The instrument took the gloss in: a photograph leaves it out, and reads a shiny finish darker."
        caveats.append(Caveat("gloss-included", words))
    return tuple(caveats)


def _contradiction(reading: Reading, best: Measured, stated: list[Measured]) -> Caveat | None:
    """Return a caveat when a file's own CIELAB under D50 is not what its spectrum gives."""
    others = [other for other in stated if other is not best and other.kind == "lab" and _rank(other) == 1]
    if best.kind != "spectrum" or not others or others[0].illuminant is None:
        return None
    apart = float(np.linalg.norm(np.asarray(others[0].values, float) - reading.lab))
    if apart < UNLIKE_ITS_SPECTRUM:
        return None
    words = f"The file's CIELAB and its spectrum are {apart:.1f} apart: check its units. The spectrum was taken."
    return Caveat("file-contradicts-itself", words)
