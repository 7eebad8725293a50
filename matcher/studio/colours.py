"""The colours of plates as they stand by now, from what was logged of them and where they were seen since."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from matcher.studio.finding import StudioFinding

if TYPE_CHECKING:
    from matcher.reading.reading import Reading
    from matcher.storage.database import Database
    from matcher.tags.ageing.told import Ageing
    from matcher.tags.sightings import KeptSighting
    from matcher.trials.trial import Trial


class StudioColours(StudioFinding):
    """Plates' colours as the log knows them best, and whether they have changed."""

    def __init__(self, database: Database) -> None:
        super().__init__(database)
        self._aged: dict[int, tuple[tuple[object, ...], Ageing]] = {}

    def ageing(self, trial_id: int) -> Ageing:
        """Return how a plate's colour stands by now to what was logged, by its sightings. Raises StudioError.

        Of a plate that was sealed and read since, to the sealed one.
        """
        return self.ageings([self.trial(trial_id)])[trial_id]

    def ageings(self, trials: Sequence[Trial]) -> dict[int, Ageing]:
        """Return how plates' colours stand by now, by their numbers."""
        return {number: self._ageing_of(number, *known) for number, known in self._as_they_stand(trials).items()}

    def _ageing_of(self, number: int, reading: Reading, since: datetime, sightings: list[KeptSighting]) -> Ageing:
        """Return how a plate has aged, kept until its reading or its sightings change: of one that has changed it takes
        a third of a second to tell since when."""
        from matcher.tags.ageing.told import ageing

        seen = [one.uid for one in sightings]
        key = (reading.lab.tobytes(), reading.covariance.tobytes(), reading.photo, since, *seen)
        kept = self._aged.get(number)
        if kept is None or kept[0] != key:
            kept = self._aged[number] = key, ageing(reading, since, sightings)
        return kept[1]

    def known_colour(self, trial_id: int) -> Reading:
        """Return a plate's colour as it stands, as the log knows it best: the logged reading and its sightings since.

        One that has changed has the colour that it was logged with; ``ageing`` tells its colour by now.
        """
        from matcher.tags.ageing.known import known_colour

        return known_colour(*self._as_they_stand([self.trial(trial_id)])[trial_id])

    def colour_by_now(self, trial_id: int, apart_from: str | None = None) -> Reading:
        """Return a plate's colour as it is by now, as the log knows it best. Raises StudioError.

        apart_from: SHA-256 of a photograph whose own sightings are left out, for it is to be read by the plate: what it
        was seen as there says nothing more when the photograph is read again.
        """
        from matcher.tags.ageing.known import by_now

        reading, since, sightings = self._as_they_stand([self.trial(trial_id)])[trial_id]
        seen = [one for one in sightings if apart_from is None or one.photo != apart_from]
        return by_now(reading, since, seen)[0]

    def _by_now(
        self, steady: bool = False, near: Reading | None = None, also: Sequence[int] = ()
    ) -> list[tuple[int, Reading]]:
        """Return the plates that count by their numbers, each with its colour as it is by now, sealed or aged.

        steady: without those that have changed since they were logged, which may go on changing. near: what the plates
        of a long log are chosen for; also: plates that are among them in any case.
        """
        from matcher.commissions.sign_off import approved_reading
        from matcher.tags.ageing.known import known_with

        trials, seen = self.part_of_log(near).trials, self.tag_log.last_seen()
        missing = set(also) - {trial.id for trial in trials}
        trials += tuple(trial for trial in self.log.some(sorted(missing)) if trial.set_aside is None)
        colours = {trial.id or 0: approved_reading(trial)[1] for trial in trials}
        again = [trial for trial in trials if trial.id in seen]
        for number, known in (self._as_they_stand(again) if again else {}).items():
            aged = self._ageing_of(number, *known)
            colours[number] = aged.now if aged.changed else known_with(*known, aged)
            if steady and aged.changed:
                del colours[number]
        return list(colours.items())

    def _as_they_stand(self, trials: Sequence[Trial]) -> dict[int, tuple[Reading, datetime, list[KeptSighting]]]:
        """Return for each plate its last reading that was to stay, when it was taken, and its other sightings."""
        from matcher.commissions.sign_off import approved_reading
        from matcher.trials.trial import FINISHED

        one = trials[0].id if len(trials) == 1 else None
        seen: dict[int, list[KeptSighting]] = {trial.id or 0: [] for trial in trials}
        for sighting in self.sightings(one, count=None).sightings:
            if sighting.trial_id in seen:
                seen[sighting.trial_id].append(sighting)
        found = {}
        for trial in trials:
            stage, reading = approved_reading(trial)
            since = trial.made_at
            if stage != FINISHED:
                added = [line.at for line in self.history("trial", trial.id) if line.detail == stage]
                since = added[-1] if added else since
            there = reading.photo  # seen in the very photograph that it was read from, it is no second look
            again = [one for one in seen[trial.id or 0] if one.photo is None or one.photo != there]
            found[trial.id or 0] = (reading, since, again)
        return found

    def changed_plates(self) -> dict[int, Ageing]:
        """Return the plates that have changed since they were logged, or have by one photograph's word, by number."""
        seen = self.log.some(sorted(self.tag_log.last_seen()))
        return {number: one for number, one in self.ageings(seen).items() if one.changed or one.odd_on is not None}

    def _as_known(self, trials: Sequence[Trial], as_logged: bool = False) -> list[Trial]:
        """Return trials, those that were seen since with their colour as the log knows it best, and whether it changed.

        Of a plate that was sealed later, that would be another colour than its recipe gave: it stays as logged.
        as_logged: whether all do.
        """
        from matcher.tags.ageing.known import known_with
        from matcher.trials.trial import Changed

        seen = self.tag_log.last_seen()
        again = [trial for trial in trials if trial.id in seen]
        found = {}
        for number, known in (self._as_they_stand(again) if again else {}).items():
            aged = self._ageing_of(number, *known)
            changed = Changed(aged.delta_e00, aged.interval, aged.since, aged.logged_at) if aged.changed else None
            found[number] = known[0], known_with(*known, aged), changed

        def with_what_is_known(trial: Trial) -> Trial:
            logged, better, changed = found[trial.id or 0]
            reading = trial.reading if as_logged or logged is not trial.reading else better
            return replace(trial, reading=reading, changed=changed)

        return [with_what_is_known(trial) if (trial.id or 0) in found else trial for trial in trials]
