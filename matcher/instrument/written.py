"""How lights, observers, angles and wavelengths are written in files from elsewhere, for every format alike."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from matcher.errors import InstrumentFileError

_WAVELENGTH = re.compile(
    r"(?:spectral_?(?:nm|pct|dec)?_?|spec_?|nm_?|%?\s?r_?|refl(?:ectance)?|wl|λ)?[\s_@(]*"
    r"(\d{3,4})(?:[.,]0*)?\s*(?:nm)?\)?\s*(?:[(\[]?%[)\]]?)?",
    re.IGNORECASE,
)
_LIGHT = re.compile(r"(?:CIE|STANDARD|ILLUMINANT|ILLUM\.?)[\s_=:,-]*", re.IGNORECASE)
_PAIR = re.compile(r"(.+?)\s*[/\s]\s*(2|10)\s*(?:°|deg.*)?", re.IGNORECASE)

GLOSS_LEFT_OUT, GLOSS_TAKEN_IN, FROM_THE_FRONT, SPHERE = "specular excluded", "specular included", "45/0", "sphere"

_A, _Z = r"(?<![A-Za-z0-9.])", r"(?![A-Za-z0-9.])"
_NAMED = r"D50|D55|D65|D75|F\d{1,2}|FL\d{1,2}|LED-B\d"
_EITHER = rf"(?:{_NAMED}|A|C)"
_DEGREES = r"\s*(?:°|deg(?:rees?)?\b)"
_PAIRS = (
    re.compile(rf"{_A}(?P<light>{_EITHER})\s*/\s*(?P<observer>2|10)(?:{_DEGREES})?{_Z}", re.IGNORECASE),
    re.compile(rf"{_A}(?P<observer>2|10)(?:{_DEGREES})?\s*/\s*(?P<light>{_EITHER}){_Z}", re.IGNORECASE),
    re.compile(rf"{_A}(?P<light>{_NAMED})[_ ,-]+(?P<observer>2|10)(?:{_DEGREES})?{_Z}", re.IGNORECASE),
)
_LIGHT_HEADED = re.compile(
    rf"(?:illuminant|illumination(?:_name)?|light(?:\s*source)?|lichtart)[\s:=;,\t\"']+(?:CIE\s+)?({_EITHER}){_Z}",
    re.IGNORECASE,
)
_LIGHT_ALONE = re.compile(rf"{_A}({_NAMED}){_Z}", re.IGNORECASE)
_OBSERVER_HEADED = re.compile(
    r"observer(?:[_ ]?angle)?[\s:=;,\t\"']+(?:CIE\s+)?(1931|1964|2|10)(?![0-9])", re.IGNORECASE
)
_OBSERVER_ALONE = re.compile(rf"{_A}(2|10)(?:{_DEGREES}|[-_ ]degrees?)", re.IGNORECASE)
_M_CONDITION = re.compile(
    r"(?<![A-Za-z0-9.])M([0-3])(?:_(?:daylight|incandescent|uvexcluded|polarized))?(?=[^A-Za-z0-9.]|$)", re.IGNORECASE
)
_GLOSS_OUT = re.compile(
    rf"{_A}(?:sce|spex|rsex|de\s?[:/]\s?8|8\s?[:/]\s?de|specular[ _]?(?:component[ _]?)?excluded|without gloss){_Z}",
    re.IGNORECASE,
)
_GLOSS_IN = re.compile(
    rf"{_A}(?:sci|spin|rsin|di\s?[:/]\s?8|8\s?[:/]\s?di|specular[ _]?(?:component[ _]?)?included|with gloss){_Z}",
    re.IGNORECASE,
)
_FRONT = re.compile(
    rf"{_A}(?:45\s?°?[a-z]?\s?[/:]\s?0\s?°?|0\s?°?\s?[/:]\s?45\s?°?[a-z]?|annular 45){_Z}", re.IGNORECASE
)
_SPHERE = re.compile(rf"{_A}(?:d\s?[/:]\s?[08]\s?°?|[08]\s?°?\s?[/:]\s?d|sphere|diffuse){_Z}", re.IGNORECASE)
_ASPECULAR = re.compile(rf"{_A}(?:\d{{2}}\s?°?\s?)?as\s?(-?\d{{1,3}})\s?°?{_Z}|{_A}(-?\d{{1,3}})\s?°", re.IGNORECASE)
_ANGLE_FIRST = re.compile(r"^\s*(-?\d{2,3})[_ ](?=LAB|XYZ|SPECTRAL|L\*|a\*|b\*)", re.IGNORECASE)
_NOT_REFLECTED = re.compile(r"\b(transmittance|transmission|absorbance|emission|emissive|radiance)", re.IGNORECASE)
_OTHER_SPACE = re.compile(r"\b(hunter(?:\s*lab)?|oklab|din\s?99|cieluv|luv)\b", re.IGNORECASE)


@dataclass(frozen=True)
class Said:
    """What words around figures say of how they were measured. None: nothing is said.

    illuminant, observer: as written. angle: "45/0", "specular excluded", "25°" from the mirror direction. condition:
    "M0" to "M3" of ISO 13655.
    """

    illuminant: str | None = None
    observer: str | None = None
    angle: str | None = None
    condition: str | None = None

    def or_else(self, other: Said) -> Said:
        """Return this with what it leaves out taken from another."""
        return Said(
            self.illuminant or other.illuminant,
            self.observer or other.observer,
            self.angle or other.angle,
            self.condition or other.condition,
        )


def said_in(text: str) -> Said:
    """Return what free words say; of two lights, observers or conditions in them none is taken."""
    pairs = [found for pattern in _PAIRS for found in pattern.finditer(text)]
    pairs = [found for found in pairs if len(found["light"]) > 1 or re.search(_DEGREES, found[0], re.IGNORECASE)]
    lights = {found["light"].upper() for found in pairs} | {found[1].upper() for found in _LIGHT_HEADED.finditer(text)}
    lights = lights or {found[1].upper() for found in _LIGHT_ALONE.finditer(text)}
    observers = {found["observer"] for found in pairs}
    observers |= {_OBSERVER_OF.get(found[1], found[1]) for found in _OBSERVER_HEADED.finditer(text)}
    observers = observers or {found[1] for found in _OBSERVER_ALONE.finditer(text)}
    conditions = {"M" + found[1] for found in _M_CONDITION.finditer(text)}
    return Said(_only(lights), _only(observers), gloss_or_front(text), _only(conditions))


_OBSERVER_OF = {"1931": "2", "1964": "10"}


def column_said(text: str) -> tuple[str, Said]:
    """Return a column's name without what it says of how it was measured, and that: "M0_LAB_L", "L*(10/D65)"."""
    said, rest = Said(), text
    for pattern in _PAIRS:
        if found := pattern.search(rest):
            said = said.or_else(Said(found["light"].upper(), found["observer"]))
            rest = rest[: found.start()] + " " + rest[found.end() :]
    if (found := _ANGLE_FIRST.search(rest)) is not None:
        said = said.or_else(Said(angle=f"{int(found[1])}°"))
        rest = rest[found.end() :]
    if found := _OBSERVER_ALONE.search(rest):
        said = said.or_else(Said(observer=found[1]))
        rest = rest[: found.start()] + " " + rest[found.end() :]
    if found := re.search(rf"(?<![A-Za-z0-9.])({_NAMED})(?=[^A-Za-z0-9.]|$)", rest, re.IGNORECASE):
        said = said.or_else(Said(illuminant=found[1].upper()))
        rest = rest[: found.start()] + " " + rest[found.end() :]
    if found := _M_CONDITION.search(rest):
        said = said.or_else(Said(condition="M" + found[1]))
        rest = rest[: found.start()] + " " + rest[found.end() :]
    for pattern in (_GLOSS_OUT, _GLOSS_IN, _FRONT, _ASPECULAR):
        if found := pattern.search(rest):
            said = said.or_else(Said(angle=angle_of(found[0])))
            rest = rest[: found.start()] + " " + rest[found.end() :]
    if said == Said():
        return text, said
    return re.sub(r"[(\[][\s,;/]*[)\]]", " ", rest).strip(" _,;:-/()[]"), said


