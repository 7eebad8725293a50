"""How far a reading can be trusted, what makes up its uncertainty, and what would help most.

After the reading; the page and the command line show what this says. All sizes are 95 % reaches in ΔE00: the truth
lies that near in 95 of 100 cases.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from matcher.calibration.calibration import TOO_DARK_CODE
from matcher.calibration.camera_priors import FINISHED_SHARE
from matcher.colour.difference import reach_delta_e00
from matcher.colour.metric import delta_e_metric
from matcher.colour.sources import Source
from matcher.colour.uncertainty import sum_of
from matcher.reading.reading import INSTRUMENT_SIGMA, Conditions, Reading

LEAST_GAIN = 0.05  # of the whole reach: what helps less is not worth the trouble
SMALL_SHARE = 0.12  # of the largest part: smaller ones are told together
CLOSE_MATCH, CHOICE, DIRECTION = 1.0, 2.0, 5.0
"""Reaches up to which a reading judges a close match, chooses a recipe, and shows a direction. A match is taken as
ΔE00 2 (common practice, no source): a reading must be surer than that to judge one."""


def _may_be_daylight(taken: Conditions) -> bool:
    return taken.finished_by_camera and not taken.in_daylight


def _finished_in_daylight(taken: Conditions) -> bool:
    return taken.finished_by_camera and taken.in_daylight


@dataclass(frozen=True)
class CorrectiveAction:
    """Something that a person can do.

    does: in words. sources: what of the budget it shrinks. usual_delta_e00: the reach of those together afterwards;
    share: instead of that, what is left of them. sigma: instead of all that, the standard uncertainty of L*, a* and b*
    that takes their place. beside: a source without which it makes no sense; where: the same for how a photograph was
    taken. kind: of actions of one kind only the best is named.
    """

    does: str
    sources: tuple[Source, ...]
    usual_delta_e00: float | None = None
    share: float = 1.0
    sigma: float | None = None
    beside: Source | None = None
    where: Callable[[Conditions], bool] | None = None
    kind: str = ""


AGAIN = "photograph the chart again under this light"
RAW = "save camera raw instead of a JPEG"

CORRECTIVE_ACTIONS = (
    CorrectiveAction("photograph a 24-patch chart under this light", (Source.CAMERA_AND_LIGHT, Source.TONE_CURVE), 1.8),
    CorrectiveAction(
        f"{AGAIN}, large, even and sharp",
        (
            Source.PROFILE,
            Source.UNLIKE_THE_CHART,
            Source.WHITE_BALANCE,
            Source.LIGHT_HAS_MOVED,
            Source.LIGHT_UNPROVEN,
        ),
        1.8,
        kind="chart again",
    ),
    CorrectiveAction(AGAIN, (Source.LIGHT_HAS_MOVED,), 0.2, kind="chart again"),
    CorrectiveAction("say that it is the light of the camera profile, if it is", (Source.LIGHT_UNPROVEN,), 0.0),
    CorrectiveAction(
        "say that it was daylight, if it was", (Source.CAMERA_AND_LIGHT,), share=FINISHED_SHARE, where=_may_be_daylight
    ),
    CorrectiveAction("use a card with several grey steps", (Source.TONE_CURVE,), 1.5),
    CorrectiveAction(RAW, (Source.TONE_CURVE,), 0.3, where=_may_be_daylight),
    CorrectiveAction(
        RAW, (Source.TONE_CURVE, Source.CAMERA_AND_LIGHT), 1.7, beside=Source.TONE_CURVE, where=_finished_in_daylight
    ),
    CorrectiveAction("measure your card and enter its own CIELAB", (Source.CARD_TOLERANCE,), 0.6),
    CorrectiveAction(
        "photograph a sheet of even paper in the plate's place too", (Source.UNEVEN_LIGHT, Source.LIGHT_CLOSE_BY), 0.35
    ),
    CorrectiveAction("put a grey card beside the finish and take the photo again", (Source.NO_CARD,), 2.4),
    CorrectiveAction("say whether the pale spots are glare or the finish", (Source.PALE_SPOTS,), 0.0),
    CorrectiveAction("turn the plate until no lamp or window is mirrored in it", (Source.WIDE_GLARE,), 0.0),
    CorrectiveAction(
        "hang a dark cloth where the finish mirrors the room, and move the lamp until nothing shines",
        (Source.ROOM_MIRRORED,),
        0.0,
    ),
    CorrectiveAction("mark a region twice as wide and high", (Source.REGION,), share=0.5),
    CorrectiveAction("have the card twice as wide and high in the picture", (Source.CARD_READING,), share=0.5),
    CorrectiveAction(
        "measure the finish with an instrument",
        (Source.MATCH_BY_EYE, Source.CHANGE_OF_LIGHT),
        beside=Source.MATCH_BY_EYE,
        sigma=INSTRUMENT_SIGMA,
    ),
    CorrectiveAction(
        "export the values for D50 and 2 degrees, or the spectrum",
        (Source.CHANGE_OF_LIGHT,),
        0.0,
        beside=Source.INSTRUMENT,
    ),
    CorrectiveAction("export the spectrum", (Source.LIGHT_NOT_STATED,), 0.0),
)
"""Usual values: medians of the benchmark ``bench_what_helps``, over the shops and finishes of ``bench_coverage`` with
profiles as in ``bench_profiles``. Twice the width and height is four times the pixels, and half the uncertainty of a
mean. Daylight's is what ``calibrate`` takes."""

