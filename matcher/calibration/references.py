"""Finishes of known colour in a photograph make its readings surer: what they show of its errors is taken out.

A camera's and a light's errors are a budget of causes with effects on every colour, and beside it a discrepancy, local
in colour and in place, for what no such cause bends into. Seeing a finish of known colour tells of both: a linear-
Gaussian update (conditioning a Gaussian: Rasmussen and Williams 2006, equation A.6; a discrepancy beside a model's own
causes: Kennedy and O'Hagan 2001, J. R. Stat. Soc. B 63(3)). What is left stays a budget of causes, so that two readings
still cancel what they share, with a known finish's own reading too. After ``calibration``; ``finish`` reads with it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Literal, Protocol

import numpy as np
from scipy.special import logsumexp, softmax

from matcher.calibration.camera_priors import is_unknown_camera
from matcher.colour.local_error import LocalError
from matcher.colour.metric import delta_e_metric
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm, slimmed, square_root, sum_of
from matcher.errors import ReadingError

MOST_REFERENCES = 40
SURFACES_OWN = 0.25  # CIELAB: what no camera and eye have in common of one surface, whatever is learned
SCALES = np.exp(np.linspace(np.log(0.1), np.log(7.0), 15))
SCALE_SPREAD = 0.6
"""Of the log of how large the discrepancy of one photograph is beside the usual one."""
USUAL_SIZE = float(np.exp(SCALE_SPREAD**2))  # its root mean square before anything is seen
_PRIOR = softmax(-np.square(np.log(SCALES)) / (2 * SCALE_SPREAD**2))
LOG_ROOT_2PI = 0.5 * np.log(2 * np.pi)
SURELY_LARGER = 1.2
"""Times its usual size, beyond which a discrepancy is shown to be larger, so that readings without it are too sure."""
USUAL = LocalError(np.zeros((0, 3)), np.zeros((0, 3)), np.array([3.0, 1.6, 1.6]), np.full(3, 0.1))
"""The discrepancy of a camera that no chart has shown, in CIELAB at a grey."""
PLACE_SHARE = 0.3  # of the discrepancy's variance: what differs between places too
LIGHT_SPREAD, LIGHT_SPREAD_WITHOUT_CARD = 0.03, 0.06
"""Of log light: what no slope of the light tells of a place; with no card's face to tell of a slope, that too."""
NEAR_BY = 0.25  # of the picture's longer side: places that share both
KNOWN_BETTER = "measure these plates with an instrument, or beside a chart in daylight"
LAID_BESIDE = "lay a plate of nearly this colour right beside it"
MISTAKEN, MISTAKEN_SD = 0.05, 20.0
"""The chance that a reference is another surface than the log says, or under glare, and how far off in CIELAB it is
then: two finishes of one log, drawn by chance."""
CLEARLY = 20.0  # times as likely, when one of two is said to be the mistaken one
AS_UNKNOWN = 0.5
"""Of the variance that an unknown camera has here: a finish that was known by so much of it may have been read by this
very camera in this light, and then errs alike. In daylight it would be less (``FINISHED_SHARE``)."""
MOST_DOUBTFUL, PLAINLY_SOUND = 6, 9.0
"""How many of those furthest off may be mistaken, one or two at a time; and squared distances that no mistake has."""


class Known(Protocol):
    """A reading of a finish, as far as it matters here."""

    @property
    def lab(self) -> Floats: ...
    @property
    def covariance(self) -> Floats: ...
    @property
    def budget(self) -> tuple[BudgetTerm, ...]: ...
    @property
    def photo(self) -> str | None: ...
    @property
    def region(self) -> Floats | None: ...


@dataclass(frozen=True, eq=False)
class Reference:
    """A finish of known colour in a photograph: its outline there, (n, 2) pixels, and its reading from elsewhere.

    name: how it is called where it is told ("plate 88"). uid: of the plate, where it is a logged one. Raises
    ReadingError for an outline that is none.
    """

    region: Floats
    reading: Known
    name: str = ""
    uid: str | None = None

    def __post_init__(self) -> None:
        try:
            region = np.array(self.region, dtype=float)
        except (TypeError, ValueError):
            region = np.zeros(0)
        if region.ndim != 2 or region.shape[1] != 2 or len(region) < 3 or not np.isfinite(region).all():
            raise ReadingError("Give the outline of a known finish as three or more points in the picture.")
        if not (np.isfinite(self.reading.lab).all() and np.isfinite(self.reading.covariance).all()):
            raise ReadingError("Give the known finish a colour and a covariance of finite numbers.")
        object.__setattr__(self, "region", region)


