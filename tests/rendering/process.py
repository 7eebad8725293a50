"""An invented patina: a recipe becomes the reflectance spectrum, and so the CIELAB, of the plate it would give.

The start of the demo's flow: recipe, spectra (here), rendered photograph, log. Clear films absorb (Beer-Lambert,
light crosses twice), covering films scatter too (Kubelka and Munk 1931), and thickness grows with strength ×
passes × heat, with saturation. Every number in it is invented, chosen so that the facts of the trade hold.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeVar

import numpy as np

from matcher.colour.cielab import D50_WHITE, xyz_to_lab
from matcher.colour.types import Floats
from matcher.errors import RecipeError
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat

T = TypeVar("T")

WAVELENGTHS_NM: Floats = np.arange(380.0, 731.0, 10.0)

_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
MOTTLE_NODES: Floats = _NODES
"""Where the mottle is sampled, in standard deviations of a normal field (Gauss-Hermite, 5 nodes)."""
MOTTLE_WEIGHTS: Floats = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()

BEST_SURFACE_TEMP_C = 104.0
"""Where a solution flashes off with a hiss: common practice, no source."""
WORKING_TOP_C = 130.0
"""Up to here more heat lays down more; beyond it the drops begin to skate. Invented."""

_UNEVENNESS = {"fine mist": 0.14, "brush": 0.26, "stippled brush": 0.22, "drops": 0.42, "streams": 0.5}


@dataclass(frozen=True, eq=False)
class Film:
    """One chemical's film. Spectra are per unit of thickness, (36,) on ``WAVELENGTHS_NM``.

    heat_absorption: further absorption that heat bakes in. full_thickness: what it saturates at. dose_scale: the
    dose (strength × passes × heat) that lays down 63 % of it.
    """

    absorption: Floats
    scattering: Floats
    heat_absorption: Floats
    full_thickness: float
    dose_scale: float


@dataclass(frozen=True)
class PlateVariation:
    """How one plate departs from its recipe as written: the hand, the torch, the casting. Factors and shifts."""

    metal: float = 1.0
    base: float = 1.0
    burnish_shift: float = 0.0
    dose: float = 1.0
    temp_shift_c: float = 0.0
    seal: float = 1.0


@dataclass(frozen=True, eq=False)
class Layers:
    """A finish taken apart, for mixing pixel by pixel.

    spectra: (2, 5, 36) reflectances: [dark recesses, bare high points] at each of ``MOTTLE_NODES``.
    bare_share: area of the bare high points, 0 to 1.
    """

    spectra: Floats
    bare_share: float

    def mean(self) -> Floats:
        """Return the reflectance (36,) averaged over the plate."""
        recess, bare = np.tensordot(self.spectra, MOTTLE_WEIGHTS, axes=(1, 0))
        return np.asarray(self.bare_share * bare + (1 - self.bare_share) * recess)


@dataclass(frozen=True, eq=False)
class DemoProcess:
    """One invented patina process: what each alloy reflects and what each chemical's film does to it.

    surface_reflection: what the bare surface throws back. haze_filled, held_inside: the share of that which a deep seal
    takes away, and the share of the light that it turns back inside.
    """

    alloys: Mapping[str, Floats]
    takes: Mapping[str, float]
    undercoats: Mapping[str, Film]
    coats: Mapping[str, Film]
    surface_reflection: float = 0.019
    haze_filled: float = 0.5
    held_inside: float = 0.16

    def laid_down(self, coat: Coat, variation: PlateVariation | None = None) -> tuple[float, float]:
        """Return (thickness, unevenness) of one coat's film; unevenness is the standard deviation of its log.

        Raises RecipeError for a chemical outside the invented process.
        """
        plate = variation or PlateVariation()
        film = _known(self.coats, coat.chemical, "coat")
        temp = coat.surface_temp_c + plate.temp_shift_c
        kept = _kept_share(temp)
        dose = coat.dose * kept * np.exp(0.008 * (min(temp, WORKING_TOP_C) - BEST_SURFACE_TEMP_C)) * plate.dose
        unevenness = _UNEVENNESS.get(coat.application, 0.3) * (1 + 2.0 * (1 - kept)) / (1 + 0.06 * coat.passes)
        return float(film.full_thickness * (1 - np.exp(-dose / film.dose_scale))), float(unevenness)

    def layers(self, recipe: Recipe, variation: PlateVariation | None = None) -> Layers:
        """Return the finish taken apart into recesses and high points, thin and thick.

        Raises RecipeError when the recipe names an alloy or chemical outside the invented process.
        """
        plate = variation or PlateVariation()
        metal = np.clip(_known(self.alloys, recipe.alloy, "alloy") * plate.metal, 0.0, 1.0)
        take = self.takes[recipe.alloy]
        hottest_c = max((coat.surface_temp_c + plate.temp_shift_c for coat in recipe.coats), default=0.0)
        ground = np.broadcast_to(metal, (2, MOTTLE_NODES.size, metal.size)).copy()
        bare_share = 1.0
        if recipe.undercoat is not None:
            ground[0] = self._base(recipe.undercoat, metal, take * plate.base, hottest_c)
            burnish = np.clip(recipe.undercoat.burnish + plate.burnish_shift, 0.0, 1.0)
            bare_share = float(0.9 * burnish)
        for coat in recipe.coats:
            thickness, unevenness = self.laid_down(coat, plate)
            film = self.coats[coat.chemical]
            spread = np.exp(unevenness * MOTTLE_NODES - unevenness**2 / 2)[:, None]
            baked = film.absorption + film.heat_absorption * _baked_share(coat.surface_temp_c + plate.temp_shift_c)
            ground = film_over(ground, baked, film.scattering, take * thickness * spread)
        return Layers(self._sealed(ground, recipe.seal, plate.seal), bare_share)

    def _sealed(self, body: Floats, seal: Seal | None, thickness: float) -> Floats:
        """Add what the surface itself throws back; a seal wets it out: less white haze, more light held inside."""
        depth = 0.0
        if seal is not None:
            kind = {"wax": 1.0, "lacquer": 0.5}.get(seal.kind, 0.7)
            depth = min(1.0, thickness * kind * (1 - np.exp(-(seal.coats + 0.3 * seal.hot) / 1.2)))
        held_inside = self.held_inside * depth
        wetted = body * (1 - held_inside) / (1 - held_inside * body)
        haze = self.surface_reflection * (1 - self.haze_filled * depth)
        return np.asarray(haze + (1 - haze) * wetted)

    def _base(self, undercoat: Undercoat, metal: Floats, take: float, hottest_c: float) -> Floats:
        film = _known(self.undercoats, undercoat.chemical, "undercoat")
        thickness = film.full_thickness * (1 - np.exp(-undercoat.strength / film.dose_scale))
        thickness *= (1 - 0.3 * undercoat.burnish) * take
        absorption = film.absorption + film.heat_absorption * _baked_share(hottest_c)
        spread = np.exp(0.1 * MOTTLE_NODES - 0.1**2 / 2)[:, None]
        return film_over(metal[None, :], absorption, film.scattering, thickness * spread)

    def finish_spectrum(self, recipe: Recipe, variation: PlateVariation | None = None) -> tuple[Floats, Floats]:
        """Return (wavelengths in nm (36,), mean diffuse reflectance (36,)) of the finish. Raises RecipeError."""
        return WAVELENGTHS_NM, self.layers(recipe, variation).mean()

    def true_lab(self, recipe: Recipe, variation: PlateVariation | None = None) -> Floats:
        """Return the finish's CIELAB (3,), D50, 2 degrees. Raises RecipeError."""
        return spectrum_lab(self.layers(recipe, variation).mean())

    def plate_lab(self, recipe: Recipe, rng: np.random.Generator) -> Floats:
        """Return CIELAB (3,) of one plate made to the recipe: no two come out quite alike. Raises RecipeError."""
        return self.true_lab(recipe, plate_variation(rng))


