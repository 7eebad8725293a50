"""How lights, observers and wavelengths are written in files from elsewhere, for every format alike."""

from __future__ import annotations

import re
from functools import lru_cache

from matcher.errors import InstrumentFileError

_WAVELENGTH = re.compile(
    r"(?:spectral_?(?:nm|pct|dec)?_?|spec_?|nm_?|r_?)?\s*(\d{3,4})(?:[.,]0*)?\s*(?:nm)?", re.IGNORECASE
)
_LIGHT = re.compile(r"(?:CIE|STANDARD|ILLUMINANT|ILLUM\.?)[\s_=:,-]*", re.IGNORECASE)
_PAIR = re.compile(r"(.+?)\s*[/\s]\s*(2|10)\s*(?:°|deg.*)?", re.IGNORECASE)


def wavelength_of(column: str) -> float | None:
    """Return the wavelength in nm that a column is for ("SPECTRAL_NM420", "nm420", "420 nm"), or None."""
    found = _WAVELENGTH.fullmatch(column.strip().strip('"'))
    value = float(found[1]) if found else 0.0
    return value if 200.0 <= value <= 2500.0 else None


def illuminant_and_observer(text: str) -> tuple[str, str | None]:
    """Return illuminant and observer of "D65/10" or "D65 10°"; the observer is None when only a light is written."""
    found = _PAIR.fullmatch(text.strip())
    return (found[1], found[2]) if found else (text.strip(), None)


@lru_cache(maxsize=64)
def illuminant_name(text: str) -> str:
    """Return a light's CIE name as colour-science spells it: "Illuminant d65" is D65, "F2" is FL2.

    Raises InstrumentFileError for a light that is not a CIE one.
    """
    from matcher.colour.library import colour_library

    plain = _LIGHT.sub("", text).strip().strip("\"'").upper().replace(" ", "").replace("_", "")
    plain = re.sub(r"^F(?:L)?(\d{1,2}(?:\.\d{1,2})?)$", r"FL\1", plain)
    plain = re.sub(r"^D(5000|5500|6500|7500)$", lambda found: "D" + found[1][:2], plain)
    if plain not in colour_library().SDS_ILLUMINANTS:
        raise InstrumentFileError(
            f"Export the values under D50: the light {text.strip()[:40]!r} is not a CIE illuminant."
        )
    return plain


def observer_name(text: str) -> str:
    """Return "2" or "10" degrees of an observer as files write it. Raises InstrumentFileError."""
    plain = text.lower()
    if "1931" in plain:
        return "2"
    if "1964" in plain:
        return "10"
    found = re.search(r"(?<!\d)(2|10)(?!\d)", plain)
    if not found:
        raise InstrumentFileError(f"Export the values for the 2-degree observer: {text.strip()[:40]!r} names none.")
    return found[1]