def gloss_or_front(text: str) -> str | None:
    """Return what words say of the angle, but for a number of degrees, which could be an observer's."""
    if _GLOSS_OUT.search(text):
        return GLOSS_LEFT_OUT
    if _GLOSS_IN.search(text):
        return GLOSS_TAKEN_IN
    if _FRONT.search(text):
        return FROM_THE_FRONT
    return SPHERE if _SPHERE.search(text) else None


def angle_of(text: str) -> str | None:
    """Return an angle as it is named here, of "45/0", "SCE", "as25", "25°" or "25"; None when it is none."""
    named = gloss_or_front(text)
    if named is not None:
        return named
    found = _ASPECULAR.search(text)
    degrees = (
        (found[1] or found[2]) if found else text.strip() if re.fullmatch(r"\s*-?\d{1,3}(?:\.0*)?\s*", text) else None
    )
    return None if degrees is None else f"{int(float(degrees))}°"


def condition_of(text: str) -> str | None:
    """Return "M0" to "M3" of "M1", "M1_Daylight" or "measured as M1"; None when it is none of them."""
    found = _M_CONDITION.search(text.strip())
    return "M" + found[1] if found else None


def says_percent(text: str) -> bool:
    """Tell whether words say that reflectances are percent."""
    return re.search(r"%|\b(?:pct|percent)\b", text, re.IGNORECASE) is not None


def refuse_unless_reflected(text: str) -> None:
    """Raise InstrumentFileError when words say that light went through, or came from, what was measured."""
    if found := _NOT_REFLECTED.search(text):
        raise InstrumentFileError(f"Export reflectance: the file says that it holds {found[1].lower()[:30]}.")


def refuse_other_space(text: str) -> None:
    """Raise InstrumentFileError when words say that L, a, b are of another space than CIELAB."""
    if found := _OTHER_SPACE.search(text):
        raise InstrumentFileError(f"Export CIELAB or the spectrum: the file says that its figures are {found[1][:20]}.")


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


def _only(values: set[str]) -> str | None:
    return next(iter(values)) if len(values) == 1 else None