def film_over(ground: Floats, absorption: Floats, scattering: Floats, thickness: Floats | float) -> Floats:
    """Return the reflectance of a film over a ground, arrays that broadcast to (..., 36).

    The hyperbolic solution of Kubelka and Munk (1931, Z. tech. Physik 12, 593-601), written so that without
    scattering it is exactly the Beer-Lambert double pass, ground × exp(-2 × absorption × thickness).
    """
    total = absorption + scattering
    root = np.sqrt(absorption * (absorption + 2 * scattering)) + 1e-12
    t = np.tanh(root * thickness)
    return np.asarray((scattering * t + ground * (root - total * t)) / (root + total * t - ground * scattering * t))


def plate_variation(rng: np.random.Generator, scale: float = 1.0) -> PlateVariation:
    """Draw one plate's departure from its recipe; ``scale`` 0 gives none."""
    metal, base, burnish, dose, temp = rng.standard_normal(5) * scale
    return PlateVariation(
        metal=float(np.exp(0.018 * metal)),
        base=float(np.exp(0.07 * base)),
        burnish_shift=float(0.018 * burnish),
        dose=float(np.exp(0.08 * dose)),
        temp_shift_c=float(2.5 * temp),
    )


def spectrum_lab(reflectance: Floats) -> Floats:
    """Return CIELAB (..., 3), D50, 2 degrees, of reflectances (..., 36) on ``WAVELENGTHS_NM``."""
    return xyz_to_lab(np.asarray(reflectance) @ xyz_weights())


