"""What to do next, from the state of the studio: the one thing that the front page offers first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from matcher.words import agreeing, counted
from ui.state.places import BENCH, FIRST_PLATES, RECORD, SUGGESTIONS, TARGET, Place

if TYPE_CHECKING:
    from matcher.bench.work import Piece
    from matcher.storage.drafts import Kept
    from matcher.trials.trial import Target


@dataclass(frozen=True)
class NextStep:
    """A sentence on where things stand, what the button says, where it goes; stage 1 to 3 of the path."""

    heading: str
    sentence: str
    button: str
    place: Place
    stage: int
    address: dict[str, str] = field(default_factory=dict)


def next_step(
    targets: Sequence[Target],
    plates: int,
    read: Sequence[Kept] = (),
    pieces: Sequence[Piece] = (),
    forms: Sequence[Kept] = (),
    last: int | None = None,
) -> NextStep:
    """Return the next step.

    plates: how many are logged. read: the targets that are half read, the one saved last at the head. pieces: those
    being worked on at the bench. forms: half-filled record forms, the one saved last at the head. last: the plate that
    was logged last for the last of the targets.
    """
    unfinished = _at_the_bench(pieces) or _half_recorded(forms) or _half_read(read)
    if unfinished is not None:
        return unfinished
    if not targets:
        return NextStep(
            "Start from a client's photograph",
            "Read the colour that the client wants, and see which of your plates come closest.",
            "Start from a client's photograph",
            TARGET,
            1,
        )
    target = targets[-1]
    address = {"target": str(target.id)}
    if not plates:
        sentence = f"{target.name} is saved, but no plate is logged that could be compared with it."
        return NextStep("Plan your first plates", sentence, "Plan the first plates", FIRST_PLATES, 3)
    if last is None:
        there = f"{counted(plates, 'plate')} {agreeing(plates)} logged"
        sentence = f"{there}. See which {agreeing(plates, 'comes', 'come')} closest, and make the nearest one."
        return NextStep(f"Find a recipe for {target.name}", sentence, "See the nearest plates", SUGGESTIONS, 2, address)
    return NextStep(
        f"Plate {last} is logged for {target.name}",
        "See what it changed in the list, and what to make next.",
        "See what changed",
        SUGGESTIONS,
        2,
        {**address, "logged": str(last)},
    )


def _at_the_bench(pieces: Sequence[Piece]) -> NextStep | None:
    if not pieces:
        return None
    last = max(pieces, key=lambda piece: piece.counted_at or piece.begun_at)
    if len(pieces) > 1:
        said = f"{counted(len(pieces), 'piece')} are on it; each is where you left it."
        return NextStep("Continue at the bench", said, "Continue at the bench", BENCH, 3)
    passes = sum(last.passes)
    laid = f"{counted(passes, 'pass')} {agreeing(passes)} done" if passes else "No pass is done yet"
    return NextStep(
        "Continue with the piece on the bench",
        f"{laid}; everything is saved.",
        "Continue at the bench",
        BENCH,
        3,
        {"piece": last.uid},
    )


def _half_recorded(forms: Sequence[Kept]) -> NextStep | None:
    if not forms:
        return None
    source = forms[0].body.get("from_plate")
    sentence = f"Its recipe started from {source[:1].lower() + source[1:]}." if source else "What you typed is saved."
    if len(forms) > 1:
        sentence += f" {counted(len(forms) - 1, 'other plate')} {agreeing(len(forms) - 1)} half recorded too."
    heading = "Continue with the plate you are making"
    return NextStep(heading, sentence, "Continue recording", RECORD, 3, {"form": forms[0].form})


def _half_read(read: Sequence[Kept]) -> NextStep | None:
    if not read:
        return None
    sentence = "Its photograph and marks are saved." if read[0].body.get("photo") else "What you typed is saved."
    if len(read) > 1:
        others = counted(len(read) - 1, "other target")
        sentence += f" {others} {agreeing(len(read) - 1)} half read too."
    heading = "Continue with the target you started"
    return NextStep(heading, sentence, "Continue", TARGET, 1, {"form": read[0].form})
