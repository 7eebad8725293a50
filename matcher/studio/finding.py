"""Plates found among all: by colour, deed and word, by recipe, and those that an answer is worked out from."""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import TYPE_CHECKING

from matcher.studio.log import StudioLog

if TYPE_CHECKING:
    from matcher.plan.limits import Limits
    from matcher.ranking.finding import Finds
    from matcher.ranking.part_of_log import LongLog, PartOfLog
    from matcher.reading.reading import Reading
    from matcher.recipe.recipe import Recipe
    from matcher.storage.database import Database
    from matcher.trials.stocks import Stock

PARTS_KEPT = 8


class StudioFinding(StudioLog):
    """Plates found among all that are logged, in memory, or of a long log where it lies."""

    def __init__(self, database: Database) -> None:
        super().__init__(database)
        self._finder_lock = threading.Lock()
        self._finder: tuple[object, Finds] | None = None
        self._parts_lock = threading.Lock()
        self._parts_of: tuple[int, PartOfLog | LongLog] | None = None
        self._parts: OrderedDict[object, PartOfLog] = OrderedDict()

    def finder(self) -> Finds:
        """Return what finds plates by colour, by what was done and by words, those set aside too.

        A log longer than ``ranking.long_log.READ_WHOLE`` is searched where it lies.

        Kept, and shared, until this process or another changes the log, a target's name or a commission's.
        """
        from matcher.ranking import long_log
        from matcher.ranking.finding import Finder
        from matcher.ranking.made_for import made_for

        names = {target.id or 0: target.name for target in self.targets(include_set_aside=True)}
        jobs = made_for(self.database)
        key = (self.log.revision(), names, jobs)
        with self._finder_lock:
            if self._finder is None or self._finder[0] != key:
                count = self.log.count(include_set_aside=True)
                if count > long_log.READ_WHOLE:
                    finder: Finds = long_log.LongLogFinder(self.database, self.ranking, names, count, jobs)
                else:
                    finder = Finder(self.trials(include_set_aside=True), names, jobs)
                self._finder = key, finder
            return self._finder[1]

    def part_of_log(self, target: Reading | None = None, limits: Limits | None = None) -> PartOfLog:
        """Return the plates that what is asked of a target is worked out from: of a long log those that suit it.

        limits: what may be suggested. Kept, and shared, until this process or another changes the log.
        """
        from matcher.ranking.part_of_log import LongLog, part_of

        key = (lab_of(target), limits)
        with self._parts_lock:
            revision = self.log.revision()
            if self._parts_of is None or revision != self._parts_of[0]:
                self._parts_of, self._parts = (revision, part_of(self.log, self.ranking)), OrderedDict()
            log = self._parts_of[1]
            if not isinstance(log, LongLog):
                return log
            if key not in self._parts:
                self._parts[key] = log.part(key[0], None if limits is None else limits.allow)
            self._parts.move_to_end(key)
            while len(self._parts) > PARTS_KEPT:
                self._parts.popitem(last=False)
            return self._parts[key]

    def last_mixed_from(self) -> dict[str, Stock]:
        """Return by canonical chemical the bottle that plates were mixed from last: what a recipe means by stock that
        names none. Of a long log only a part is asked."""
        from matcher.bench.mixing import last_mixed_from

        return last_mixed_from(self.part_of_log().trials, self.bottles.stocks())

    def made_as(self, recipe: Recipe) -> int | None:
        """Return the number of the last plate that counts and was made to a recipe, whatever its bottles, or None."""
        from matcher.ranking.by_recipe import last_made

        return last_made(self.log, recipe)


def lab_of(target: Reading | None) -> tuple[float, ...] | None:
    return None if target is None else tuple(target.lab.tolist())
