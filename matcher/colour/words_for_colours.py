"""A colour in plain words ("dark greyish brown", "light bluish green"), from its lightness, chroma and hue.

Made after the manner of the ISCC-NBS method (Kelly and Judd, Color: Universal Language and Dictionary of Names, NBS
Special Publication 440, 1976): a hue name, made exact by words for lightness and chroma. The boundaries are our own, in
CIELAB under D50 and fewer than theirs, drawn closer where bronze lies; the tests hold them against centroids of theirs.
"""

from __future__ import annotations

from typing import NamedTuple

from numpy.typing import ArrayLike

from matcher.colour.cielab import lab_to_lch

NEUTRAL_CHROMA, NEUTRAL_BLACK_CHROMA = 3.5, 2.5
NEARLY_NEUTRAL_CHROMA = 8.0
GREYISH_CHROMA = 14.0
BLACK_LIGHTNESS = 22.0
_VERY_DARK = 14.0

_GREYS = (
    (BLACK_LIGHTNESS, "", "black"), (44.0, "dark", "grey"), (62.0, "", "grey"), (85.0, "light", "grey"),
    (999.0, "", "white"),
)  # fmt: skip
"""Up to which lightness, its word, and the colour's."""
_TINGES = (
    (18.0, "reddish"),
    (78.0, "brownish"),
    (112.0, "olive"),
    (190.0, "greenish"),
    (290.0, "bluish"),
    (345.0, "purplish"),
    (360.0, "reddish"),
)


class _Hue(NamedTuple):
    """A name up to a hue angle in degrees; the family that it belongs to; below what L* it is dark, above, light;
    from what chroma it is strong."""

    up_to: float
    name: str
    family: str
    dark: float = 34.0
    light: float = 58.0
    strong: float = 50.0


_BROWN = (28.0, 50.0, 40.0)
_DEEP_HUES = (
    _Hue(20.0, "red", "red"),
    _Hue(48.0, "reddish brown", "brown", *_BROWN),
    _Hue(60.0, "warm brown", "brown", *_BROWN),
    _Hue(65.0, "brown", "brown", *_BROWN),
    _Hue(78.0, "yellowish brown", "brown", 28.0, 50.0),
    _Hue(92.0, "olive brown", "brown", 28.0, 48.0, 55.0),
    _Hue(112.0, "olive", "olive", 30.0, 48.0),
    _Hue(135.0, "olive green", "green", 30.0, 48.0),
    _Hue(180.0, "green", "green"),
    _Hue(212.0, "bluish green", "blue green"),
    _Hue(240.0, "greenish blue", "blue"),
    _Hue(290.0, "blue", "blue"),
    _Hue(315.0, "violet", "purple"),
    _Hue(345.0, "purple", "purple"),
    _Hue(360.0, "red", "red"),
)
_LIGHT_HUES = (
    _Hue(45.0, "pink", "pink", light=78.0),
    _Hue(72.0, "orange", "orange", light=72.0),
    _Hue(105.0, "yellow", "yellow", light=80.0),
    _Hue(130.0, "yellow green", "green", light=72.0),
    *_DEEP_HUES[8:13],
    _Hue(360.0, "pink", "pink", light=78.0),
)
_BROWN_ENDS_AT = 60.0
"""Lightness from which what is brown when darker is pink, orange or yellow; for duller colours later."""
_DULL_BROWN_ENDS_AT, _DULL_BROWN_CHROMA = 70.0, 35.0
_RED_CHROMA, _RED_ENDS_AT_HUE, _PURPLE_ENDS_AT_HUE = 30.0, 38.0, 345.0
_PALE_LIGHTNESS = 78.0

_WARM, _COOL = ("red", "pink", "orange", "brown", "yellow", "olive"), ("green", "blue green", "blue", "purple")
FAMILIES = ("black", "grey", "white", *_WARM, *_COOL)
"""The families of colour, in the order in which they are laid out: without hue first, then round the hues."""

SHADES = (
    *FAMILIES[:3],
    *dict.fromkeys(one.name for family in FAMILIES for one in (*_DEEP_HUES, *_LIGHT_HUES) if one.family == family),
)
"""The families' parts, as an order too: what is left of a colour's words without those for lightness and chroma."""

