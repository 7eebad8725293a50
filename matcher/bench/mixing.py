"""What to mix for a recipe: from which bottle, how much for the area and passes, in figures that can be measured.

Between the shelf of bottles (`trials.stocks`) and the bench; `mixing_wording` says it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from matcher.errors import RecipeError
from matcher.recipe.cautions import Caution, what_must_not_meet
from matcher.recipe.hazards import Hazards, age_caution, hazards_of
from matcher.recipe.names import canonical, same
from matcher.recipe.quantities import Dilution, dilute, measurable_dilution, solution_for_area
from matcher.recipe.recipe import Coat, Recipe, Undercoat, need_all_noted
from matcher.recipe.usage import PassRate, Used, pass_rate
from matcher.trials.stocks import Converted, SolutionUse, Stock, converted, left_ml
from matcher.trials.trial import Trial

UNDERCOAT = "undercoat"
SPARE = 0.2
"""What is mixed beyond what goes on: for the bottle, the hose and the air (common practice, no source)."""
LEAST_ML = 5.0
"""Less than this is not mixed: it can be neither measured nor sprayed."""

MISSING, USED_UP, NOT_NAMED, OTHER_CHEMICAL, TOO_WEAK, NOT_ENOUGH, TOO_LITTLE = (
    "missing", "used_up", "not_named", "other_chemical", "too_weak", "not_enough", "too_little",
)  # fmt: skip
OLD, FORMS_UNKNOWN = "old", "forms_unknown"
STOPS = frozenset({MISSING, OTHER_CHEMICAL, TOO_WEAK, TOO_LITTLE})
"""What keeps a layer from being mixed at all."""


@dataclass(frozen=True)
class LayerMix:
    """What to pour for one layer of a recipe.

    Attributes
    ----------
    part : str
        "undercoat", or "coat 1", "coat 2", … in the order of the bench.
    layer : Coat or Undercoat
        As the recipe has it.
    stock : Stock or None
        The bottle that it is mixed from; None where there is none.
    conversion : Converted or None
        What became of its strength, when the recipe names another bottle.
    needed_ml : float
        For the area and passes, with what is to spare.
    likely_ml : tuple of float
        Within which what truly goes on lies, at 95 %.
    wanted, measured : Dilution or None
        Stock and water, and the same as cylinders show it, with the strength that this truly gives.
    left_ml : float or None
        About what is left in the bottle now; None when nobody noted how much it held.
    troubles : tuple of str
        Codes of this file: what stands in the way, or should be known.
    caution : Caution or None
        Of a bottle's age.
    hazards : Hazards
        Of the solution as it is mixed, where its strength is known.
    enough_in : str or None
        Where too little is left: label of another bottle on the shelf that it can be mixed from.
    meant : Stock or None
        Where the recipe names no bottle: that which plates were mixed from last, whose strength it means by stock.
    """

    part: str
    layer: Coat | Undercoat
    stock: Stock | None
    conversion: Converted | None
    passes: int
    rate: PassRate
    needed_ml: float
    likely_ml: tuple[float, float]
    wanted: Dilution | None
    measured: Dilution | None
    left_ml: float | None
    troubles: tuple[str, ...]
    caution: Caution | None
    hazards: Hazards
    enough_in: str | None = None
    meant: Stock | None = None

    @property
    def own(self) -> str:
        """Label of the bottle that the recipe's strength is a fraction of; "" where none is known."""
        return self.layer.stock or ("" if self.meant is None else self.meant.label)

    @property
    def strength(self) -> float:
        """At which it is mixed, as a fraction of the bottle that it is mixed from."""
        return self.layer.strength if self.conversion is None else self.conversion.layer.strength

    def as_dict(self) -> dict[str, Any]:
        return {
            "part": self.part,
            "chemical": self.layer.chemical,
            "recipe_strength": self.layer.strength,
            "recipe_stock": self.layer.stock,
            "meant_stock": None if self.meant is None else self.meant.label,
            "stock": None if self.stock is None else self.stock.label,
            "strength": self.strength,
            "converted": self.conversion is not None,
            "passes": self.passes,
            "rate": self.rate.as_dict(),
            "needed_ml": self.needed_ml,
            "likely_ml": list(self.likely_ml),
            "pour": None if self.measured is None else _poured(self.measured),
            "exact": None if self.wanted is None else _poured(self.wanted),
            "left_ml": self.left_ml,
            "troubles": list(self.troubles),
            "enough_in": self.enough_in,
            "caution": None if self.caution is None else self.caution.as_dict(),
            "hazards": self.hazards.as_dict(),
        }


