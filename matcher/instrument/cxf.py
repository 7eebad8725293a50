"""CxF3, the XML of ISO 17972-1: objects with colour values that point at colour specifications.

Elements go by their local names, whatever the namespace's prefix. A document type is refused, and with it every
entity; size and depth are bounded.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element, TreeBuilder
from xml.parsers import expat

import numpy as np

from matcher.colour.types import Floats
from matcher.errors import InstrumentFileError
from matcher.instrument.choices import MOST_FACTOR, Row
from matcher.instrument.measured import Measured
from matcher.instrument.written import (
    FROM_THE_FRONT,
    GLOSS_LEFT_OUT,
    GLOSS_TAKEN_IN,
    SPHERE,
    condition_of,
    refuse_unless_reflected,
)
from matcher.typed import number

MAX_DEPTH = 64
MOST_DEGREES = 180
MAX_BANDS = 4_000
_SPECTRA = ("ReflectanceSpectrum", "CustomSpectrum")
_TRIPLES = {"ColorCIELab": ("lab", "LAB"), "ColorCIEXYZ": ("xyz", "XYZ"), "ColorCIELCh": ("lch", "LCH")}


@dataclass(frozen=True)
class _Specification:
    """One ColorSpecification: how its values were measured and worked out. start_nm, step_nm: of spectra.

    angles: as ``written.Said`` names them; several when one specification stands for several.
    """

    illuminant: str | None = None
    observer: str | None = None
    start_nm: float | None = None
    step_nm: float | None = None
    angles: tuple[str, ...] = ()
    condition: str | None = None
    kind: str = ""


def rows_of(data: bytes, most: int) -> list[Row]:
    """Return what all objects that hold colour state. Raises InstrumentFileError."""
    root = parsed(data)
    specifications = {element.get("Id", ""): _specification(element) for element in _all(root, "ColorSpecification")}
    objects = [item for item in _all(root, "Object") if any(True for _ in _colours(item))]
    if not objects:
        _refuse_what_is_no_colour(root)
    if len(objects) > most:
        raise InstrumentFileError(f"Export fewer samples: up to {most} can be read.")
    white = _white_of_spectra(root)
    rows = []
    for place, item in enumerate(objects, start=1):
        name = (item.get("Name") or item.get("Id") or f"sample {place}").strip()[:80]
        stated = [_measured(name, colour, specifications, white) for colour in _colours(item)]
        rows.append(Row(name, tuple(stated)))
    return rows


def _refuse_what_is_no_colour(root: Element) -> None:
    other = [child.tag for values in _all(root, "ColorValues") for child in values]
    held = f"only {other[0]}" if other else "no colour"
    raise InstrumentFileError(
        f"Export it as CxF3 with CIELAB, XYZ or reflectance: no object in it has any, {held[:60]}."
    )


def parsed(data: bytes) -> Element:
    """Return the root of an XML document without a document type. Raises InstrumentFileError."""
    builder, depth = TreeBuilder(), 0

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal depth
        depth += 1
        if depth > MAX_DEPTH:
            raise InstrumentFileError("Export it as plain CxF3: it is nested too deeply to be one.")
        builder.start(tag.rpartition("}")[2], attributes)

    def end(tag: str) -> None:
        nonlocal depth
        depth -= 1
        builder.end(tag.rpartition("}")[2])

    def refuse(*_: object) -> None:
        raise InstrumentFileError("Export it as plain CxF3: it declares a document type, which may hide other content.")

    parser = expat.ParserCreate(namespace_separator="}")
    parser.buffer_text = True
    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.CharacterDataHandler = builder.data
    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = refuse
    try:
        parser.Parse(data, True)
        return builder.close()
    except (expat.ExpatError, ValueError, LookupError, AssertionError) as error:
        raise InstrumentFileError(f"Export it again: its XML is broken ({error}).") from error


def _all(root: Element, name: str) -> Iterator[Element]:
    return root.iter(name)


def _colours(item: Element) -> Iterator[Element]:
    for values in item.iter("ColorValues"):
        yield from (colour for colour in values if colour.tag in _TRIPLES or colour.tag in _SPECTRA)


def _measured(name: str, colour: Element, specifications: dict[str, _Specification], white: float | None) -> Measured:
    stated = specifications.get(colour.get("ColorSpecification", ""), _Specification())
    refuse_unless_reflected(stated.kind.replace("_", " "))
    if len(stated.angles) > 1:
        raise InstrumentFileError(
            f"Export one specification an angle: {name!r} does not say which of {', '.join(stated.angles)} it is."
        )
    angle = stated.angles[0] if stated.angles else None
    if colour.tag in _SPECTRA:
        wavelengths, values = _spectrum(name, colour, stated)
        return Measured("spectrum", values, wavelengths, angle=angle, condition=stated.condition, white=white)
    kind, letters = _TRIPLES[colour.tag]
    parts = {child.tag.upper(): child.text for child in colour}
    values = np.array([_numbers(name, parts.get(letter))[0] for letter in letters])
    if kind == "lch":
        hue = np.radians(values[2])
        kind, values = "lab", np.array([values[0], values[1] * np.cos(hue), values[1] * np.sin(hue)])
    return Measured(kind, values, None, stated.illuminant, stated.observer, angle=angle, condition=stated.condition)


def _spectrum(name: str, colour: Element, stated: _Specification) -> tuple[Floats, Floats]:
    """Return wavelengths (n,) in nm and values (n,): at even steps, or each at its own wavelength."""
    if colour.tag == "CustomSpectrum":
        points = [point for point in colour if point.tag == "SpectralPoint"]
        pairs = [(_numbers(name, point.get("WL"))[0], _numbers(name, point.text)[0]) for point in points]
        if not pairs or len(pairs) > MAX_BANDS:
            raise InstrumentFileError(f"Export it again: the spectrum of {name!r} is empty or too long.")
        both = np.array(pairs, dtype=float)
        return both[:, 0], both[:, 1]
    values = _numbers(name, colour.text)
    start = _attribute(colour, "StartWL") or stated.start_nm
    step = _attribute(colour, "Increment") or stated.step_nm
    if start is None or step is None:
        raise InstrumentFileError(f"Export it with its wavelength range: the spectrum of {name!r} has none.")
    return np.asarray(start + step * np.arange(len(values)), dtype=np.float64), values


def _specification(element: Element) -> _Specification:
    ranges = next(element.iter("WavelengthRange"), None)
    illuminant, observer, lamp, kind = (
        _words(next(element.iter(name), None))
        for name in ("Illuminant", "Observer", "DeviceIllumination", "MeasurementType")
    )
    return _Specification(
        illuminant=illuminant,
        observer=observer,
        start_nm=None if ranges is None else _attribute(ranges, "StartWL"),
        step_nm=None if ranges is None else _attribute(ranges, "Increment"),
        angles=tuple(dict.fromkeys(_angles(element))),
        condition=condition_of(lamp or ""),
        kind=kind or "",
    )


def _angles(element: Element) -> Iterator[str]:
    """Yield the angles of a GeometryChoice: 45/0 either way, a sphere with or without gloss, or degrees."""
    for child in element.iter():
        words = (_words(child) or "").lower()
        if child.tag.lower().startswith("specular"):  # from memory: written so by others than the schema's own element
            yield GLOSS_TAKEN_IN if words in ("included", "true", "1", "yes") else GLOSS_LEFT_OUT
        elif child.tag == "SphereGeometry":
            yield {"specular_included": GLOSS_TAKEN_IN, "specular_excluded": GLOSS_LEFT_OUT}.get(words, SPHERE)
        elif child.tag == "SingleAngle":
            lit, seen = (number(_words(next(child.iter(name), None)) or "") for name in _LIT_AND_SEEN)
            if {lit, seen} == {45.0, 0.0}:
                yield FROM_THE_FRONT
            elif lit is not None and seen is not None and max(abs(lit), abs(seen)) <= MOST_DEGREES:
                yield f"{round(lit)}/{round(seen)}"
        elif child.tag == "BRDFAngle":
            aspecular = number(_words(next(child.iter("Aspecular"), None)) or "")
            if aspecular is not None and abs(aspecular) <= MOST_DEGREES:
                yield f"{round(aspecular)}°"


_LIT_AND_SEEN = ("IlluminationAngle", "MeasurementAngle")


def _words(element: Element | None) -> str | None:
    return None if element is None else (element.text or "").strip() or None


def _attribute(element: Element, name: str) -> float | None:
    value = number(element.get(name, ""))
    return value if value is not None and 0 < value < 1e5 else None


def _white_of_spectra(root: Element) -> float:
    """Return what a perfect white is in a file's spectra: 1, as the schema has it, unless the figures can't be that."""
    texts = [element.text or "" for tag in _SPECTRA for element in _all(root, tag)]
    texts += [element.text or "" for element in _all(root, "SpectralPoint")]
    most = max((number(word) or 0.0 for text in texts for word in text.split()), default=0.0)
    return 100.0 if most > MOST_FACTOR else 1.0


def _numbers(name: str, text: str | None) -> Floats:
    words = (text or "").split()
    values = [number(word) for word in words]
    if not words or len(words) > MAX_BANDS or any(value is None for value in values):
        raise InstrumentFileError(f"Export it again: a colour value of {name!r} is missing or is not a number.")
    return np.array(values, dtype=float)
