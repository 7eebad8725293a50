"""Which logged plates are most worth laying beside a finish, or on a board as the studio's own chart.

By expected uncertainty, before anything is photographed: what a camera, light and card usually leave unknown, and the
discrepancy beside it, are a joint Gaussian over all colours, and each plate that would be seen conditions it (Rasmussen
and Williams 2006, equation A.6). Plates are chosen one by one, each for what it gains after those before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from matcher.calibration.calibration import TOO_DARK_CODE
from matcher.calibration.references.discrepancy import LIGHT_SPREAD, SURFACES_OWN, USUAL, USUAL_SIZE, Discrepancy
from matcher.calibration.references.reference import known_as_unsurely
from matcher.colour.cielab import lab_to_xyz
from matcher.colour.difference import delta_e_2000, reach_delta_e00
from matcher.colour.metric import delta_e_metric
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm, sum_of
from matcher.reading.advice import CHOICE, reach_of
from matcher.reading.comparison import joint_covariance
from matcher.reading.reading import Reading
from matcher.words import listed

if TYPE_CHECKING:
    from matcher.calibration.calibration import Calibration

NEAREST = 40  # plates that are thought of beside one finish
MOST_BESIDE = 3
LEAST_SHARE_OF_LAST = 0.06  # of the reach: another plate must gain so much more
WORTH = 0.85  # times the reach now: what laying plates there must at least come to
SEEN_SD = 0.25  # CIELAB: of a plate's mean as a photograph shows it
STAYS = (Source.REGION, Source.PALE_SPOTS, Source.WIDE_GLARE, Source.ROOM_MIRRORED, Source.LAMP_POSITIONS)
"""Of the finish itself: what plates beside it tell nothing of."""
CANDIDATES, COLOURS = 120, 60
"""Plates of a long log that are thought of for a board, and colours that the board is judged over; both spread."""
TELLS_NOTHING = 1e6
"""Variance that a plate gets which a camera as unknown as this one read for the log: it errs alike in both."""
FEWEST_ON_BOARD, ON_BOARD, MOST_ON_BOARD = 8, 10, 12
TOLD = (1, 2, 4, 8)
"""With how many plates of a board it is told how surely colours are read, and with all of them."""
_PLACE = np.array([50.0, 50.0])  # pixels: where the plates are thought of, all side by side
_IN_WORDS = {1: "one", 2: "two", 4: "four", 8: "eight"}


@dataclass(frozen=True)
class LaidBeside:
    """Plates worth laying beside a finish. numbers: theirs, the one that gains most first; tagged: whether all carry a
    tag; now_delta_e00, then_delta_e00: the reach of the reading (95 %) as it is, and as it is expected to be."""

    numbers: tuple[int, ...]
    tagged: bool
    now_delta_e00: float
    then_delta_e00: float

    @property
    def words(self) -> str:
        """ "lay plates 88, 24 and 9 beside it and photograph them together: ±11.0 becomes about ±5.0"."""
        return self.beside("it")

    def beside(self, what: str) -> str:
        """Return the same words, for what has another name than "it"."""
        one = len(self.numbers) == 1
        names = f"plate{'' if one else 's'} {listed([str(number) for number in self.numbers])}"
        first = "lay" if self.tagged else f"tag {names}, lay"
        laid = names if self.tagged else "that one" if one else "them"
        gain = f"±{self.now_delta_e00:.1f} becomes about ±{self.then_delta_e00:.1f}"
        return f"{first} {laid} beside {what} and photograph them together: {gain}"

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {**vars(self), "numbers": list(self.numbers), "words": self.words}


@dataclass(frozen=True)
class Board:
    """The plates of a log that make the best chart of the studio's own.

    numbers: theirs, the most useful first. reaches: (k + 1,) the mean reach in ΔE00 (95 %) of a reading of the studio's
    colours by a phone and a grey card, with none, one, two ... of them in the picture. left_out: of a board that was
    kept, the plates that were set aside since, which can't serve. changed: those on it that have changed since they
    were logged: they serve with the colour that they have by now.
    """

    numbers: tuple[int, ...]
    reaches: tuple[float, ...]
    left_out: tuple[int, ...] = ()
    changed: tuple[int, ...] = ()

    @property
    def words(self) -> str:
        """ "Expected ...: by a phone and a grey card alone ±15.8 (ΔE00); with so many of these plates beside it: one
        ±11.4, two ±10.0, four ±7.8 and all 8 ±6.2"; "" for a board of none."""
        if not self.numbers:
            return ""
        some = [k for k in TOLD if k < len(self.numbers)]
        with_some = [f"{_IN_WORDS[k]} ±{self.reaches[k]:.1f}" for k in some]
        every = "the one" if len(self.numbers) == 1 else f"all {len(self.numbers)}"
        told = [*with_some, f"{every} ±{self.reaches[-1]:.1f}"]
        return (
            "Expected, in 95 of 100 cases and on the mean over the studio's colours: by a phone and a grey card alone "
            f"±{self.reaches[0]:.1f} (ΔE00); with so many of these plates beside it: {listed(told)}"
        )

    @property
    def changed_words(self) -> str:
        """ "Changed since: plate 65. It serves with the colour ..."; "" where none has."""
        if not self.changed:
            return ""
        one = len(self.changed) == 1
        names = f"plate{'' if one else 's'} {listed([str(number) for number in self.changed])}"
        how = (
            "It serves with the colour that it was last seen with, and"
            if one
            else "They serve with the colours that they were last seen with, and"
        )
        return f"Changed since: {names}. {how} may go on changing: a board wants plates that stay."

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "plates": list(self.numbers),
            "mean_reach_delta_e00": list(self.reaches),
            "set_aside": list(self.left_out),
            "changed": list(self.changed),
            "words": self.words,
        }


