"""Munsell notation becomes a Reading: a finish matched by eye against a book of chips."""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np

from matcher.colour.library import colour_library
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm, square_root, sum_of
from matcher.errors import Caveat, InstrumentFileError
from matcher.instrument.conversion import conversion_covariance, converted
from matcher.instrument.illuminant import white_of
from matcher.reading.reading import Reading

EYE_SIGMA = (1.0, 0.15, 0.5)
"""Standard uncertainty of a match by eye: hue in steps of the 100-step circle, value, chroma. Somewhat wider than
the 0.5, 0.1 and 0.4 that trained observers reach under a standard light (ASTM D1535, from memory)."""

_FAMILIES = ("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")
_DECIMAL = r"(\d{1,3}(?:[.,]\d{1,6})?)"
_CHROMATIC = re.compile(rf"{_DECIMAL}\s*(R|YR|Y|GY|G|BG|B|PB|P|RP)\s*{_DECIMAL}\s*/\s*{_DECIMAL}", re.IGNORECASE)
_NEUTRAL = re.compile(rf"N\s*{_DECIMAL}\s*(?:/\s*(?:0(?:[.,]0*)?)?)?", re.IGNORECASE)


def munsell_reading(notation: str, sigma: tuple[float, float, float] = EYE_SIGMA) -> Reading:
    """Return the Reading of a finish matched by eye against a book of chips.

    By the renotation of Newhall, Nickerson and Judd (1943, J. Opt. Soc. Am. 33(7)), interpolated by colour-science,
    for illuminant C and converted to D50.

    Parameters
    ----------
    notation : str
        "5YR 3/4", or "N 5/" for a grey.
    sigma : tuple of float
        Standard uncertainty of hue (steps of the 100-step circle), value and chroma.

    Returns
    -------
    Reading
        CIELAB under D50 for 2 degrees.

    Raises
    ------
    InstrumentFileError
        For text that is no notation, or one outside the renotation's real colours.

    Examples
    --------
    >>> munsell_reading("N 5/").lab.round(1).tolist()
    [51.0, 0.0, 0.0]
    """
    hue, value, chroma = parsed(notation)
    if chroma == 0:
        lab = _lab(0.0, value, 0.0)
        axes = np.column_stack([_lab(0.0, min(value + 0.1, 10.0), 0.0) - _lab(0.0, max(value - 0.1, 0.05), 0.0)])
        axes = axes / (min(value + 0.1, 10.0) - max(value - 0.1, 0.05)) * sigma[1]
        tints = np.column_stack([_tint(value, turn) for turn in (0.0, 25.0)]) * sigma[2]
        slopes = np.column_stack([axes, tints])
    else:
        _refuse_outside(notation, hue, value, chroma)
        lab = _lab(hue, value, chroma)
        slopes = np.column_stack([_slope(hue, value, chroma, axis) * sigma[axis] for axis in range(3)])
    budget = (
        BudgetTerm(Source.MATCH_BY_EYE, slopes, "measure the finish with an instrument or photograph it"),
        BudgetTerm(
            Source.CHANGE_OF_LIGHT,
            square_root(conversion_covariance(_relative(hue, value, chroma), "C", "2")),
            "measure the finish under D50",
        ),
    )
    words = "Munsell notation is a match by eye under daylight: a photograph with a card is more accurate."
    return Reading(
        lab,
        sum_of(budget),
        source="typed",
        budget=budget,
        caveats=(Caveat("matched-by-eye", words),),
    )


def parsed(notation: str) -> tuple[float, float, float]:
    """Return hue on the 100-step circle (10R is 10, 5YR is 15), value and chroma; chroma 0 is a grey.

    Raises InstrumentFileError.
    """
    text = notation.strip() if isinstance(notation, str) else ""
    grey = _NEUTRAL.fullmatch(text)
    if grey and 0 < (value := _decimal(grey[1])) <= 10:
        return 0.0, value, 0.0
    found = _CHROMATIC.fullmatch(text)
    if not found or _decimal(found[1]) > 10:
        raise InstrumentFileError(
            f"Write the Munsell notation as hue value/chroma, 5YR 3/4 or N 5/: {text[:40]!r} is not that."
        )
    hue = (10.0 * _FAMILIES.index(found[2].upper()) + _decimal(found[1])) % 100.0
    return hue, _decimal(found[3]), _decimal(found[4])


