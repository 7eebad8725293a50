"""How far a reading can be trusted, what makes up its uncertainty, and what would help most.

After the reading; the page and the command line show what this says. All sizes are 95 % reaches in ΔE00: the truth
lies that near in 95 of 100 cases.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from matcher.calibration.calibration import TOO_DARK_CODE
from matcher.calibration.camera_priors import FINISHED_SHARE
from matcher.colour.difference import reach_delta_e00
from matcher.colour.metric import delta_e_metric
from matcher.colour.uncertainty import sum_of
from matcher.reading.reading import INSTRUMENT_SIGMA, Reading

LEAST_GAIN = 0.05  # of the whole reach: what helps less is not worth the trouble
SMALL_SHARE = 0.12  # of the largest part: smaller ones are told together
CLOSE_MATCH, CHOICE, DIRECTION = 1.0, 2.0, 5.0
"""Reaches up to which a reading judges a close match, chooses a recipe, and shows a direction. A match is taken as
ΔE00 2 (common practice, no source): a reading must be surer than that to judge one."""


@dataclass(frozen=True)
class Remedy:
    """Something that a person can do. parts: what of the budget it shrinks; usual_delta_e00: the reach of those
    parts together afterwards; share: instead of that, what is left of them; beside: a part without which it makes
    no sense; sigma: instead of all that, the standard uncertainty of L*, a* and b* that takes those parts' place."""

    does: str
    parts: tuple[str, ...]
    usual_delta_e00: float | None = None
    share: float = 1.0
    beside: str | None = None
    sigma: float | None = None
    of_known_daylight: bool | None = None


AGAIN = "photograph the chart again under this light"
DAYLIGHT = "say that it was daylight, if it was"
RAW = "save camera raw instead of a JPEG"
RAW_TONE_DELTA_E00 = 0.6
"""A tone curve that is known better than this is that of values which no camera has finished."""

REMEDIES = (
    Remedy("photograph a 24-patch chart under this light", ("camera and light", "tone curve"), 1.8),
    Remedy(
        f"{AGAIN}, large, even and sharp",
        ("profile", "colours unlike the chart's", "white balance", "light has moved"),
        1.8,
    ),
    Remedy(AGAIN, ("light has moved",), 0.2),
    Remedy(DAYLIGHT, ("camera and light",), share=FINISHED_SHARE),
    Remedy("use a card with several grey steps", ("tone curve",), 1.5),
    Remedy(RAW, ("tone curve",), 0.3, of_known_daylight=False),
    Remedy(RAW, ("tone curve", "camera and light"), 1.7, beside="tone curve", of_known_daylight=True),
    Remedy("measure your card and enter its own CIELAB", ("card tolerance",), 0.6),
    Remedy("photograph a sheet of even paper in the plate's place too", ("uneven light", "light close by"), 0.35),
    Remedy("put a grey card beside the finish and take the photo again", ("no card",), 2.4),
    Remedy("mark a region twice as wide and high", ("region",), share=0.5),
    Remedy("let the card look twice as wide and high", ("card reading",), share=0.5),
    Remedy(
        "measure the finish with an instrument",
        ("match by eye", "change of light"),
        beside="match by eye",
        sigma=INSTRUMENT_SIGMA,
    ),
    Remedy("export the values under D50, or the spectrum", ("change of light",), 0.0, beside="instrument"),
)
"""Usual values: medians of the benchmark ``bench_what_helps``, over the shops and finishes of ``bench_coverage`` with
profiles as in ``bench_profiles``. Twice the width and height is four times the pixels, and half the uncertainty of a
mean. Daylight's is what ``calibrate`` takes."""

WHY = {
    "camera and light": "how the camera sees this light is not known",
    "tone curve": "how the camera bends the tone scale is not known",
    "profile": "the chart tells the camera only so well",
    "colours unlike the chart's": "the finish is unlike the chart's colours",
    "light has moved": "the light is not quite that of the chart",
    "white balance": "the camera's white balance is not quite that of the chart",
    "card tolerance": "cards of this kind differ",
    "card reading": "the card is small or noisy in the picture",
    "uneven light": "the light may differ between card and finish",
    "light close by": "the light may differ from place to place",
    "stray light": "stray light lifts the darks",
    "black level": "the camera's own black is not known",
    "region": "the marked region is small or uneven",
    "lamp positions": "the lamp's places lit it unlike",
    "no card": "no card tells the light and the exposure",
    "doubtful card": "what is marked as the card may be none",
    "instrument": "an instrument measures only so well",
    "match by eye": "the eye matches chips only so well",
    "change of light": "it was measured for another light",
}


@dataclass(frozen=True)
class Part:
    """One part of a reading's uncertainty: delta_e00, its share of the reach, and what would shrink it.

    The squares of the parts add up to the square of the whole reach, as variances do (JCGM 100, 5.1.2).
    """

    name: str
    delta_e00: float
    remedy: str

    @property
    def why(self) -> str:
        """The cause in plain words, as a clause: "how the camera sees this light is not known"."""
        return WHY.get(self.name, self.name)

    def as_dict(self) -> dict[str, Any]:
        return {"name": self.name, "delta_e00": self.delta_e00, "remedy": self.remedy}


@dataclass(frozen=True)
class Help:
    """What the reach of a reading would become by one remedy. parts: what of the budget it shrinks."""

    does: str
    parts: tuple[str, ...]
    now_delta_e00: float
    then_delta_e00: float

    @property
    def words(self) -> str:
        """ "photograph a 24-patch chart under this light: ±3.4 becomes ±2.7"."""
        return f"{self.does}: ±{self.now_delta_e00:.1f} becomes ±{self.then_delta_e00:.1f}"

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "does": self.does,
            "parts": list(self.parts),
            "now_delta_e00": self.now_delta_e00,
            "then_delta_e00": self.then_delta_e00,
            "words": self.words,
        }


