"""What sealing does to a colour, learned from plates read before and after; compares unsealed with sealed.

Used at the bench, where the piece is read unsealed and the target is sealed. A seal fills the surface, so that haze
which it threw back is gone, and it holds light inside; so it changes dark colours otherwise than light ones.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from matcher.colour.cielab import D50_WHITE, lab_to_xyz, xyz_to_lab
from matcher.colour.types import Floats
from matcher.colour.uncertainty import plus_minus_95, shared_covariance
from matcher.colour.words_for_colours import colour_in_words
from matcher.plan.prediction import readable
from matcher.reading.reading import Reading
from matcher.recipe.names import canonical
from matcher.recipe.stages import SEALED_STAGES, last_stage
from matcher.trials.trial import FINISHED, Trial
from matcher.words import capital, counted, with_sign

PRIOR = np.array([0.008, -0.12, 0.0, 0.0])
"""The haze that a seal takes away, as a share of white's light; the logarithm of its factor on the light inside; and by
how much that is another for X and for Z than for Y: its tint. Wax darkens and deepens the colour (common practice, no
source); the figures are a guess, with ``PRIOR_SD``: 3.3 L* darker at L* 40, 4 at L* 25."""
PRIOR_SD = np.array([0.004, 0.07, 0.007, 0.02])
FARTHEST = 6.0
"""From the guess, in ``PRIOR_SD``, that anything read may take it."""
PLATE_SD = np.array([0.001, 0.02, 0.002, 0.005])
"""How haze, factor and tint differ from plate to plate: a guess, to be scaled as the pairs show."""
LEFT_OVER_SD = 0.15
"""Of L*, a* and b* of a plate besides, which none of these explains: scaled with ``PLATE_SD``."""
SCALES = np.exp(np.linspace(-1.6, 1.6, 9))
SCALE_SD = 0.6  # of their logarithm, before any pair is read
STEPS_TO_FIT = 5
FAINTEST = 0.003
"""Share of white's light, L* 3, below which ever less is taken from a colour as haze: none goes below black."""
SMALL = 1e-4  # for derivatives, in a parameter or in CIELAB
LIGHTER = 10.0
"""L* by which the colours are lighter and darker that a sentence tells of besides."""


@dataclass(frozen=True, eq=False)
class SealEffect:
    """What a seal does to any colour. parameters: (4,), as ``PRIOR``; covariance: (4, 4), of the next piece's.

    left_over: standard deviation of its L*, a* and b* besides. pairs: how many plates were read before and after.
    """

    kind: str
    parameters: Floats
    covariance: Floats
    left_over: float
    pairs: int

    def sealed(self, labs: Floats) -> Floats:
        """Return CIELAB (..., 3) of unsealed colours once they are sealed."""
        return sealed_lab(labs, self.parameters)

    def over(self, labs: Floats) -> tuple[Floats, Floats]:
        """Return how the sealed colours of one piece follow its unsealed ones (n, 3), and what is not known of them.

        The first is (n, 3, 3), for each by itself; the second is their covariance (3n, 3n), all of them together.
        """
        by_parameter, slopes = _derivatives(labs, self.parameters)
        along = by_parameter.reshape(-1, len(PRIOR))
        besides = self.left_over**2 * np.kron(np.ones((len(labs), len(labs))), np.eye(3))
        return slopes, np.asarray(along @ self.covariance @ along.T + besides)

    def at(self, lab: Floats) -> SealShift:
        """Return what the seal does to one unsealed colour (3,)."""
        here = np.asarray(lab, dtype=float)
        return SealShift(self, here, self.sealed(here) - here, self.over(here[None])[1])

    def before_sealing(self, target: Reading) -> Reading:
        """Return what an unsealed piece must read to match a sealed target once sealed."""
        return self.at(unsealed_lab(target.lab, self.parameters)).before_sealing(target)


