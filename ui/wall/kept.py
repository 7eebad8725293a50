"""How the studio is kept: when it was last backed up, where backups lie, and whether all is as it was kept."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.hands import Work, whose
from matcher.studio.keeping.backups import MOST_DAYS, Backups, back_up, backups_of, settle
from matcher.studio.keeping.check import check
from matcher.studio.keeping.wording import backups_in_words, checked_in_words, failure_in_words
from ui.escaped import escaped
from ui.state.messages import tell, told

if TYPE_CHECKING:
    from matcher.studio import Studio

_SAID = "kept.said"
_RESTORE = "patina-matcher restore BACKUP NEW-FOLDER"


def may_run() -> bool:
    """Tell whether the person at this page decides how the studio is kept."""
    hand = whose()
    return hand is None or hand.may(Work.RUN)


def show_kept(studio: Studio) -> None:
    """Show how the studio is kept, and let its owner back it up, check it, and settle where backups lie.

    Open where a backup failed.
    """
    stand = backups_of(studio)
    with st.expander("How the studio is kept", expanded=stand.failure is not None, key="log.kept"):
        for line in backups_in_words(stand):
            wrong = stand.failure is not None and line.startswith(failure_in_words(stand))
            tell(line, "warning") if wrong else st.html(f"<p>{escaped(line)}</p>")
        with st.container(horizontal=True):
            now = may_run() and st.button("Back up now", key="kept.now")
            looked = st.button("Check everything", key="kept.check")
        with told():
            if now:
                with st.spinner("Backing up, and reading it back…"):
                    back_up(studio)
                st.rerun()
            if looked:
                with st.spinner("Reading every row and every photograph…"):
                    checked = check(studio)
                for line in checked_in_words(checked):
                    tell(line, "done" if checked.sound else "wrong")
        if may_run():
            _settle(studio, stand)
        st.html(f'<p class="pm-soft">A backup becomes a studio again with <code>{_RESTORE}</code>.</p>')


def say_when_it_failed(studio: Studio) -> None:
    """Say on the front page that a backup failed; nothing while all goes well."""
    failed = failure_in_words(backups_of(studio))
    if failed:
        tell(f"{failed} See “How the studio is kept” under the log.", "warning")


def _settle(studio: Studio, stand: Backups) -> None:
    with st.expander("Where backups lie, and for how long"):
        folder = st.text_input("Folder on the machine that serves this page", str(stand.folder), key="kept.folder")
        days = st.number_input("Days for which they are kept", 1, MOST_DAYS, stand.keep_days, key="kept.days")
        st.html('<p class="pm-soft">Name another disk: a backup beside the studio is lost together with it.</p>')
        if st.button("Save", key="kept.settle"):
            with told():
                settle(studio, folder or "", int(days))
                st.rerun()