@lru_cache(maxsize=1)
def xyz_weights() -> Floats:
    """Return weights (36, 3) that turn reflectance into XYZ under CIE D50, CIE 1931 2 degrees, white at Y = 1.

    The tables are colour-science's; the sum is taken every 1 nm.
    """
    import colour

    shape = colour.SpectralShape(380, 780, 1)
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    d50 = colour.SDS_ILLUMINANTS["D50"].copy().align(shape).values
    weights = interpolation_matrix(shape.wavelengths).T @ (cmfs * d50[:, None])
    return np.asarray(weights * (D50_WHITE / weights.sum(axis=0)))


def interpolation_matrix(wavelengths_nm: Floats) -> Floats:
    """Return (n, 36) that carries a spectrum on ``WAVELENGTHS_NM`` to n wavelengths, held at the ends.

    Sprague's interpolation, as CIE 167:2005 recommends; it is linear in the spectrum, hence a matrix.
    """
    import colour

    inside = np.clip(wavelengths_nm, WAVELENGTHS_NM[0], WAVELENGTHS_NM[-1])
    unit = np.eye(WAVELENGTHS_NM.size)
    return np.stack([colour.SpragueInterpolator(WAVELENGTHS_NM, row)(inside) for row in unit], axis=1)


def _kept_share(temp_c: float) -> float:
    """Share of the solution that stays: too cool it lies wet and runs off, too hot the drops skate away."""
    runs_off = 1 / (1 + np.exp((temp_c - 82.0) / 6.0))
    skates = 1 / (1 + np.exp((158.0 - temp_c) / 9.0))
    return float((1 - runs_off) * (1 - skates))


def _baked_share(temp_c: float) -> float:
    return float(1 / (1 + np.exp((112.0 - temp_c) / 12.0)))


def _known(table: Mapping[str, T], name: str, what: str) -> T:
    if name not in table:
        known = ", ".join(table)
        raise RecipeError(f"Choose the {what} from those of the invented process, {known}: {name!r} is none.")
    return table[name]


def _rise(at_nm: float, width_nm: float) -> Floats:
    return np.asarray(1 / (1 + np.exp((at_nm - WAVELENGTHS_NM) / width_nm)))


def _bump(at_nm: float, width_nm: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((WAVELENGTHS_NM - at_nm) / width_nm) ** 2))


@dataclass(frozen=True)
class _Jitter:
    """Draws the differences between one invented process and the next; without a generator there are none."""

    rng: np.random.Generator | None

    def factor(self, spread: float) -> float:
        return 1.0 if self.rng is None else float(np.exp(spread * np.clip(self.rng.standard_normal(), -2, 2)))

    def shift_nm(self, spread: float) -> float:
        return 0.0 if self.rng is None else float(spread * np.clip(self.rng.standard_normal(), -2, 2))


