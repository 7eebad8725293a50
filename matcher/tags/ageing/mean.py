"""One colour from many readings: their generalised least-squares mean, with what stays shared among them.

A mean of readings that are known by a joint covariance C is the generalised least-squares one, (1'C⁻¹1)⁻¹ 1'C⁻¹ y, of
the least variance of all unbiased ones (A. C. Aitken, On least squares and linear combination of observations, Proc.
R. Soc. Edinburgh 55, 1935, 42-48; from memory). What all readings share, such as one camera profile, stays in it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from matcher.calibration.calibration import UNPROFILED
from matcher.calibration.references.reference import cause_of_own, own_root
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import CAMERA_AND_LIGHT_OF, LEAST_VARIANCE, BudgetTerm, slimmed, square_root, sum_of
from matcher.reading.comparison import joint_covariance
from matcher.reading.reading import Reading


def mean_of(readings: Sequence[Reading]) -> Reading:
    """Return the generalised least-squares mean of readings of one colour, with what its budget is made of.

    Causes that several readings share stay shared, with this mean's own part of them; what is a reading's own is summed
    by its source. Cameras that no chart has shown may be one camera in one light, whose error no number of photographs
    averages away: it is counted as whole as it may be. The rest of the first reading (palette, caveats) is kept; it is
    of no one photograph.
    """
    weights = np.linalg.solve(*of_one_colour(joint_covariance(readings)))  # (3, 3 m)
    parts = np.asarray(weights.reshape(3, len(readings), 3).transpose(1, 0, 2), float)
    lab = sum(part @ reading.lab for part, reading in zip(parts, readings, strict=True))
    budget = _budget(parts, readings)
    return replace(
        readings[0],
        lab=np.asarray(lab),
        covariance=sum_of(budget),
        budget=budget,
        photo=None,
        region=None,
        conditions=None,
        pixels=sum(reading.pixels for reading in readings),
    )


def of_one_colour(covariance: Floats) -> tuple[Floats, Floats]:
    """Return 1'C⁻¹1 (3, 3) and 1'C⁻¹ (3, 3 m) of m readings of one colour."""
    ones = np.tile(np.eye(3), (len(covariance) // 3, 1))
    right = np.linalg.solve(covariance, ones).T
    return np.asarray(right @ ones), np.asarray(right)


def _budget(parts: Floats, readings: Sequence[Reading]) -> tuple[BudgetTerm, ...]:
    """Return what the uncertainty of a weighted mean is made of; parts: (m, 3, 3) the weights.

    What the first reading has of its own goes by the name that readings made by it as a reference know it by.
    """
    shared: dict[tuple[str, tuple[int, ...]], list[tuple[BudgetTerm, Floats]]] = defaultdict(list)
    own: dict[str, list[Floats]] = defaultdict(list)
    first = BudgetTerm(Source.REFERENCES, own_root(readings[0]), shared=cause_of_own(readings[0]))
    for place, (part, reading) in enumerate(zip(parts, readings, strict=True)):
        named = set()
        for term in (*([first] if place == 0 else []), *reading.budget):
            effect = part @ term.effect
            if term.shared is not None and term.shared not in named:
                named.add(term.shared)
                shared[term.shared, term.effect.shape].append((term, effect))
            elif place > 0:  # a cause named twice in one reading is shared once
                own[term.name].append(effect @ effect.T)
        rest = part @ (reading.covariance - sum_of(reading.budget)) @ part.T
        if place > 0 and float(np.trace(rest)) > LEAST_VARIANCE:
            own[reading.source].append(rest)
    kept = [replace(found[0][0], effect=np.sum([effect for _, effect in found], axis=0)) for found in shared.values()]
    kept += [BudgetTerm(name, square_root(np.sum(each, axis=0))) for name, each in own.items()]
    return slimmed([*kept, *_of_one_camera(kept, readings[0])])


def _of_one_camera(kept: Sequence[BudgetTerm], first: Reading) -> list[BudgetTerm]:
    """Return what is to be added where the unknown cameras of several photographs may be one, in one light."""
    alike: dict[tuple[str, tuple[int, ...]], list[Floats]] = defaultdict(list)
    for term in kept:
        if term.unknown_camera:
            alike[term.name, term.effect.shape].append(term.effect)
    more = np.zeros((3, 3))
    for effects in alike.values():
        whole = np.sum(effects, axis=0)
        more += whole @ whole.T - sum((effect @ effect.T for effect in effects), np.zeros((3, 3)))
    root = square_root(more)
    if float(np.sum(root**2)) <= LEAST_VARIANCE:
        return []
    cause = f"{CAMERA_AND_LIGHT_OF}photographs of {cause_of_own(first)}"
    return [BudgetTerm(Source.CAMERA_AND_LIGHT, root, UNPROFILED, cause, unknown_camera=True)]
