"""What sharing says: what would leave the studio, how far others' plates carry over, how near they are."""

from __future__ import annotations

from matcher.recipe.recipe import describe
from matcher.sharing.carry_over import FEWEST_PAIRS, CarryOver
from matcher.sharing.shared_plate import SharedPlate
from matcher.sharing.sharing import OtherPlate
from matcher.words import counted, with_sign

NOTHING_ELSE = (
    "Besides that only the studio's title, its number among studios, the plate's and the day of sharing leave; no "
    "photograph, client, person, note or bottle."
)


def leaves_in_words(plate: SharedPlate) -> str:
    """Say what leaves the studio with a plate."""
    lab = ", ".join(f"{value:.1f}" for value in plate.lab)
    recipe = "its colour only" if plate.recipe is None else describe(plate.recipe)
    return f"L*, a*, b* {lab}; {recipe}"


def carry_in_words(title: str, carry: CarryOver) -> str:
    """Say how far a studio's plates carry over, or that nobody can know yet."""
    if carry.shift is None or carry.shift_covariance is None or carry.scatter is None:
        return (
            f"How far the plates of {title} carry over to yours isn't known: you have {counted(carry.pairs, 'recipe')} "
            f"in common, and it takes {FEWEST_PAIRS}. Make one of theirs and log it."
        )
    sigmas = (1.96 * carry.shift_covariance.diagonal() ** 0.5).tolist()
    moved = ", ".join(
        f"{name} {with_sign(value, plus=True)} ± {sigma:.1f}"
        for name, value, sigma in zip(("L*", "a*", "b*"), carry.shift.tolist(), sigmas, strict=True)
    )
    scatter = ", ".join(f"{value:.1f}" for value in (carry.scatter.diagonal() ** 0.5).tolist())
    return (
        f"Over {counted(carry.pairs, 'recipe')} in common your plates lie from those of {title} by {moved}; single "
        f"plates scatter about that by {scatter} (one standard deviation)."
    )


def other_in_words(one: OtherPlate) -> str:
    """Say how near another studio's plate is as they read it, and what it would give here where that is known."""
    low, high = one.interval
    said = f"ΔE00 {one.delta_e00:.1f} ({low:.1f} to {high:.1f}) as they read it"
    if one.here_delta_e00 is None or one.here_interval is None:
        return said
    near, far = one.here_interval
    return f"{said}; made here, expected ΔE00 {one.here_delta_e00:.1f} ({near:.1f} to {far:.1f})"