@dataclass(frozen=True)
class MixPlan:
    """What to mix for all layers of a recipe on so many cm²; clashes: of chemicals that must not meet."""

    recipe: Recipe
    area_cm2: float
    spare: float
    layers: tuple[LayerMix, ...]
    clashes: tuple[Caution, ...]

    @property
    def mixed_recipe(self) -> Recipe:
        """The recipe as it is mixed: each layer from its bottle, at the strength that this takes."""
        made = [_as_mixed(mix) for mix in self.layers]
        under = next((layer for layer in made if isinstance(layer, Undercoat)), None)
        coats = tuple(layer for layer in made if isinstance(layer, Coat))
        return replace(self.recipe, undercoat=under, coats=coats)

    def as_dict(self) -> dict[str, Any]:
        return {
            "recipe": self.recipe.as_dict(),
            "mixed_recipe": self.mixed_recipe.as_dict(),
            "area_cm2": self.area_cm2,
            "spare": self.spare,
            "layers": [mix.as_dict() for mix in self.layers],
            "clashes": [caution.as_dict() for caution in self.clashes],
        }


def mix_recipe(
    recipe: Recipe,
    area_cm2: float,
    stocks: Sequence[Stock],
    uses: Sequence[SolutionUse],
    at: datetime,
    chosen: Mapping[str, str] | None = None,
    spare: float = SPARE,
    smallest_step_ml: float | None = None,
    meant: Mapping[str, Stock] | None = None,
) -> MixPlan:
    """Return what to mix for a recipe.

    Parameters
    ----------
    recipe : Recipe
        All its layers are mixed.
    area_cm2 : float
        Of the surface.
    stocks, uses : sequences of Stock and of SolutionUse
        The studio's bottles, and what was used of them.
    at : datetime
        Now: how old the bottles are.
    chosen : mapping of str or None
        Bottles by label for parts ("coat 1") that are not to be mixed from what the recipe names.
    spare : float
        Share to mix beyond what goes on.
    smallest_step_ml : float or None
        What the cylinder at hand shows; None is the smallest usual one that holds each part.
    meant : mapping of str or None
        By canonical chemical, the bottle that a layer means which names none, from ``last_mixed_from``.

    Raises
    ------
    RecipeError
        For an area or a step that cannot be, and a strength or passes that nobody noted.
        What stands in the way of one layer is among its troubles.
    """
    need_all_noted(recipe, "it is mixed", ("strength", "passes"))
    used = noted_uses(uses)
    layers = []
    for part, layer in layers_of(recipe):
        picked = (chosen or {}).get(part)
        own = None if layer.stock is not None else (meant or {}).get(canonical(layer.chemical))
        layers.append(_mix(part, layer, own, area_cm2, stocks, uses, used, at, picked, spare, smallest_step_ml))
    chemicals = [mix.layer.chemical for mix in layers]
    return MixPlan(recipe, area_cm2, spare, tuple(layers), what_must_not_meet(chemicals))


def layers_of(recipe: Recipe) -> list[tuple[str, Coat | Undercoat]]:
    """Return the layers of a recipe that are mixed, each with what it is called, in the order of the bench."""
    under: list[tuple[str, Coat | Undercoat]] = [] if recipe.undercoat is None else [(UNDERCOAT, recipe.undercoat)]
    return [*under, *((_coat_name(number), coat) for number, coat in enumerate(recipe.coats))]


