"""The piece on the bench as the draft keeps it: recipe, target, passes laid, readings taken; handed to the record form.

Everything is written at once, so that a reload or a flat battery loses nothing.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.recipe.recipe import MAX_PASSES, Recipe
from ui.recipe.later_reading import photographs_in
from ui.recipe.recipe_form import fields_of
from ui.state.drafts import Draft
from ui.state.places import BENCH, RECORD

if TYPE_CHECKING:
    from matcher.reading.reading import Reading
    from matcher.studio import Studio

FORM, READING_FORM, LAID_BY = "bench", "bench reading", "bench laid by"
UNSEALED = "no"


@dataclass(frozen=True)
class Piece:
    """What is on the bench. sealed: with what the target is sealed, or "no". readings: by passes done."""

    uid: str
    recipe: Recipe
    source: str
    target_id: int
    sealed: str
    done: int
    readings: Mapping[int, Reading]
    handed_over: bool = False


def piece_of(draft: Draft) -> Piece | None:
    """Return the piece that was begun, or None."""
    from matcher.reading.reading import Reading

    if draft.get("begun") is None:
        return None
    return Piece(
        draft.get("begun"),
        Recipe.from_dict(draft.get("recipe")),
        draft.get("source", ""),
        draft.get("target_id"),
        draft.get("sealed", UNSEALED),
        draft.get("done", 0),
        {int(count): Reading.from_dict(kept["reading"]) for count, kept in _kept(draft).items()},
        bool(draft.get("handed_over")),
    )


def begin(draft: Draft, recipe: Recipe, source: str, target_id: int, sealed: str, from_form: bool = False) -> None:
    """Put a piece on the bench: no pass is laid yet. from_form: the plate in the record form is this piece."""
    draft.fill(
        {
            "begun": uuid.uuid4().hex,
            "recipe": recipe.as_dict(),
            "source": source,
            "target_id": target_id,
            "sealed": sealed,
            "done": 0,
            "readings": {},
            "from_form": from_form,
        }
    )


def take_to_bench(studio: Studio, recipe: Recipe, source: str, target_id: int | None) -> None:
    """Open the bench with a recipe chosen; a piece that is being worked on is laid by. source: where it comes from."""
    draft = Draft(studio, FORM)
    lay_by(studio, draft)
    draft.fill({"offered": recipe.as_dict(), "source": source})
    address = None if target_id is None else {"target": str(target_id)}
    st.switch_page(BENCH.file, query_params=address)


def lay_by(studio: Studio, draft: Draft) -> None:
    """Clear the bench; a piece that is not in the record form yet is kept, to be brought back with its half reading."""
    piece, half_read = piece_of(draft), Draft(studio, READING_FORM)
    if piece is not None and not piece.handed_over and (piece.done or piece.readings):
        Draft(studio, LAID_BY).fill({**draft.values, "half_read": dict(half_read.values)})
    half_read.drop()
    draft.drop()


def bring_back(studio: Studio, draft: Draft) -> None:
    """Put the piece that was laid by on the bench again; what stands there now takes its place."""
    laid_by = Draft(studio, LAID_BY)
    waiting = dict(laid_by.values)
    laid_by.drop()
    lay_by(studio, draft)
    Draft(studio, READING_FORM).fill(waiting.pop("half_read", {}))
    draft.fill(waiting)


def lay_pass(draft: Draft, uid: str) -> None:
    """Count one more pass of a piece, on top of those that any screen counted."""
    draft.meet()
    if draft.get("begun") != uid:
        draft.say("The pass was not counted: the piece on the bench was changed on another screen. Check it first.")
        return
    draft.set(done=min(MAX_PASSES, draft.get("done", 0) + 1))


def undo_pass(draft: Draft) -> str | None:
    """Take back one pass that was counted; return why it cannot be, or None."""
    draft.meet()
    done = draft.get("done", 0)
    if str(done) in _kept(draft):
        return f"There is a reading after pass {done}: correct it or remove it first."
    draft.set(done=max(0, done - 1))
    return None


def keep_reading(draft: Draft, after: int, reading: Reading, taken_as: Mapping[str, Any]) -> None:
    """Keep a reading after so many passes, with what was marked or typed for it, so that it can be corrected."""
    draft.meet()
    kept = {**_kept(draft), str(after): {"reading": reading.as_dict(), "taken_as": dict(taken_as)}}
    draft.set(readings=kept)


def taken_as(draft: Draft, after: int) -> dict[str, Any]:
    """Return what was marked or typed for a reading."""
    return dict(_kept(draft)[str(after)]["taken_as"])


def take_out(draft: Draft, after: int) -> None:
    """Leave a reading out; it can be put back until another one is left out."""
    draft.meet()
    kept = dict(_kept(draft))
    gone = kept.pop(str(after))
    draft.set(readings=kept, taken_out={"after": after, **gone})


def put_back(draft: Draft) -> None:
    """Count the reading again that was left out last; one taken anew after that pass stays."""
    draft.meet()
    gone = dict(draft.get("taken_out"))
    after = str(gone.pop("after"))
    draft.set(readings={after: gone, **_kept(draft)}, taken_out=None, done=max(draft.get("done", 0), int(after)))


def hand_over(studio: Studio, draft: Draft, piece: Piece) -> None:
    """Fill the record form with what was really laid and read, and go there. What stood there is laid by."""
    from matcher.bench.passes import as_laid
    from matcher.recipe.stages import stage_after

    plate = Draft(studio, "plate")
    going_on = plate.get("bench_piece") == piece.uid or draft.get("from_form")
    if plate.values and not going_on and not plate.get("as_last"):
        Draft(studio, "plate laid by").fill(plate.values)
    kept = dict(plate.values) if going_on else {"made_by": plate.get("made_by", "")}
    last = _kept(draft).get(str(piece.done))
    if last is not None and piece.recipe.seal is None:  # unsealed: the last reading is the plate's own
        kept |= last["taken_as"]
    stages = [
        {
            "stage": stage_after(piece.recipe, count),
            "reading": reading.as_dict(),
            "photos": photographs_in(taken_as(draft, count)),
        }
        for count, reading in sorted(piece.readings.items())
    ]
    plate.fill(
        {
            **kept,
            **fields_of(as_laid(piece.recipe, piece.done)),
            "target_id": piece.target_id,
            "from_plate": piece.source,
            "bench_piece": piece.uid,
            "stages": stages,
            "as_last": False,
        }
    )
    draft.set(handed_over=True)
    st.switch_page(RECORD.file)


def clear_when_logged(studio: Studio, uid: str | None) -> None:
    """Clear the bench when the piece on it is the one that was logged."""
    draft = Draft(studio, FORM)
    if uid is not None and draft.get("begun") == uid:
        Draft(studio, READING_FORM).drop()
        draft.drop()


def _kept(draft: Draft) -> dict[str, Any]:
    kept: dict[str, Any] = draft.get("readings") or {}
    return kept
