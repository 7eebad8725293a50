"""What sealing does to a colour, learned from plates read before and after; compares unsealed with sealed.

Used at the bench, where the piece is read unsealed and the target is sealed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matcher.finish import Reading
from matcher.trials.trial import FINISHED, Trial

Floats = NDArray[np.float64]

PRIOR_SHIFT = np.array([-2.0, 0.5, 0.5])
"""Wax darkens and deepens the colour (common practice, no source); the figures are a guess, with ``PRIOR_SD``."""
PRIOR_SD = np.array([2.0, 1.5, 1.5])
PLATE_SD = np.array([0.8, 0.6, 0.6])
"""How the shift differs from plate to plate: a guess that the pairs correct."""
GUESS_WEIGHT = 4.0


@dataclass(frozen=True, eq=False)
class SealShift:
    """shift: (3,) CIELAB added by sealing. covariance: (3, 3), of the next piece's shift. pairs: how many were read."""

    kind: str
    shift: Floats
    covariance: Floats
    pairs: int

    @property
    def sentence(self) -> str:
        """Say what sealing does and how well that is known."""
        known = f"from {self.pairs} plate{'s' if self.pairs != 1 else ''} read before and after"
        if self.pairs == 0:
            known = "a guess: no plate was read before and after"
        sd = np.sqrt(np.diag(self.covariance))
        signed = ", ".join(
            f"{name} {step:+.1f} ± {2 * s:.1f}" for name, step, s in zip("Lab", self.shift, sd, strict=True)
        )
        return f"{self.kind[:1].upper()}{self.kind[1:]} changes the colour by {signed} ({known})."

    def before_sealing(self, target: Reading) -> Reading:
        """Return what an unsealed piece must read to match a sealed target once sealed."""
        lab = target.lab - self.shift
        return Reading(
            lab=np.array([np.clip(lab[0], 0.0, 100.0), lab[1], lab[2]]),
            covariance=target.covariance + self.covariance,
            source=target.source,
        )


def learn_seal_shift(trials: Iterable[Trial], kind: str = "wax") -> SealShift:
    """Learn the shift of a seal ("wax" or "lacquer") from trials whose stages hold a reading before and one after."""
    steps, noises = [], []
    for trial in trials:
        pair = _pair(trial, kind)
        if pair is not None:
            steps.append(pair[1].lab - pair[0].lab)
            noises.append(np.diag(pair[0].covariance + pair[1].covariance))
    if not steps:
        return SealShift(kind, PRIOR_SHIFT.copy(), np.diag(PRIOR_SD**2 + PLATE_SD**2), 0)
    differences, noise = np.array(steps), np.array(noises)
    own = _plate_variance(differences, noise)
    weight = 1 / (own + noise)
    precision = 1 / PRIOR_SD**2 + weight.sum(axis=0)
    shift = (PRIOR_SHIFT / PRIOR_SD**2 + (weight * differences).sum(axis=0)) / precision
    return SealShift(kind, shift, np.diag(1 / precision + own), len(steps))


def _plate_variance(differences: Floats, noise: Floats) -> Floats:
    """Return (3,) how the shift varies between plates: the spread seen less the readings' share, near the guess."""
    n = len(differences)
    if n < 2:
        return np.asarray(PLATE_SD**2)
    spread = np.maximum(differences.var(axis=0, ddof=1) - noise.mean(axis=0), 0.0)
    return np.asarray((GUESS_WEIGHT * PLATE_SD**2 + (n - 1) * spread) / (GUESS_WEIGHT + n - 1))


def _pair(trial: Trial, kind: str) -> tuple[Reading, Reading] | None:
    if trial.set_aside is not None or trial.recipe.seal is None or trial.recipe.seal.kind != kind:
        return None
    before = [step.reading for step in trial.stages if step.stage in ("cool", "unsealed", FINISHED)]
    before = before or [step.reading for step in trial.stages if step.stage.startswith("pass ")]
    after = [step.reading for step in trial.stages if step.stage in ("waxed", "lacquered", "sealed")]
    if not before:
        return None
    return before[-1], (after[-1] if after else trial.reading)