def cause_of_own(reading: Known) -> str:
    """Name what a reading has of its own, so that another that was made by it can say that it shares it."""
    place = b"" if reading.region is None else np.asarray(reading.region, dtype=float).tobytes()
    parts = (reading.lab.tobytes(), reading.covariance.tobytes(), place, (reading.photo or "").encode())
    return f"reading {hashlib.sha256(b'|'.join(parts)).hexdigest()[:24]}"


def own_root(reading: Known) -> Floats:
    """Return (3, 3), a root of the covariance of what a reading shares with no other by name."""
    shared = _by_cause(reading.budget)
    return square_root(reading.covariance - sum((effect @ effect.T for effect in shared.values()), np.zeros((3, 3))))


def _own_root_seen(reading: Known) -> Floats:
    """Return the same of a reference as it is seen, without the discrepancy, which is accounted for by itself."""
    own = [term.covariance for term in reading.budget if term.shared is None and term.name != Source.UNLIKE_THE_CHART]
    return square_root(sum(own, np.zeros((3, 3))))


def known_as_unsurely(known: Known, here: Known) -> bool:
    """Tell whether a finish was known by a camera that no chart has shown, about as unsurely as another is read here.

    That it looks here as it is known may then be one camera's error twice, and tells nothing of that camera.
    """
    ours, theirs = _by_cause(here.budget), _by_cause(known.budget)
    unsure = sum(float(np.sum(effect**2)) for cause, effect in ours.items() if is_unknown_camera(cause))
    other = [effect for cause, effect in theirs.items() if is_unknown_camera(cause) and cause not in ours]
    return unsure > 0 and sum(float(np.sum(effect**2)) for effect in other) >= AS_UNKNOWN * unsure


def _by_cause(terms: Sequence[BudgetTerm]) -> dict[str, Floats]:
    """Return effects by shared cause, the first part of a cause alone (as ``shared_covariance`` takes them)."""
    return {term.shared: term.effect for term in reversed(terms) if term.shared is not None}


@dataclass(frozen=True, eq=False)
class SeenReference:
    """A reference as the calibration by itself reads it; index: its place among those given."""

    index: int
    reference: Reference
    seen: Known

    @property
    def place(self) -> Floats:
        """(2,) pixels: the middle of its outline."""
        return np.asarray(self.reference.region.mean(axis=0))

    @property
    def error(self) -> Floats:
        """(3,) CIELAB, read minus known."""
        return np.asarray(self.seen.lab - self.reference.reading.lab)

    @cached_property
    def as_unknown(self) -> bool:
        """Whether it was known by a camera as unknown as this picture's."""
        return known_as_unsurely(self.reference.reading, self.seen)


@dataclass(frozen=True, eq=False)
class Discrepancy:
    """What no cause of the budget bends into: alike for like colours and for near places.

    picture: its longer side in pixels. light_spread: of log light from place to place.
    """

    local: LocalError
    picture: int
    light_spread: float = LIGHT_SPREAD

    def between(self, labs: Floats, places: Floats, others: Floats, there: Floats) -> Floats:
        """Return the covariance (3m, 3n) between what lies at labs (m, 3), places (m, 2) and at others, there."""
        near = self._near(places, there)
        colour = self.local.alike(labs, others) * (1 - PLACE_SHARE + PLACE_SHARE * near)
        whole = np.zeros((len(labs), 3, len(others), 3))
        for channel in range(3):
            whole[:, channel, :, channel] = colour[channel]
        return np.asarray(whole.reshape(3 * len(labs), 3 * len(others)))

    def light_between(self, labs: Floats, places: Floats, others: Floats, there: Floats) -> Floats:
        """Return the same (3m, 3n) of the light, which differs from place to place."""
        near = self.light_spread**2 * self._near(places, there)
        whole = np.einsum("mi,nj,mn->minj", brighter(labs), brighter(others), near)
        return np.asarray(whole.reshape(3 * len(labs), 3 * len(others)))

    def _near(self, places: Floats, there: Floats) -> Floats:
        away = np.square(places[:, None] - there[None]).sum(axis=2)
        return np.asarray(np.exp(-away / (2 * (NEAR_BY * self.picture) ** 2)))

    def own(self, lab: Floats) -> Floats:
        """Return the covariance (3, 3) of what one surface of CIELAB (3,) has of its own."""
        return self.local.own(lab) + SURFACES_OWN**2 * np.eye(3)


