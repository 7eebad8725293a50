"""What sealing does to a colour, learned from plates read before and after; compares unsealed with sealed.

Used at the bench, where the piece is read unsealed and the target is sealed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from matcher.colour.types import Floats
from matcher.colour.uncertainty import plus_minus_95
from matcher.plan.prediction import readable
from matcher.reading.reading import Reading
from matcher.recipe.names import canonical
from matcher.recipe.stages import SEALED_STAGES, last_stage
from matcher.trials.trial import FINISHED, Trial
from matcher.words import counted

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
        known = f"from {counted(self.pairs, 'plate')} read before and after"
        if self.pairs == 0:
            known = "a guess: no plate was read before and after"
        reach = plus_minus_95(self.covariance)
        signed = ", ".join(
            f"{name} {step:+.1f} ± {half:.1f}".replace("-", "−")
            for name, step, half in zip(("L*", "a*", "b*"), self.shift, reach, strict=True)
        )
        return f"{self.kind[:1].upper()}{self.kind[1:]} is expected to change the colour by {signed} ({known})."

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "kind": self.kind,
            "shift": self.shift.tolist(),
            "covariance": self.covariance.tolist(),
            "pairs": self.pairs,
            "sentence": self.sentence,
        }

    def before_sealing(self, target: Reading) -> Reading:
        """Return what an unsealed piece must read to match a sealed target once sealed."""
        return Reading(
            lab=readable(target.lab - self.shift),
            covariance=target.covariance + self.covariance,
            source=target.source,
            budget=target.budget,
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
    """Return a plate's readings before and after the seal: a plate waxed later counts as one waxed from the start."""
    kind = canonical(kind)
    sealed = None if trial.recipe.seal is None else canonical(trial.recipe.seal.kind)
    if trial.set_aside is not None or sealed not in (None, kind):
        return None
    named = {SEALED_STAGES.get(kind, f"{kind}ed"), *(() if sealed is None else ("sealed",))}
    after = [step.reading for step in trial.stages if step.stage in named]
    before = [step.reading for step in trial.stages if step.stage in ("cool", "unsealed", FINISHED)]
    if sealed is None:
        before = before or [trial.reading]
    else:
        # only after the last pass: a reading before it shows the coat's growth too, not the seal alone
        before = before or [step.reading for step in trial.stages if step.stage == last_stage(trial.recipe)]
        after = after or [trial.reading]
    return (before[-1], after[-1]) if before and after else None
