"""Where the piece on the bench stands: the colour after every pass as predicted, corrected by each reading so far.

At the bench. A reading shows this piece's departure from the recipe (``piece``), which the later passes keep; so every
reading corrects what is expected of the passes to come. What counts is the finished piece: with the coats that follow
this one, as planned, and with its seal; before them the eye sees what stands there now, so both are predicted together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matcher.bench.passes import Course
from matcher.bench.piece import PredictedPath, corrected
from matcher.bench.seal import SealEffect, SealShift
from matcher.bench.work import After
from matcher.colour.difference import delta_e_2000, reach_delta_e00
from matcher.colour.types import Floats
from matcher.colour.uncertainty import by_cause, square_root, sum_of
from matcher.colour.verdict import SURE, standing
from matcher.plan.outlook import draws_of
from matcher.plan.prediction import with_errors
from matcher.process.logged import scatter_of
from matcher.process.model import ProcessModel
from matcher.reading.comparison import delta_e_interval, difference_covariance, draws_to_target
from matcher.reading.reading import Reading
from matcher.recipe.names import is_ferric
from matcher.recipe.recipe import MAX_PASSES, Recipe
from matcher.words import counted, percent

LOOK_BEYOND = 6
OVERSHOOT = 0.5
"""One more pass is warned of when it is expected to add this much ΔE00."""
CLEARLY_DARKER = 1.0
RISK_DRAWS = 1024
WIDE_APART = 3.0
"""ΔE00 from which it is worth saying that target and reading were not taken alike."""
WORTH_LEAVING_THE_PLAN = 0.5
"""A coat below others is stopped at its planned passes unless another count is expected to end nearer by this ΔE00."""
LEAST_DOUBT = 0.05
"""Standard deviation of a sealed colour of which nothing is told by the piece's other colours."""
READ_FIRST = 0.25
"""When the next pass may take the piece away from the target with at least this chance, it is to be read first."""