@dataclass(frozen=True, eq=False)
class SealShift:
    """What a seal does to a piece of one colour, ``lab`` (3,) unsealed. shift: (3,) CIELAB added by sealing.

    covariance: (3, 3), of the next piece's shift. effect: what it does to other colours.
    """

    effect: SealEffect
    lab: Floats
    shift: Floats
    covariance: Floats

    @property
    def kind(self) -> str:
        """Return the name of the seal."""
        return self.effect.kind

    @property
    def pairs(self) -> int:
        """Return how many plates were read before and after."""
        return self.effect.pairs

    @property
    def sentence(self) -> str:
        """Say what sealing does at this colour, to a darker and to a lighter one, and how well that is known."""
        known = f"from {counted(self.pairs, 'plate')} read before and after"
        if self.pairs == 0:
            known = "a guess: no plate was read before and after"
        reach = plus_minus_95(self.covariance)
        here = ", ".join(
            f"{name} {with_sign(step, plus=True)} ± {half:.1f}"
            for name, step, half in zip(("L*", "a*", "b*"), self.shift, reach, strict=True)
        )
        around = self.lab + np.array([[-LIGHTER, 0, 0], [LIGHTER, 0, 0]])
        darker, lighter = (self.effect.sealed(around) - around + self._known_besides)[:, 0]
        return (
            f"{capital(self.kind)} is expected to change this {colour_in_words(self.lab)} by {here} "
            f"({known}); one {LIGHTER:g} L* darker by about L* {with_sign(darker, plus=True)}, "
            f"one {LIGHTER:g} L* lighter by about L* {with_sign(lighter, plus=True)}."
        )

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "kind": self.kind,
            "at_lab": self.lab.tolist(),
            "shift": self.shift.tolist(),
            "covariance": self.covariance.tolist(),
            "pairs": self.pairs,
            "sentence": self.sentence,
        }

    @property
    def _known_besides(self) -> Floats:
        """Return (3,) by how much the shift is another here than the seal's effect alone would have it."""
        return np.asarray(self.shift - (self.effect.sealed(self.lab) - self.lab))

    def before_sealing(self, target: Reading) -> Reading:
        """Return what an unsealed piece must read to match a sealed target once sealed."""
        before = unsealed_lab(target.lab - self._known_besides, self.effect.parameters)
        back = np.linalg.inv(self.effect.over(before[None])[0][0])
        return Reading(
            lab=readable(before),
            covariance=back @ (target.covariance + self.covariance) @ back.T,
            source=target.source,
            budget=tuple(replace(term, effect=back @ term.effect) for term in target.budget),
        )


def sealed_lab(labs: Floats, parameters: Floats) -> Floats:
    """Return CIELAB (..., 3) of colours once sealed; parameters: (..., 4), as ``PRIOR``.

    Saunderson, J. L. (1942), Calculation of the color of pigmented plastics, J. Opt. Soc. Am. 32, 727-736: the surface
    throws back a share of the light, and turns a share of what comes out back inside, which multiplies the odds
    R / (1 - R) of the rest. Taken for each of X, Y and Z as a share of white's.
    """
    haze, factor = _haze_and_factors(parameters)
    without = (lab_to_xyz(labs) / D50_WHITE - haze) / (1 - haze)
    return xyz_to_lab(_held((without + np.hypot(without, FAINTEST)) / 2, factor) * D50_WHITE)


def unsealed_lab(labs: Floats, parameters: Floats) -> Floats:
    """Return CIELAB (..., 3) of the colours that sealing makes into these: the inverse of ``sealed_lab``."""
    haze, factor = _haze_and_factors(parameters)
    body = np.maximum(_held(lab_to_xyz(labs) / D50_WHITE, 1 / factor), FAINTEST / 4)
    return xyz_to_lab((haze + (1 - haze) * (body - FAINTEST**2 / (4 * body))) * D50_WHITE)


def _haze_and_factors(parameters: Floats) -> tuple[Floats, Floats]:
    """Return the haze (..., 1) and the factors (..., 3) on the odds of X, Y and Z."""
    tint = parameters[..., 2:] @ np.array([[1.0, 0, 0], [0, 0, 1.0]])
    return parameters[..., :1], np.exp(parameters[..., 1:2] + tint)


