"""What to do next, from the state of the studio: the one thing that the front page offers first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from matcher.words import agreeing, counted
from ui.state.places import BENCH, FIRST_PLATES, RECORD, SUGGESTIONS, TARGET, Place

if TYPE_CHECKING:
    from matcher.trials.trial import Target, Trial


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
    targets: Sequence[Target], trials: Sequence[Trial], drafts: Mapping[str, Mapping[str, Any] | None]
) -> NextStep:
    """Return the next step. drafts: what was half typed, by form ("target", "plate", "bench")."""
    unfinished = _unfinished(drafts)
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
    if not trials:
        sentence = f"{target.name} is saved, but no plate is logged that could be compared with it."
        return NextStep("Plan your first plates", sentence, "Plan the first plates", FIRST_PLATES, 3)
    last = next((trial for trial in reversed(trials) if trial.target_id == target.id), None)
    if last is None:
        there = f"{counted(len(trials), 'plate')} {agreeing(len(trials))} logged"
        sentence = f"{there}. See which {agreeing(len(trials), 'comes', 'come')} closest, and make the nearest one."
        return NextStep(f"Find a recipe for {target.name}", sentence, "See the nearest plates", SUGGESTIONS, 2, address)
    return NextStep(
        f"Plate {last.id} is logged for {target.name}",
        "See what it changed in the list, and what to make next.",
        "See what changed",
        SUGGESTIONS,
        2,
        {**address, "logged": str(last.id)},
    )


def _unfinished(drafts: Mapping[str, Mapping[str, Any] | None]) -> NextStep | None:
    plate, target, bench = (drafts.get(form) or {} for form in ("plate", "target", "bench"))
    if bench.get("begun") and not bench.get("handed_over"):
        done = bench.get("done", 0)
        laid = f"{counted(done, 'pass')} {agreeing(done)} done" if done else "No pass is done yet"
        return NextStep(
            "Continue with the piece on the bench", f"{laid}; everything is saved.", "Continue at the bench", BENCH, 3
        )
    if plate:
        source = plate.get("from_plate")
        sentence = (
            f"Its recipe started from {source[:1].lower() + source[1:]}." if source else "What you typed is saved."
        )
        return NextStep("Continue with the plate you are making", sentence, "Continue recording", RECORD, 3)
    if any(target.get(name) is not None for name in ("photo", "lab_l", "lab_a", "lab_b")):
        return NextStep(
            "Continue with the target you started", "Its photograph and marks are saved.", "Continue", TARGET, 1
        )
    return None