@dataclass(frozen=True, eq=False)
class BenchPath:
    """passes: (k,) counts of this coat, 0 to some beyond the recipe's. labs: (k, 3) of the piece as it then stands,
    unsealed, corrected. covariances: (k, 3, 3).

    ends: (k, 3) of the finished piece, sealed where the target is, when this coat is stopped there. expected: (k,) ΔE00
    of that to the target, as in a list of suggestions; draws: (k, n) of it, with this piece's own scatter; interval:
    (k, 2) 95 %; of_recipe: (k, n) draws of the recipe's own colour, as a list has it. goal: the target as it must read
    before sealing. seal: what sealing will do, as expected where to stop. last_coat: no other coat follows. planned:
    passes of the recipe. done: passes laid so far. stop_at: the count after which to stop. risk: the chance, 0 to 1,
    that one more pass takes the piece away from the target. unlike: its readings lie farther from what was expected
    than those of plates do. apart: ΔE00 (95 %) by which a photographed target may be off in a way that the last
    reading, no photograph, does not share. readings_delta_e00: ΔE00 of each reading of the last coat to the goal, by
    its count. tolerance: ΔE00 that counts as a match; 0 where none is known. overshoot: as risk, of one pass
    more than where to stop.
    """

    passes: NDArray[np.intp]
    labs: Floats
    covariances: Floats
    expected: Floats
    interval: Floats
    done: int
    stop_at: int
    sentence: str
    goal: Reading
    risk: float
    draws: Floats
    unlike: bool
    apart: float = 0.0
    readings_delta_e00: Mapping[int, float] = field(default_factory=dict)
    ends: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    of_recipe: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    seal: SealShift | None = None
    last_coat: bool = True
    planned: int = 0
    tolerance: float = 0.0
    overshoot: float = 0.0

    @property
    def remaining(self) -> int:
        """Return how many passes remain."""
        return max(0, self.stop_at - self.done)

    @property
    def past(self) -> bool:
        """Tell whether the piece is surely darker than the goal and no pass can help it."""
        doubt = 2 * np.sqrt(self.covariances[self.done, 0, 0] + self.goal.covariance[0, 0])
        darker = self.goal.lab[0] - self.labs[self.done, 0]
        return self.last_coat and not self.remaining and bool(darker > max(CLEARLY_DARKER, doubt))

    @property
    def likely(self) -> bool:
        """Tell whether it is likely to match where to stop."""
        low, high = self.interval[self.stop_at]
        stands = standing((float(low), float(high)), self.chance_within(self.tolerance), self.tolerance)
        return stands in ("within", "likely")

    @property
    def instruction(self) -> str:
        """Say what to do next in a few words, to be read from where the torch is held."""
        if self.past:
            return "Stop: past the target" if self.done else "Too dark to begin"
        if not self.remaining:
            if not self.last_coat:
                return "This coat is done"
            unread = "" if self.done in self.readings_delta_e00 else ": read it"
            return "Stop here" if self.likely else f"Lay no more{unread}"
        more = "One more pass" if self.remaining == 1 else counted(self.remaining, "more pass")
        return f"{more}, then {'stop' if self.likely else 'read it'}" if self.last_coat else f"{more} of this coat"

    @property
    def warning(self) -> str | None:
        """Say what a further pass may spoil, before it is laid; None while nothing speaks against it."""
        if self.past:
            if not self.done:
                return "It is darker than the target before the first pass: burnish back, or take another recipe."
            return "It is past the target: passes cannot be taken off, so burnish back or start again."
        after = self.stop_at + 1
        there = self.expected[after] if after < len(self.passes) else np.nan
        if not self.last_coat:
            worse = not self.remaining and there > self.expected[self.done] + OVERSHOOT
            return f"Lay no more of this coat: one more pass is expected to end at ΔE00 {there:.1f}." if worse else None
        if not self.remaining:
            return f"Lay no more: one more pass is expected to take it to ΔE00 {there:.1f}." if there > 0 else None
        if self.risk >= READ_FIRST:
            return (
                f"Read the piece before the next pass: the chance that it already takes the piece away from the "
                f"target is {percent(self.risk)}."
            )
        if self.remaining == 1 and there > self.expected[self.stop_at] + OVERSHOOT:
            if self.overshoot >= SURE:
                return f"The pass after that would overshoot, to ΔE00 {there:.1f}."
            chance = f"the chance that it takes the piece away from the target is {percent(self.overshoot)}"
            return f"The pass after that may overshoot, to ΔE00 {there:.1f}: {chance}."
        return None

    @property
    def caveat(self) -> str | None:
        """Say that the readings are not those of such a piece, or not taken as the target was; None otherwise."""
        if self.unlike:
            return (
                "This piece lies farther from what was expected than plates do: check the last reading and the recipe."
            )
        if self.apart > WIDE_APART:
            return (
                f"The target's photograph may be off by ΔE00 {self.apart:.0f}, and against an instrument's reading "
                "that does not cancel: photograph the piece with the same camera in the same light."
            )
        return None

    def chance_within(self, tolerance: float, passes: int | None = None) -> float:
        """Return the chance, 0 to 1, to be within a ΔE00 after so many passes, by default where to stop."""
        return float(np.mean(self.draws[self.stop_at if passes is None else passes] <= tolerance))

    def chance_of_recipe(self, tolerance: float, passes: int | None = None) -> float:
        """Return the chance that a list gives the recipe with so many passes: without readings and own scatter."""
        return float(np.mean(self.of_recipe[self.stop_at if passes is None else passes] <= tolerance))

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        rows = zip(self.passes, self.labs, self.ends, self.expected, self.interval, strict=True)
        return {
            "instruction": self.instruction,
            "sentence": self.sentence,
            "warning": self.warning,
            "caveat": self.caveat,
            "done": self.done,
            "stop_at": self.stop_at,
            "remaining": self.remaining,
            "past_the_target": self.past,
            "risk_of_next_pass": self.risk,
            "risk_of_overshoot": self.overshoot,
            "last_coat": self.last_coat,
            "planned": self.planned,
            "goal": self.goal.as_dict(),
            "path": [
                {
                    "passes": int(count),
                    "lab": lab.tolist(),
                    "finished_lab": end.tolist(),
                    "delta_e00": float(delta),
                    "delta_e00_interval": interval.tolist(),
                }
                for count, lab, end, delta, interval in rows
            ],
            "readings": [
                {"passes": count, "delta_e00": delta} for count, delta in sorted(self.readings_delta_e00.items())
            ],
        }


