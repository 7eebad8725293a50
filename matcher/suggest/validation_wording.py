"""What the figures on the predictions mean, in plain sentences. After ``cross_validation``."""

from __future__ import annotations

import numpy as np

from matcher.dates import day_shown
from matcher.process.hand import FEWEST_DAYS
from matcher.suggest.cross_validation import CrossValidation, Region
from matcher.words import counted, percent

NAMED = 3
NOMINAL = 0.95
FEW_PLATES = 12
ENOUGH_PLATES = 24


def learned_from_in_words(figures: CrossValidation) -> str:
    """Say which plates the figures stand on."""
    used = len(figures.trials)
    if used < figures.logged:
        return (
            f"The log is long, so predictions near this target are learned from {used} of its "
            f"{counted(figures.logged, 'plate')}: those nearest to the target's colour and a spread of the "
            "rest. All figures below are of these."
        )
    few = " With so few, every figure below may change much with the next plate." if used < FEW_PLATES else ""
    return f"Learned from all {counted(used, 'plate')} in the log that are not set aside.{few}"


def left_out_in_words(figures: CrossValidation) -> str:
    """Say how far off a plate is predicted that the model was not shown."""
    errors = figures.left_out
    return (
        f"Half of the plates were predicted within ΔE00 {errors.median:.1f} without being shown to the model, and nine "
        f"of ten within {errors.percentile_90:.1f}."
    )


def coverage_in_words(figures: CrossValidation) -> str:
    """Say how often the 95 % intervals held, beside what chance alone would make of 95 %."""
    many = len(figures.left_out.errors)
    held = round(figures.left_out.coverage * many)
    least, most = coverage_by_chance(many)
    said = f"{held} of {counted(many, 'plate')} ({percent(held / many)}) lay inside the 95 % region predicted for them"
    if held < least:
        return f"{said}; fewer than chance explains ({least} at least): the intervals are too narrow, trust them less."
    if held > most:
        return f"{said}; more than chance explains ({most} at most): the intervals are wider than they need be."
    judged = "the intervals can be trusted" if many >= ENOUGH_PLATES else "so few plates tell little yet"
    return f"{said}. By chance alone it would be {least} to {most}: {judged}."


def coverage_by_chance(many: int) -> tuple[int, int]:
    """Return the least and most plates of ``many`` that a true 95 % region holds, 95 times in 100 (binomial)."""
    from scipy.stats import binom

    least, most = binom.ppf([0.025, 0.975], many, NOMINAL)
    return int(least), int(most)


def groups_in_words(figures: CrossValidation) -> str:
    """Say how well a kind of recipe is predicted of which no plate was shown."""
    if not figures.groups:
        return "All plates are of one kind, so nothing can be said of kinds that were never made."
    medians = np.array([group.median for _, group in figures.groups])
    worst = int(np.argmax(medians))
    kind, group = figures.groups[worst]
    return (
        f"When all plates of one kind are held back, half of them are still predicted within ΔE00 "
        f"{np.median(medians):.1f} (the middle of {len(medians)} kinds). The worst is {kind.name}, at "
        f"{group.median:.1f}: trust a prediction least where no plate of its kind was made."
    )


def growth_in_words(figures: CrossValidation) -> str:
    """Say how the error fell as plates were added."""
    if len(figures.growth) < 2:
        return "Too few plates are logged to show how the error falls as plates are added."
    (few, before), (many, after) = figures.growth[0], figures.growth[-1]
    change = "fell" if after < before else "did not fall"
    return (
        f"Learned from {counted(few, 'plate')}, half of the predictions of others were within ΔE00 {before:.1f}; "
        f"from {many}, within {after:.1f}: the error {change} as plates were added."
    )


def regions_in_words(figures: CrossValidation) -> str:
    """Say where one more plate would teach most."""
    if not figures.regions:
        return "No recipes are in range to compare."
    names = _listed([region.kind.name for region in figures.regions[:NAMED]])
    return f"For the predictions as a whole, one more plate would help most here: {names}."


def region_in_words(region: Region) -> str:
    """Say one region's figures."""
    made = counted(region.plates, "plate") if region.plates else "no plate yet"
    return f"{region.kind.name}: {made}; predictions there may be off by ΔE00 {region.doubt:.1f}"


def drift_in_words(figures: CrossValidation) -> str:
    """Say whether the hand changed over the days, and by how much at most."""
    clear = [point for point in figures.drift if not point.interval[0] <= 1.0 <= point.interval[1]]
    if figures.days < FEWEST_DAYS:
        return (
            f"The plates were made on {counted(figures.days, 'day')}: whether the hand changes over time can be told "
            f"from {FEWEST_DAYS} on."
        )
    if not figures.drift:
        return "No change over the days shows in the log: coats come out as they did, as far as it tells."
    if not clear:
        return (
            "What a coat lays down may have changed over the days, by too little to say how; suggestions allow for it."
        )
    most = max(clear, key=lambda point: abs(np.log(point.share)))
    low, high = (1 / end - 1 for end in most.interval[::-1])
    less = most.share > 1
    least, greatest = sorted((abs(low), abs(high)))
    by = f"{percent(abs(1 / most.share - 1))} ({percent(least)} to {percent(greatest)})"
    return (
        f"A coat lays down {by} {'less' if less else 'more'} today than around {day_shown(most.day)}: the hand, the "
        "torch, the bottle or the weather has changed since. Suggestions are for today."
    )


def contradictions_in_words(figures: CrossValidation) -> str:
    """Say how many plates disagree with those near them."""
    many = sum(one.checked is None for one in figures.contradictions)
    if not many and figures.contradictions:
        return "No plate disagrees with those near it but for what was checked and is right."
    if not many:
        return "No plate disagrees with those near it more than plates do by chance."
    if many == 1:
        return "One plate disagrees with those near it. It stays in the log until you decide."
    return f"{counted(many, 'plate')} disagree with those near them. They stay in the log until you decide."


def in_words(figures: CrossValidation) -> dict[str, str]:
    """Return all sentences by what they are about."""
    return {
        "learned_from": learned_from_in_words(figures),
        "left_out": left_out_in_words(figures),
        "coverage": coverage_in_words(figures),
        "groups": groups_in_words(figures),
        "growth": growth_in_words(figures),
        "regions": regions_in_words(figures),
        "drift": drift_in_words(figures),
        "contradictions": contradictions_in_words(figures),
    }


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else "; ".join(names[:-1]) + "; and " + names[-1]