def reach_of(reading: Reading) -> float:
    """Return the ΔE00 within which the true colour of a reading lies in 95 % of cases."""
    return float(reach_delta_e00(reading.lab, reading.covariance))


def budget_table(reading: Reading) -> tuple[Part, ...]:
    """Return the parts of a reading's uncertainty, the largest first; empty when the reading states none.

    Each has the share of the whole reach that its covariance has of all, in squares, as CIEDE2000 weighs directions
    at this colour.
    """
    if not reading.budget:
        return ()
    metric = delta_e_metric(reading.lab)
    squares = np.array([float(np.trace(metric @ term.covariance)) for term in reading.budget])
    whole = float(reach_delta_e00(reading.lab, sum_of(reading.budget)))
    reaches = whole * np.sqrt(squares / max(float(squares.sum()), 1e-12))
    parts = [Part(term.name, float(reach), term.remedy) for term, reach in zip(reading.budget, reaches, strict=True)]
    return tuple(sorted(parts, key=lambda part: -part.delta_e00))


def budget_in_short(reading: Reading) -> tuple[Part, ...]:
    """Return ``budget_table`` for a person to read: parts that are small beside the largest are one, which comes last.

    Its square is the sum of theirs.
    """
    parts = budget_table(reading)
    small = {part.name for part in parts if part.delta_e00 < SMALL_SHARE * parts[0].delta_e00}
    if len(small) < 2:
        return parts
    together = float(np.sqrt(sum(part.delta_e00**2 for part in parts if part.name in small)))
    rest = Part(f"{len(small)} small parts together", together, "")
    return (*(part for part in parts if part.name not in small), rest)


def what_would_help(reading: Reading, most: int = 3) -> tuple[Help, ...]:
    """Return what would shrink a reading's uncertainty most, the best first; empty when nothing usual would.

    From the parts' covariances: those that a remedy touches are scaled to its usual reach, in their own directions,
    and never up; the rest stays as it is.
    """
    now = reach_of(reading)
    found = [help_ for remedy in REMEDIES if (help_ := _helped(reading, remedy, now)) is not None]
    worthwhile = [item for item in found if item.then_delta_e00 <= (1 - LEAST_GAIN) * now]
    ranked = sorted(worthwhile, key=lambda item: item.then_delta_e00)
    again = [item for item in ranked if item.does.startswith(AGAIN)]
    return tuple([item for item in ranked if item not in again[1:]][:most])


def _helped(reading: Reading, remedy: Remedy, now: float) -> Help | None:
    touched = [term for term in reading.budget if term.name in remedy.parts]
    if not touched or remedy.beside not in {None, *(term.name for term in reading.budget)}:
        return None
    if remedy.does == DAYLIGHT and not _may_be_daylight(reading):
        return None
    if remedy.does == RAW and (_known_daylight(reading) != remedy.of_known_daylight or not _finished(reading)):
        return None
    covariance = np.sum([term.covariance for term in touched], axis=0)
    share = remedy.share
    if remedy.usual_delta_e00 is not None:
        reach = float(reach_delta_e00(reading.lab, covariance))
        share = min(1.0, remedy.usual_delta_e00 / max(reach, 1e-9))
    rest = reading.covariance - (1 - share**2) * covariance
    if remedy.sigma is not None:
        rest = reading.covariance - covariance + remedy.sigma**2 * np.eye(3)
    then = float(reach_delta_e00(reading.lab, rest))
    return Help(remedy.does, tuple(term.name for term in touched), now, min(now, then))


def _may_be_daylight(reading: Reading) -> bool:
    """Tell whether a camera's finished picture was read without knowing its light, by what its parts share."""
    camera, _, encoding = _shared(reading, "tone curve").rpartition(", ")
    return bool(camera) and encoding not in ("linear", "camera raw") and not _known_daylight(reading)


def _known_daylight(reading: Reading) -> bool:
    return _shared(reading, "camera and light").endswith(", daylight")


def _shared(reading: Reading, name: str) -> str:
    return next((term.shared or "" for term in reading.budget if term.name == name), "")


def _finished(reading: Reading) -> bool:
    """Tell whether a camera finished the picture: no raw file leaves so much of its tone curve unknown."""
    tones = [term.covariance for term in reading.budget if term.name == "tone curve"]
    return bool(tones) and float(reach_delta_e00(reading.lab, np.sum(tones, axis=0))) > RAW_TONE_DELTA_E00


def trust_sentence(reading: Reading) -> str:
    """Say in one plain sentence how far a reading can be trusted, why no further, and what it is good for."""
    reach, parts = reach_of(reading), budget_table(reading)
    if TOO_DARK_CODE in {caveat.code for caveat in reading.caveats}:
        return "The marked region is too dark to read: its colour is a guess, and no more."
    why = f", mostly because {WHY.get(parts[0].name, f'of its {parts[0].name}')}" if parts else ""
    return f"The true colour is within ΔE00 {reach:.1f} of this reading in 95 of 100 cases{why}: {_good_for(reach)}."


def _good_for(reach: float) -> str:
    if reach <= CLOSE_MATCH:
        return "near enough to judge a close match"
    if reach <= CHOICE:
        return "near enough to choose a recipe, but judge a close match side by side in one photograph"
    if reach <= DIRECTION:
        return "near enough to see which way to go, but not to judge a match"
    return "a rough guide, and no more"