def invented_process(rng: np.random.Generator | None = None) -> DemoProcess:
    """Return the demo studio's process, or with ``rng`` another of the same family, with rates and spectra its own."""
    jitter = _Jitter(rng)
    alloys = {
        "silicon bronze": (0.15 + 0.27 * _rise(541 + jitter.shift_nm(4), 38)) * jitter.factor(0.03),
        "tin bronze": (0.15 + 0.21 * _rise(556 + jitter.shift_nm(4), 42)) * jitter.factor(0.03),
        "yellow brass": (0.14 + 0.32 * _rise(514 + jitter.shift_nm(4), 26)) * jitter.factor(0.03),
    }
    takes = {
        "silicon bronze": 1.0,
        "tin bronze": 1.08 * jitter.factor(0.04),
        "yellow brass": 0.86 * jitter.factor(0.04),
    }
    return DemoProcess(alloys, takes, _undercoat_films(jitter), _coat_films(jitter))


def _film(
    jitter: _Jitter,
    absorption: Floats,
    scattering: Floats | None = None,
    heat: Floats | None = None,
    full: float = 1.0,
    dose: float = 1.0,
) -> Film:
    none = np.zeros_like(WAVELENGTHS_NM)
    return Film(
        absorption=absorption * jitter.factor(0.08),
        scattering=none if scattering is None else scattering * jitter.factor(0.08),
        heat_absorption=none if heat is None else heat * jitter.factor(0.15),
        full_thickness=full,
        dose_scale=dose * jitter.factor(0.15),
    )


def _undercoat_films(jitter: _Jitter) -> dict[str, Film]:
    slope = (WAVELENGTHS_NM - 555.0) / 175.0
    flat = np.ones_like(WAVELENGTHS_NM)
    return {
        "liver of sulphur": _film(jitter, 1.12 - 0.36 * slope, heat=0.2 * flat, full=1.35, dose=0.4),
        "ammonium sulphide": _film(jitter, 1.34 + 0.24 * slope, heat=0.24 * flat, full=1.3, dose=0.38),
        "cupric sulphate": _film(jitter, 1.16 + 0.44 * slope, heat=0.2 * flat, full=1.3, dose=0.42),
    }


def _coat_films(jitter: _Jitter) -> dict[str, Film]:
    flat = np.ones_like(WAVELENGTHS_NM)
    edge = jitter.shift_nm(5)
    blue_part = 1 - _rise(496 + edge, 20)
    green_part = 1 - _rise(590 + edge, 20)
    verdigris = 0.42 * _rise(585, 26) + 0.10 * (1 - _rise(440, 22)) + 0.07
    return {
        "ferric nitrate": _film(
            jitter, 0.74 * blue_part + 0.33 * green_part + 0.22, heat=0.12 * green_part + 0.09, full=1.95, dose=4.0
        ),
        "cupric nitrate": _film(
            jitter, verdigris, 0.24 * flat + 0.08 * _bump(500, 60), heat=0.12 * flat, full=2.2, dose=4.0
        ),
        "bismuth nitrate": _film(jitter, 0.022 + 0.03 * (1 - _rise(440, 25)), 0.42 * flat, full=1.5, dose=4.5),
        "silver nitrate": _film(jitter, 0.36 - 0.05 * _rise(560, 60), 0.15 * flat, heat=0.1 * flat, full=1.4, dose=3.0),
    }


@lru_cache(maxsize=1)
def _demo_process() -> DemoProcess:
    return invented_process()


def finish_spectrum(recipe: Recipe) -> tuple[Floats, Floats]:
    """Return (wavelengths in nm (36,), reflectance (36,)) of a finish in the demo studio. Raises RecipeError."""
    return _demo_process().finish_spectrum(recipe)


def true_lab(recipe: Recipe) -> Floats:
    """Return CIELAB (3,), D50, 2 degrees, of a finish in the demo studio. Raises RecipeError."""
    return _demo_process().true_lab(recipe)


def plate_lab(recipe: Recipe, rng: np.random.Generator) -> Floats:
    """Return CIELAB (3,) of one plate of the demo studio, with its own departure. Raises RecipeError."""
    return _demo_process().plate_lab(recipe, rng)
