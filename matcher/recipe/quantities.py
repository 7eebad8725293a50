"""How much to mix: dilutions, grams of salt for a stock, leftovers, the solution for an area, and bench rounding.

Beside `recipe` and like it without a photograph or a log. Strength is a fraction of stock (1 is the stock as it is).
Volumes are taken to add up, as the bench does; strong solutions depart from that by a few per cent.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from matcher.errors import RecipeError
from matcher.recipe.names import canonical

ATOMIC_WEIGHTS_G_PER_MOL = {
    "H": 1.008, "B": 10.81, "C": 12.011, "N": 14.007, "O": 15.999, "F": 18.998, "Na": 22.990, "Mg": 24.305,
    "Al": 26.982, "Si": 28.085, "P": 30.974, "S": 32.06, "Cl": 35.45, "K": 39.098, "Ca": 40.078, "Ti": 47.867,
    "Cr": 51.996, "Mn": 54.938, "Fe": 55.845, "Co": 58.933, "Ni": 58.693, "Cu": 63.546, "Zn": 65.38, "Se": 78.971,
    "Ag": 107.87, "Sn": 118.71, "Sb": 121.76, "I": 126.90, "Ba": 137.33, "Au": 196.97, "Pb": 207.2, "Bi": 208.98,
}  # fmt: skip
"""Standard atomic weights, abridged to five figures: IUPAC Commission on Isotopic Abundances and Atomic Weights,
"Standard atomic weights of the elements 2021", Pure Appl. Chem. 94 (2022) 573 (from memory)."""

SALTS = {
    "ferric nitrate": "Fe(NO3)3",
    "cupric nitrate": "Cu(NO3)2",
    "silver nitrate": "AgNO3",
    "bismuth nitrate": "Bi(NO3)3",
    "cupric sulphate": "CuSO4",
    "cupric chloride": "CuCl2",
    "ferric chloride": "FeCl3",
    "ammonium chloride": "NH4Cl",
    "sodium chloride": "NaCl",
    "sodium thiosulphate": "Na2S2O3",
}
"""Anhydrous formulae. To add one: its name as the recipes say it, and its formula without water."""

CYLINDER_STEPS_ML = ((10.0, 0.2), (25.0, 0.5), (100.0, 1.0), (250.0, 2.0), (500.0, 5.0), (1000.0, 10.0), (2000.0, 20.0))
"""Graduated cylinders: what one holds, and its graduation (common sizes; common practice, no source)."""

BALANCE_STEP_G = 0.1
MAX_LITRES = 1000.0
MAX_GRAMS_PER_LITRE = 5000.0


@dataclass(frozen=True)
class Dilution:
    """Stock and water to pour together; strength is what they give, as a fraction of stock."""

    stock_ml: float
    water_ml: float
    strength: float

    @property
    def total_ml(self) -> float:
        return self.stock_ml + self.water_ml


@dataclass(frozen=True)
class Blend:
    """A leftover, stock and water to pour together; strength is what they give, as a fraction of stock."""

    leftover_ml: float
    stock_ml: float
    water_ml: float
    strength: float

    @property
    def total_ml(self) -> float:
        return self.leftover_ml + self.stock_ml + self.water_ml


@dataclass(frozen=True)
class Weighing:
    """Salt for a stock. salt_g: to weigh in; volume_ml: fill up with water to this; grams_per_litre: what it gives."""

    salt_g: float
    volume_ml: float
    grams_per_litre: float


def dilute(volume_ml: float, strength: float) -> Dilution:
    """Return the stock and water for ``volume_ml`` at ``strength``. Raises RecipeError."""
    volume = _volume_ml(volume_ml, "volume wanted")
    share = _strength(strength, "strength wanted")
    return Dilution(volume * share, volume * (1.0 - share), share)


def dilute_from(volume_ml: float, wanted: float, at_hand: float) -> Dilution:
    """Return what to pour of a solution of strength ``at_hand``, and of water, for ``volume_ml`` at ``wanted``.

    C1·V1 = C2·V2. ``stock_ml`` of the answer is of the solution at hand. Raises RecipeError when it is too weak.
    """
    volume = _volume_ml(volume_ml, "volume wanted")
    wanted, at_hand = _strength(wanted, "strength wanted"), _strength(at_hand, "strength at hand")
    if wanted > at_hand:
        raise RecipeError(f"Use a stronger solution: {wanted:g} of stock can't be made from {at_hand:g} of stock.")
    poured = volume * (wanted / at_hand)
    return Dilution(poured, volume - poured, wanted)


def water_down(leftover_ml: float, at_hand: float, wanted: float) -> Dilution:
    """Return the water that brings the whole of a leftover from strength ``at_hand`` down to ``wanted``.

    C1·V1 = C2·V2. Raises RecipeError when ``wanted`` is stronger than the leftover.
    """
    leftover = _volume_ml(leftover_ml, "volume left over")
    wanted, at_hand = _strength(wanted, "strength wanted"), _strength(at_hand, "leftover's strength")
    if wanted > at_hand:
        raise RecipeError(f"Add stock, not water: the leftover is {at_hand:g} of stock and {wanted:g} is wanted.")
    return Dilution(leftover, leftover * (at_hand / wanted) - leftover, wanted)


def strengthen(leftover_ml: float, at_hand: float, wanted: float) -> float:
    """Return the ml of stock that bring a whole leftover from ``at_hand`` up to ``wanted``. Raises RecipeError."""
    leftover = _volume_ml(leftover_ml, "volume left over")
    wanted, at_hand = _strength(wanted, "strength wanted"), _strength(at_hand, "leftover's strength")
    if wanted < at_hand:
        raise RecipeError(f"Add water, not stock: the leftover is {at_hand:g} of stock and {wanted:g} is wanted.")
    if wanted == 1.0:
        if at_hand == 1.0:
            return 0.0
        raise RecipeError("Start from fresh stock: no leftover becomes full strength by adding stock to it.")
    return leftover * (wanted - at_hand) / (1.0 - wanted)


def use_leftover(volume_ml: float, wanted: float, leftover_ml: float, at_hand: float) -> Blend:
    """Return what to pour for ``volume_ml`` at strength ``wanted``, with as much of a leftover in it as can be.

    C·V of the leftover and of the stock add up. A leftover that is weaker is made up with stock, one that is stronger
    with water. Raises RecipeError.

    >>> use_leftover(200.0, 0.5, 100.0, 0.25)  # a leftover of a quarter into a half
    Blend(leftover_ml=100.0, stock_ml=75.0, water_ml=25.0, strength=0.5)
    """
    volume = _volume_ml(volume_ml, "volume wanted")
    leftover = _volume_ml(leftover_ml, "volume left over")
    wanted, at_hand = _strength(wanted, "strength wanted"), _strength(at_hand, "leftover's strength")
    most = volume * wanted / at_hand  # more would be too strong
    if at_hand < 1.0:
        most = min(most, volume * (1.0 - wanted) / (1.0 - at_hand))  # more would leave no room for the stock
    poured = min(leftover, most, volume)
    stock = max(0.0, volume * wanted - poured * at_hand)
    return Blend(poured, stock, max(0.0, volume - poured - stock), wanted)


def measurable_blend(blend: Blend, at_hand: float, smallest_step_ml: float | None = None) -> Blend:
    """Return ``blend`` rounded to what cylinders show, with the strength that this truly gives.

    at_hand: strength of the leftover. Raises RecipeError when nothing of it can be measured.
    """
    leftover, stock, water = (
        _in_cylinder(part, smallest_step_ml) for part in (blend.leftover_ml, blend.stock_ml, blend.water_ml)
    )
    if leftover + stock == 0.0:
        raise RecipeError("Mix a larger volume: what is to be poured is too little to be measured.")
    strength = (leftover * _strength(at_hand, "leftover's strength") + stock) / (leftover + stock + water)
    return Blend(leftover, stock, water, strength)


def molar_mass_g_per_mol(formula: str) -> float:
    """Return the molar mass of a formula such as "Fe(NO3)3" or "Cu(NO3)2·3H2O". Raises RecipeError."""
    if not isinstance(formula, str) or not formula.strip():
        raise RecipeError(f"Write a formula such as Fe(NO3)3·9H2O: {formula!r} is not one.")
    total = 0.0
    for part in re.split(r"[·.*]", formula.replace(" ", "")):
        count, rest = re.fullmatch(r"(\d{0,3})(.*)", part, re.DOTALL).groups()  # type: ignore[union-attr]  # fits any text
        total += int(count or 1) * _part_g_per_mol(rest, formula)
    return total


def hydrate(salt: str, waters: float) -> str:
    """Return the formula of a salt of ours with its water of crystallisation. Raises RecipeError."""
    whole = _number(waters, "number of waters", 0, 24)
    if whole != int(whole):
        raise RecipeError(f"Give the number of waters as a whole number: {waters!r} is not one.")
    formula = _formula(salt)
    return f"{formula}·{int(whole)}H2O" if whole else formula


def weigh_salt(
    volume_ml: float, grams_per_litre: float, meant: str | None = None, in_the_bottle: str | None = None
) -> Weighing:
    """Return the grams of salt for ``volume_ml`` of a stock of ``grams_per_litre``.

    When the recipe speaks of one form of the salt and the bottle holds another, give both formulae: ``meant``
    "Fe(NO3)3" and ``in_the_bottle`` "Fe(NO3)3·9H2O". The answer is then what to weigh of the bottle, and its
    grams_per_litre is still of what was meant. Raises RecipeError when the two are not forms of one salt.
    """
    volume = _volume_ml(volume_ml, "volume of stock")
    wanted = _number(grams_per_litre, "stock's strength", 0.01, MAX_GRAMS_PER_LITRE, " g/L")
    grams = wanted * volume / 1000.0
    if (meant is None) != (in_the_bottle is None):
        raise RecipeError("Give both formulae: of the salt that the recipe means, and of the one in the bottle.")
    if meant is not None and in_the_bottle is not None:
        grams *= form_factor(meant, in_the_bottle)
    return Weighing(grams, volume, wanted)


def form_factor(meant: str, in_the_bottle: str) -> float:
    """Return the grams of ``in_the_bottle`` that hold as much as one gram of ``meant``; they differ by water only."""
    one, other = _dry(meant), _dry(in_the_bottle)
    if one != other:
        raise RecipeError(f"Check the bottle: {in_the_bottle} is not a form of {meant}, with more or less water.")
    return molar_mass_g_per_mol(in_the_bottle) / molar_mass_g_per_mol(meant)


def solution_for_area(area_cm2: float, passes: int, ml_per_m2_per_pass: float, spare: float = 0.0) -> float:
    """Return the ml of solution for ``passes`` over ``area_cm2``, given what one pass takes in this studio.

    spare: share added for loss in the bottle and the air, 0.2 is a fifth more. Raises RecipeError.
    """
    area = _number(area_cm2, "area", 0.01, 1e7, " cm²")
    count = _number(passes, "number of passes", 1, 200)
    if count != int(count):
        raise RecipeError(f"Give the number of passes as a whole number: {passes!r} is not one.")
    rate = _number(ml_per_m2_per_pass, "solution for a pass", 0.1, 10_000.0, " ml per m²")
    return area / 1e4 * count * rate * (1.0 + _number(spare, "share to spare", 0.0, 10.0))


def measurable_dilution(wanted: Dilution, smallest_step_ml: float | None = None) -> Dilution:
    """Return ``wanted`` rounded to what cylinders show, with the strength that this truly gives.

    Each of the two is measured in the smallest cylinder that holds it, or to ``smallest_step_ml``. Raises RecipeError
    when a part is too little to be measured.
    """
    at_hand = wanted.strength * wanted.total_ml / wanted.stock_ml
    stock = _in_cylinder(wanted.stock_ml, smallest_step_ml)
    water = _in_cylinder(wanted.water_ml, smallest_step_ml)
    if stock == 0.0:
        raise RecipeError(f"Mix a larger volume, or dilute in two steps: {wanted.stock_ml:.2g} ml can't be measured.")
    return Dilution(stock, water, at_hand * stock / (stock + water))


def measurable_weighing(wanted: Weighing, step_g: float = BALANCE_STEP_G) -> Weighing:
    """Return ``wanted`` rounded to what a balance shows, with the g/L that this truly gives. Raises RecipeError."""
    step = _number(step_g, "balance's step", 0.0001, 100.0, " g")
    grams = _to_step(wanted.salt_g, step)
    if grams == 0.0:
        raise RecipeError(f"Make a larger volume: {wanted.salt_g:.2g} g is less than the balance shows.")
    return Weighing(grams, wanted.volume_ml, wanted.grams_per_litre * grams / wanted.salt_g)


def _in_cylinder(volume_ml: float, step_ml: float | None) -> float:
    if step_ml is None:
        largest_ml, largest_step = CYLINDER_STEPS_ML[-1]
        step_ml = next((step for holds, step in CYLINDER_STEPS_ML if volume_ml <= holds), None)
        if step_ml is None:  # filled several times, and each time read once
            step_ml = largest_step * math.ceil(volume_ml / largest_ml)
    return _to_step(volume_ml, _number(step_ml, "cylinder's step", 0.001, 1000.0, " ml"))


def _to_step(value: float, step: float) -> float:
    return round(round(value / step) * step, 9)


def _dry(formula: str) -> str:
    """Return a formula without its water of crystallisation."""
    molar_mass_g_per_mol(formula)  # raises for what is no formula
    parts = re.split(r"[·.*]", formula.replace(" ", ""))
    return "·".join(part for part in parts if not re.fullmatch(r"\d*H2O", part))


def _part_g_per_mol(part: str, whole: str) -> float:
    """Return the molar mass of a formula without dots, with brackets as deep as they come."""
    stack = [0.0]
    at = 0
    token = re.compile(r"([A-Z][a-z]?)(\d{0,3})|(\()|(\))(\d{0,3})")
    while at < len(part):
        match = token.match(part, at)
        if match is None or (match[1] and match[1] not in ATOMIC_WEIGHTS_G_PER_MOL) or (match[4] and len(stack) < 2):
            raise RecipeError(f"Check the formula {whole!r}: {part[at:]!r} is not understood.")
        if match[1]:
            stack[-1] += ATOMIC_WEIGHTS_G_PER_MOL[match[1]] * int(match[2] or 1)
        elif match[3]:
            stack.append(0.0)
        else:
            inner = stack.pop() or math.nan  # an empty bracket: found below
            stack[-1] += inner * int(match[5] or 1)
        at = match.end()
    if len(stack) != 1 or not stack[0] > 0.0:
        raise RecipeError(f"Check the formula {whole!r}: a bracket is open, or a part of it is missing.")
    return stack[0]


def _formula(salt: str) -> str:
    key = canonical(str(salt))
    if key not in SALTS:
        raise RecipeError(f"Give the formula of {salt!r}: only those of {', '.join(SALTS)} are known here.")
    return SALTS[key]


def _strength(value: float, what: str) -> float:
    strength = _number(value, what, 0.0, 1.0, " (1 is the stock as it is, 0.5 half strength)")
    if strength == 0.0:
        raise RecipeError(f"Give the {what} more than 0: at 0 there is only water in the bottle.")
    return strength


def _volume_ml(value: float, what: str) -> float:
    return _number(value, what, 0.1, MAX_LITRES * 1000.0, " ml")


def _number(value: float, what: str, low: float, high: float, unit: str = "") -> float:
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if isinstance(value, bool) or not low <= number <= high:
        raise RecipeError(f"Give the {what} as a number from {low:g} to {high:g}{unit}: {value!r} is not one.")
    return number