_PLACES = {shade: place for place, shade in enumerate(SHADES)}

COLOUR_WORDS = frozenset(
    word
    for said in (*FAMILIES, *SHADES, *(name for _, name in _TINGES), "dark light pale greyish strong")
    for word in said.split()
)
"""Every word that a colour is ever called by."""


def colour_in_words(lab: ArrayLike) -> str:
    """Return one CIELAB colour (3,) in plain words.

    Examples
    --------
    >>> colour_in_words([38, 14, 22]), colour_in_words([12, 0, 1]), colour_in_words([62, -24, 6])
    ('warm brown', 'black', 'light green')
    """
    lightness, chroma, hue = (float(value) for value in lab_to_lch(lab))
    if chroma < (NEUTRAL_BLACK_CHROMA if lightness < BLACK_LIGHTNESS else NEUTRAL_CHROMA):
        return " ".join(filter(None, _grey(lightness)))
    if _is_nearly_neutral(lightness, chroma):
        word, name = _grey(lightness)
        return " ".join(filter(None, (word, _tinge(hue), name)))
    found = _hue(lightness, chroma, hue)
    words = [_lightness_word(found, lightness), _chroma_word(found, chroma, lightness), found.name]
    return " ".join(word for word in words if word)


def colour_family(lab: ArrayLike) -> str:
    """Return which of FAMILIES one CIELAB colour (3,) belongs to; nearly neutral colours are black, grey or white."""
    lightness, chroma, hue = (float(value) for value in lab_to_lch(lab))
    if _is_nearly_neutral(lightness, chroma):
        return _grey(lightness)[1]
    return _hue(lightness, chroma, hue).family


def colour_shade(lab: ArrayLike) -> str:
    """Return which of SHADES one CIELAB colour (3,) is: "warm brown", "olive green", "black"."""
    lightness, chroma, hue = (float(value) for value in lab_to_lch(lab))
    if _is_nearly_neutral(lightness, chroma):
        return _grey(lightness)[1]
    return _hue(lightness, chroma, hue).name


def shade_place(lab: ArrayLike) -> int:
    """Return the place in SHADES of the one that a CIELAB colour (3,) is."""
    return _PLACES[colour_shade(lab)]


def _is_nearly_neutral(lightness: float, chroma: float) -> bool:
    """Tell whether no hue names a colour, though one may tinge it; what is very dark shows its hue least."""
    return chroma < (GREYISH_CHROMA if lightness < _VERY_DARK else NEARLY_NEUTRAL_CHROMA)


def _grey(lightness: float) -> tuple[str, str]:
    """Return the word for a grey's lightness, "" where it needs none, and the grey's own."""
    return next((word, name) for up_to, word, name in _GREYS if lightness < up_to)


def _tinge(hue: float) -> str:
    """Return the hue that a grey leans to: "brownish"."""
    return next(name for up_to, name in _TINGES if hue <= up_to)


def _hue(lightness: float, chroma: float, hue: float) -> _Hue:
    red = 20.0 <= hue < _RED_ENDS_AT_HUE and chroma > _RED_CHROMA
    browns_end = (
        _DULL_BROWN_ENDS_AT if chroma < _DULL_BROWN_CHROMA and 45.0 < hue <= _PURPLE_ENDS_AT_HUE else _BROWN_ENDS_AT
    )
    hues = _DEEP_HUES if lightness < browns_end else _LIGHT_HUES
    if red and hues is _DEEP_HUES:
        return _DEEP_HUES[0]
    return next(one for one in hues if hue <= one.up_to)


def _lightness_word(hue: _Hue, lightness: float) -> str:
    if lightness < hue.dark:
        return "dark"
    if lightness > max(_PALE_LIGHTNESS, hue.light):
        return "pale"
    return "light" if lightness > hue.light else ""


def _chroma_word(hue: _Hue, chroma: float, lightness: float) -> str:
    if chroma < GREYISH_CHROMA and lightness <= _PALE_LIGHTNESS:
        return "greyish"
    return "strong" if chroma > hue.strong else ""