def bench_path(
    model: ProcessModel,
    course: Course,
    target: Reading,
    seal: SealEffect | None = None,
    as_read: Callable[[Floats, Floats], Reading] = with_errors,
    tolerance: float = 0.0,
) -> BenchPath:
    """Return the path of the coat that is being laid, corrected by the readings of the piece.

    seal: what plates read before and after sealing show of it, when the target is a sealed finish. as_read: turns an
    expected colour and its covariance into a reading, with what it shares of the target's errors.
    """
    laid = course.done
    last = min(MAX_PASSES, max(course.recipe.coats[course.coat].passes, laid) + LOOK_BEYOND)
    passes = np.arange(last + 1)
    ferric = is_ferric(course.recipe.coats[course.coat].chemical)
    rows = _Rows.of(course, last, seal)
    predicted = _predicted(model, course, rows, seal)
    newest = course.readings[max(course.readings)] if course.readings else None
    if newest is not None:
        predicted = _as_read_newest(predicted, model, newest)
    scatter = {} if newest is None else _scatter_about(newest, course.readings)
    seen = {
        rows.row_of(after): replace(reading, covariance=scatter[after]) for after, reading in course.readings.items()
    }
    colours, covariance, unlike = corrected(predicted, model.plate_covariance(course.recipe), seen)
    if ferric:
        colours = _no_lighter(colours, [rows.standing, *([rows.ends] if course.is_last else [])], laid)
    labs, ends = colours[rows.standing], colours[rows.ends]
    each = _blocks(covariance, rows.ends)
    plates = [as_read(lab, own) for lab, own in zip(ends, each, strict=True)]
    doubts = np.array([difference_covariance(target, plate) for plate in plates])
    draws = draws_to_target(target, plates, [newest is None] * len(plates))  # no piece so far, as in a list
    # as in a list of suggestions: what is not known of the target itself holds for every count of passes alike
    nearness = draws_of(target.lab, ends, each).mean(axis=1)
    if course.is_last:
        stop_at = _where_to_stop(nearness, ends, doubts, target, laid, ferric)
    else:
        stop_at = _where_to_go_on(nearness, laid, course.recipe.coats[course.coat].passes)
    expected = delta_e_2000(target.lab, ends)
    interval = np.array([delta_e_interval(target, plate, own) for plate, own in zip(plates, draws, strict=True)])
    step = _seal_step(colours, covariance, rows, stop_at, seal)
    goal = target if step is None else step.before_sealing(target)
    read = {
        after.passes if after.coat == course.coat else 0: float(delta_e_2000(goal.lab, reading.lab))
        for after, reading in course.readings.items()
        if course.is_last and rows.row_of(after) <= last
    }
    ends_together = _joint(covariance, rows.ends)

    def risk_after(count: int) -> float:
        return _risk_of_next(ends, ends_together, count, target.lab, doubts[count] - each[count])

    return BenchPath(
        passes,
        labs,
        _blocks(covariance, rows.standing),
        expected,
        interval,
        laid,
        stop_at,
        _sentence(laid, stop_at, expected, interval, None if course.is_last else course.coat + 1),
        goal,
        risk_after(laid),
        draws,
        unlike,
        0.0 if newest is None else _not_shared(target, newest),
        read,
        ends,
        _draws_of_recipe(predicted, rows, target, as_read),
        step,
        course.is_last,
        course.recipe.coats[course.coat].passes,
        tolerance,
        risk_after(stop_at),
    )


@dataclass(frozen=True)
class _Rows:
    """What is predicted together: for each row the passes of every coat, and whether it is sealed.

    standing, finished, ends: rows of the piece as it stands after 0, 1, 2 ... passes of its coat, with the coats to
    come, and sealed too. points: the row of each point at which a reading was taken.
    """

    passes: tuple[tuple[int, ...], ...]
    sealed: tuple[bool, ...]
    standing: list[int]
    finished: list[int]
    ends: list[int]
    points: Mapping[After, int]

    @classmethod
    def of(cls, course: Course, last: int, seal: SealEffect | None) -> _Rows:
        coats = [coat.passes for coat in course.recipe.coats]
        below, after = coats[: course.coat], coats[course.coat + 1 :]
        counts = range(last + 1)
        rows = [((*below, count, *(0 for _ in after)), False) for count in counts]
        standing = finished = ends = list(counts)
        if after:
            finished = ends = [len(rows) + count for count in counts]
            rows += [((*below, count, *after), False) for count in counts]
        if seal is not None:
            ends = [len(rows) + count for count in counts]
            rows += [((*below, count, *after), True) for count in counts]
        points = {}
        for point in course.readings:
            at = tuple(
                0 if k > point.coat else point.passes if k == point.coat else passes for k, passes in enumerate(coats)
            )
            if (at, False) not in rows:
                rows.append((at, False))
            points[point] = rows.index((at, False))
        return cls(tuple(row for row, _ in rows), tuple(done for _, done in rows), standing, finished, ends, points)

    def row_of(self, point: After) -> int:
        return self.points[point]

    def recipe(self, course: Course, row: int, kind: str, coat: int | None = None, more: int = 0) -> Recipe:
        """Return the recipe of a row; of a coat there may be some passes more or fewer."""
        counts = list(self.passes[row])
        if coat is not None:
            counts[coat] += more
        coats = zip(course.recipe.coats, counts, strict=True)
        laid = tuple(replace(one, passes=passes, stock=None) for one, passes in coats if passes)
        sealed = course.seal_of(kind) if self.sealed[row] else None
        return replace(course.recipe, coats=laid, seal=sealed)