WHY: dict[str, str] = {
    Source.CAMERA_AND_LIGHT: "how the camera sees this light is not known",
    Source.TONE_CURVE: "how the camera bends the tone scale is not known",
    Source.PROFILE: "a profile from a chart is only so accurate",
    Source.UNLIKE_THE_CHART: "the finish is unlike the chart's colours",
    Source.LIGHT_HAS_MOVED: "the light is not quite that of the chart",
    Source.LIGHT_UNPROVEN: "it is not known whether the light is that of the camera profile",
    Source.WHITE_BALANCE: "the camera's white balance is not quite that of the chart",
    Source.CARD_TOLERANCE: "cards of this kind differ",
    Source.CARD_READING: "the card is small or noisy in the picture",
    Source.UNEVEN_LIGHT: "the light may differ between card and finish",
    Source.LIGHT_CLOSE_BY: "the light may differ from place to place",
    Source.STRAY_LIGHT: "stray light lifts the darks",
    Source.BLACK_LEVEL: "the camera's own black is not known",
    Source.REGION: "the marked region is small or uneven",
    Source.PALE_SPOTS: "pale spots may be glare or the finish itself",
    Source.WIDE_GLARE: "a lamp or a window seems to be mirrored faintly all over it",
    Source.ROOM_MIRRORED: "the finish shines, and so mirrors the room evenly too",
    Source.REFERENCES: "the plates beside it are only known so well themselves",
    Source.CAMERA_LOCALLY: "the camera may see this colour a little otherwise than those of the plates beside it",
    Source.LAMP_POSITIONS: "the lamp positions lit it differently",
    Source.NO_CARD: "there is no card to show the light and the exposure",
    Source.DOUBTFUL_CARD: "what is marked as the card may not be one",
    Source.INSTRUMENT: "an instrument is only so accurate",
    Source.MATCH_BY_EYE: "matching chips by eye is only so accurate",
    Source.CHANGE_OF_LIGHT: "it was measured for another light or observer",
    Source.LIGHT_NOT_STATED: "its light or observer is not stated",
}
"""Each source in plain words, as a clause."""


@dataclass(frozen=True)
class Contribution:
    """What one source contributes to a reading's uncertainty.

    delta_e00: its share of the reach. remedy: what would shrink it.

    The squares of all add up to the square of the whole reach, as variances do (JCGM 100, 5.1.2).
    """

    name: str
    delta_e00: float
    remedy: str

    @property
    def why(self) -> str:
        """The source in plain words, as a clause: "how the camera sees this light is not known"."""
        return WHY.get(self.name, self.name)

    def as_dict(self) -> dict[str, Any]:
        return {"name": self.name, "delta_e00": self.delta_e00, "remedy": self.remedy}