def last_mixed_from(trials: Iterable[Trial], stocks: Sequence[Stock]) -> dict[str, Stock]:
    """Return by canonical chemical the bottle that plates were mixed from last, used up or not.

    A recipe that names no bottle (a planned one, which was worked out from these plates) means its strength: a bottle
    made since may be of another, and must not change it silently.
    """
    by_label = {stock.label: stock for stock in stocks}
    found: dict[str, Stock] = {}
    for trial in sorted(trials, key=lambda trial: (trial.made_at, trial.id or 0)):
        for _, layer in layers_of(trial.recipe):
            stock = by_label.get(layer.stock or "")
            if stock is not None and same(stock.chemical, layer.chemical):
                found[canonical(layer.chemical)] = stock
    return found


def bottles_for(chemical: str, stocks: Sequence[Stock]) -> list[Stock]:
    """Return the bottles of a chemical that are not used up, the one made last first."""
    found = [stock for stock in stocks if same(stock.chemical, chemical) and stock.used_up_at is None]
    return sorted(found, key=lambda stock: (stock.made_at, stock.label), reverse=True)


def likeliest_first(
    recipes: Sequence[Recipe],
    stocks: Sequence[Stock],
    uses: Sequence[SolutionUse],
    meant: Mapping[str, Stock] | None = None,
) -> list[Stock]:
    """Return all bottles, those first of which it is likeliest that something was used just now.

    First those that the recipes are mixed from, in their order, then those used last, then those made last; at the end
    those that are used up.
    """
    layers = [layer for recipe in recipes for _, layer in layers_of(recipe)]
    owns = [None if layer.stock is not None else (meant or {}).get(canonical(layer.chemical)) for layer in layers]
    mixed_from = [_bottle(_of(layer, own), stocks, None)[0] for layer, own in zip(layers, owns, strict=True)]
    pointed_at = list(dict.fromkeys(stock.label for stock in mixed_from if stock is not None))
    used_at = {use.stock: use.at for use in sorted(uses, key=lambda use: use.at)}

    def place(stock: Stock) -> tuple[bool, int, float, float]:
        at = pointed_at.index(stock.label) if stock.label in pointed_at else len(pointed_at)
        used = used_at[stock.label].timestamp() if stock.label in used_at else -math.inf
        return stock.used_up_at is not None, at, -used, -stock.made_at.timestamp()

    return sorted(stocks, key=place)


def noted_uses(uses: Sequence[SolutionUse]) -> list[Used]:
    """Return the uses of which area and passes were noted, as they tell what a pass takes."""
    return [
        Used(use.millilitres, use.area_cm2, use.passes, use.application)
        for use in uses
        if use.area_cm2 is not None and use.passes is not None
    ]


def standing_together(stocks: Sequence[Stock]) -> list[tuple[str, tuple[Caution, ...]]]:
    """Return the places where bottles stand side by side that must not meet, each with what is said of them."""
    places: dict[str, list[Stock]] = {}
    for stock in stocks:
        if stock.used_up_at is None and stock.kept_where:
            places.setdefault(stock.kept_where.casefold(), []).append(stock)
    found = [
        (bottles[0].kept_where, what_must_not_meet([bottle.chemical for bottle in bottles]))
        for bottles in places.values()
    ]
    return [(place, clashes) for place, clashes in found if clashes]


def _mix(
    part: str,
    as_written: Coat | Undercoat,
    meant: Stock | None,
    area_cm2: float,
    stocks: Sequence[Stock],
    uses: Sequence[SolutionUse],
    used: Sequence[Used],
    at: datetime,
    picked: str | None,
    spare: float,
    step_ml: float | None,
) -> LayerMix:
    layer = _of(as_written, meant)
    passes = layer.passes if isinstance(layer, Coat) else 1
    rate = pass_rate(used, layer.application if isinstance(layer, Coat) else "")
    needed, low, high = (
        solution_for_area(area_cm2, passes, each, share)
        for each, share in ((rate.ml_per_m2, spare), (rate.interval[0], 0.0), (rate.interval[1], 0.0))
    )
    needed = max(needed, LEAST_ML)
    stock, troubles = _bottle(layer, stocks, picked)
    conversion, trouble = _conversion(layer, stock, stocks)
    troubles += trouble
    strength = layer.strength if conversion is None else conversion.layer.strength
    left = None if stock is None else left_ml(stock, uses)
    wanted = measured = None
    if not set(troubles) & STOPS:
        wanted = dilute(needed, strength)
        try:
            measured = measurable_dilution(wanted, step_ml)
        except RecipeError:
            troubles += (TOO_LITTLE,)
        if left is not None and left < wanted.stock_ml and USED_UP not in troubles:
            troubles += (NOT_ENOUGH,)
    elsewhere = _enough_elsewhere(layer, stock, stocks, uses, needed, at) if NOT_ENOUGH in troubles else None
    caution = None if stock is None else age_caution(stock.chemical, stock.made_at, at)
    if caution is not None:
        troubles += (OLD,)
    grams = None if stock is None else stock.grams_per_litre * strength
    return LayerMix(
        part=part,
        layer=as_written,
        stock=stock,
        conversion=conversion,
        passes=passes,
        rate=rate,
        needed_ml=needed,
        likely_ml=(low, high),
        wanted=wanted,
        measured=measured,
        left_ml=left,
        troubles=troubles,
        caution=caution,
        hazards=hazards_of(layer.chemical, grams),
        enough_in=elsewhere,
        meant=meant,
    )