def _predicted(model: ProcessModel, course: Course, rows: _Rows, seal: SealEffect | None) -> PredictedPath:
    """Return what is expected of the recipe itself on every row, with what sealing did to other plates."""
    kind = "" if seal is None else seal.kind
    every = range(len(rows.passes))
    recipes = [rows.recipe(course, row, kind) for row in every]
    labs, covariance = model.predict_together(model.columns(recipes))
    if seal is not None and seal.pairs:
        labs, covariance = _as_pairs_show(labs, covariance, rows, seal)
    simple = len(course.recipe.coats) == 1 and seal is None
    along = None if simple else np.array([_along(model, course, rows, kind, coat) for coat in _laid_coats(rows)])
    return PredictedPath(labs, covariance, along)


def _as_read_newest(predicted: PredictedPath, model: ProcessModel, newest: Reading) -> PredictedPath:
    """Return the path as a piece's newest reading shows it: off throughout by what that does not share with plates.

    Predicted is as plates are usually read (``ProcessModel.usual``).
    """
    (own,) = _scatter_about(newest, {0: newest}).values()
    off = model.scatter([newest])[0] - own
    count = len(predicted.labs)
    return replace(predicted, covariance=predicted.covariance + np.tile(off, (count, count)))


def _scatter_about(newest: Reading, readings: Mapping[Any, Reading]) -> dict[Any, Floats]:
    """Return the covariance (3, 3) of each reading about the colours as the newest of them shows them."""
    every = list(readings.values())
    return dict(zip(readings, scatter_of(every, frozenset(by_cause(newest.budget)), every), strict=True))


def _laid_coats(rows: _Rows) -> list[int]:
    return [coat for coat in range(len(rows.passes[0])) if any(passes[coat] for passes in rows.passes)]


def _along(model: ProcessModel, course: Course, rows: _Rows, kind: str, coat: int) -> Floats:
    """Return (3m,) how the m rows move when a piece takes one coat faster, per unit of the logarithm of its dose."""
    held = [row for row in range(len(rows.passes)) if rows.passes[row][coat]]
    more = [min(1, MAX_PASSES - rows.passes[row][coat]) for row in held]
    moved = [
        rows.recipe(course, row, kind, coat, step) for row, up in zip(held, more, strict=True) for step in (up, -1)
    ]
    labs = model.mean_lab(model.columns(moved)).reshape(-1, 2, 3)
    each = np.zeros((len(rows.passes), 3))
    counts = np.array([rows.passes[row][coat] for row in held])
    each[held] = (labs[:, 0] - labs[:, 1]) * (counts / (np.array(more) + 1))[:, None]
    return each.ravel()


def _as_pairs_show(labs: Floats, covariance: Floats, rows: _Rows, seal: SealEffect) -> tuple[Floats, Floats]:
    """Return colours and covariance once it is taken in how plates changed that were read before and after sealing.

    What they show holds for one piece, so for all of its colours together.
    """
    unsealed = labs[rows.finished]
    slopes, doubt = seal.over(unsealed)
    count = len(unsealed)
    blocks = np.zeros((count, 3, len(labs), 3))
    each = np.arange(count)
    blocks[each, :, rows.ends] = np.eye(3)
    blocks[each, :, rows.finished] = -slopes
    follows = blocks.reshape(3 * count, -1)
    miss = (seal.sealed(unsealed) - labs[rows.ends]).ravel()
    seen = follows @ covariance @ follows.T + doubt + LEAST_DOUBT**2 * np.eye(3 * count)
    gain = np.linalg.solve(seen, follows @ covariance).T
    return (labs.ravel() + gain @ miss).reshape(-1, 3), covariance - gain @ follows @ covariance


def _seal_step(
    colours: Floats, covariance: Floats, rows: _Rows, stop_at: int, seal: SealEffect | None
) -> SealShift | None:
    """Return what sealing is expected to do to this piece where to stop."""
    if seal is None:
        return None
    pair = [rows.finished[stop_at], rows.ends[stop_at]]
    joint = _joint(covariance, pair)
    between = np.hstack([-np.eye(3), np.eye(3)])
    unsealed, sealed = colours[pair]
    return replace(seal.at(unsealed), shift=sealed - unsealed, covariance=between @ joint @ between.T)


