"""The parts of a reading's uncertainty, and what two readings share of them (JCGM 100, GUM).

Each part is an effect: how far CIELAB moves per standard deviation of each of its causes. Two readings that have a
cause in common (one photograph, one card, one profile) move together, and their difference moves less.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.types import Floats
from matcher.errors import ReadingError

MOST_CAUSES = 3 * 40
LEAST_VARIANCE = 1e-12
CAMERA_AND_LIGHT_OF, TONE_CURVE_OF = "camera and light of ", "tone curve of "
"""How the keys of causes begin that a camera which no chart has shown brings in. Documents tell such a cause by it; in
here ``BudgetTerm.unknown_camera`` does."""
MOST_SHARED = 24
"""Shared causes that the budget of a reading among known finishes, or of a mean of readings, keeps by name."""


@dataclass(frozen=True, eq=False)
class BudgetTerm:
    """One part of the uncertainty.

    name: a ``Source``; any text in a document of another version. effect: (3, p), the shift of L*, a*, b* per standard
    deviation of each of p independent causes. shared: a key of the causes, when another reading can have the same
    ones; None when they are this reading's alone. remedy: what would shrink it. unknown_camera: whether the causes are
    a camera that no chart has shown, in whichever photograph: of two photographs they go by two keys, so that their
    difference is not taken to be surer than it is; but one camera errs alike in both. Raises ReadingError when the
    effect is not (3, p) finite numbers.
    """

    name: str
    effect: Floats
    remedy: str = ""
    shared: str | None = None
    unknown_camera: bool = False

    def __post_init__(self) -> None:
        try:
            effect = np.array(self.effect, dtype=float)
        except (TypeError, ValueError):
            effect = np.full(0, np.nan)
        if effect.ndim != 2 or effect.shape[0] != 3 or effect.shape[1] > MOST_CAUSES or not np.isfinite(effect).all():
            raise ReadingError(f"Check the uncertainty {self.name!r}: it is not 3 rows of finite numbers.")
        object.__setattr__(self, "name", str(self.name))
        object.__setattr__(self, "effect", effect)

    def is_of(self, photo: str | None) -> bool:
        """Tell whether no reading of another photograph has the same causes. photo: SHA-256, which their key names."""
        return self.shared is None or (photo is not None and photo in self.shared)

    @property
    def covariance(self) -> Floats:
        """The (3, 3) CIELAB covariance of this part."""
        return np.asarray(self.effect @ self.effect.T)

    def as_dict(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "covariance": self.covariance.tolist(),
            "effect": self.effect.tolist(),
            "remedy": self.remedy,
            "shared": self.shared,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> BudgetTerm:
        effect = data["effect"] if "effect" in data else square_root(data["covariance"])
        shared = data.get("shared")
        unknown_camera = isinstance(shared, str) and shared.startswith((CAMERA_AND_LIGHT_OF, TONE_CURVE_OF))
        return cls(str(data["name"]), np.asarray(effect, float), str(data.get("remedy", "")), shared, unknown_camera)


def square_root(covariance: ArrayLike, least: float = 0.0) -> Floats:
    """Return (..., k, k) whose product with its own transpose is the covariance (..., k, k).

    Its columns are the principal directions, the widest last. least: variance that none of them falls below.
    """
    values, vectors = np.linalg.eigh(np.asarray(covariance, dtype=float))
    return np.asarray(vectors * np.sqrt(np.maximum(values, least))[..., None, :])


def squared_distance(step: ArrayLike, covariance: ArrayLike) -> Floats:
    """Return the squared distance (...,) of steps (..., k) in standard deviations of their covariance (..., k, k).

    A direction in which nothing is uncertain counts as known to within rounding, so that no covariance is singular.
    """
    values, vectors = np.linalg.eigh(np.asarray(covariance, dtype=float))
    least = LEAST_VARIANCE * (1 + np.maximum(values[..., -1:], 0.0))
    along = np.einsum("...ij,...i->...j", vectors, np.asarray(step, dtype=float))
    return np.asarray(np.sum(np.square(along) / np.maximum(values, least), axis=-1))


def sum_of(terms: Sequence[BudgetTerm]) -> Floats:
    """Return the covariance (3, 3) of all parts together; the parts of one reading are independent."""
    return np.sum([term.covariance for term in terms], axis=0) if terms else np.zeros((3, 3))


def shared_covariance(first: Sequence[BudgetTerm], second: Sequence[BudgetTerm]) -> Floats:
    """Return the covariance (3, 3) between the errors of two readings: rows of the first, columns of the second.

    A cause named twice in one reading is shared once, by its first part: the parts of one reading are independent.
    """
    common = np.zeros((3, 3))
    others = by_cause(second)
    for cause, term in by_cause(first).items():
        other = others.get(cause)
        if other is not None and other.effect.shape == term.effect.shape:
            common += term.effect @ other.effect.T
    return common


def by_cause(budget: Sequence[BudgetTerm]) -> dict[str, BudgetTerm]:
    """Return the parts that another reading can share, by their cause: the first, where one is named twice."""
    found: dict[str, BudgetTerm] = {}
    for term in budget:
        if term.shared is not None:
            found.setdefault(term.shared, term)
    return found


def slimmed(budget: Sequence[BudgetTerm], most: int = MOST_SHARED) -> tuple[BudgetTerm, ...]:
    """Return a budget whose lesser shared causes are summed, by source, as the reading's own.

    Plates that are read by each other again and again come to share hundreds of causes, nearly all of them tiny; the
    ``most`` that matter most keep their names. The sum of all parts stays.
    """
    ranked = sorted(by_cause(budget).values(), key=lambda term: -float(np.trace(term.covariance)))
    if len(ranked) <= most:
        return tuple(budget)
    lesser = {id(term) for term in ranked[most:]}
    summed: dict[str, Floats] = {}
    for term in budget:
        if id(term) in lesser:
            summed[term.name] = summed.get(term.name, np.zeros((3, 3))) + term.covariance
    kept = [term for term in budget if id(term) not in lesser]
    return (*kept, *(BudgetTerm(name, square_root(covariance)) for name, covariance in summed.items()))


CHI2_95 = 7.815  # 95 % point of chi-square with 3 degrees of freedom
NORMAL_95 = 1.959964  # two-sided 95 % point of the normal distribution
CHI_95_PLANE = 2.447747  # root of the 95 % point of chi-square with 2 degrees of freedom, 5.991465


def plus_minus_95(covariance: ArrayLike) -> Floats:
    """Return the half widths (3,) of the 95 % intervals of L*, a*, b*, each by itself, from a covariance (3, 3)."""
    return NORMAL_95 * np.sqrt(np.diag(np.asarray(covariance, dtype=float)))


def ellipse_95(lab: ArrayLike, covariance: ArrayLike, points: int = 96) -> Floats:
    """Return the outline (points, 2) in a*, b* that holds the true a*, b* with 95 %; its last point is its first."""
    spread = np.asarray(covariance, dtype=float)[1:, 1:]
    around = np.linspace(0.0, 2 * np.pi, points)
    circle = np.stack([np.cos(around), np.sin(around)])
    reach = square_root(spread) @ circle
    return np.asarray(np.asarray(lab, dtype=float)[1:] + CHI_95_PLANE * reach.T)
