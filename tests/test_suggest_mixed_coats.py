"""Logs hold recipes of one coat and of two; predictions are made from all of them together."""

from __future__ import annotations

import numpy as np

from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe
from matcher.suggest.suggester import Suggester
from matcher.trials.trial import Trial


def test_a_log_of_one_and_two_coat_recipes_gives_a_list_and_a_next_plate() -> None:
    """Invented plates: more passes are darker, a second coat is greener."""
    trials = []
    for passes in (2, 4, 6, 8, 10):
        ferric = Coat("ferric nitrate", 0.5, passes, 105.0)
        cupric = Coat("cupric nitrate", 0.25, 3, 100.0)
        for coats, green in (((ferric,), 0.0), ((cupric, ferric), -6.0)):
            lab = np.array([50.0 - 1.5 * passes, 14.0 + green, 26.0 - 0.5 * passes])
            trials.append(Trial(recipe=Recipe("silicon bronze", None, coats), reading=Reading(lab=lab)))
    suggester = Suggester(trials)
    target = Reading(lab=np.array([40.5, 13.0, 23.0]))
    ranked = suggester.suggest(target, count=6)
    assert {len(suggestion.recipe.coats) for suggestion in ranked} <= {1, 2}
    assert {suggestion.basis for suggestion in ranked} == {"logged", "predicted"}
    assert suggester.next_trial(target).recipe.coats
