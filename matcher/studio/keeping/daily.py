"""The day's backup of a studio whose page is served, made beside the page's work."""

from __future__ import annotations

import threading
from contextlib import suppress
from pathlib import Path

from matcher.errors import MatcherError

FIRST_AFTER_S, EVERY_S = 60.0, 600.0
"""When it is looked whether one is due: not while the page is being opened."""


class DailyBackups:
    """Looks now and then whether a backup is due, until it is stopped. where: the studio, None for the usual one."""

    def __init__(self, where: str | Path | None) -> None:
        self._where = where
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._look_again_and_again, name="daily-backup", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()

    def _look_again_and_again(self) -> None:
        if self._stop.wait(FIRST_AFTER_S):
            return
        from matcher.studio import Studio
        from matcher.studio.keeping.backups import back_up_when_due  # only now: the page comes first

        while True:
            # The page says what is wrong with the studio; what is wrong with a backup is noted in it.
            with suppress(MatcherError), Studio.open(self._where) as studio:
                back_up_when_due(studio)
            if self._stop.wait(EVERY_S):
                return
