"""What the references of one photograph tell of its errors, and a finish's reading with that taken out.

A camera's and a light's errors are a budget of causes with effects on every colour, and beside it a discrepancy, local
in colour and in place, for what no such cause bends into. Seeing a finish of known colour tells of both: a linear-
Gaussian update (conditioning a Gaussian: Rasmussen and Williams 2006, equation A.6). What is left stays a budget of
causes, so that two readings still cancel what they share, with a known finish's own reading too.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import logsumexp, softmax

from matcher.calibration.references.discrepancy import SCALE_SPREAD, SURFACES_OWN, USUAL_SIZE, Discrepancy
from matcher.calibration.references.reference import (
    LeftOut,
    SeenReference,
    by_cause,
    cause_of_own,
    own_root,
    own_seen,
    unknown_cameras,
)
from matcher.colour.metric import delta_e_metric
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm, slimmed, square_root, sum_of

SCALES = np.exp(np.linspace(np.log(0.1), np.log(7.0), 15))
_PRIOR = softmax(-np.square(np.log(SCALES)) / (2 * SCALE_SPREAD**2))
LOG_ROOT_2PI = 0.5 * np.log(2 * np.pi)
SURELY_LARGER = 1.2
"""Times its usual size, beyond which a discrepancy is shown to be larger, so that readings without it are too sure."""
KNOWN_BETTER = "measure these plates with an instrument, or beside a chart in daylight"
LAID_BESIDE = "lay a plate of nearly this colour right beside it"
MISTAKEN_SD = 20.0
"""CIELAB: how far off a reference is that is another surface than the log says, or under glare: two finishes of one
log, drawn by chance."""


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

    @property
    def _causes(self) -> dict[str, Floats]:
        """Effects (3n, p) on what is read minus known, by cause."""
        return self._causes_and_unknown[0]

    @cached_property
    def _causes_and_unknown(self) -> tuple[dict[str, Floats], set[str]]:
        """Effects (3n, p) on what is read minus known, by cause, and which of these are an unknown camera.

        Where a finish was known as unsurely as this camera reads, the camera's part goes by another name than in a
        reading that is to be corrected, so that nothing of it is learned.
        """
        count = len(self.used)
        causes: dict[str, Floats] = {}
        unknown: set[str] = set()
        for row, item in enumerate(self.used):
            for sign, reading in ((1, item.seen), (-1, item.reference.reading)):
                cameras = unknown_cameras(reading.budget)
                for cause, effect in by_cause(reading.budget).items():
                    camera = cause in cameras
                    if sign == 1 and item.as_unknown and camera:
                        cause = f"{cause}, by finishes known as unsurely"
                    if cause in causes and causes[cause].shape[1] != effect.shape[1]:
                        cause = f"{cause} ({row})"
                    whole = causes.setdefault(cause, np.zeros((3 * count, effect.shape[1])))
                    whole[3 * row : 3 * row + 3] += sign * effect
                    if camera:
                        unknown.add(cause)
        return causes, unknown

    @cached_property
    def _own(self) -> tuple[Floats, Floats]:
        """Roots (n, 3, 3) of what each seen and each known reading has of its own."""
        seen = [square_root(own_seen(item.seen) + np.diag(SURFACES_OWN**2)) for item in self.used]
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
        ours, causes = by_cause(budget), self._causes
        common = near.light + sum(
            (ours[cause] @ causes[cause].T for cause in ours if _fits(ours[cause], causes.get(cause))),
            np.zeros_like(near.light),
        )
        weights, inverses = self._weights
        between = common + SCALES[:, None, None] ** 2 * near.colour
        gain = np.einsum("k,kij->ij", weights, between @ inverses)
        its_own = BudgetTerm(Source.CAMERA_LOCALLY, np.diag(SURFACES_OWN), LAID_BESIDE)
        left = (*self._of_causes(budget, gain), *self._of_references(gain), *self._of_places(near, gain), its_own)
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
            terms.append(replace(term, effect=effect))
        causes, unknown = self._causes_and_unknown
        others = {cause: effect for cause, effect in causes.items() if cause not in met}
        return terms + [
            BudgetTerm(Source.REFERENCES, -gain @ effect, KNOWN_BETTER, cause, cause in unknown)
            for cause, effect in others.items()
        ]

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
