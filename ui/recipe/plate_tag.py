"""A plate's tag in the log: which it carries, given, moved, taken; and where it was seen, and whether it changed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import streamlit as st

from matcher.dates import moment, shown
from matcher.errors import MatcherError
from matcher.tags.given import tag_text
from matcher.tags.wording import (
    ALL_ALIKE,
    TOGETHER,
    ageing_in_words,
    changed_in_short,
    ended_in_words,
    given_in_words,
    on_another_plate,
    time_in_words,
)
from matcher.words import counted
from ui.escaped import escaped
from ui.show import look
from ui.show.literal import literal
from ui.show.swatches import field, figures, lab_line, pair
from ui.state.addresses import below_the_base
from ui.state.cache_keys import Key, log_key
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.places import LOG
from ui.state.remembered import as_seen
from ui.state.who import remember, who

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.tags.ageing.told import Ageing
    from matcher.tags.given import TagHistory, TagOnPlate
    from matcher.tags.sightings import KeptSighting
    from matcher.tags.store import Given
    from matcher.trials.trial import Trial

AT_ONCE = 5
CHANGED_SO = (
    "Suggestions go by what their recipes gave, photographs are read by what they look like by now, and no plate is "
    "offered to be laid beside a finish, or for the board, that has changed."
)
AS_PRINTED = "as printed, K7QX2-88, or 88 alone"
SINCE = "now, or a day that has been: 2025-03-31"


def say_tag_elsewhere(studio: Studio, code: str, other_forms: Sequence[str]) -> None:
    """Say at once that the tag typed for a plate that is not logged yet is on another, or stands in another form."""
    there = _elsewhere(studio.tags(), code, 0, studio.tag_signs)
    if there is not None:
        tell(on_another_plate(there), "warning")
    try:
        tag = tag_text(code, studio.tag_signs) if code.strip() else None
        twice = [text for text in other_forms if tag is not None and _same(text, tag, studio.tag_signs)]
    except MatcherError as error:
        tell(str(error), "warning")
        return
    if twice:
        tell(f"Check the code: {tag} stands in another half-filled form too.", "warning")


def _same(text: str, tag: str, signs: str) -> bool:
    try:
        return tag_text(text, signs) == tag
    except MatcherError:
        return False


def show_tag(studio: Studio, trial: Trial) -> None:
    """Show which tag a plate carries, and let it be given, moved or taken; what it had before, folded."""
    plate = trial.id or 0
    tags = studio.tags()
    here = tags.tag_of(plate)
    draft = Draft(studio, f"tag of plate {plate}")
    if said := draft.said():
        tell(said, "done")
    if here is not None:
        since = escaped(time_in_words(here))
        st.html(f'<p><strong>Tag {escaped(here.tag)}</strong> <span class="pm-soft">{since}</span></p>')
    with st.expander("Give it a tag" if here is None else "Change its tag", expanded=bool(draft.values)):
        _ask(studio, draft, plate, tags, here)
    before = [one for one in tags.of_plate(plate) if one.ended is not None]
    if before:
        with st.expander("Tag that it had" if len(before) == 1 else f"{len(before)} tags that it had"):
            rows = "".join(f"<li>{escaped(f'{one.tag}, {time_in_words(one)}')}</li>" for one in reversed(before))
            st.html(f'<ul class="pm-steps">{rows}</ul>')


def _ask(studio: Studio, draft: Draft, plate: int, tags: TagHistory, here: TagOnPlate | None) -> None:
    code = st.text_input(
        "Code of the tag" if here is None else "Code of another tag",
        placeholder=AS_PRINTED,
        live=True,
        **draft.field("code", ""),
    )
    there = _elsewhere(tags, code or "", plate, studio.tag_signs)
    if there is not None:
        tell(on_another_plate(there), "warning")
    seen = as_seen(f"tag.{plate}", None if here is None else here.tag)
    why = st.text_input("Why", placeholder="came off, was on the wrong plate", live=True, **draft.field("why", ""))
    day = st.text_input("Since when", placeholder=SINCE, live=True, **draft.field("since", "")) or ""
    by = st.text_input("Who", live=True, **draft.field("who", who()))
    with st.container(horizontal=True):
        label = "Give it this tag" if there is None else f"Move it here from plate {there.trial_id}"
        gives = st.button(label, type="primary", key=f"tag.give.{plate}")
        takes = here is not None and st.button(f"Take {literal(here.tag)} from it", key=f"tag.take.{plate}")
    if gives:
        with told():
            given = studio.give_tag(plate, code or "", by or "", why or "", _since(day), move=there is not None)
            _done(draft, by, given)
    elif takes:
        with told():
            _done(draft, by, studio.take_tag(plate, by or "", why or "", _since(day), seen=seen))


def _since(day: str) -> datetime | None:
    """Return the moment that was typed, None for none. Raises StudioError."""
    return moment(day) if day.strip() else None


def _elsewhere(tags: TagHistory, code: str, plate: int, signs: str) -> TagOnPlate | None:
    """Return where the tag that is being typed is, when that is another plate."""
    try:
        found = tags.plate_of(tag_text(code, signs)) if code.strip() else None
    except MatcherError:
        return None  # said when it is to be given
    return None if found is None or found.trial_id == plate else found


def _done(draft: Draft, by: str | None, given: Given) -> None:
    """Say what came of it, on the next run."""
    remember(by)
    now = [] if given.now is None else [given_in_words(given.now)]
    draft.drop()
    draft.say(" ".join([*now, *map(ended_in_words, given.ended)]))
    st.rerun()


def show_sightings(studio: Studio, trial: Trial) -> None:
    """Show where a plate was seen, the newest first, and whether its colour has changed; nothing where it never was."""
    plate = trial.id or 0
    slot = f"tag.seen.{plate}"
    page = studio.sightings(plate, count=int(st.session_state.get(slot, AT_ONCE)))
    if not page.total:
        return
    st.header("Seen since", anchor=False)
    known = studio.ageing(plate)
    if known.odd_on is not None:
        tell(ageing_in_words(known), "warning")
    elif not known.changed:
        st.html(f"<p>{escaped(ageing_in_words(known))}</p>")
        if known.seen:
            st.html(f'<p class="pm-soft">{TOGETHER}:</p>{lab_line(studio.known_colour(plate))}')
    else:
        tell(ageing_in_words(known), "warning")
        st.html(pair(known.then.lab, known.now.lab, "When it was logged", "By now"))
    st.html("".join(map(_row, page.sightings)))
    left = page.total - len(page.sightings)
    if left and st.button(f"Show {counted(min(left, 2 * AT_ONCE), 'more sighting')}", key=f"tag.more.{plate}"):
        st.session_state[slot] = len(page.sightings) + 2 * AT_ONCE
        st.rerun()
    st.html(f'<p class="pm-soft">{escaped(ALL_ALIKE)}</p>')


def show_changed(studio: Studio) -> None:
    """Name the plates that have changed since they were logged, each with the way to its page; nothing without any."""
    changed = _changed(log_key(studio), studio)
    if not changed:
        return
    st.header("Plates that changed", anchor=False)
    with look.panel("changed"):
        log = below_the_base(LOG.address)
        for number, one in sorted(changed.items()):
            way = f'<a href="{log}?plate={number}" target="_self"><b>Plate {number}</b></a>'
            st.html(f"<p>{way}: {escaped(changed_in_short(one))}.</p>")
            if one.changed:
                st.html(pair(one.then.lab, one.now.lab, "When it was logged", "By now"))
        st.html(f'<p class="pm-soft">{escaped(CHANGED_SO)} {escaped(ALL_ALIKE)}</p>')


@st.cache_resource(show_spinner=False, max_entries=4)
def _changed(key: Key, _studio: Studio) -> dict[int, Ageing]:
    return _studio.changed_plates()


def _row(one: KeptSighting) -> str:
    day = shown(one.seen_at)
    aside = f"<br>Did not serve as a reference. {escaped(one.left_out.message)}" if one.left_out is not None else ""
    if one.reading is None:
        return f'<p class="pm-soft"><b>{day}</b>: seen, its colour was not read.{aside}</p>'
    colour = field(one.reading.lab, f"Seen on {day}")
    said = f'<span class="pm-soft"><span class="pm-figures">{figures(one.reading.lab)}</span>{aside}</span>'
    return f'<div class="pm-read"><div class="pm-mat">{colour}</div><p><b>{day}</b><br>{said}</p></div>'
