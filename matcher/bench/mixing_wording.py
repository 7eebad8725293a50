"""What is said of mixing: which bottle and why, what to pour, in what order, and what to mind."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from matcher.bench import mixing
from matcher.bench.mixing import LayerMix
from matcher.dates import shown
from matcher.recipe.cautions import known_chemical, shipped_book
from matcher.recipe.hazards import age_days, age_in_words
from matcher.recipe.quantities import Blend, Dilution, Weighing
from matcher.recipe.recipe import Coat, Undercoat, strength_in_words
from matcher.trials.stocks import Converted, SolutionUse, Stock, left_ml
from matcher.words import capital, counted


def ml(volume: float) -> str:
    """Say a volume as a cylinder shows it: "12.5 ml", "1,200 ml"."""
    return f"{volume:,.0f} ml" if volume >= 100 else f"{volume:.4g} ml" if volume >= 10 else f"{volume:.3g} ml"


def about_ml(volume: float) -> str:
    """Say a volume that is only known roughly, in two figures.

    >>> about_ml(67.15), about_ml(0.596)
    ('67 ml', '0.6 ml')
    """
    return f"{float(f'{volume:.2g}'):,g} ml"


def about_left(volume: float) -> str:
    """Say what is left in a bottle, to the nearest ten millilitres where there is much."""
    return ml(round(volume, -1) if volume >= 100 else round(volume))


def fraction(strength: float) -> str:
    """Say a fraction of stock in figures that can be told apart: "0.496 of stock".

    >>> fraction(0.5), fraction(0.4962), fraction(1.0)
    ('half strength', '0.496 of stock', 'full strength')
    """
    words = strength_in_words(strength)
    close = any(abs(strength - plain) < 5e-4 for plain in (0.25, 0.5, 0.75, 1.0))
    return words if close else f"{strength:.3g} of stock"


def pour(dilution: Dilution, label: str) -> str:
    """Say what to pour of a bottle, and of water."""
    if dilution.water_ml == 0:
        return f"{ml(dilution.stock_ml)} of {label}, as it is"
    return f"{ml(dilution.stock_ml)} of {label} into {ml(dilution.water_ml)} of water"


def pour_blend(blend: Blend, label: str) -> str:
    """Say what to pour together of a leftover, a bottle and water."""
    parts = [(blend.water_ml, "of water"), (blend.leftover_ml, "of the leftover"), (blend.stock_ml, f"of {label}")]
    said = [f"{ml(volume)} {what}" for volume, what in parts if volume > 0]
    return ", then ".join(said) + f": {ml(blend.total_ml)} at {fraction(blend.strength)}"


def converted_in_words(made: Converted, own: str) -> str:
    """Say what choosing another bottle did to a strength."""
    layer = made.layer
    if not made.changed:
        said = f"{layer.stock} holds as much as {own}: {fraction(made.before)} stays."
    else:
        said = (
            f"{capital(fraction(made.before))} of {own} is {fraction(layer.strength)} from {layer.stock}: "
            f"as much of the salt goes on the metal ({made.grams_per_litre:.3g} g/L)."
            if layer.strength not in (1.0,)
            else f"{capital(fraction(made.before))} of {own} is {layer.stock} at full strength."
        )
    unknown = "" if made.forms_known else " What was weighed is not noted for both: the same hydrate is taken for both."
    return said + unknown


def layer_lines(mix: LayerMix) -> list[str]:
    """Say all of one layer: what to pour, for how much, and what should be known."""
    lines = []
    if mix.wanted is not None and mix.measured is not None and mix.stock is not None:
        lines.append(f"Pour {pour(mix.measured, mix.stock.label)}: {comes_to(mix.wanted, mix.measured)}.")
    lines.append(amount(mix))
    return [*lines, *troubles_in_words(mix)]


def amount(mix: LayerMix) -> str:
    """Say how much is mixed, and how sure that is."""
    low, high = mix.likely_ml
    mixed_ml = mix.needed_ml if mix.measured is None else mix.measured.total_ml
    return (
        f"{ml(mixed_ml)} for {counted(mix.passes, 'pass')}, with something to spare; what goes on is likely "
        f"{about_ml(low)} to {about_ml(high)}."
    )


def troubles_in_words(mix: LayerMix) -> list[str]:
    """Say what stands in the way of a layer, or should be known, each in one sentence that says what to do."""
    label = "" if mix.stock is None else mix.stock.label
    chemical, own = mix.layer.chemical, mix.own
    left = 0.0 if mix.left_ml is None else mix.left_ml
    wanted = 0.0 if mix.wanted is None else mix.wanted.stock_ml
    said = {
        mixing.MISSING: f"Make a bottle of {chemical} first: none is on the shelf.",
        mixing.NOT_NAMED: f"The recipe names no bottle of {chemical}: {label} is taken for what it means by stock. "
        "Check that its strength is the usual one.",
        mixing.OTHER_CHEMICAL: f"Choose a bottle of {chemical}: {label} holds "
        f"{'' if mix.stock is None else mix.stock.chemical}.",
        mixing.TOO_WEAK: f"Choose a stronger bottle than {label}: {fraction(mix.layer.strength)} of {own} can't be "
        "mixed from it.",
        mixing.NOT_ENOUGH: f"Only about {about_left(left)} are left in {label}, and {ml(wanted)} are needed: "
        + ("make the next bottle first." if mix.enough_in is None else f"mix it from {mix.enough_in}."),
        mixing.TOO_LITTLE: "So little of the bottle can't be measured: mix more, or dilute in two steps.",
        mixing.OLD: "" if mix.caution is None else mix.caution.message,
    }
    said[mixing.USED_UP] = (
        f"{own or label} is used up." if own and own != label else f"{label} is noted as used up: check what is in it."
    )
    lines = [said[code] for code in mix.troubles if code in said]
    if mix.meant is not None:
        lines.insert(0, meant_in_words(mix.layer.chemical, mix.meant))
    if mix.conversion is not None:
        lines.append(converted_in_words(mix.conversion, own))
    return lines


def meant_in_words(chemical: str, stock: Stock) -> str:
    """Say what stock means in a recipe that names no bottle."""
    return (
        f"The recipe names no bottle of {chemical}: its strength is taken as a part of {stock.label}, which plates "
        f"were mixed from last ({strength_of(stock)})."
    )


def comes_to(wanted: Dilution, measured: Dilution) -> str:
    """Say what strength comes of what is poured, and what was wanted where rounding to the cylinder changed it."""
    if abs(measured.strength / wanted.strength - 1.0) < 5e-4:
        return fraction(wanted.strength)
    return f"{measured.strength:.3g} of stock, as the cylinder shows it; {fraction(wanted.strength)} was wanted"


def weighed(wanted: Weighing, measured: Weighing, what: str) -> str:
    """Say what to weigh for a bottle, and what the balance's step does to its strength. what: a formula, or a name."""
    as_weighed = measured.salt_g / measured.volume_ml * 1000.0
    off = "" if abs(measured.salt_g / wanted.salt_g - 1.0) < 5e-4 else f" ({wanted.salt_g:.5g} g would be exact)"
    said = f"Weigh {measured.salt_g:,.6g} g of {what} and fill up to {ml(measured.volume_ml)}"
    return f"{said}: {as_weighed:.4g} g/L{off}."


