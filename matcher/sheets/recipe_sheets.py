"""A recipe for the bench wall, and the plates of a session: what goes on in which order, boxes to tick, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.platypus import Flowable, KeepTogether

from matcher.bench.steps import steps_of
from matcher.bench.wording import look_and_sound, what_goes_on
from matcher.errors import StudioError
from matcher.recipe.cautions import Caution, cautions_for_all
from matcher.recipe.recipe import Recipe, steps_in_words
from matcher.sheets.drawn import Boxes, Finishes, Shown
from matcher.sheets.paper import A4, Paper, gap, listed, said, sheet, table

FOOT = "Local codes, safety data sheets and licensed practice come first."
MOST_PLATES = 200


@dataclass(frozen=True, eq=False)
class OnTheCard:
    """What stands on a recipe card.

    title: "Plate 88", or what the recipe is for. recipe: what is done. shown: the finish that came of it, and the
    target beside it where there is one. lines: who made it, when, how near it came. notes: as typed.
    """

    title: str
    recipe: Recipe
    shown: tuple[Shown, ...] = ()
    lines: tuple[str, ...] = ()
    notes: str = ""


def recipe_card(card: OnTheCard, studio: str = "", paper: Paper = A4) -> bytes:
    """Return the PDF of a recipe for the bench wall: every step with its boxes, what to look for, the cautions."""
    recipe = card.recipe
    story: list[Flowable] = [said(card.title, "title")]
    if card.shown:
        story += [Finishes(card.shown), gap(2)]
    surface = f", {recipe.surface}" if recipe.surface else ""
    story.append(said(f"{recipe.alloy}{surface}", "body", "Metal:"))
    story += [said(line) for line in card.lines]
    for number, step in enumerate(steps_of(recipe), start=1):
        looks = [said(line, "soft") for line in look_and_sound(recipe, step)]
        boxes = [Boxes(step.planned)] if step.planned <= _ON_A_PAGE else [said(f"{step.planned} times")]
        story.append(
            KeepTogether([gap(3), said(what_goes_on(recipe, step), "large", f"{number}."), gap(1.5), *boxes, *looks])
        )
    if card.notes:
        story += [said("Notes", "heading"), said(card.notes)]
    story += [*_cautions(cautions_for_all([recipe])), gap(2), said(_LOOKS_ARE, "soft")]
    return sheet(story, card.title, paper, (studio, "Recipe"), FOOT)


@dataclass(frozen=True, eq=False)
class PlannedPlate:
    """A plate to be made in a session. expected: the colour that it should come to; None where nothing tells."""

    recipe: Recipe
    expected: Shown | None = None
    words: str = ""


def session_sheet(
    plates: Sequence[PlannedPlate], title: str, studio: str = "", target: Shown | None = None, paper: Paper = A4
) -> bytes:
    """Return the PDF of a session: each plate with its recipe, a box to tick, and room to write. Raises StudioError."""
    if not plates:
        raise StudioError("Plan a plate first: there is nothing to print.")
    if len(plates) > MOST_PLATES:
        raise StudioError(f"Print at most {MOST_PLATES} plates at once: these are {len(plates)}.")
    story: list[Flowable] = [said(title, "title")]
    if target is not None:
        story += [Finishes((target,), side_mm=22, mat_mm=4), gap(2)]
    rows = [
        (str(number), Boxes(1), _expected(plate), _steps(plate.recipe), plate.words, "")
        for number, plate in enumerate(plates, start=1)
    ]
    heads = ("", "Done", "Expected", "What goes on", "In words", "Mark, notes")
    story.append(table(heads, rows, (0.5, 0.9, 1.6, 5.0, 2.2, 2.8), paper))
    story += _cautions(cautions_for_all([plate.recipe for plate in plates]))
    return sheet(story, title, paper, (studio, "Session"), FOOT)


def _expected(plate: PlannedPlate) -> Flowable | str:
    if plate.expected is None:
        return "not known yet"
    return Finishes((Shown("", plate.expected.lab, plate.expected.patch),), side_mm=14, mat_mm=2)


def _steps(recipe: Recipe) -> str:
    return "\n".join(steps_in_words(recipe))


def _cautions(cautions: Sequence[Caution]) -> list[Flowable]:
    if not cautions:
        return []
    head = said("Cautions", "heading")
    items = listed([caution.message for caution in cautions])
    return [KeepTogether([head, items[0]]), *items[1:]]


_ON_A_PAGE = 400
_LOOKS_ARE = "What a surface should look and sound like is common practice, no source."
