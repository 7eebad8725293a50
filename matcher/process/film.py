"""What the trade knows of a patina, as a curve with parameters: ground, films that absorb and cover, heat, seal.

The process model's mean function: recipe columns to CIELAB, for any values of the parameters. Light crosses a clear
film twice and is absorbed in proportion to thickness (Beer-Lambert); a film that covers adds a colour of its own;
thickness grows with strength × passes × heat and saturates. Three broad bands (Bradford cone responses) stand in for
the spectrum. Facts of the trade hold by its form: a ferric film only absorbs, more of it or more heat never lightens,
and a darker ground never lightens the result.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from matcher.colour.cielab import BRADFORD, D50_WHITE, xyz_to_lab
from matcher.colour.types import Floats
from matcher.process.design import Categories, Columns
from matcher.process.hand import Drift
from matcher.process.parameters import STEP, Block, Derivatives, Reader
from matcher.recipe.names import is_ferric

MIDDLE_TEMP_C = 105.0
"""About where a solution flashes off: common practice, no source."""
MOST_HEAT = 40.0
"""Greatest logarithm of what heat does to a film. Far less gives all of it; the hottest metal that a recipe can have
would overflow."""

HEAVIER, LESS_BURNISHED = 0.05, 0.02
"""Steps of what a hand never lays twice, over which the curve is differenced."""


class FilmMean:
    """The curve and the prior of its parameters; every parameter is normal, most are logarithms.

    Categories share: each chemical's value is a shared parameter plus a departure of its own, so that one seen in few
    trials (or none) stays near what all have in common. prior_mean, prior_sd: (p,). drift: how the hand changes over
    the days, None when it does not.
    """

    def __init__(self, categories: Categories, drift: Drift | None = None) -> None:
        self.categories, self.drift = categories, drift
        self._blocks: dict[str, Block] = {}
        self._means: list[Floats] = []
        self._sds: list[Floats] = []
        self._size = 0
        self.ferric = np.array([is_ferric(name) for name in categories.chemicals] + [False])
        self._lay_out()
        self.prior_mean: Floats = np.concatenate(self._means)
        self.prior_sd: Floats = np.concatenate(self._sds)

    def _lay_out(self) -> None:
        many = self.categories
        alloys, surfaces = len(many.alloys) + 1, len(many.surfaces) + 1
        undercoats, coats = len(many.undercoats) + 1, len(many.chemicals) + 1
        self._add("metal", np.log([0.42, 0.32, 0.2]), 0.35)
        self._add("metal_own", np.zeros((alloys, 3)), 0.15)
        self._add("surface_own", np.zeros((surfaces, 3)), 0.1)
        self._add("haze", np.log(0.015), 0.5)
        self._add("base_depth", np.log([1.0, 1.0, 1.0]), 0.6)
        self._add("base_depth_own", np.zeros((undercoats, 3)), 0.35)
        self._add("base_rate", np.log(0.4), 0.5)
        self._add("base_rate_own", np.zeros(undercoats), 0.25)
        self._add("base_floor", np.log([0.02, 0.02, 0.02]), 0.6)
        self._add("base_floor_own", np.zeros((undercoats, 3)), 0.3)
        self._add("burnish", np.array([2.0, -1.0, 0.0]), np.array([1.0, 1.0, 0.3]))
        self._add("depth", np.log([0.35, 0.5, 0.9]), 0.6)
        self._add("depth_own", np.zeros((coats, 3)), 0.7)
        self._add("rate", np.log(4.0), 0.6)
        self._add("rate_own", np.zeros(coats), 0.4)
        self._add("cover", np.log(0.5), 0.8)
        self._add("cover_own", np.zeros(coats), 0.8)
        self._add("colour", np.log([0.14, 0.12, 0.08]), 0.6)
        self._add("colour_own", np.zeros((coats, 3)), 0.6)
        self._add("heat", np.log(0.1), 0.7)
        self._add("heat_own", np.zeros(coats), 0.4)
        self._add("hold_c", 80.0, 8.0)
        self._add("hold_c_own", np.zeros(coats), 4.0)
        self._add("hold_span", np.log(3.0), 0.4)
        self._add("burn_c", 135.0, 12.0)
        self._add("burn_c_own", np.zeros(coats), 4.0)
        self._add("burn_span", np.log(3.0), 0.4)
        self._add("burnt", np.log([0.4, 0.4, 0.4]), 0.8)
        self._add("bake", np.log([0.06, 0.06, 0.06]), 0.6)
        self._add("bake_own", np.zeros((coats, 3)), 0.5)
        self._add("powers", np.zeros(2), 0.2)
        self._add("powers_own", np.zeros((coats, 2)), 0.1)
        self._add("onset", np.log(0.06), 1.0)
        self._add("onset_own", np.zeros(coats), 0.5)
        self._add("application_own", np.zeros(len(many.applications) + 1), 0.25)
        self._add("seal", np.array([-0.12, -0.12, -0.12]), 0.12)
        self._add("seal_own", np.zeros((len(many.seals) + 1, 3)), 0.08)
        self._add("seal_fills", 0.0, 1.0)
        if self.drift is not None:  # the last, so that the others stand where they do without it
            self._add("drift", np.zeros(len(self.drift.knots)), 1.0)

    def starts(self) -> list[Floats]:
        """Return parameters to look for the best ones from: of heat that shows no threshold, and of heat that does."""
        found = [self.prior_mean]
        narrow = self.prior_mean.copy()
        narrow[self._blocks["hold_c"].place] = 93.0
        narrow[self._blocks["burn_c"].place] = 117.0
        return [*found, narrow]

    def _add(self, name: str, mean: Floats | float, sd: Floats | float) -> None:
        values = np.asarray(mean, float)
        self._blocks[name] = Block(slice(self._size, self._size + values.size), values.shape)
        self._means.append(values.ravel())
        self._sds.append(np.broadcast_to(np.asarray(sd, float), values.shape).ravel())
        self._size += values.size

    def lab(self, parameters: Floats, columns: Columns) -> Floats:
        """Return CIELAB (..., n, 3) of n recipes for parameters (..., p)."""
        read = Reader(parameters, self._blocks)
        ground = self._metal(read, columns)
        if (columns.undercoat >= 0).any():
            ground = self._with_base(read, ground, columns)
        for j in _coats(columns):
            ground = self._coated(read, ground, columns, j)
        return _lab(self._hazed(read, ground * self._sealed(read, columns), columns))

    def _metal(self, read: Reader, columns: Columns) -> Floats:
        logs = read("metal", "metal_own", columns.alloy)
        return np.asarray(np.exp(logs + read(None, "surface_own", columns.surface)))

    def _with_base(self, read: Reader, metal: Floats, columns: Columns) -> Floats:
        at = columns.undercoat
        most, thins, power = (read("burnish")[..., k] for k in range(3))
        back = columns.burnish ** np.exp(power)
        rate = np.exp(read("base_rate", "base_rate_own", at))
        amount = (1 - np.exp(-columns.base_strength / rate)) * (1 - _share(thins) * back)
        passed = np.exp(-2 * np.exp(read("base_depth", "base_depth_own", at)) * amount[..., None])
        floor = np.minimum(np.exp(read("base_floor", "base_floor_own", at)), metal)
        dark = floor + (metal - floor) * passed
        bare = (_share(most) * back * (at >= 0))[..., None]
        return np.where((at >= 0)[:, None], bare * metal + (1 - bare) * dark, metal)

    def _coated(self, read: Reader, ground: Floats, columns: Columns, j: int) -> Floats:
        passed, added = self._film(read, columns, j)
        return ground * passed + added

    def _film(self, read: Reader, columns: Columns, j: int) -> tuple[Floats, Floats]:
        """Return what a coat lets through and what it adds, each (..., n, 3)."""
        at, there = columns.chemical[:, j], columns.chemical[:, j] >= 0
        warmer = (columns.temp_c[:, j] - MIDDLE_TEMP_C) / 10
        powers = np.exp(read("powers", "powers_own", at))
        dose = (
            np.maximum(columns.strength[:, j], 1e-6) ** powers[..., 0]
            * np.maximum(columns.passes[:, j], 1e-6) ** powers[..., 1]
            * np.exp(np.minimum(np.exp(read("heat", "heat_own", at)) * warmer, MOST_HEAT))
            * np.exp(read(None, "application_own", columns.application[:, j]))
        )
        takes_hold = _share((columns.temp_c[:, j] - read("hold_c", "hold_c_own", at)) / np.exp(read("hold_span")))
        dose = dose * takes_hold
        if columns.when.shape[1]:
            dose = dose * np.exp((read("drift") * columns.when).sum(axis=-1))
        # what the first touch of a solution spends before it takes hold; nothing for most
        dose = dose**2 / (dose + np.exp(read("onset", "onset_own", at)))
        uptake = (1 - np.exp(-dose / np.exp(read("rate", "rate_own", at)))) * there
        bake = np.exp(np.minimum(np.exp(read("bake", "bake_own", at)) * warmer[:, None], MOST_HEAT))
        passed = np.exp(-2 * np.exp(read("depth", "depth_own", at)) * bake * uptake[..., None])
        cover = np.exp(read("cover", "cover_own", at)) * ~self.ferric[at]
        added = np.exp(read("colour", "colour_own", at)) * -np.expm1(-2 * cover * uptake)[..., None]
        burns = _share((columns.temp_c[:, j] - read("burn_c", "burn_c_own", at)) / np.exp(read("burn_span")))
        burnt = np.exp(-2 * np.exp(read("burnt")) * (burns * uptake)[..., None])
        return passed * burnt, added * burnt

    def _sealed(self, read: Reader, columns: Columns) -> Floats:
        return np.asarray(np.exp(np.minimum(read("seal", "seal_own", columns.seal), 0.0) * _depth(columns)[:, None]))

    def _hazed(self, read: Reader, bands: Floats, columns: Columns) -> Floats:
        """Return the bands with what the bare surface throws back, of which a seal takes a share away."""
        haze = (np.exp(read("haze")) * (1 - _share(read("seal_fills")) * _depth(columns)))[..., None]
        return np.asarray(haze + (1 - haze) * bands)

    def linearised(self, parameters: Floats, columns: Columns) -> tuple[Floats, Floats]:
        """Return CIELAB (n, 3) and its derivatives (n, 3, p) to the parameters (p,), by forward differences.

        Layer by layer: each is differenced over the few numbers that it reads, and those above let the change through.
        """
        still, derivatives = Reader(parameters, self._blocks), Derivatives(parameters, self._blocks, len(columns))
        ground = derivatives.of(lambda read: self._metal(read, columns))
        if (columns.undercoat >= 0).any():
            metal = ground
            more = self._with_base(still, metal * (1 + STEP), columns)
            ground = self._with_base(still, metal, columns)
            derivatives.through((more - ground) / (metal * STEP))
            derivatives.of(lambda read: self._with_base(read, metal, columns))
        for j in _coats(columns):
            derivatives.through(self._film(still, columns, j)[0])
            ground = derivatives.of(partial(self._coated, ground=ground, columns=columns, j=j))
        patina = ground
        derivatives.through(self._sealed(still, columns))
        ground = derivatives.of(lambda read: patina * self._sealed(read, columns))
        more, now = self._hazed(still, ground + STEP, columns), self._hazed(still, ground, columns)
        derivatives.through((more - now) / STEP)
        bands = derivatives.of(lambda read: self._hazed(read, ground, columns))
        lab = _lab(bands)
        bend = (_lab(bands[:, None] + bands[:, None] * STEP * np.eye(3)) - lab[:, None]) / (bands[..., None] * STEP)
        return lab, derivatives.by_parameter(bend)

    def slopes_by_hand(self, parameters: Floats, columns: Columns) -> Floats:
        """Return (3, n, 3): how CIELAB changes with what a hand never lays twice.

        That is the logarithm of the dose of all coats, that of the undercoat's strength, and its burnish, 0 to 1.
        """
        heavier = np.exp(HEAVIER)
        changed = (
            (replace(columns, strength=columns.strength * heavier), HEAVIER),
            (replace(columns, base_strength=columns.base_strength * heavier), HEAVIER),
            (replace(columns, burnish=np.maximum(columns.burnish - LESS_BURNISHED, 0.0)), -LESS_BURNISHED),
        )
        here = self.lab(parameters, columns)
        return np.stack([(self.lab(parameters, other) - here) / step for other, step in changed])


class FlatMean:
    """The same CIELAB for all recipes, for a process unlike any film; its three numbers are the parameters.

    The chemistry is then learned from the kernel alone, as by a plain Gaussian process. prior_mean, prior_sd: (3,).
    """

    def __init__(self, categories: Categories) -> None:
        self.categories, self.drift = categories, None
        self.prior_mean: Floats = np.array([40.0, 8.0, 15.0])
        self.prior_sd: Floats = np.array([20.0, 10.0, 15.0])

    def starts(self) -> list[Floats]:
        """Return parameters to look for the best ones from."""
        return [self.prior_mean]

    def lab(self, parameters: Floats, columns: Columns) -> Floats:
        """Return CIELAB (..., n, 3) of n recipes for parameters (..., 3)."""
        return np.repeat(parameters[..., None, :], len(columns), axis=-2)

    def linearised(self, parameters: Floats, columns: Columns) -> tuple[Floats, Floats]:
        """Return CIELAB (n, 3) and its derivatives (n, 3, 3) to the parameters."""
        return self.lab(parameters, columns), np.repeat(np.eye(3)[None], len(columns), axis=0)

    def slopes_by_hand(self, parameters: Floats, columns: Columns) -> Floats:
        """Return (3, n, 3) zeros: of what such a curve does not know."""
        return np.zeros((3, len(columns), 3))


def _coats(columns: Columns) -> list[int]:
    """Return the places of coats that any recipe has."""
    return [int(j) for j in np.flatnonzero((columns.chemical >= 0).any(axis=0))]


def _depth(columns: Columns) -> Floats:
    """Return (n,) how deep the seal is, 0 to 1, from its coats."""
    return np.asarray(1 - np.exp(-columns.seal_coats / 1.2))


def _lab(bands: Floats) -> Floats:
    return xyz_to_lab(bands @ _BANDS_TO_XYZ.T)


def _share(value: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(np.minimum(-value, 700.0))))


_BANDS_TO_XYZ: Floats = np.linalg.inv(BRADFORD) * (BRADFORD @ D50_WHITE)