def brighter(labs: Floats) -> Floats:
    """Return how CIELAB (n, 3) moves per unit of log light: with its cube root (ISO/CIE 11664-4)."""
    return np.asarray((labs + [16.0, 0.0, 0.0]) / 3)


@dataclass(frozen=True, eq=False)
class LeftOut:
    """A reference that was not used: its place among those given, and how it was seen, None where it can't be read.

    why: "unreadable", as ``said`` says; "odd" beside all the others, or beside what a camera can do where it is alone;
    "at odds" with the only other one.
    """

    index: int
    why: Literal["unreadable", "odd", "at odds"]
    seen: SeenReference | None = None
    said: str = ""


@dataclass(frozen=True, eq=False)
class Conditioned:
    """What the references of one photograph tell of its errors.

    used: the references that agree. left_out: the others. photo: its SHA-256.
    """

    used: tuple[SeenReference, ...]
    photo: str
    discrepancy: Discrepancy
    left_out: tuple[LeftOut, ...] = ()

    @cached_property
    def _labs(self) -> Floats:
        return np.array([item.seen.lab for item in self.used])

    @cached_property
    def _places(self) -> Floats:
        return np.array([item.place for item in self.used])

    @cached_property
    def _set(self) -> str:
        """Names the photograph and these very references: readings by others of it don't have the same causes."""
        places = b"|".join(item.reference.region.tobytes() for item in self.used)
        return f"{self.photo}, {hashlib.sha256(places).hexdigest()[:12]}"

    @cached_property
    def _causes(self) -> dict[str, Floats]:
        """Effects (3n, p) on what is read minus known, by cause.

        Where a finish was known as unsurely as this camera reads, the camera's part goes by another name than in a
        reading that is to be corrected, so that nothing of it is learned.
        """
        count = len(self.used)
        causes: dict[str, Floats] = {}
        for row, item in enumerate(self.used):
            for sign, reading in ((1, item.seen), (-1, item.reference.reading)):
                for cause, effect in _by_cause(reading.budget).items():
                    if sign == 1 and item.as_unknown and is_unknown_camera(cause):
                        cause = f"{cause}, by finishes known as unsurely"
                    whole = causes.setdefault(cause, np.zeros((3 * count, effect.shape[1])))
                    if whole.shape[1] != effect.shape[1]:
                        whole = causes.setdefault(f"{cause} ({row})", np.zeros((3 * count, effect.shape[1])))
                    whole[3 * row : 3 * row + 3] += sign * effect
        return causes

    @cached_property
    def _own(self) -> tuple[Floats, Floats]:
        """Roots (n, 3, 3) of what each seen and each known reading has of its own."""
        seen = [_own_root_seen(item.seen) for item in self.used]
        return np.array(seen), np.array([own_root(item.reference.reading) for item in self.used])

    @cached_property
    def _fixed(self) -> Floats:
        """(3n, 3n) the covariance of read minus known, without what is local in colour."""
        whole = self._light + sum(
            (effect @ effect.T for effect in self._causes.values()), np.zeros((3 * len(self.used),) * 2)
        )
        for roots in self._own:
            for row, root in enumerate(roots):
                at = slice(3 * row, 3 * row + 3)
                whole[at, at] += root @ root.T
        return whole

    @cached_property
    def _light(self) -> Floats:
        """(3n, 3n) the covariance of what the light does from place to place."""
        found = self.discrepancy.light_between(self._labs, self._places, self._labs, self._places)
        return np.asarray(found + 1e-9 * np.eye(len(found)))

    @cached_property
    def _alike(self) -> Floats:
        """(3n, 3n) the usual covariance of the discrepancy."""
        found = self.discrepancy.between(self._labs, self._places, self._labs, self._places)
        for row, lab in enumerate(self._labs):
            at = slice(3 * row, 3 * row + 3)
            found[at, at] += self.discrepancy.own(lab)
        return found

    @cached_property
    def _shown(self) -> Floats:
        return np.concatenate([item.error for item in self.used])

    @cached_property
    def _weights(self) -> tuple[Floats, Floats]:
        """The weights (k,) of SCALES by what the references show, and the inverse (k, 3n, 3n) for each."""
        whole = self._fixed + SCALES[:, None, None] ** 2 * self._alike
        inverses = np.linalg.inv(whole)
        told = -(inverses @ self._shown @ self._shown + np.linalg.slogdet(whole)[1]) / 2
        weights = softmax(told + np.log(_PRIOR))
        return np.asarray(weights), np.asarray(inverses)

    @property
    def size(self) -> float:
        """How large the discrepancy of this photograph is beside the usual one, as a root mean square."""
        return float(np.sqrt(self._weights[0] @ SCALES**2))

    def without(self, row: int) -> Conditioned:
        """Return what the other references tell."""
        rest = tuple(item for other, item in enumerate(self.used) if other != row)
        return Conditioned(rest, self.photo, self.discrepancy, self.left_out)

    def log_evidence(self, rows: Sequence[int]) -> float:
        """Return the log density of what some of the references show, whatever the size of the discrepancy."""
        if not rows:
            return 0.0
        at = np.concatenate([np.arange(3 * row, 3 * row + 3) for row in rows])
        shown, fixed, alike = self._shown[at], self._fixed[np.ix_(at, at)], self._alike[np.ix_(at, at)]
        whole = fixed + SCALES[:, None, None] ** 2 * alike
        told = -(np.linalg.solve(whole, shown) @ shown + np.linalg.slogdet(whole)[1]) / 2 - LOG_ROOT_2PI * len(at)
        return float(logsumexp(told, b=_PRIOR))

    def log_mistaken(self, row: int) -> float:
        """Return the log density of what a reference shows when it is another surface than the log says."""
        at = slice(3 * row, 3 * row + 3)
        spread = self._fixed[at, at] + USUAL_SIZE**2 * self._alike[at, at] + MISTAKEN_SD**2 * np.eye(3)
        told = -(self._shown[at] @ np.linalg.solve(spread, self._shown[at]) + np.linalg.slogdet(spread)[1]) / 2
        return float(told - 3 * LOG_ROOT_2PI)

    def distances(self, rows: Sequence[int]) -> Floats:
        """Return (n,) how far each of some references is off what the others foretell, in standard deviations, squared;
        the discrepancy at its usual size."""
        at = np.concatenate([np.arange(3 * row, 3 * row + 3) for row in rows])
        count = len(rows)
        inverse = np.linalg.inv((self._fixed + self._alike)[np.ix_(at, at)])
        blocks = inverse.reshape(count, 3, count, 3)[range(count), :, range(count), :]
        told = (inverse @ self._shown[at]).reshape(count, 3)
        return np.asarray(np.einsum("ni,nij,nj->n", told, np.linalg.inv(blocks), told))

    def corrected(
        self, lab: Floats, budget: Sequence[BudgetTerm], place: Floats
    ) -> tuple[Floats, tuple[BudgetTerm, ...]]:
        """Return CIELAB (3,) and its budget, of a finish that the calibration reads as lab (3,) around place (2,).

        As it was where nothing is known, and where what is known makes it no surer; less sure only where the references
        show that the camera errs more than is usual.
        """
        if not self.used:
            return lab, tuple(budget)
        near = self._near(lab, place)
        ours, causes = _by_cause(budget), self._causes
        common = near.light + sum(
            (ours[cause] @ causes[cause].T for cause in ours if _fits(ours[cause], causes.get(cause))),
            np.zeros_like(near.light),
        )
        weights, inverses = self._weights
        between = common + SCALES[:, None, None] ** 2 * near.colour
        gain = np.einsum("k,kij->ij", weights, between @ inverses)
        left = (*self._of_causes(budget, gain), *self._of_references(gain), *self._of_places(near, gain))
        if self.size <= SURELY_LARGER * USUAL_SIZE and _reach(lab, left) >= _reach(lab, budget):
            return lab, tuple(budget)
        return lab - gain @ self._shown, slimmed(left)

    def _near(self, lab: Floats, place: Floats) -> _Near:
        here, there = (lab[None], place[None]), (self._labs, self._places)
        between, light_between = self.discrepancy.between, self.discrepancy.light_between
        return _Near(
            between(*here, *there),
            light_between(*here, *there),
            between(*here, *here) + self.discrepancy.own(lab),
            light_between(*here, *here),
        )

    def _of_causes(self, budget: Sequence[BudgetTerm], gain: Floats) -> list[BudgetTerm]:
        """Return what is left of a finish's own parts, and those of the known readings that come in with the gain."""
        terms, met = [], set()
        for term in budget:
            effect = term.effect
            if term.name == Source.UNLIKE_THE_CHART:
                continue  # the discrepancy, which takes its place
            if term.shared is not None and term.shared not in met and _fits(effect, self._causes.get(term.shared)):
                effect = effect - gain @ self._causes[term.shared]
                met.add(term.shared)
            terms.append(BudgetTerm(term.name, effect, term.remedy, term.shared))
        others = {cause: effect for cause, effect in self._causes.items() if cause not in met}
        return terms + [BudgetTerm(Source.REFERENCES, -gain @ effect, KNOWN_BETTER, c) for c, effect in others.items()]

    def _of_references(self, gain: Floats) -> list[BudgetTerm]:
        """Return what the gain takes in of the references' own: as they are seen here, and as they are known."""
        seen, known = self._own
        blocks = np.split(gain, len(self.used), axis=1)
        shown = np.hstack([-block @ root for block, root in zip(blocks, seen, strict=True)])
        terms = [BudgetTerm(Source.REFERENCES, shown, KNOWN_BETTER, f"known finishes as seen in {self._set}")]
        for item, block, root in zip(self.used, blocks, known, strict=True):
            terms.append(
                BudgetTerm(Source.REFERENCES, block @ root, KNOWN_BETTER, cause_of_own(item.reference.reading))
            )
        return terms

    def _of_places(self, near: _Near, gain: Floats) -> list[BudgetTerm]:
        """Return what is left of the discrepancy and of the light from place to place: what hangs together with that at
        the references, and what does not."""
        terms = []
        for name, size, at, between, itself in (
            (Source.CAMERA_LOCALLY, self.size, near.colour, self._alike, near.own_colour),
            (Source.LIGHT_CLOSE_BY, 1.0, near.light, self._light, near.own_light),
        ):
            told = np.linalg.solve(between, at.T).T
            together = size * (told - gain) @ np.linalg.cholesky(between)
            terms.append(BudgetTerm(name, together, LAID_BESIDE, f"{name} at known finishes in {self._set}"))
            terms.append(BudgetTerm(name, size * square_root(itself - told @ at.T), LAID_BESIDE))
        return terms