def order_of_work(chemical: str) -> list[str]:
    """Say in which order a bottle is made (common practice, no source)."""
    name = known_chemical(chemical)
    acidic = name is None or shipped_book().family_of[name].acidic
    return [
        "Put on goggles and gloves, and work in moving air.",
        "Write the label and stick it on before anything is in the bottle.",
        "Measure two thirds of the water into a beaker of glass or plastic.",
        f"Stir {chemical} into the water a little at a time; it may warm."
        + (" Acid into water, never water into acid." if acidic else ""),
        "Let it cool to the room's temperature, then fill up with water to the volume.",
        "Pour it into the bottle, and wipe and rinse what was spilt into the bucket for waste.",
    ]


def strength_of(stock: Stock) -> str:
    """Say what a bottle holds: "400 g/L of Fe(NO3)3·9H2O"."""
    return f"{stock.grams_per_litre:,.5g} g/L" + (f" of {stock.formula}" if stock.formula else "")


def defer_lines(mixes: Sequence[LayerMix]) -> list[str]:
    """Return where the hazards of what is mixed come from, and what decides."""
    return list(dict.fromkeys(f"{mix.hazards.source} {mix.hazards.defer}" for mix in mixes))


def from_bottle(layer: Coat | Undercoat, stocks: Sequence[Stock], meant: Stock | None = None) -> str:
    """Say which bottle a layer of a recipe is mixed from, and how strong it is then, for whoever has another bottle.

    meant: where it names none, the bottle that plates were mixed from last.
    """
    stock = meant if layer.stock is None else next((one for one in stocks if one.label == layer.stock), None)
    if stock is None and layer.stock is None:
        return "From bottle …………………… of …………… g/L: the recipe names none."
    if stock is None:
        return f"From {layer.stock}, of …………… g/L: it is not among the studio's bottles."
    lot = f", lot {stock.lot}" if stock.lot else ""
    mixed = "" if layer.strength is None else f": mixed to {stock.grams_per_litre * layer.strength:.3g} g/L"
    empty = "" if stock.used_up_at is None else " Used up: mix another bottle to that."
    last = "" if layer.stock is not None else ", which plates were mixed from last"
    return f"From {stock.label}{lot}, {strength_of(stock)}{last}{mixed}.{empty}"


def about_bottle(stock: Stock, uses: Sequence[SolutionUse], at: datetime) -> str:
    """Say of a bottle how old it is, who made it, what is left, and where it stands."""
    left = left_ml(stock, uses)
    said = [
        age_in_words(age_days(stock.made_at, at)) + (f", by {stock.made_by}" if stock.made_by else ""),
        f"opened {shown(stock.opened_at)}" if stock.opened_at is not None else "not opened yet",
        f"used up {shown(stock.used_up_at)}" if stock.used_up_at is not None else "",
        f"about {about_left(left)} left" if left is not None and stock.used_up_at is None else "",
        f"lot {stock.lot}" if stock.lot else "",
        stock.kept_where,
    ]
    return " · ".join(part for part in said if part)