def _decimal(text: str) -> float:
    return float(text.replace(",", "."))


def _refuse_outside(notation: str, hue: float, value: float, chroma: float) -> None:
    if not 1 <= value <= 9:
        raise InstrumentFileError(
            f"Give a Munsell value from 1 to 9 for a colour: {notation.strip()!r} is not within it."
        )
    most = _most_chroma(hue, value)
    if chroma > most:
        raise InstrumentFileError(
            f"Give a Munsell chroma up to {most:g} at that hue and value: {notation.strip()!r} is beyond it."
        )


def _is_inside(hue: float, value: float, chroma: float) -> bool:
    return 1 <= value <= 9 and chroma <= _most_chroma(hue, value)


def _most_chroma(hue: float, value: float) -> float:
    """Return the highest chroma that all tabled neighbours of a hue and value have."""
    return min(
        _highest_chroma().get((float(side) % 100.0, float(level)), 0.0)
        for side in (2.5 * np.floor(hue / 2.5), 2.5 * np.ceil(hue / 2.5))
        for level in (np.floor(value), np.ceil(value))
    )


@lru_cache(maxsize=1)
def _highest_chroma() -> dict[tuple[float, float], float]:
    """Return the highest real chroma by (hue on the 100-step circle, whole value)."""
    highest: dict[tuple[float, float], float] = {}
    for (hue, value, chroma), _ in colour_library().MUNSELL_COLOURS["Munsell Colours Real"]:
        found = re.fullmatch(r"([\d.]+)([A-Z]+)", hue)
        assert found is not None
        key = ((10.0 * _FAMILIES.index(found[2]) + float(found[1])) % 100.0, float(value))
        highest[key] = max(highest.get(key, 0.0), float(chroma))
    return highest


def _lab(hue: float, value: float, chroma: float) -> Floats:
    """Return CIELAB (3,) under D50 of hue (0 to 100), value and chroma."""
    return converted(_relative(hue, value, chroma), "C", "2")


def _relative(hue: float, value: float, chroma: float) -> Floats:
    """Return X/Xn, Y/Yn, Z/Zn (3,) under illuminant C of hue (0 to 100), value and chroma."""
    colour = colour_library()
    if chroma == 0:
        return np.full(3, float(colour.colorimetry.luminance_ASTMD1535(value)) / 100)
    turn = hue % 100.0
    family, step = int(turn // 10), turn % 10
    if step == 0:
        family, step = (family - 1) % 10, 10.0
    xyy = colour.munsell_colour_to_xyY(f"{step:.6f}{_FAMILIES[family]} {value:.6f}/{chroma:.6f}")
    return np.asarray(colour.xyY_to_XYZ(xyy), dtype=float) / white_of("C")


def _slope(hue: float, value: float, chroma: float, axis: int) -> Floats:
    """Return d lab (3,) per unit of hue, value or chroma: from both sides where there are data, else from one."""
    here = np.array([hue, value, chroma])
    step = np.zeros(3)
    step[axis] = (1.0, 0.1, min(0.5, chroma / 2))[axis]
    ends = [end for end in (here - step, here + step) if _is_inside(*end)]
    if len(ends) == 2:
        return (_lab(*ends[1]) - _lab(*ends[0])) / (2 * step[axis])
    end = ends[0] if ends else here - step
    return (_lab(*end) - _lab(*here)) / (end - here)[axis]


def _tint(value: float, turn: float) -> Floats:
    """Return d lab (3,) per unit of chroma away from a grey towards one hue."""
    level = float(np.clip(value, 1, 9))
    return (_lab(turn + 5.0, level, 1.0) - _lab(0.0, level, 0.0)) * [0, 1, 1]
