"""Suggestions from the log, kept until it changes, and whether an edition's casts drift."""

from __future__ import annotations

import threading
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matcher.errors import SuggestionError
from matcher.recipe.names import each_once
from matcher.studio.colours import StudioColours
from matcher.studio.finding import lab_of

if TYPE_CHECKING:
    from matcher.commissions.control_chart import ControlChart
    from matcher.plan.inventory import AtHand
    from matcher.ranking.part_of_log import PartOfLog
    from matcher.reading.reading import Reading
    from matcher.storage.database import Database
    from matcher.suggest.suggester import Suggester
    from matcher.trials.trial import Trial

SUGGESTERS_KEPT = 8


class StudioSuggesting(StudioColours):
    """What the plates of the log suggest for a target, and say of an edition."""

    def __init__(self, database: Database) -> None:
        super().__init__(database)
        self._lock = threading.Lock()
        self._suggesters: dict[str, Suggester] = {}
        self._counting: dict[bool, list[Trial]] = {}
        self._suggesters_revision: tuple[int, ...] = ()

    def suggester(self, target: Reading | None = None, **options: Any) -> Suggester:
        """Return the suggester over the trials that count.

        Parameters
        ----------
        target : Reading or None
            What it is to be asked about, where that is known. A target that was read by card or profile alone is
            compared with the plates as they were logged, since readings alike share errors, which cancel; any other
            with the plates as the log knows them best.
        **options : Any
            As for `matcher.suggest.Suggester` (limits, tolerance, rng, at_hand).

        Returns
        -------
        Suggester
            Kept, and shared, until this process or another changes the log; with ``rng`` it is made anew.

        Raises
        ------
        SuggestionError
            No trial counts, or an option is not valid.
        """
        from matcher.plan.inventory import NOTHING_MORE
        from matcher.suggest.suggester import Suggester

        alike = target is not None and target.photo is not None and not _read_by_plates(target)
        part = self.part_of_log(target, options.get("limits"))
        # of a part of a long log nobody can tell which chemicals no plate has
        options.setdefault("at_hand", self.at_hand() if part.is_whole else NOTHING_MORE)
        if options.get("rng") is not None:
            return Suggester(self._counted(part, alike), **options)  # a generator's state is the caller's own
        key = f"{alike} {sorted(options.items())!r} {lab_of(target) if part.nearest is not None else None}"
        revision = (self.log.revision(), *self.tag_log.revision())
        with self._lock:
            if revision != self._suggesters_revision:
                self._suggesters, self._suggesters_revision, self._counting = {}, revision, {}
            if key not in self._suggesters:
                if len(self._suggesters) >= SUGGESTERS_KEPT:
                    del self._suggesters[next(iter(self._suggesters))]
                if alike not in self._counting or part.nearest is not None:
                    self._counting[alike] = self._counted(part, alike)
                self._suggesters[key] = Suggester(self._counting[alike], **options)
            return self._suggesters[key]

    def at_hand(self) -> AtHand:
        """Return the chemicals whose bottles are not used up, as undercoats and as coats, as the trade lays them.

        One that is not laid by itself, or of which that is not known, is among neither.
        """
        from matcher.plan.inventory import AtHand
        from matcher.recipe.cautions import shipped_book

        there = each_once(stock.chemical for stock in self.bottles.stocks() if stock.used_up_at is None)
        laid = {name: shipped_book().laid(name) for name in there}
        return AtHand(*(tuple(name for name in there if laid[name] == way) for way in ("undercoat", "coat")))

    def _counted(self, part: PartOfLog, as_logged: bool) -> list[Trial]:
        """Return the trials of a part: with their colours as logged, or as the log knows them best."""
        counted = self._as_known(part.trials, as_logged)
        checked = self.log.checked([trial.id or 0 for trial in counted])
        return [replace(trial, checked=checked[trial.id]) if trial.id in checked else trial for trial in counted]

    def edition(self, area_id: int) -> ControlChart | None:
        """Return the control chart of an area's casts; None while nothing of it is signed off."""
        from matcher.commissions.control_chart import chart_of_edition

        sign_off = self.sign_offs.standing(area_id)
        if sign_off is None:
            return None
        try:
            scatter = self.suggester().model(sign_off.plate).plate_covariance(sign_off.recipe)
        except SuggestionError:
            scatter = None  # too little is logged to learn it from
        casts = self.casts.of_area(area_id)
        return chart_of_edition(sign_off, casts, self.log.some([cast.trial_id for cast in casts]), scatter)


def _read_by_plates(reading: Reading) -> bool:
    """Tell whether a reading was made by known plates in its picture."""
    return reading.conditions is not None and bool(reading.conditions.references)
