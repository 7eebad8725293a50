"""What the command line tells a person: one line to a colour, a few to a suggestion or a trial."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from matcher.recipe import describe

if TYPE_CHECKING:
    from matcher.cards import Card, CardReading
    from matcher.finish import Reading
    from matcher.suggest import Suggestion
    from matcher.trials.trial import Trial


def reading_line(what: str, reading: Reading) -> str:
    """Say a colour with its 95 % interval, each coordinate on its own."""
    named = zip(("L*", "a*", "b*"), reading.lab, reading.covariance.diagonal(), strict=True)
    parts = ", ".join(f"{name} {value:.1f} ± {1.96 * float(variance) ** 0.5:.1f}" for name, value, variance in named)
    glare = f", {reading.left_out_share:.0%} left out as glare" if reading.left_out_share >= 0.005 else ""
    return f"{what}: {parts} (95 %){glare}"


def photo_line(photo: Mapping[str, Any], card: CardReading | None) -> str:
    found = "no card" if card is None else f"{card.card.title}, found by {card.found_by}"
    return f"{photo['name']}: {photo['width']} × {photo['height']} pixels, {photo['encoding']}; {found}"


def suggestion_lines(rank: int, item: Suggestion, tolerance: float) -> list[str]:
    """Say one ranked answer; the first line is empty."""
    low, high = item.delta_e00_interval
    plate = "" if item.trial is None else f", plate {item.trial.id}"
    tied = f" Not to be told apart from {', '.join(map(str, item.tied_with))}." if item.tied_with else ""
    chance = f"{item.chance_within(tolerance):.0%} chance within {tolerance:g}"
    return [
        "",
        f"{rank}.  ΔE00 {item.delta_e00:.1f} ({low:.1f} to {high:.1f}), {chance}, {item.basis}{plate}",
        f"    {describe(item.recipe)}",
        f"    {item.because}{tied}",
    ]


def trial_lines(trial: Trial) -> list[str]:
    """Say one trial: number, day, colour; recipe."""
    head = f"{trial.id}  {trial.made_at:%Y-%m-%d}{aside(trial.set_aside)}"
    return [reading_line(head, trial.reading), f"    {describe(trial.recipe)}"]


def aside(reason: str | None) -> str:
    return "" if reason is None else f" (set aside: {reason})"


def warning_lines(warned: Sequence[Mapping[str, str]]) -> list[str]:
    return [f"Warning: {item['message']}" for item in warned]


def card_as_dict(card: Card) -> dict[str, Any]:
    """Return a card's definition as plain JSON types."""
    patches = [
        {"name": patch.name, "lab": patch.lab.tolist(), "tolerance": patch.tolerance.tolist()} for patch in card.patches
    ]
    return {"name": card.name, "title": card.title, "layout": card.layout, "source": card.source, "patches": patches}
