"""The front page: what to do next, a client's photograph straight in, what waits today, and the newest plates."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING

import streamlit as st

from matcher.dates import day_shown
from matcher.words import agreeing, counted
from ui.escaped import escaped
from ui.photograph.intake import upload
from ui.recipe.piece import on_the_bench
from ui.recipe.record_forms import form_in_words, half_filled
from ui.show import look
from ui.show.literal import literal
from ui.state.next_step import NextStep, next_step
from ui.state.open_studio import chosen_target, how_many, newest, the_studio
from ui.state.places import BENCH, COMMISSIONS, FIRST_PLATES, LOG, RECORD, TARGET, Place
from ui.target.half_read import FORMS, empty_form, half_read
from ui.target.half_read import form_in_words as target_in_words
from ui.wall.bricks import newest_strip
from ui.wall.kept import say_when_it_failed

if TYPE_CHECKING:
    from matcher.bench.work import Piece
    from matcher.commissions.commission import Commission
    from matcher.storage.drafts import Kept
    from matcher.studio import Studio

NEWEST = 12
LISTED = 4  # of each kind that waits, so that one kind does not hide the others
SOON_DAYS = 21
PATH = (
    ("Target", "Read the colour of the finish that is wanted, from a photograph with a grey card in it."),
    ("Suggestions", "See which of the studio's plates come closest, how close, and with what recipe."),
    ("Record", "Make a plate, photograph it, log it. The list learns from it."),
)


def show() -> None:
    studio = the_studio()
    chosen = chosen_target(studio)
    targets = sorted(studio.targets(), key=lambda target: chosen is not None and target.id == chosen.id)
    plates = how_many(studio)
    wanted = targets[-1].id if targets else None
    last = None if wanted is None else studio.log.last_for(wanted)
    pieces, forms = on_the_bench(studio), half_filled(studio)
    read = half_read(studio)
    step = next_step(targets, plates, read, pieces, forms, last)
    with st.container(key="paper"):
        say_when_it_failed(studio)
        next_side, photograph_side = st.columns([1.35, 1], gap="medium")
        with next_side:
            with look.panel("next"):
                _next(step, bool(plates))
            _today(studio, pieces, forms, read)
        with photograph_side, look.panel("photograph"):
            _photograph(studio)
        if plates:
            _newest(studio, plates)
        st.html(_path(step.stage))


def _next(step: NextStep, plates: bool) -> None:
    look.title(step.heading, step.sentence)
    with st.container(horizontal=True, vertical_alignment="center", key="next-actions"):
        if st.button(literal(step.button), type="primary", key="start.next"):
            st.switch_page(step.place.file, query_params=step.address)
        if not plates:
            _without_plates(step)


def _photograph(studio: Studio) -> None:
    """Take a client's photograph straight in, into a form of its own: what is half read stays as it is."""
    st.html('<h2 class="pm-part">A client’s photograph</h2>')
    draft = empty_form(studio)
    upload(studio, draft, lambda: FORMS.go_to(draft.form))
    if st.button("Start from the camera, an instrument or Munsell", type="tertiary", key="start.target"):
        FORMS.go_to(draft.form)


def _today(studio: Studio, pieces: Sequence[Piece], forms: Sequence[Kept], read: Sequence[Kept]) -> None:
    """List what waits: pieces on the bench, plates half recorded, targets half read, commissions by their day."""
    commissions = studio.commissions.worked_on()
    if not (pieces or forms or read or commissions):
        return
    with look.panel("today"):
        st.html('<h2 class="pm-part">Today</h2>')
        _pieces(studio, pieces)
        for kept in forms[:LISTED]:
            name, _, rest = form_in_words(studio, kept).partition(" · ")
            _waits("Half recorded", name, rest, RECORD, {"form": kept.form})
        _more(len(forms), "form", "half filled", RECORD)
        for kept in read[:LISTED]:
            name, _, rest = target_in_words(studio, kept).partition(" · ")
            _waits("Half read", name, rest, TARGET, {"form": kept.form})
        _more(len(read), "target", "half read", TARGET)
        _commissions(studio, commissions)


def _pieces(studio: Studio, pieces: Sequence[Piece]) -> None:
    if not pieces:
        return
    from matcher.bench.wording import standing, title_of  # only now: it brings what predicts
    from matcher.commissions.known import uses_on_bench
    from matcher.commissions.wording import use_in_words

    names = {target.id: target.name for target in studio.targets()}
    uses = uses_on_bench(studio.database, pieces[:LISTED])
    for piece in pieces[:LISTED]:
        use = use_in_words(uses.get(piece.uid), names.get(piece.target_id))
        said = ", ".join(part for part in (standing(piece), use) if part)
        _waits("On the bench", title_of(piece), said, BENCH, {"piece": piece.uid})
    _more(len(pieces), "piece", "on the bench", BENCH)


def _commissions(studio: Studio, commissions: Sequence[Commission]) -> None:
    if not commissions:
        return
    from matcher.commissions.known import all_known
    from matcher.commissions.state import state_of
    from matcher.commissions.wording import state_in_words

    for commission in commissions[:LISTED]:
        state = state_in_words(state_of(all_known(studio.database, commission)))
        _waits(_due(commission), commission.title, state, COMMISSIONS, {"commission": str(commission.id)})
    _more(len(commissions), "commission", "taken on", COMMISSIONS)


def _waits(when: str, name: str, said: str, place: Place, address: Mapping[str, str]) -> None:
    row = f'<p class="pm-waits"><span>{escaped(when)}</span><b>{escaped(name)}</b> <small>{escaped(said)}</small></p>'
    if look.way_in(row, f"Open {name}", f"start.{place.address}.{next(iter(address.values()))}"):
        st.switch_page(place.file, query_params=address)


def _more(count: int, noun: str, how: str, place: Place) -> None:
    left = count - LISTED
    if left > 0:
        with st.container(key=f"onward-{place.address}"):
            st.page_link(place.file, label=literal(f"{counted(left, f'more {noun}')} {agreeing(left)} {how}"))


def _due(commission: Commission) -> str:
    """Say when a commission is due."""
    if commission.due_on is None:
        return "No day named"
    days = (commission.due_on - date.today()).days
    if days == 0:
        return "Due today"
    if abs(days) > SOON_DAYS:
        day = day_shown(commission.due_on, with_year=days <= 0)
        return f"Due {day}" if days > 0 else f"Was due {day}"
    return f"Due in {counted(days, 'day')}" if days > 0 else f"Overdue by {counted(-days, 'day')}"


def _newest(studio: Studio, count: int) -> None:
    st.header("Newest plates", anchor=False)
    st.html(newest_strip(newest(studio, NEWEST)))
    with st.container(key="onward"):
        st.page_link(LOG.file, label=literal(f"All {counted(count, 'plate')} on the wall"))


def _without_plates(step: NextStep) -> None:
    """Offer both ways to a first plate, less the one that is offered already."""
    for place, label in ((FIRST_PLATES, "Plan your first plates"), (RECORD, "Record a plate you have made")):
        if step.place is not place and st.button(label, type="tertiary"):
            st.switch_page(place.file)


def _path(stage: int) -> str:
    items = "".join(
        f"<li{' class=now aria-current=step' if number == stage else ''}><b>{name}</b><p>{escaped(text)}</p></li>"
        for number, (name, text) in enumerate(PATH, start=1)
    )
    return f'<ol class="pm-path" aria-label="The way from photograph to plate">{items}</ol>'


show()