def worth_laying(
    reading: Reading, plates: Sequence[tuple[int, Reading]], tagged: frozenset[int] = frozenset()
) -> LaidBeside | None:
    """Return the plates most worth laying beside the finish of a reading.

    None where they would gain too little, where the reading is near enough to choose a recipe by already, and where it
    is of no photograph or too dark to read at all.

    Parameters
    ----------
    reading : Reading
        Of a photograph.
    plates : sequence of (int, Reading)
        Numbers and colours of the plates that could be laid there, without those that it was read by already. Those
        that were read by a camera as unknown as this one are not thought of: they would tell nothing.
    tagged : frozenset of int
        Those that carry a tag: where they gain enough, only they are thought of.
    """
    if (
        reading.photo is None
        or reach_of(reading) <= CHOICE
        or any(item.code == TOO_DARK_CODE for item in reading.caveats)
    ):
        return None
    able = [one for one in plates if not known_as_unsurely(one[1], reading)]
    own = [one for one in able if one[0] in tagged]
    return _worth(reading, own, tagged) or (None if len(own) == len(able) else _worth(reading, able, tagged))


def _worth(reading: Reading, able: Sequence[tuple[int, Reading]], tagged: frozenset[int]) -> LaidBeside | None:
    """Return which of these plates are worth laying there, None where they would gain too little."""
    if not able:
        return None
    away = delta_e_2000(np.array([known.lab for _, known in able]), reading.lab)
    near = [able[row] for row in np.argsort(away)[:NEAREST]]
    light = "daylight" if reading.conditions is not None and reading.conditions.light == "daylight" else "unknown"
    chosen, covariances = _chosen(reading.lab[None], [known for _, known in near], MOST_BESIDE, light)
    now, stays = reach_of(reading), sum_of([term for term in reading.budget if term.name in STAYS])
    reaches = [now, *(float(reach_delta_e00(reading.lab, left[0] + stays)) for left in covariances[1:])]
    count = next(
        (k for k in range(1, len(chosen)) if reaches[k + 1] > (1 - LEAST_SHARE_OF_LAST) * reaches[k]), len(chosen)
    )
    if reaches[count] > WORTH * now:
        return None
    numbers = tuple(near[row][0] for row in chosen[:count])
    return LaidBeside(numbers, set(numbers) <= tagged, now, reaches[count])


def board_of(plates: Sequence[tuple[int, Reading]], count: int = ON_BOARD) -> Board:
    """Return the plates that make the best chart for the colours that a studio makes, by expected uncertainty."""
    if not plates:
        return Board((), ())
    labs = np.array([known.lab for _, known in plates])
    rows = spread_out(labs, CANDIDATES)
    colours = labs[spread_out(labs, COLOURS)]
    chosen, covariances = _chosen(colours, [plates[row][1] for row in rows], min(count, len(rows)), "unknown")
    return Board(tuple(plates[rows[row]][0] for row in chosen), _mean_reaches(colours, covariances))


def board_with(plates: Sequence[tuple[int, Reading]], numbers: Sequence[int]) -> Board:
    """Return what a board of just these plates is worth for the colours that a studio makes, in their order.

    Those that are not among the plates are left out.
    """
    known = dict(plates)
    there = [number for number in numbers if number in known]
    gone = tuple(number for number in numbers if number not in known)
    if not there:
        return Board((), (), gone)
    labs = np.array([one.lab for one in known.values()])
    colours = labs[spread_out(labs, COLOURS)]
    covariances = _chosen(colours, [known[number] for number in there], len(there), "unknown", in_order=True)[1]
    return Board(tuple(there), _mean_reaches(colours, covariances), gone)


def _mean_reaches(colours: Floats, covariances: Sequence[Floats]) -> tuple[float, ...]:
    return tuple(
        float(np.mean([reach_delta_e00(lab, one) for lab, one in zip(colours, left, strict=True)]))
        for left in covariances
    )


