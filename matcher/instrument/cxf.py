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
from matcher.instrument.columns import PERCENT_ABOVE
from matcher.instrument.measured import Measured, Sample, best_sample
from matcher.typed import number

MAX_DEPTH = 64
MAX_BANDS = 4_000
_TRIPLES = {"ColorCIELab": ("lab", "LAB"), "ColorCIEXYZ": ("xyz", "XYZ"), "ColorCIELCh": ("lch", "LCH")}


@dataclass(frozen=True)
class _Specification:
    """One ColorSpecification: how its values were measured and worked out. start_nm, step_nm: of spectra."""

    illuminant: str | None = None
    observer: str | None = None
    start_nm: float | None = None
    step_nm: float | None = None
    with_gloss: bool = False


def samples_of(data: bytes, most: int) -> tuple[Sample, ...]:
    """Return the samples of all objects that hold colour. Raises InstrumentFileError."""
    root = parsed(data)
    specifications = {element.get("Id", ""): _specification(element) for element in _all(root, "ColorSpecification")}
    objects = [item for item in _all(root, "Object") if any(True for _ in _colours(item))]
    if not objects:
        raise InstrumentFileError("Export it as CxF3 with CIELAB, XYZ or reflectance: no object in it has any.")
    if len(objects) > most:
        raise InstrumentFileError(f"Export fewer samples: up to {most} can be read.")
    percent = _spectra_are_percent(root)
    samples = []
    for place, item in enumerate(objects, start=1):
        name = (item.get("Name") or item.get("Id") or f"sample {place}").strip()[:80]
        samples.append(
            best_sample(name, [_measured(name, colour, specifications, percent) for colour in _colours(item)])
        )
    return tuple(samples)


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
        yield from (colour for colour in values if colour.tag in _TRIPLES or colour.tag == "ReflectanceSpectrum")


def _measured(name: str, colour: Element, specifications: dict[str, _Specification], percent: bool) -> Measured:
    stated = specifications.get(colour.get("ColorSpecification", ""), _Specification())
    if colour.tag == "ReflectanceSpectrum":
        values = _numbers(name, colour.text)
        start = _attribute(colour, "StartWL") or stated.start_nm
        step = _attribute(colour, "Increment") or stated.step_nm
        if start is None or step is None:
            raise InstrumentFileError(f"Export it with its wavelength range: the spectrum of {name!r} has none.")
        wavelengths = np.asarray(start + step * np.arange(len(values)), dtype=np.float64)
        return Measured("spectrum", values / (100 if percent else 1), wavelengths, with_gloss=stated.with_gloss)
    kind, letters = _TRIPLES[colour.tag]
    parts = {child.tag.upper(): child.text for child in colour}
    values = np.array([_numbers(name, parts.get(letter))[0] for letter in letters])
    if kind == "lch":
        hue = np.radians(values[2])
        kind, values = "lab", np.array([values[0], values[1] * np.cos(hue), values[1] * np.sin(hue)])
    return Measured(kind, values, None, stated.illuminant, stated.observer, with_gloss=stated.with_gloss)


def _specification(element: Element) -> _Specification:
    ranges = next(element.iter("WavelengthRange"), None)
    illuminant, observer = (next(element.iter(name), None) for name in ("Illuminant", "Observer"))
    return _Specification(
        illuminant=_words(illuminant),
        observer=_words(observer),
        start_nm=None if ranges is None else _attribute(ranges, "StartWL"),
        step_nm=None if ranges is None else _attribute(ranges, "Increment"),
        with_gloss=any(_says_gloss(child) for child in element.iter()),
    )


def _says_gloss(element: Element) -> bool:
    """Tell whether an element says that the mirror reflection was taken in (names from memory)."""
    return "specular" in element.tag.lower() and (_words(element) or "").lower() in ("included", "true", "1", "yes")


def _words(element: Element | None) -> str | None:
    return None if element is None else (element.text or "").strip() or None


def _attribute(element: Element, name: str) -> float | None:
    value = number(element.get(name, ""))
    return value if value is not None and 0 < value < 1e5 else None


def _spectra_are_percent(root: Element) -> bool:
    texts = [element.text or "" for element in _all(root, "ReflectanceSpectrum")]
    return max((number(word) or 0.0 for text in texts for word in text.split()), default=0.0) > PERCENT_ABOVE


def _numbers(name: str, text: str | None) -> Floats:
    words = (text or "").split()
    values = [number(word) for word in words]
    if not words or len(words) > MAX_BANDS or any(value is None for value in values):
        raise InstrumentFileError(f"Export it again: a colour value of {name!r} is missing or is not a number.")
    return np.array(values, dtype=float)
