"""How far the predictions can be trusted: error and coverage on plates left out, and what one more plate is worth.

After the process model; for a page and for ``--json``. Every figure but one is of models fitted anew without the
plates that they are tested on; of many plates those left out one by one hold noise and weights as learned from all.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.colour.uncertainty import CHI2_95
from matcher.errors import SuggestionError
from matcher.plan.next_plate import kind_of
from matcher.plan.outlook import draws_of
from matcher.plan.recipe_space import RecipeSpace
from matcher.process.hand import DriftPoint, days_of, many_days
from matcher.process.learn import fit_process
from matcher.process.logged import LoggedTrial
from matcher.process.model import ProcessModel
from matcher.recipe.recipe import Recipe
from matcher.suggest.outliers import Contradiction, contradictions

FEWEST_TRIALS = 4
MOST_GROUPS = 12
GROWTH_SIZES = (6, 12, 24, 48, 96, 192)
TESTED_ON = 40
LOOKED_AT = 600


@dataclass(frozen=True, eq=False)
class LeftOut:
    """Errors (n,) in ΔE00 of plates predicted without themselves, and the share inside their 95 % regions."""

    errors: Floats
    coverage: float

    @property
    def median(self) -> float:
        """Return the ΔE00 within which half of the plates were predicted."""
        return float(np.median(self.errors))

    @property
    def percentile_90(self) -> float:
        """Return the ΔE00 within which nine of ten plates were predicted."""
        return float(np.quantile(self.errors, 0.9))

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "plates": len(self.errors),
            "median_delta_e00": self.median,
            "percentile_90_delta_e00": self.percentile_90,
            "coverage_95": self.coverage,
        }


@dataclass(frozen=True)
class Kind:
    """A kind of recipe, in words: its coats ("ferric nitrate, then cupric nitrate") and what they are laid over."""

    coats: str
    over: str

    @property
    def name(self) -> str:
        """Return both: "ferric nitrate over liver of sulphur"."""
        return f"{self.coats} over {self.over}"


@dataclass(frozen=True)
class Region:
    """One kind of recipe. doubt: ΔE00 by which a prediction there may be off (its mean).

    expected_gain: how much one more plate, the best placed, would take off that, on average over the recipe space.
    """

    kind: Kind
    plates: int
    doubt: float
    expected_gain: float

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {"name": self.kind.name, "plates": self.plates, "doubt": self.doubt, "worth": self.expected_gain}


@dataclass(frozen=True, eq=False)
class CrossValidation:
    """left_out: each plate without itself. groups: by kind, plates without any of their kind. growth: (plates, error).

    regions: by expected gain of one more plate, greatest first. trials: those learned from, in the order of left_out's
    errors; logged: how many there are in all. drift: how coats came out on some days, empty where no drift shows.
    days: on how many they were made.
    """

    left_out: LeftOut
    groups: tuple[tuple[Kind, LeftOut], ...]
    growth: tuple[tuple[int, float], ...]
    regions: tuple[Region, ...]
    contradictions: tuple[Contradiction, ...]
    trials: tuple[LoggedTrial, ...] = ()
    logged: int = 0
    drift: tuple[DriftPoint, ...] = ()
    days: int = 0

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "learned_from": len(self.trials),
            "logged": self.logged,
            "left_out": self.left_out.as_dict(),
            "errors": [
                {"trial": trial.id, "delta_e00": float(error)}
                for trial, error in zip(self.trials, self.left_out.errors, strict=True)
            ],
            "groups": [{"left_out": kind.name, **figures.as_dict()} for kind, figures in self.groups],
            "growth": [{"plates": plates, "median_delta_e00": error} for plates, error in self.growth],
            "regions": [region.as_dict() for region in self.regions],
            "drift": [point.as_dict() for point in self.drift],
            "days": self.days,
            "contradictions": [item.as_dict() for item in self.contradictions],
        }


def cross_validate(
    model: ProcessModel, space: RecipeSpace, rng: np.random.Generator, logged: int | None = None
) -> CrossValidation:
    """Return what the model's own plates say of it. logged: how many plates there are in all, when it is a subset.

    Raises SuggestionError when there are too few to leave one out.
    """
    if len(model.trials) < FEWEST_TRIALS:
        raise SuggestionError(
            f"Log at least {FEWEST_TRIALS} plates: from {len(model.trials)} nothing can be said of the predictions yet."
        )
    return CrossValidation(
        left_one_out(model),
        tuple(left_groups_out(model)),
        tuple(growth(model.trials, rng)),
        tuple(expected_gain_by_region(model, space, rng)),
        tuple(contradictions(model)),
        tuple(model.trials),
        len(model.trials) if logged is None else logged,
        model.drifted,
        many_days(days_of(model.trials)),
    )


def left_one_out(model: ProcessModel) -> LeftOut:
    """Return the figures of every plate predicted from others, itself left out."""
    residuals, covariances = model.cross_validated
    labs = np.array([trial.reading.lab for trial in model.trials])
    return LeftOut(delta_e_2000(labs - residuals, labs), _coverage(residuals, covariances * model.inflation**2))


def left_groups_out(model: ProcessModel) -> list[tuple[Kind, LeftOut]]:
    """Return, for every pairing of undercoat and chemicals, its plates predicted from all other kinds."""
    groups: dict[tuple[str | None, ...], list[int]] = defaultdict(list)
    for place, trial in enumerate(model.trials):
        groups[kind_of(trial.recipe)].append(place)
    largest = sorted(groups.items(), key=lambda item: -len(item[1]))[:MOST_GROUPS]
    figures = []
    for _, rows in largest:
        rest = [trial for place, trial in enumerate(model.trials) if place not in set(rows)]
        if len(rest) >= FEWEST_TRIALS - 1:
            others, left = fit_process(rest, model, model.usual), [model.trials[row] for row in rows]
            figures.append((in_words(_as_typed(left[0].recipe)), _tested(others, left, model.inflation)))
    return figures


def growth(trials: Sequence[LoggedTrial], rng: np.random.Generator) -> list[tuple[int, float]]:
    """Return (plates learned from, median ΔE00 error on others), as plates are added in a random order."""
    order = [trials[k] for k in rng.permutation(len(trials))]
    tested = order[-min(TESTED_ON, max(2, len(order) // 3)) :]
    sizes = [size for size in GROWTH_SIZES if size <= len(order) - len(tested)]
    return [(size, float(np.median(_tested(fit_process(order[:size]), tested, 1.0).errors))) for size in sizes]


def expected_gain_by_region(model: ProcessModel, space: RecipeSpace, rng: np.random.Generator) -> list[Region]:
    """Return what one more plate in each kind of recipe would be worth, greatest first."""
    rows = rng.permutation(len(space))[:LOOKED_AT]
    recipes = [space.recipe(int(row)) for row in rows]
    labs, covariance = model.predict_together(model.columns(recipes))
    n = len(recipes)
    blocks = covariance.reshape(n, 3, n, 3)
    own = blocks[np.arange(n), :, np.arange(n), :]
    noise = model.plate_covariances(recipes) + 0.09 * np.eye(3)
    across = blocks.transpose(0, 2, 1, 3)
    explained = np.einsum("abij,bjk,abik->ab", across, np.linalg.inv(own + noise), across)
    doubt = np.array([draws_of(lab, lab[None], cov[None])[0].mean() for lab, cov in zip(labs, own, strict=True)])
    variance = np.einsum("nii->n", own)
    # a plate takes this share off the variance, so about half of it off the doubt
    gain = (doubt[:, None] * 0.5 * explained / np.maximum(variance, 1e-9)[:, None]).mean(axis=0)
    seen = [kind_of(trial.recipe) for trial in model.trials]
    kinds = [kind_of(recipe) for recipe in recipes]
    regions = []
    for kind in dict.fromkeys(kinds):
        here = np.array([other == kind for other in kinds])
        words = in_words(_as_typed(recipes[int(np.argmax(here))]))
        regions.append(Region(words, seen.count(kind), float(doubt[here].mean()), float(gain[here].max())))
    return sorted(regions, key=lambda region: -region.expected_gain)


def _as_typed(recipe: Recipe) -> tuple[str | None, ...]:
    """Return the kind of a recipe with the names of its undercoat and coats as they were typed."""
    return (
        None if recipe.undercoat is None else recipe.undercoat.chemical,
        *(coat.chemical for coat in recipe.coats),
    )


def in_words(kind: tuple[str | None, ...]) -> Kind:
    """Return a kind of recipe, the names of its undercoat and its coats, in words."""
    under, *coats = kind
    coated = ", then ".join(coat for coat in coats if coat is not None) or "no coat"
    return Kind(coated, "bare metal" if under is None else under)


def _tested(model: ProcessModel, trials: Sequence[LoggedTrial], inflation: float) -> LeftOut:
    labs, covariances = model.predict(model.columns([trial.recipe for trial in trials]), inflation)
    measured = np.array([trial.reading.lab for trial in trials])
    noise = model.plate_covariances([trial.recipe for trial in trials])
    noise = noise + model.scatter([trial.reading for trial in trials])
    return LeftOut(delta_e_2000(labs, measured), _coverage(measured - labs, covariances + noise))


def _coverage(residuals: Floats, covariances: Floats) -> float:
    square = np.einsum("ni,ni->n", residuals, np.linalg.solve(covariances, residuals[..., None])[..., 0])
    return float(np.mean(square <= CHI2_95))