@dataclass(frozen=True, eq=False)
class _Near:
    """How the discrepancy and the light of one finish hang together with those at the references, (3, 3n), and their
    own covariances (3, 3)."""

    colour: Floats
    light: Floats
    own_colour: Floats
    own_light: Floats


def _fits(effect: Floats, other: Floats | None) -> bool:
    return other is not None and effect.shape[1] == other.shape[1]


def _reach(lab: Floats, budget: Sequence[BudgetTerm]) -> float:
    return float(np.trace(delta_e_metric(lab) @ sum_of(budget)))


def conditioned(
    seen: Sequence[SeenReference], unreadable: Sequence[LeftOut], photo: str, discrepancy: Discrepancy
) -> Conditioned:
    """Return what references tell, those left out that are likelier mistaken than sound.

    Each is sound, or with a small chance another surface than the log says, or under glare (Box and Tiao 1968,
    Biometrika 55(1)). Of all ways to part them the likeliest is sought, one or two mistakes at a time; where it can't
    be told which of two is mistaken, both are left out.
    """
    every = Conditioned(tuple(seen), photo, discrepancy)
    rows, out = list(range(len(seen))), list(unreadable)
    while rows:
        wrong, why = _likeliest_mistake(every, rows)
        if not wrong:
            break
        out += [LeftOut(seen[row].index, why, seen[row]) for row in wrong]
        rows = [row for row in rows if row not in wrong]
    return Conditioned(tuple(seen[row] for row in rows), photo, discrepancy, tuple(out))