def spread_out(labs: Floats, count: int) -> list[int]:
    """Return the rows of so many colours that lie far apart, each the farthest from those before it."""
    if len(labs) <= count:
        return list(range(len(labs)))
    chosen = [int(np.argmin(np.linalg.norm(labs - np.median(labs, axis=0), axis=1)))]
    away = np.linalg.norm(labs - labs[chosen[0]], axis=1)
    while len(chosen) < count:
        chosen.append(int(np.argmax(away)))
        away = np.minimum(away, np.linalg.norm(labs - labs[chosen[-1]], axis=1))
    return chosen


def _chosen(
    colours: Floats, plates: Sequence[Reading], count: int, light: str, in_order: bool = False
) -> tuple[list[int], list[Floats]]:
    """Choose plates one by one, or take them in the order that they have; return their rows, and what is left of
    readings at colours (n, 3) before the first and after each, (n, 3, 3)."""
    labs = np.concatenate([colours, [known.lab for known in plates]])
    joint = _usual_covariance(labs, light)
    size, start = len(labs), len(colours)
    joint[3 * start :, 3 * start :] += _not_known(plates)  # of the plates as they will be seen
    metrics = np.array([delta_e_metric(lab) for lab in colours])
    left = joint.reshape(size, 3, size, 3)

    def of_colours() -> Floats:
        return np.array([left[k, :, k] for k in range(start)])

    chosen: list[int] = []
    steps = [of_colours()]
    for turn in range(min(count, len(plates))):
        gains = {}
        for row in (turn,) if in_order else set(range(len(plates))) - set(chosen):
            across = left[:start, :, start + row]  # (n, 3, 3)
            inner = np.linalg.inv(left[start + row, :, start + row])
            gains[row] = float(np.einsum("nij,njk,kl,nil->", metrics, across, inner, across))
        best = max(gains, key=lambda row: (gains[row], -row))
        chosen.append(best)
        across = left[:, :, start + best].reshape(3 * size, 3)
        inner = np.linalg.inv(left[start + best, :, start + best])
        left = (left.reshape(3 * size, 3 * size) - across @ inner @ across.T).reshape(size, 3, size, 3)
        steps.append(of_colours())
    return chosen, steps


def _not_known(plates: Sequence[Reading]) -> Floats:
    """Return the covariance (3m, 3m) of what is not known of plates that are seen: what their readings share too, such
    as a photograph or a camera profile, or a plate that they were read by."""
    whole = joint_covariance(plates)
    for row, known in enumerate(plates):
        usual = Reading(known.lab, budget=_usual_budget(known.lab, "unknown"))
        tells_nothing = TELLS_NOTHING if known_as_unsurely(known, usual) else 0.0
        at = slice(3 * row, 3 * row + 3)
        whole[at, at] += (SEEN_SD**2 + tells_nothing) * np.eye(3)
    return whole


def _usual_budget(lab: Floats, light: str) -> tuple[BudgetTerm, ...]:
    """Return what a phone and a grey card leave unknown of a finish of CIELAB (3,)."""
    calibration = _usual_calibration(light)
    shown = np.maximum(np.linalg.solve(calibration.rgb_to_xyz, lab_to_xyz(lab)), 1e-4)
    return calibration.budget(shown, np.zeros((3, 3)), _PLACE)


def _usual_covariance(labs: Floats, light: str) -> Floats:
    """Return the covariance (3n, 3n) of what a phone and a grey card read at CIELAB (n, 3), all side by side."""
    causes: dict[str, Floats] = {}
    whole = np.zeros((3 * len(labs), 3 * len(labs)))
    for row, lab in enumerate(labs):
        at = slice(3 * row, 3 * row + 3)
        for term in _usual_budget(lab, light):
            if term.shared is None:
                whole[at, at] += term.covariance
            else:
                causes.setdefault(term.shared, np.zeros((3 * len(labs), term.effect.shape[1])))[at] = term.effect
    for effect in causes.values():
        whole += effect @ effect.T
    discrepancy, places = Discrepancy(USUAL, 100, LIGHT_SPREAD), np.tile(_PLACE, (len(labs), 1))
    whole += USUAL_SIZE**2 * discrepancy.between(labs, places, labs, places)
    whole += discrepancy.light_between(labs, places, labs, places)
    for row, lab in enumerate(labs):
        at = slice(3 * row, 3 * row + 3)
        whole[at, at] += USUAL_SIZE**2 * discrepancy.own(lab) + np.diag(SURFACES_OWN**2)
    return whole


@lru_cache(maxsize=4)
def _usual_calibration(light: str) -> Calibration:
    """Return what a picture as phones write it leaves unknown, with a grey card in it."""
    import cv2

    from matcher.calibration.calibrate import calibrate
    from matcher.card.detect import find_card
    from matcher.photo.photo import open_photo

    grey = cv2.imencode(".png", np.full((100, 100, 3), 118, np.uint8))[1].tobytes()
    photo = open_photo(grey)
    card = find_card(photo, corners=[(5, 5), (95, 5), (95, 95), (5, 95)])
    return calibrate(photo, card, light=light)
