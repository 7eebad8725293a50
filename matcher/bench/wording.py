"""What the bench says of a piece and its steps, in the trade's words: what goes on, what it should look and sound like.

The facts of look and sound are common practice, no source. At the edge: nothing here is read back.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from matcher.bench.path import BenchPath
from matcher.bench.steps import BURNISH, COAT, SEAL, UNDERCOAT, WASH, Step
from matcher.bench.work import UNSEALED, Piece
from matcher.colour.verdict import standing as match_of
from matcher.recipe.cautions import SKATES_OFF_ABOVE_C
from matcher.recipe.names import canonical, is_ferric
from matcher.recipe.recipe import Recipe, strength_in_words
from matcher.words import capital, counted, listed, percent

APART_CHANCE, APART_DELTA_E00 = 0.05, 0.25
"""From which difference on it is said why list and bench do not say the same."""
TOO_COOL_BELOW_C = 95.0
"""Well below the some 104 °C at which water flashes off; a solution then stays wet (common practice, no source)."""


def in_both_degrees(temp_c: float) -> str:
    """Say a temperature in °C and °F.

    >>> in_both_degrees(104.0)
    '104 °C (219 °F)'
    """
    return f"{temp_c:.0f} °C ({temp_c * 9 / 5 + 32:.0f} °F)"


def still_within(path: BenchPath, tolerance: float) -> str | None:
    """Say of a piece past its target that it may be within the tolerance all the same, as far as it can be told."""
    if not (path.done and path.past):
        return None
    low, high = (float(end) for end in path.interval[path.done])
    chance = path.chance_within(tolerance, path.done)
    stands = match_of((low, high), chance, tolerance)
    if stands == "outside":
        return None
    said = {
        "within": f"It is still within ΔE00 {tolerance:g}",
        "likely": f"It is likely still within ΔE00 {tolerance:g} ({percent(chance)})",
        "untold": f"Whether it is still within ΔE00 {tolerance:g} can't be told (chance {percent(chance)})",
    }
    return f"{said[stands]}: read the piece before you burnish it."


def what_goes_on(recipe: Recipe, step: Step, done: int = 0) -> str:
    """Say what a step lays on, or does: chemical, strength, heat and how it is laid. done: how often it was done.

    >>> from matcher.recipe.recipe import Coat
    >>> recipe = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, 9, 105.0),))
    >>> what_goes_on(recipe, Step("coat", 9, 0))
    'Ferric nitrate, half strength, 105 °C (221 °F), fine mist'
    """
    under, seal = recipe.undercoat, recipe.seal
    if step.kind == COAT:
        coat = recipe.coats[step.coat or 0]
        words = (
            coat.chemical,
            strength_in_words(coat.strength),
            "temperature not noted" if coat.surface_temp_c is None else in_both_degrees(coat.surface_temp_c),
            coat.application,
        )
        said = ", ".join(words)
    elif step.kind == UNDERCOAT and under is not None:
        said = f"{under.chemical}, {strength_in_words(under.strength)}, as undercoat"
    elif step.kind == BURNISH and under is not None:
        back = "how far was not noted" if under.burnish is None else percent(under.burnish)
        said = f"burnish back {back}"
    elif step.kind == SEAL and seal is not None:
        said = f"{seal.kind}, on {'warm' if seal.hot and not done else 'cool'} metal"
    else:
        said = "wash the undercoat off clean"
    return capital(said)


def doing(step: Step, done: int, about: int | None = None) -> str:
    """Say what has just been done when the button is pressed. about: passes after which a coat stops, as expected.

    >>> doing(Step("coat", 9, 0), 2, 8), doing(Step("seal", 3), 0), doing(Step("wash"), 0)
    ('pass 3 of about 8 done', 'coat 1 of 3 done', 'done')
    """
    if step.kind == COAT:
        whole = step.planned if about is None else about
        if whole > done:
            return f"pass {done + 1} of {'' if about is None else 'about '}{whole} done"
        return f"pass {done + 1} done" + (f", {whole} were planned" if about is None else "")
    if step.kind == SEAL:
        return f"coat {done + 1} of {step.planned} done"
    return "done"


def step_name(recipe: Recipe, step: Step) -> str:
    """Name a step of a recipe shortly: "coat 2, cupric nitrate"."""
    if step.kind == COAT:
        number = f"coat {(step.coat or 0) + 1}, " if len(recipe.coats) > 1 else ""
        return f"{number}{recipe.coats[step.coat or 0].chemical}"
    if step.kind == SEAL and recipe.seal is not None:
        return recipe.seal.kind
    return {UNDERCOAT: "undercoat", WASH: "wash", BURNISH: "burnish"}.get(step.kind, step.kind)


def standing(piece: Piece, about: int | None = None) -> str:
    """Say in a few words where a piece stands."""
    step = piece.step
    if step is None:
        return "all steps done"
    name = step_name(piece.recipe, step)
    if not step.counted:
        return f"{name} is next"
    if step.kind == SEAL:
        return f"{name}: {piece.done} of {counted(step.planned, 'coat')}"
    whole = step.planned if about is None else about
    return f"{name}: {piece.done} of {'' if about is None else 'about '}{counted(whole, 'pass')}"


def shortly(piece: Piece) -> str:
    """Say where a piece stands in two or three words, to be read in passing."""
    step = piece.step
    if step is None:
        return "done"
    return f"{piece.done} of {step.planned}" if step.counted else step.kind


def title_of(piece: Piece) -> str:
    """Name a piece: its mark, else its place in a run of plates, else its number on the bench."""
    if piece.name:
        return piece.name
    if piece.run and piece.source:
        return capital(piece.source)
    return f"Piece {piece.number}"


def done_so_far(piece: Piece) -> str:
    """Say what would be lost with a piece: steps, passes and readings.

    >>> from matcher.recipe.recipe import Coat
    >>> recipe = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, 9, 105.0),))
    >>> done_so_far(Piece("p", recipe, counts=(4,)))
    '4 passes'
    """
    once = [step_name(piece.recipe, step) for step, count in _counts(piece) if count and not step.counted]
    passes = sum(piece.passes)
    said = [*once, *([counted(passes, "pass")] if passes else [])]
    if sealed := piece.was(SEAL):
        said.append(f"{counted(sealed, 'coat')} of {step_name(piece.recipe, piece.steps[-1])}")
    if piece.readings:
        said.append(counted(len(piece.readings), "reading"))
    return listed(said) if said else "nothing yet"


def _counts(piece: Piece) -> list[tuple[Step, int]]:
    return list(zip(piece.steps, piece.counts, strict=True))


LIVER_OF_SULPHUR = (
    "Liver of sulphur makes a warm base: gold, red-brown, then brown and black as it goes on. Rinse at once at the "
    "tone wanted: it works on while it is wet."
)
OF_OTHER_COATS = {
    canonical("cupric nitrate"): (
        "Pale blue-green and powdery at first, a fuller green with the passes, and it soon hides what lies below. Stop "
        "while the ground still shows where it is to show. Too hot, green turns brown and black."
    ),
    canonical("bismuth nitrate"): (
        "Clear while wet, a white veil once dry: let a pass dry before you judge it. It hides more with every pass, "
        "and is soon chalky. Wax makes it clearer again, so stop whiter than wanted."
    ),
    canonical("silver nitrate"): (
        "Grey from the first passes on, over a dark ground silvery. It darkens in light until it is sealed, so stop "
        "lighter than wanted and seal it soon."
    ),
}
"""What other coats look like as they build up, and when to stop: common practice, no source."""
LACQUER = (
    "Lacquer goes on cool, dry metal, thin and even, each coat dry before the next. A milky bloom is damp under it: "
    "stop, and let it dry."
)


def look_and_sound(recipe: Recipe, step: Step) -> tuple[str, ...]:
    """Say what the surface should look and sound like at a step: common practice, no source."""
    if step.kind == UNDERCOAT and recipe.undercoat is not None:
        sulphur = canonical(recipe.undercoat.chemical) == canonical("liver of sulphur")
        tone = LIVER_OF_SULPHUR if sulphur else "Stop when it is evenly dark."
        return (tone, "Reheated later it darkens further, so it is burnished back lighter than wanted.")
    if step.kind == WASH:
        return ("Rinse until the water runs clear, and dry: what is left of the undercoat must not meet an acid salt.",)
    if step.kind == BURNISH:
        return ("High points show metal, recesses stay dark; lighter than wanted, since heat darkens it again.",)
    if step.kind == SEAL and recipe.seal is not None:
        return _of_seal(recipe)
    return _of_coat(recipe, step.coat or 0)


def _of_coat(recipe: Recipe, place: int) -> tuple[str, ...]:
    coat = recipe.coats[place]
    heat = "A light hiss, and the water flashes off. Drops that skate: too hot. A surface that stays wet: too cool."
    if coat.surface_temp_c is None:
        return ()
    if coat.surface_temp_c > SKATES_OFF_ABOVE_C:
        heat = "At this heat drops may skate off without wetting: a finer mist, and a moment off the flame, help."
    elif coat.surface_temp_c < TOO_COOL_BELOW_C:
        heat = "At this heat the surface stays wet for a while: let it dry before the next pass. No hiss is expected."
    said = [heat]
    if is_ferric(coat.chemical):
        dark = recipe.undercoat is not None or place > 0
        move = "darker and less yellow from the first pass on" if dark else (
            "from pale yellow through orange-brown to a deep red-brown"
        )  # fmt: skip
        said.append(f"The film is clear while thin and covers more with every pass: {move}. No pass lightens it.")
    elif known := OF_OTHER_COATS.get(canonical(coat.chemical)):
        said.append(known)
    if canonical(coat.application) == canonical("fine mist"):
        said.append("A fine mist stays even; drops and streams make mottle.")
    return tuple(said)


def _of_seal(recipe: Recipe) -> tuple[str, ...]:
    seal = recipe.seal
    if seal is None or "wax" not in seal.kind.casefold():
        return (LACQUER,)
    first = "The first coat goes on warm metal, the torch out; the next on cool" if seal.hot else "Thin coats on cool"
    return (
        f"{first} metal, rubbed out by cloth so that no brush marks set, and buffed between coats.",
        "Wax darkens and deepens the colour, darks more than lights.",
    )


def against_the_list(piece: Piece, path: BenchPath, tolerance: float) -> str | None:
    """Say why the bench gives a recipe other figures than the list did; None where they agree, or no list was asked."""
    told: Mapping[str, Any] | None = piece.listed
    if told is None:
        return None
    here, there = path.chance_within(tolerance), float(told["chance"])
    now, was = float(path.expected[path.stop_at]), float(told["delta_e00"])
    if abs(here - there) < APART_CHANCE and abs(now - was) < APART_DELTA_E00:
        return None
    why = []
    if told.get("basis") == "logged":
        why.append("the list gives what one plate of it was read at, and this is a new piece")
    if piece.sealed != UNSEALED and piece.recipe.seal is None:
        why.append(f"the list compares it unsealed, and here the {piece.sealed} to come is allowed for")
    if piece.sealed == UNSEALED and piece.recipe.seal is not None:
        why.append("the list compares it sealed, and here the target is taken as unsealed")
    if path.last_coat and path.stop_at != path.planned:
        why.append(f"here it is stopped after {counted(path.stop_at, 'pass')}, not {path.planned}")
    if piece.readings:
        why.append("this piece's own readings correct it")
    alone = path.chance_of_recipe(tolerance)
    if abs(alone - here) >= APART_CHANCE:
        why.append(
            f"the list speaks of the recipe's own colour (here {percent(alone)}), and one piece scatters about it"
        )
    reason = "; ".join(why) or "the log, or today's limits, changed since"
    return f"The list said ΔE00 {was:.1f} and {percent(there)}; here {now:.1f} and {percent(here)}: {reason}."