def _likeliest_mistake(every: Conditioned, rows: Sequence[int]) -> tuple[tuple[int, ...], Literal["odd", "at odds"]]:
    """Return which one or two of some references are likelier mistaken than all are sound; none where they are."""
    off = every.distances(rows)
    doubtful = [rows[place] for place in np.argsort(-off)[:MOST_DOUBTFUL] if off[place] > PLAINLY_SOUND]

    def gained(wrong: tuple[int, ...]) -> float:
        rest = [row for row in rows if row not in wrong]
        mistaken = sum(every.log_mistaken(row) + np.log(MISTAKEN / (1 - MISTAKEN)) for row in wrong)
        return every.log_evidence(rest) + float(mistaken) - sound

    sound = every.log_evidence(rows)
    ways = {wrong: gained(wrong) for size in (1, 2) for wrong in combinations(doubtful, size)}
    ranked = sorted(ways, key=lambda wrong: -ways[wrong])
    if not ranked or ways[ranked[0]] <= 0:
        return (), "odd"
    likely = [wrong for wrong in ranked if len(wrong) == 1 and ways[wrong] > ways[ranked[0]] - np.log(CLEARLY)]
    if len(ranked[0]) == 1 and len(likely) > 1:
        return (likely[0][0], likely[1][0]), "at odds"
    return ranked[0], "odd"
