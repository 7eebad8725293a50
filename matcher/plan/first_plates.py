"""The first plates of a studio that has none: recipes that cover what it owns.

Each is the one that the process model, knowing those before, would learn most from.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from matcher.errors import SuggestionError
from matcher.plan.session import LOOKED_AT
from matcher.process.design import Categories, columns_of
from matcher.process.film import FilmMean
from matcher.process.residual import AFTER_FILM, PRIOR_LOG_PLATE_SD, features_of, kernel, prior_log_weights
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat

STARTING_SIZES = (4, 96)


def pass_steps(most: int) -> tuple[int, ...]:
    """Return numbers of passes up to ``most``, closer at first: the early passes change the colour most."""
    steps, step = [1], 1
    while steps[-1] + step < most:
        steps.append(steps[-1] + step)
        step += len(steps) % 2
    return tuple(dict.fromkeys((*steps, max(most, 1))))


def heat_steps(coolest_c: float, hottest_c: float) -> tuple[float, ...]:
    """Return the two surface temperatures, °C, and the one halfway to a degree; one alone when they are the same."""
    low, high = sorted((float(coolest_c), float(hottest_c)))
    return tuple(sorted({low, float(round((low + high) / 2)), high})) if high > low else (low,)


def first_plates(
    count: int,
    *,
    alloy: str,
    chemicals: Sequence[str],
    undercoats: Sequence[str],
    strengths: Sequence[float],
    most_passes: int,
    temps_c: tuple[float, float],
    application: str = Coat.application,
    seal: Seal | None = None,
) -> list[Recipe]:
    """Return the first plates for what a studio says that it owns, wherever it was asked.

    strengths: fractions of stock that are mixed, for coats and undercoats alike; temps_c: coolest and hottest of the
    metal. Raises as ``starting_set`` does.
    """
    return starting_set(
        count,
        alloy=alloy,
        chemicals=chemicals,
        undercoats=undercoats,
        strengths=strengths,
        undercoat_strengths=strengths,
        passes=pass_steps(most_passes),
        surface_temps_c=heat_steps(*temps_c),
        application=application,
        seal=seal,
    )


def starting_set(
    count: int,
    *,
    alloy: str,
    chemicals: Sequence[str],
    undercoats: Sequence[str] = (),
    strengths: Sequence[float] = (0.25, 0.5, 1.0),
    undercoat_strengths: Sequence[float] = (0.25, 0.5, 1.0),
    burnishes: Sequence[float] = (0.0, 0.25, 0.5, 0.75),
    passes: Sequence[int] = pass_steps(12),
    surface_temps_c: Sequence[float] = heat_steps(95.0, 115.0),
    application: str = Coat.application,
    seal: Seal | None = None,
    rng: np.random.Generator | None = None,
) -> list[Recipe]:
    """Return the first ``count`` plates (12, 24 and 48 are usual) for a studio that has none, in the order to make.

    Covers what the studio owns: every plate is the one whose colour is least known from those before it, under the
    process model's prior. Raises SuggestionError when there is nothing to choose from, RecipeError for a value that
    no recipe takes.
    """
    least, most = STARTING_SIZES
    if isinstance(count, bool) or not isinstance(count, int) or not least <= count <= most:
        raise SuggestionError(f"Ask for {least} to {most} starting plates: {count!r} is not that.")
    if not chemicals or not strengths or not passes or not surface_temps_c:
        raise SuggestionError("Name at least one chemical, strength, number of passes and temperature to start from.")
    # what is named twice is owned once: no plate is to be made twice
    under = (Undercoat(*combo) for combo in itertools.product(undercoats, undercoat_strengths, burnishes))
    grounds: list[Undercoat | None] = [None, *dict.fromkeys(under)]
    coats = (
        Coat(chemical, strength, times, temp, application)
        for chemical, strength, times, temp in itertools.product(chemicals, strengths, passes, surface_temps_c)
    )
    stacks = [(coat,) for coat in dict.fromkeys(coats)]
    draw = rng if rng is not None else np.random.default_rng(0)
    many = len(grounds) * len(stacks)
    kept = draw.permutation(many)[:LOOKED_AT]
    recipes = [Recipe(alloy, grounds[k % len(grounds)], stacks[k // len(grounds)], seal) for k in kept]
    return [recipes[row] for row in _space_filling(recipes, min(count, len(recipes)))]


def _space_filling(recipes: Sequence[Recipe], count: int) -> list[int]:
    """Return rows in the order in which each is the least known given those before (pivoted Cholesky)."""
    categories = Categories.of(recipes)
    curve = FilmMean(categories)
    columns = columns_of(recipes, categories)
    lab, jacobian = curve.linearised(curve.prior_mean, columns)
    features = features_of(columns, lab, categories)
    correlation = kernel(features, features, prior_log_weights(features))
    residual, plate = np.exp(2 * AFTER_FILM.log_residual_sd), np.exp(2 * PRIOR_LOG_PLATE_SD)
    # chroma counts less than lightness in ΔE00 at a patina's chroma, about by S_C
    scale = np.array([1.0, 0.6, 0.6])
    stacked = jacobian * curve.prior_sd * scale[:, None]
    n = len(recipes)
    known = np.zeros((3, n, 0))
    left = np.square(stacked).sum(axis=2) + residual * np.square(scale)
    chosen: list[int] = []
    for _ in range(count):
        total = left.sum(axis=1)
        total[chosen] = -np.inf
        row = int(np.argmax(total))
        chosen.append(row)
        new = np.empty((3, n, 1))
        for k in range(3):  # the three are taken as independent: enough to spread plates
            shared = stacked[:, k] @ stacked[row, k] + residual[k] * scale[k] ** 2 * correlation[:, row]
            shared = shared - known[k] @ known[k][row]
            new[k, :, 0] = shared / np.sqrt(left[row, k] + plate[k] * scale[k] ** 2)
            left[:, k] = np.maximum(left[:, k] - np.square(new[k, :, 0]), 0.0)
        known = np.concatenate([known, new], axis=2)
    return chosen
