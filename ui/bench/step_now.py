"""The step that a piece is at: what to do, read from a metre; the button that counts it; a clock for who wants it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Literal

import streamlit as st

from matcher.bench.shelf import now
from matcher.bench.steps import COAT, SEAL, cautions_at
from matcher.bench.wording import (
    against_the_list,
    doing,
    done_so_far,
    look_and_sound,
    standing,
    step_name,
    still_within,
    title_of,
    what_goes_on,
)
from matcher.errors import MatcherError
from matcher.words import capital, percent
from ui.escaped import escaped, joined
from ui.recipe.mix_link import mix_button
from ui.recipe.piece import hand_over
from ui.show import look
from ui.show.cautions import show_these
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.bench.path import BenchPath
    from matcher.bench.work import Piece
    from matcher.studio import Studio
    from matcher.trials.trial import Target

SAID, TO_BUTTON = "bench.said", "bench.to_button"
FIRST = 3
_TO_THE_TOP = """<script>
for (const all of [document.querySelector('[data-testid="stMain"]'), document.scrollingElement])
  all?.scrollTo(0, 0);
</script>"""
_CLOCK = """<p class="pm-clock" role="timer" aria-live="off">{words} <b data-seconds="{seconds}">{said}</b></p><script>
(() => {{
  const shown = [...document.querySelectorAll(".pm-clock b")].at(-1), begun = performance.now();
  const from = Number(shown.dataset.seconds);
  const tick = () => {{
    if (!shown.isConnected) return clearInterval(every);
    const all = Math.floor(from + (performance.now() - begun) / 1000);
    shown.textContent = `${{Math.floor(all / 60)}}:${{String(all % 60).padStart(2, "0")}}`;
  }};
  const every = setInterval(tick, 1000);
}})();
</script>"""


def show_now(studio: Studio, piece: Piece, path: BenchPath | None, target: Target | None) -> None:
    """Say what to do, with one large button for it; what may be spoilt stands above the button, the figures below."""
    with look.panel("bench-now"):
        if said := st.session_state.pop(SAID, None):
            tell(said, "warning")
        about = path.stop_at if path is not None and _at_its_coat(piece) else None
        step = piece.step
        where = standing(piece, about) if step is None or step.counted else _which_step(piece)
        st.html(f'<p class="pm-laid">{escaped(capital(where))}</p>')
        st.html(f'<p class="pm-instruction" role="status">{escaped(_instruction(piece, path))}</p>')
        if path is not None and target is not None and _at_its_coat(piece):
            _warn(path, target.tolerance)
        _buttons(studio, piece, path, about)
        if path is not None and target is not None:
            _figures(piece, path, target.tolerance)
        _clock(studio, piece)


def _which_step(piece: Piece) -> str:
    return f"step {piece.at + 1} of {len(piece.steps)}"


def _at_its_coat(piece: Piece) -> bool:
    return piece.step is not None and piece.step.kind == COAT


def _instruction(piece: Piece, path: BenchPath | None) -> str:
    step = piece.step
    if step is None:
        return "All steps are done"
    if path is not None and _at_its_coat(piece):
        return path.instruction
    if step.kind == COAT:
        left = step.planned - piece.done
        return f"{left} more to the plan" if left > 0 else "As many as planned"
    return capital(step_name(piece.recipe, step)) if step.counted else f"Now: {step_name(piece.recipe, step)}"


def _warn(path: BenchPath, tolerance: float) -> None:
    if path.warning is not None:
        tell(path.warning, "wrong")
    if (may_do := still_within(path, tolerance)) is not None:
        tell(may_do, "warning")


def _buttons(studio: Studio, piece: Piece, path: BenchPath | None, about: int | None) -> None:
    """Show the buttons, the one thing to do next as the large one.

    What they do is kept before the page is worked out anew, so that no press overtakes another.
    """
    step, at = piece.step, piece.at
    following = piece.steps[at + 1] if at + 1 < len(piece.steps) else None
    stop = path is not None and not path.remaining and _at_its_coat(piece) and piece.done > 0
    go_on = stop and following is not None and path is not None and not path.past
    over = is_over(piece, path)
    once = "yes" if step is not None and not step.counted else "no"
    uid = escaped(piece.uid)
    st.html(f'<span hidden class="pm-tap" data-piece="{uid}" data-at="{at}" data-once="{once}"></span>')
    with st.container(key="bench-large"):
        if over:
            record_button(studio, piece, primary=True)
        elif go_on:
            _next(studio, piece, large=True)
        else:
            _count(studio, piece, about, primary=not stop)
    with st.container(key="bench-beside", horizontal=True):
        if over or go_on:
            _count(studio, piece, about, primary=False, short=True)
        else:
            _next(studio, piece, large=False)
        _undo(studio, piece)
    if step is None:
        st.html(f"<p>Done: {escaped(done_so_far(piece))}.</p>")


def is_over(piece: Piece, path: BenchPath | None) -> bool:
    """Tell whether nothing is left to do before the log: all steps are done, or the last one has come to its stop."""
    if piece.step is None:
        return not piece.untouched
    if path is None or not _at_its_coat(piece) or piece.at < len(piece.steps) - 1:
        return False
    return piece.done > 0 and not path.remaining and not path.past


def record_button(studio: Studio, piece: Piece, primary: bool) -> None:
    """Show the way into the record form, with what was really done."""
    kind: Literal["primary", "secondary"] = "primary" if primary else "secondary"
    if st.button("Record this plate", type=kind, key="bench-record", width="stretch" if primary else "content"):
        st.session_state[TO_BUTTON] = True
        hand_over(studio, piece)


def _count(studio: Studio, piece: Piece, about: int | None, primary: bool, short: bool = False) -> None:
    """Show the button that counts. short: it says what was done, and no more what goes on."""
    step, at = piece.step, piece.at
    if step is None:
        return
    did = doing(step, piece.done, about)
    whole = f"{literal(joined(what_goes_on(piece.recipe, step, piece.done)))}: **{literal(did)}**"
    label = literal(capital(did)) if short else whole
    st.button(
        label,
        type="primary" if primary else "secondary",
        key="bench-pass",
        width="stretch",
        wrap=True,
        on_click=_told,
        args=(lambda: studio.shelf.change(piece.uid, lambda one: one.count(at, now())),),
    )


def _next(studio: Studio, piece: Piece, large: bool) -> None:
    step, at = piece.step, piece.at
    following = piece.steps[at + 1] if at + 1 < len(piece.steps) else None
    if step is None:
        return
    if not step.counted or not piece.done:
        label = f"Leave out: {literal(step_name(piece.recipe, step))}"
    elif following is None:
        label = "This step is finished"
    else:
        label = f"On to **{literal(step_name(piece.recipe, following))}**"
    st.button(
        label,
        key="bench-next",
        type="primary" if large else "secondary",
        width="stretch",
        wrap=True,
        on_click=_told,
        args=(lambda: studio.shelf.change(piece.uid, lambda one: one.gone_on(at)),),
    )


def _undo(studio: Studio, piece: Piece) -> None:
    if not piece.untouched:
        label = "Undo" if piece.done else "Back a step"
        st.button(
            label,
            key="bench-undo",
            width="stretch",
            on_click=_told,
            args=(lambda: studio.shelf.change(piece.uid, lambda one: one.undone()),),
        )


def _told(change: Callable[[], object]) -> None:
    """Make a change, and say on the next run what stood in its way."""
    try:
        change()
    except MatcherError as error:
        st.session_state[SAID] = str(error)


def _figures(piece: Piece, path: BenchPath, tolerance: float) -> None:
    when = "then" if path.remaining or not path.last_coat else "now"
    chance = f"Chance to be within {tolerance:g} {when}: {percent(path.chance_within(tolerance))}."
    sentence = path.sentence
    if piece.step is None or piece.step.kind == SEAL:
        low, high = path.interval[path.done]
        sentence = f"The finished piece is expected at ΔE00 {path.expected[path.done]:.1f} ({low:.1f} to {high:.1f})."
    st.html(f"<p>{escaped(f'{sentence} {chance}')}</p>")
    if path.caveat is not None:
        tell(path.caveat, "warning")
    if why := against_the_list(piece, path, tolerance):
        st.html(f'<p class="pm-soft">{escaped(why)}</p>')


def _clock(studio: Studio, piece: Piece) -> None:
    """Show the time since the last pass, for whoever wants it."""
    wanted = st.toggle("Clock between passes", **Draft(studio, "bench clock").field("on", False))
    if not wanted:
        return
    if not piece.counted_at:
        st.html('<p class="pm-clock">The clock starts with the first pass that you count.</p>')
        return
    seconds = max(0, int((datetime.now(UTC) - datetime.fromisoformat(piece.counted_at)).total_seconds()))
    said = f"{seconds // 60}:{seconds % 60:02d}"
    clock = _CLOCK.format(words="Since it was last counted", seconds=seconds, said=said)
    st.html(clock, unsafe_allow_javascript=True)


def show_beside(studio: Studio, piece: Piece) -> None:
    """Say what the surface should look and sound like at this step, and the cautions for it."""
    step = piece.step
    if step is None:
        return
    with look.panel("bench-step"):
        lines = "".join(f"<li>{escaped(line)}</li>" for line in look_and_sound(piece.recipe, step))
        st.html(
            f"<strong>What it should look and sound like</strong><ul>{lines}</ul>"
            '<p class="pm-soft">Common practice.</p>'
        )
        st.html(f"<strong>Cautions at this step: {escaped(step_name(piece.recipe, step))}</strong>")
        show_these(cautions_at(piece.recipe, step), FIRST)
        mix_button(studio, piece.recipe, "bench-mix", f"On the bench: {title_of(piece)}", piece.target_id, True)


def come_back_to_button() -> None:
    """Show the top of the page, where the button is, after something was begun or kept farther down."""
    if st.session_state.pop(TO_BUTTON, False):
        st.html(_TO_THE_TOP, unsafe_allow_javascript=True)
