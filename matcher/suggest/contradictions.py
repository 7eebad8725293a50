"""Trials that disagree with everything near them: pointed out to a person, never dropped. After the process model."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matcher.difference import delta_e_2000, difference_in_words
from matcher.suggest.process_model import ProcessModel
from matcher.suggest.suggestion import LoggedTrial

Floats = NDArray[np.float64]

SURPRISING_CHI2 = 16.27
"""99.9 % point of chi-square with 3 degrees of freedom: by chance one plate in a thousand."""
FEWEST_TRIALS = 6
NEAR = 0.6
"""Prior correlation above which another plate counts as near: with none so near there is nothing to contradict."""


@dataclass(frozen=True, eq=False)
class Contradiction:
    """A trial whose colour the others do not lead one to expect. expected: (3,) CIELAB. surprise: chi-square, 3."""

    trial: LoggedTrial
    expected: Floats
    delta_e00: float
    surprise: float
    sentence: str

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "trial": self.trial.id,
            "expected_lab": self.expected.tolist(),
            "delta_e00": self.delta_e00,
            "sentence": self.sentence,
        }


def contradictions(model: ProcessModel) -> list[Contradiction]:
    """Return the trials that disagree with those near them, the most surprising first."""
    if len(model.trials) < FEWEST_TRIALS:
        return []
    misses, covariances = model.left_out
    surprise = np.einsum("mi,mij,mj->m", misses, np.linalg.inv(covariances), misses) / model.caution**2
    kinship = model.kinship(model.columns([trial.recipe for trial in model.trials]))
    np.fill_diagonal(kinship, 0.0)
    found = []
    for row in np.argsort(-surprise, kind="stable"):
        if surprise[row] <= SURPRISING_CHI2:
            break
        if kinship[row].max() < NEAR:
            continue
        trial = model.trials[row]
        expected = trial.reading.lab - misses[row]
        delta = float(delta_e_2000(expected, trial.reading.lab))
        found.append(
            Contradiction(trial, expected, delta, float(surprise[row]), _sentence(model, row, expected, delta, kinship))
        )
    return found


def _sentence(model: ProcessModel, row: int, expected: Floats, delta: float, kinship: Floats) -> str:
    trial = model.trials[row]
    name = "A plate" if trial.id is None else f"Plate {trial.id}"
    words = difference_in_words(expected, trial.reading.lab, than="than the plates near it lead one to expect")
    near = model.trials[int(np.argmax(kinship[row]))].id
    compare = "" if near is None else f", beginning with plate {near}"
    return (
        f"{name} is {words} (ΔE00 {delta:.1f}): check its recipe and reading{compare}, make it again, "
        "or set it aside with the reason."
    )