@dataclass(frozen=True)
class Improvement:
    """What the reach of a reading would become by one corrective action. parts: the sources that it shrinks."""

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


def budget_table(reading: Reading) -> tuple[Contribution, ...]:
    """Return the parts of a reading's uncertainty, the largest first; empty when the reading states none.

    Each has the share of the whole reach that its covariance has of all, in squares, as CIEDE2000 weighs directions
    at this colour. Each source is told once, however many causes it has (a picture of known finishes has one for each):
    their squares add up, and what the largest of them asks for is said.
    """
    if not reading.budget:
        return ()
    metric = delta_e_metric(reading.lab)
    squares = np.array([float(np.trace(metric @ term.covariance)) for term in reading.budget])
    whole = float(reach_delta_e00(reading.lab, sum_of(reading.budget)))
    reaches = whole * np.sqrt(squares / max(float(squares.sum()), 1e-12))
    of_source: dict[str, list[tuple[float, str]]] = {}
    for term, reach in zip(reading.budget, reaches, strict=True):
        of_source.setdefault(term.name, []).append((float(reach), term.remedy))
    parts = [
        Contribution(name, float(np.sqrt(sum(reach**2 for reach, _ in causes))), max(causes, key=lambda one: one[0])[1])
        for name, causes in of_source.items()
    ]
    return tuple(sorted(parts, key=lambda part: -part.delta_e00))


def budget_in_short(reading: Reading) -> tuple[Contribution, ...]:
    """Return ``budget_table`` for a person to read: parts that are small beside the largest are one, which comes last.

    Its square is the sum of theirs.
    """
    parts = budget_table(reading)
    small = {part.name for part in parts if part.delta_e00 < SMALL_SHARE * parts[0].delta_e00}
    if len(small) < 2:
        return parts
    together = float(np.sqrt(sum(part.delta_e00**2 for part in parts if part.name in small)))
    rest = Contribution(f"{len(small)} small parts together", together, "")
    return (*(part for part in parts if part.name not in small), rest)


def what_would_help(reading: Reading, most: int = 3) -> tuple[Improvement, ...]:
    """Return what would shrink a reading's uncertainty most, the best first; empty when nothing usual would.

    From the parts' covariances: those that an action touches are scaled to its usual reach, in their own directions,
    and never up; the rest stays as it is.
    """
    now = reach_of(reading)
    possible = [(action, _improved(reading, action, now)) for action in CORRECTIVE_ACTIONS]
    found = [(action, item) for action, item in possible if item is not None]
    worthwhile = [(action, item) for action, item in found if item.then_delta_e00 <= (1 - LEAST_GAIN) * now]
    best: list[Improvement] = []
    kinds: set[str] = set()
    for action, item in sorted(worthwhile, key=lambda pair: pair[1].then_delta_e00):
        if action.kind not in kinds:
            best.append(item)
        kinds |= {action.kind} - {""}
    return tuple(best[:most])


def _improved(reading: Reading, action: CorrectiveAction, now: float) -> Improvement | None:
    touched = [term for term in reading.budget if term.name in action.sources]
    if not touched or action.beside not in {None, *(term.name for term in reading.budget)}:
        return None
    if action.where is not None and not (reading.conditions is not None and action.where(reading.conditions)):
        return None
    covariance = np.sum([term.covariance for term in touched], axis=0)
    share = action.share
    if action.usual_delta_e00 is not None:
        reach = float(reach_delta_e00(reading.lab, covariance))
        share = min(1.0, action.usual_delta_e00 / max(reach, 1e-9))
    rest = reading.covariance - (1 - share**2) * covariance
    if action.sigma is not None:
        rest = reading.covariance - covariance + action.sigma**2 * np.eye(3)
    then = float(reach_delta_e00(reading.lab, rest))
    return Improvement(action.does, tuple(term.name for term in touched), now, min(now, then))


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