def _draws_of_recipe(
    predicted: PredictedPath, rows: _Rows, target: Reading, as_read: Callable[[Floats, Floats], Reading]
) -> Floats:
    """Return draws (k, n) of ΔE00 of the recipe's own colour, for each count of passes."""
    labs, own = predicted.labs[rows.ends], _blocks(predicted.covariance, rows.ends)
    plates = [as_read(lab, each) for lab, each in zip(labs, own, strict=True)]
    return draws_to_target(target, plates, [True] * len(plates))


def _joint(covariance: Floats, rows: Sequence[int]) -> Floats:
    at = np.concatenate([np.arange(3 * row, 3 * row + 3) for row in rows])
    return np.asarray(covariance[np.ix_(at, at)])


def _blocks(covariance: Floats, rows: Sequence[int]) -> Floats:
    """Return the (k, 3, 3) covariances of single rows."""
    m = len(covariance) // 3
    return np.asarray(covariance.reshape(m, 3, m, 3)[rows, :, rows, :])


def _no_lighter(colours: Floats, ways: Sequence[Sequence[int]], done: int) -> Floats:
    """Return the colours with no pass from ``done`` on lightening the piece: a ferric coat (common practice)."""
    colours = colours.copy()
    for way in ways:
        to_come = list(way)[done:]
        colours[to_come, 0] = np.minimum.accumulate(colours[to_come, 0])
    return colours


def _not_shared(target: Reading, reading: Reading) -> float:
    """Return the ΔE00 (95 %) of what a photographed target shares with other photographs, but not with this reading."""
    if target.photo is None or reading.photo is not None:
        return 0.0
    lost = [term for term in target.budget if term.shared is not None]
    return float(reach_delta_e00(target.lab, sum_of(lost))) if lost else 0.0


def _risk_of_next(labs: Floats, covariance: Floats, done: int, goal_lab: Floats, doubt: Floats) -> float:
    """Return the chance that one more pass takes the piece away; what is unsure of the piece and goal stays.

    doubt: (3, 3) of the goal, less what it shares with the piece.
    """
    if done + 1 >= len(labs):
        return 0.0
    joint = covariance[3 * done : 3 * done + 6, 3 * done : 3 * done + 6]
    joint = joint + np.tile(doubt, (2, 2))
    noise = np.random.default_rng(20003).standard_normal((RISK_DRAWS, 6)) @ square_root(joint).T
    drawn = labs[done : done + 2] + noise.reshape(RISK_DRAWS, 2, 3)
    now, then = delta_e_2000(goal_lab, drawn).T
    return float(np.mean(then > now))


def _where_to_stop(expected: Floats, labs: Floats, doubts: Floats, goal: Reading, done: int, ferric: bool) -> int:
    """Return the count after which to stop: the nearest to come, or now when the piece is surely too dark to match.

    More passes never lighten a ferric coat (common practice, no source): what they still mend of the hue does not make
    up for the lightness unless it halves the difference.
    """
    nearest = done + int(np.argmin(expected[done:]))
    doubt = 2 * np.sqrt(doubts[done, 0, 0])
    darker = goal.lab[0] - labs[done, 0]
    if ferric and darker > max(CLEARLY_DARKER, doubt) and expected[nearest] > expected[done] / 2:
        return done
    return nearest


def _where_to_go_on(expected: Floats, done: int, planned: int) -> int:
    """Return the count after which the next coat follows: the planned one, unless another ends clearly nearer."""
    fewest = max(done, 1)
    nearest = fewest + int(np.argmin(expected[fewest:]))
    planned = max(planned, fewest)
    return planned if expected[planned] <= expected[nearest] + WORTH_LEAVING_THE_PLAN else nearest


def _sentence(done: int, stop_at: int, expected: Floats, interval: Floats, coat: int | None) -> str:
    """Say what is expected. coat: its number where others follow it, None for the last."""
    low, high = interval[stop_at]
    if coat is not None:
        with_these = f"With {counted(stop_at, 'pass')} of coat {coat} and the coats to come as planned"
        between = f"({low:.1f} to {high:.1f}, with this piece's own scatter)"
        return f"{with_these}, the finished piece is expected at ΔE00 {expected[stop_at]:.1f} {between}."
    when = f"After {counted(done, 'pass')}" if done else "Before the first pass"
    here = f"{when} the piece is expected at ΔE00 {expected[done]:.1f}"
    between = f"({low:.1f} to {high:.1f}, with this piece's own scatter)"
    if stop_at == done:
        return f"{here} {between}: lay no more."
    more = counted(stop_at - done, "more pass")
    return f"{here}; {more} should bring it to {expected[stop_at]:.1f} {between}: then no more."
