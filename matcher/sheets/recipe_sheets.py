"""A recipe for the bench wall, and the plates of a session: what goes on in which order, boxes to tick, cautions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from reportlab.platypus import Flowable, KeepTogether

from matcher.bench.mixing_wording import from_bottle
from matcher.bench.steps import COAT, UNDERCOAT, Step, steps_of
from matcher.bench.wording import look_and_sound, what_goes_on
from matcher.errors import StudioError
from matcher.recipe.cautions import Caution, cautions_for_all
from matcher.recipe.names import canonical
from matcher.recipe.recipe import Recipe, steps_in_words
from matcher.sheets.drawn import BOX_GAP_MM, BOX_MM, Boxes, Finishes, Shown
from matcher.sheets.paper import A4, Paper, beside, gap, in_columns, said, sheet, side_by_side, table
from matcher.trials.stocks import Stock

FOOT = "Local codes, safety data sheets and licensed practice come first."
MOST_PLATES = 200


@dataclass(frozen=True, eq=False)
class OnTheCard:
    """What stands on a recipe card.

    title: "Plate 88", or what the recipe is for. recipe: what is done. shown: the finish that came of it, and the
    target beside it where there is one. lines: who made it, when, how near it came. notes: as typed. bottles: the
    studio's, those that are used up too: what the recipe's strengths are a part of. meant: by canonical chemical, the
    bottle that is meant where the recipe names none.
    """

    title: str
    recipe: Recipe
    shown: tuple[Shown, ...] = ()
    lines: tuple[str, ...] = ()
    notes: str = ""
    bottles: tuple[Stock, ...] = ()
    meant: Mapping[str, Stock] = field(default_factory=dict)


def recipe_card(card: OnTheCard, studio: str = "", paper: Paper = A4) -> bytes:
    """Return the PDF of a recipe for the bench wall: every step with its bottle and boxes, what to look for, the
    cautions. An ordinary recipe takes one page, for nobody turns a sheet on a wall."""
    recipe = card.recipe
    surface = f", {recipe.surface}" if recipe.surface else ""
    about = [said(card.title, "title"), said(f"{recipe.alloy}{surface}", "body", "Metal:"), *map(said, card.lines)]
    if card.notes:
        about += [gap(1.5), said(card.notes, "body", "Notes:")]
    about += [gap(1.5), said(_LOOKS_ARE, "soft")]
    story = beside(Finishes(card.shown, side_mm=27, mat_mm=4), about, paper) if card.shown else about
    steps = steps_of(recipe)
    most = min(_IN_A_LINE, max((step.planned for step in steps if step.planned <= _BESIDE), default=1))
    boxes_share = most * (BOX_MM + BOX_GAP_MM) / paper.inner_mm[0]
    for number, step in enumerate(steps, start=1):
        story.append(KeepTogether(_step(card, step, number, boxes_share, paper)))
    story += _cautions(cautions_for_all([recipe]))
    return sheet(story, card.title, paper, (studio, "Recipe"), FOOT)


def _step(card: OnTheCard, step: Step, number: int, boxes_share: float, paper: Paper) -> list[Flowable]:
    recipe = card.recipe
    words = [said(" ".join(look_and_sound(recipe, step)), "soft")]
    layer = recipe.undercoat if step.kind == UNDERCOAT else recipe.coats[step.coat or 0] if step.kind == COAT else None
    if layer is not None:
        words.insert(0, said(from_bottle(layer, card.bottles, card.meant.get(canonical(layer.chemical)))))
    head = [gap(2), said(what_goes_on(recipe, step), "large", f"{number}."), gap(0.8)]
    if step.planned > _ON_A_PAGE:
        return [*head, *words, said(f"{step.planned} times")]
    if step.planned > _BESIDE:
        return [*head, *words, gap(1.5), Boxes(step.planned)]
    return [*head, side_by_side(words, [Boxes(step.planned)], 1 - boxes_share, paper)]


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
    """Return the cautions in two columns, which are read as fast as they are short."""
    if not cautions:
        return []
    return in_columns("Cautions", [caution.message for caution in cautions])


_ON_A_PAGE, _BESIDE, _IN_A_LINE = 400, 16, 8
"""So many boxes stand on a page at most, beside a step's words, and in one line there."""
_LOOKS_ARE = "In grey below: what the surface should look and sound like (common practice, no source)."
