"""The course of one coat among the others of a recipe: what `path` predicts. From a piece, or from a recipe alone.

At the bench. What lies below is laid; this coat grows pass by pass; what follows is still to come, as planned.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from matcher.bench.steps import BURNISH, COAT, UNDERCOAT
from matcher.bench.work import GROUND, After, Piece
from matcher.errors import SuggestionError
from matcher.reading.reading import Reading
from matcher.recipe.recipe import MAX_PASSES, Coat, Recipe, Seal, need_all_noted

USUAL_SEAL_COATS = {"wax": 3, "lacquer": 1}
"""Three thin coats of wax are usual: common practice, no source."""


@dataclass(frozen=True)
class Course:
    """recipe: coats below as laid, this one and those to come as planned. coat: which is being laid, from 0.

    done: passes laid of it. readings: of the piece, by the point at which each was taken.
    """

    recipe: Recipe
    coat: int
    done: int
    readings: Mapping[After, Reading] = field(default_factory=dict)

    @property
    def is_last(self) -> bool:
        return self.coat == len(self.recipe.coats) - 1

    def seal_of(self, kind: str) -> Seal:
        """Return the recipe's own seal, or the usual one of a kind where it has none of that kind."""
        own = self.recipe.seal
        return own if own is not None and own.kind == kind else Seal(kind, USUAL_SEAL_COATS.get(kind, 1))


def course_of_last_coat(
    recipe: Recipe, readings: Mapping[int, Reading] | None = None, done: int | None = None
) -> Course:
    """Return the course of a recipe's last coat, with readings by its passes; 0 is before the coat.

    done: passes laid so far, by default the count of the last reading. Raises SuggestionError when the recipe has no
    coat, or a count is not one; RecipeError when a figure of it was not noted.
    """
    if not recipe.coats:
        raise SuggestionError("Choose a recipe with a coat: bare metal or an undercoat alone has no passes to follow.")
    need_all_noted(recipe, "the bench starts")
    readings = dict(readings or {})
    laid, coat = _passes_laid(readings, done), len(recipe.coats) - 1
    before = After(coat - 1, recipe.coats[coat - 1].passes) if coat else GROUND
    points = {After(coat, count) if count else before: reading for count, reading in readings.items()}
    return Course(recipe, coat, laid, points)


def _passes_laid(readings: Mapping[int, Reading], done: int | None) -> int:
    """Return the passes laid so far. Raises SuggestionError when a count is none, or a reading comes after them."""
    for count in (*readings, *(() if done is None else (done,))):
        if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= MAX_PASSES:
            raise SuggestionError(f"Give each count of passes from 0 to {MAX_PASSES}: {count!r} is not one.")
    last = max(readings, default=0)
    if done is not None and last > done:
        raise SuggestionError(f"Check the passes: there is a reading after {last}, and only {done} are laid.")
    return last if done is None else done


def course_of(piece: Piece) -> Course | None:
    """Return the course of the coat that a piece is at, of the next one, or of the last; None without a coat.

    Coats and grounds that were left out on the way are not in it.
    """
    recipe, over = piece.recipe, dict.fromkeys((UNDERCOAT, BURNISH), False)
    over |= {step.kind: place < piece.at for place, step in enumerate(piece.steps) if step.kind != COAT}
    under = recipe.undercoat
    if under is not None and over[UNDERCOAT] and not piece.was(UNDERCOAT):
        under = None
    elif under is not None and over[BURNISH] and not piece.was(BURNISH):
        under = replace(under, burnish=0.0)
    coats: list[Coat] = []
    renumbered: dict[int, int] = {}
    here: tuple[int, int] | None = None
    passes = iter(piece.passes)
    for place, step in enumerate(piece.steps):
        if step.kind != COAT:
            continue
        coat, laid = recipe.coats[step.coat or 0], next(passes)
        if place < piece.at and not laid:
            continue
        renumbered[step.coat or 0] = len(coats)
        if here is None and (place >= piece.at or not _is_more(piece, place)):
            here = (len(coats), laid)
            coats.append(coat)
        else:
            coats.append(coat if place > piece.at else replace(coat, passes=laid))
    if here is None:
        return None
    readings = {
        GROUND if taken.after == GROUND else After(renumbered[taken.after.coat], taken.after.passes): taken.reading
        for taken in piece.readings
        if taken.after == GROUND or taken.after.coat in renumbered
    }
    known = {after: reading for after, reading in readings.items() if after <= After(*here)}
    return Course(replace(recipe, undercoat=under, coats=tuple(coats)), *here, known)


def _is_more(piece: Piece, place: int) -> bool:
    """Tell whether a further coat is at hand or was laid, so that the one at ``place`` is not the last."""
    later = [(k, piece.counts[k]) for k, step in enumerate(piece.steps) if step.kind == COAT and k > place]
    return any(k >= piece.at or laid for k, laid in later)