def _of(layer: Coat | Undercoat, meant: Stock | None) -> Coat | Undercoat:
    """Return a layer as if it named the bottle that it means."""
    return layer if meant is None else replace(layer, stock=meant.label)


def _enough_elsewhere(
    layer: Coat | Undercoat,
    stock: Stock | None,
    stocks: Sequence[Stock],
    uses: Sequence[SolutionUse],
    needed_ml: float,
    at: datetime,
) -> str | None:
    """Return the label of another bottle, not too old, that so much of a layer can be mixed from; None without one."""
    for other in bottles_for(layer.chemical, stocks):
        if other == stock or age_caution(other.chemical, other.made_at, at) is not None:
            continue
        conversion, troubles = _conversion(layer, other, stocks)
        strength = layer.strength if conversion is None else conversion.layer.strength
        left = left_ml(other, uses)
        if not set(troubles) & STOPS and (left is None or left >= dilute(needed_ml, strength).stock_ml):
            return other.label
    return None


def _bottle(
    layer: Coat | Undercoat, stocks: Sequence[Stock], picked: str | None
) -> tuple[Stock | None, tuple[str, ...]]:
    """Return the bottle to mix from: that which was picked, that which the recipe names, else the latest."""
    by_label = {stock.label: stock for stock in stocks}
    if picked is not None and picked in by_label:
        stock = by_label[picked]
        if not same(stock.chemical, layer.chemical):
            return stock, (OTHER_CHEMICAL,)
        said = () if layer.stock is not None else (NOT_NAMED,)
        return stock, (*said, USED_UP) if stock.used_up_at is not None else said
    named = by_label.get(layer.stock or "")
    if named is not None and named.used_up_at is None:
        return named, ()
    there = bottles_for(layer.chemical, stocks)
    if there:
        return there[0], (NOT_NAMED,) if named is None else (USED_UP,)
    return (None, (MISSING,)) if named is None else (named, (USED_UP, MISSING))


def _conversion(
    layer: Coat | Undercoat, stock: Stock | None, stocks: Sequence[Stock]
) -> tuple[Converted | None, tuple[str, ...]]:
    """Return the layer as it is mixed from a bottle that is not the one which the recipe names."""
    own = next((one for one in stocks if one.label == layer.stock), None)
    if stock is None or own is None or own.label == stock.label or not same(own.chemical, stock.chemical):
        return None, ()
    try:
        made = converted(layer, own, stock)
    except RecipeError:
        return None, (TOO_WEAK,)
    return made, () if made.forms_known else (FORMS_UNKNOWN,)


def _as_mixed(mix: LayerMix) -> Coat | Undercoat:
    if mix.stock is None or set(mix.troubles) & STOPS:
        return mix.layer
    return replace(mix.layer, strength=mix.strength, stock=mix.stock.label)


def _coat_name(number: int) -> str:
    return f"coat {number + 1}"


def _poured(dilution: Dilution) -> dict[str, float]:
    return {"stock_ml": dilution.stock_ml, "water_ml": dilution.water_ml, "strength": dilution.strength}
