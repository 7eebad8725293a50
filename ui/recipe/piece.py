"""Pieces on the bench as the page handles them: begun from a recipe, found again, handed to the record form.

The studio's shelf keeps them; what is half typed of a reading lies in a draft of the piece's own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.bench.shelf import READING, new_uid
from matcher.bench.work import UNSEALED, Piece
from matcher.errors import RecipeError
from matcher.hands import whose
from matcher.recipe.recipe import need_all_noted
from ui.recipe.later_reading import photographs_in
from ui.recipe.recipe_form import fields_of
from ui.recipe.record_forms import FORMS, half_filled, new_form
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.state.places import BENCH

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.studio import Studio
    from matcher.suggest.suggestion import Suggestion

FORM = "bench"
"""The form in which a piece is chosen, before it is begun."""
CHOOSE = "new"
OF_THE_FIRST = "of the first plates"
"""Where a recipe comes from, as the record form says it."""


def half_reading(studio: Studio, piece: Piece) -> Draft:
    """Return the draft of the reading that is being taken of a piece."""
    return Draft(studio, READING + piece.uid)


def take_to_bench(
    studio: Studio,
    recipe: Recipe,
    source: str,
    target_id: int | None,
    listed: Mapping[str, Any] | None = None,
    cast: int | None = None,
) -> None:
    """Open the bench with a recipe chosen, beside the pieces that are there; not with one half known.

    listed, cast: see ``Piece``.
    """
    try:
        need_all_noted(recipe, "the bench starts")
    except RecipeError as error:
        tell(f"{error} Correct the plate, or record one with the figures that you mean to use.", "warning")
        return
    kept = None if listed is None else dict(listed)
    offered = {"offered": recipe.as_dict(), "source": source, "listed": kept, "cast": cast}
    Draft(studio, FORM).fill(offered)
    address = {"piece": CHOOSE} if target_id is None else {"piece": CHOOSE, "target": str(target_id)}
    st.switch_page(BENCH.file, query_params=address)


def as_listed(item: Suggestion, tolerance: float) -> dict[str, Any]:
    """Return what a list says of a recipe, as a piece keeps it."""
    return {"delta_e00": item.delta_e00, "chance": item.chance_within(tolerance), "basis": item.basis}


def take_run_to_bench(studio: Studio, run: str, pieces: Sequence[Piece]) -> None:
    """Put a run of plates on the bench, those that are not there yet, and go there."""
    there = {(piece.run, piece.source, piece.recipe) for piece in studio.shelf.pieces()}
    added = [piece for piece in pieces if (run, piece.source, piece.recipe) not in there]
    for piece in added:
        studio.shelf.put(replace(piece, uid=new_uid(), run=run))
    first = next((piece.uid for piece in studio.shelf.pieces() if piece.run == run and not piece.handed_over), "")
    st.switch_page(BENCH.file, query_params={"piece": first} if first else {})


def hand_over(studio: Studio, piece: Piece) -> None:
    """Fill a record form with what was really laid and read, and go there. Other forms stay as they are."""
    done, last = piece.as_done(), piece.reading_after(piece.after)
    standing = next((kept for kept in half_filled(studio) if kept.form == piece.form), None)
    values: dict[str, Any] = {} if standing is None else dict(standing.body)
    if last is not None and done.seal is None:  # unsealed: the last reading is the plate's own
        values |= last.taken_as
    values |= {
        **fields_of(done),
        "target_id": piece.target_id or 0,
        "from_plate": piece.source,
        "bench_piece": piece.uid,
        "stages": [
            {
                "stage": piece.stage_of(taken.after),
                "reading": taken.reading.as_dict(),
                "photos": photographs_in(taken.taken_as),
            }
            for taken in piece.readings
        ],
        "seal_planned": piece.recipe.seal is not None and done.seal is None,
        "as_last": False,
    }
    if piece.run == OF_THE_FIRST:
        values["from_where"] = OF_THE_FIRST
    values |= {"run": piece.run, "cast": piece.cast}
    if piece.name:
        values["piece"] = piece.name
    if standing is None:
        form = new_form(studio, values)
    else:
        form = standing.form
        Draft(studio, form).fill(values)
    studio.shelf.change(piece.uid, lambda now: replace(now, form=form, handed_over=True, handed_to=_me()))
    FORMS.go_to(form)


def is_handed_over(studio: Studio, piece: Piece) -> bool:
    """Tell whether a piece stands in a record form; one whose form was thrown away is on the bench again."""
    if not piece.handed_over or piece.form is None:
        return False
    return bool(studio.draft(piece.form) if is_mine(piece) else studio.draft_of(piece.handed_to, piece.form))


def is_mine(piece: Piece) -> bool:
    """Tell whether the form that a piece stands in is of who looks at it."""
    return piece.handed_to == _me()


def _me() -> str:
    hand = whose()
    return "" if hand is None else hand.uid


def on_the_bench(studio: Studio) -> list[Piece]:
    """Return the pieces that are being worked on, the one begun first at the head."""
    return [piece for piece in studio.shelf.pieces() if not is_handed_over(studio, piece)]


def begin(
    studio: Studio,
    recipe: Recipe,
    source: str,
    target_id: int | None,
    sealed: str = UNSEALED,
    form: str | None = None,
    listed: Mapping[str, Any] | None = None,
    cast: int | None = None,
) -> Piece:
    """Put a piece on the bench: nothing is laid yet. form: the record form in which this plate stands already."""
    piece = Piece(new_uid(), recipe, source=source, target_id=target_id, sealed=sealed, listed=listed, cast=cast)
    return studio.shelf.put(replace(piece, form=form))