def _held(body: Floats, factor: Floats) -> Floats:
    """Return light (..., 3) with its odds multiplied; what is lighter than white has none, and stays."""
    inside = np.clip(body, 0.0, 1.0)
    return np.asarray(np.where(body > 1, body, body * factor / (1 - inside + factor * inside)))


def _derivatives(labs: Floats, parameters: Floats) -> tuple[Floats, Floats]:
    """Return how sealed colours (n, 3) follow the parameters, (n, 3, 4), and the unsealed colours, (n, 3, 3)."""
    here = sealed_lab(labs, parameters)
    by_parameter = [(sealed_lab(labs, parameters + step) - here) / SMALL for step in SMALL * np.eye(len(PRIOR))]
    slopes = [(sealed_lab(labs + step, parameters) - here) / SMALL for step in SMALL * np.eye(3)]
    return np.stack(by_parameter, axis=-1), np.stack(slopes, axis=-1)


def learn_seal_shift(trials: Iterable[Trial], kind: str = "wax") -> SealEffect:
    """Learn what a seal ("wax" or "lacquer") does, from trials whose stages hold a reading before and one after.

    For each of ``SCALES`` of how plates differ, the parameters are taken as normal about their likeliest values
    (Laplace); the scales are weighed by how likely they make the pairs. Without a pair it is the guess.
    """
    pairs = [pair for pair in (_pair(trial, kind) for trial in trials) if pair is not None]
    fits = [_fitted(pairs, scale) for scale in SCALES]
    chances = np.array([likely for _, _, likely in fits]) - np.square(np.log(SCALES) / SCALE_SD) / 2
    weights = np.exp(chances - chances.max())
    weights /= weights.sum()
    likeliest = np.array([parameters for parameters, _, _ in fits])
    parameters = weights @ likeliest
    apart = likeliest - parameters
    scale = float(np.sqrt(weights @ np.square(SCALES)))
    known = np.tensordot(weights, np.array([spread for _, spread, _ in fits]), axes=1) + (weights * apart.T) @ apart
    own = np.diag(np.square(scale * PLATE_SD))
    return SealEffect(kind, parameters, known + own, scale * LEFT_OVER_SD, len(pairs))


def _fitted(pairs: Sequence[tuple[Reading, Reading]], scale: float) -> tuple[Floats, Floats, float]:
    """Return the likeliest parameters (4,), their covariance (4, 4), and the logarithm of how likely the pairs are."""
    before, after = (np.array([pair[k].lab for pair in pairs]).reshape(-1, 3) for k in (0, 1))
    doubt, doubt_after = (np.array([pair[k].covariance for pair in pairs]).reshape(-1, 3, 3) for k in (0, 1))
    common = np.array([shared_covariance(first.budget, then.budget) for first, then in pairs]).reshape(-1, 3, 3)
    guess = np.diag(PRIOR_SD**-2)
    parameters = PRIOR
    for _ in range(STEPS_TO_FIT):
        at = parameters
        by_parameter, slopes = _derivatives(before, at)
        shared = slopes @ common
        noise = slopes @ doubt @ slopes.mT + doubt_after - shared - shared.mT
        noise += scale**2 * (by_parameter @ np.diag(PLATE_SD**2) @ by_parameter.mT + LEFT_OVER_SD**2 * np.eye(3))
        miss = after - sealed_lab(before, at)
        weighed = np.linalg.solve(noise, np.concatenate([by_parameter, miss[..., None]], axis=-1))
        precision = guess + np.einsum("nij,nik->jk", by_parameter, weighed[..., :-1])
        pull = guess @ (PRIOR - at) + np.einsum("nij,ni->j", by_parameter, weighed[..., -1])
        reach = FARTHEST * PRIOR_SD
        parameters = np.clip(at + np.linalg.solve(precision, pull), PRIOR - reach, PRIOR + reach)
    misfit = np.sum(miss * weighed[..., -1]) + (at - PRIOR) @ guess @ (at - PRIOR)
    spread = np.linalg.slogdet(noise)[1].sum() + np.linalg.slogdet(precision)[1]
    return parameters, np.linalg.inv(precision), -float(misfit + spread) / 2


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
