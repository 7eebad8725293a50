"""Known plates in a picture: found there, worth laying there, or chosen for the studio's board."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from matcher.dates import now
from matcher.errors import Caveat, MatcherError, StudioError
from matcher.studio.colours import StudioColours

if TYPE_CHECKING:
    from matcher.calibration.references.reference import Reference
    from matcher.commissions.read_again import Owner
    from matcher.photo.photo import Photo
    from matcher.plates_beside import Board, LaidBeside
    from matcher.plates_in_picture import PlateInPicture
    from matcher.reading.reading import Reading
    from matcher.tags.sightings import KeptSighting
    from matcher.trials.trial import Trial


class StudioBeside(StudioColours):
    """The studio's own plates as references: in a picture, beside a finish, on a board."""

    def plates_in(self, photo: Photo, taken: datetime | None = None) -> tuple[PlateInPicture, ...]:
        """Return the studio's own plates in a photograph, found by their tags, from the left to the right.

        Those that can serve as references hold one: the colour that the plate has by now, as the log knows it best.
        taken: when it was taken, where its file does not tell; now, when not given.
        """
        from matcher.plates_in_picture import LoggedPlate, plates_in, taken_at

        def plate(number: int) -> LoggedPlate:
            trial = self.trial(number)
            return LoggedPlate(trial.uid, self.colour_by_now(number, photo.sha256), trial.set_aside)

        at = taken_at(photo) or taken or now()
        return plates_in(photo, self.tag_signs, self.tags(), self.tag_log.outlines(at), plate, at)

    def known_in(self, photo: Photo, reading: Reading) -> list[Reference]:
        """Return the known finishes in a photograph that was read before: the plates that it shows, as they are known
        by now, and what else it was read by; not those that a person left out of it."""
        from matcher.commissions.read_again import references_of
        from matcher.plates_in_picture import serving

        left_out = () if reading.conditions is None else reading.conditions.left_out
        there = serving(self.plates_in(photo, self.taken_at(photo)), [one.tag for one in left_out])
        known = {one.uid for one in there}
        return there + [one for one in references_of(reading) if one.uid is None or one.uid not in known]

    def taken_at(self, photo: Photo) -> datetime:
        """Return when a photograph was taken: as its file tells, else as its sightings do, or when it was first kept
        here; now, for one that is not kept."""
        from matcher.plates_in_picture import taken_at

        if (told := taken_at(photo)) is not None:
            return told
        seen = self.sightings(photo=photo.sha256, count=1).sightings
        return (seen[0].seen_at if seen else self.log.photo_kept_at(photo.sha256)) or now()

    def replace_reading(
        self, owner: Owner, reading: Reading, instead_of: Reading, why: str, who: str = ""
    ) -> tuple[Caveat, ...]:
        """Let a plate or a target have a reading that was made anew of its kept photograph; the earlier one is kept.

        The plates that the photograph shows are sightings of it, in place of those that were kept of it before.

        Parameters
        ----------
        owner : Owner
            Whose reading it is.
        reading : Reading
            As ``matcher.commissions.read_again.read_again`` made it.
        instead_of : Reading
            The one that was looked at when the new one was made.
        why, who : str
            Why it is read again, and who does it.

        Returns
        -------
        tuple of Caveat
            What could not be kept of the plates seen there; the reading is kept all the same.

        Raises
        ------
        StudioError
            There is no such reading, it is another by now, or a sign-off holds the target; then nothing is changed.
        """
        from matcher.tags.sightings import sightings_not_kept

        self.readings.replace(owner, reading, instead_of, why, who)
        try:
            self.keep_sightings(self._seen_again(owner, reading))
        except MatcherError as error:
            return (sightings_not_kept(error),)
        return ()

    def _seen_again(self, owner: Owner, reading: Reading) -> list[KeptSighting]:
        """Return the plates in the photograph of a reading as they look when it is read as it was, but for the one
        that it is of. That one is no reference either: what it is known by may be this very photograph."""
        from matcher.commissions.read_again import calibrated_again, photo_as_read, references_of
        from matcher.plates_in_picture import kept_sightings, seen_in, serving
        from matcher.reading.seen_again import seen_again

        if reading.photo is None or reading.conditions is None:
            return []
        photo = photo_as_read(self.photos.path(reading.photo), reading)
        taken = self.taken_at(photo)
        itself = owner.number if owner.kind == "plate" else None
        plates = [one for one in self.plates_in(photo, taken) if itself is None or one.trial_id != itself]
        if not plates:
            return []
        left_out = [one.tag for one in reading.conditions.left_out]
        there = serving(plates, left_out)
        found = {one.uid for one in there} | ({self.trial(itself).uid} if itself is not None else set())
        marked = [one for one in references_of(reading) if one.uid is None or one.uid not in found]
        name = reading.conditions.profile
        camera = None if name is None else self._profiles.profile(name)
        calibration = calibrated_again(photo, reading, camera, references=[*there, *marked])
        seen = seen_in(plates, seen_again(photo, calibration), left_out)
        return kept_sightings(seen, taken, reading.photo)

    def worth_laying(
        self, reading: Reading, plate: int | None = None, there: Collection[int] = ()
    ) -> LaidBeside | None:
        """Return the plates most worth laying beside the finish of a reading; None where they gain too little.

        plate: which one the reading is of, where it is of one: it is not laid beside itself, and one that has changed
        since would be read as another colour. there: the plates in its photograph, whether they served or not; those
        that were seen in a kept one are known.
        """
        return self.worth_laying_each([reading], plate, there)[0]

    def worth_laying_each(
        self, readings: Sequence[Reading], plate: int | None = None, there: Collection[int] = ()
    ) -> list[LaidBeside | None]:
        """Return the plates most worth laying beside each of several finishes, as ``worth_laying`` does for one."""
        from matcher.plates_beside import worth_laying

        if plate is not None and self.ageing(plate).changed:
            return [None] * len(readings)
        near = next(iter(readings), None)
        plates = [(number, known) for number, known in self._by_now(steady=True, near=near) if number != plate]
        tagged = frozenset(one.trial_id for one in self.tags().in_force())
        uids = {trial.id: trial.uid for trial in self.part_of_log(near).trials}

        def not_there(reading: Reading) -> list[tuple[int, Reading]]:
            lie = {*there, *self._seen_in_photograph_of(reading)}
            served = set() if reading.conditions is None else {item.uid for item in reading.conditions.references}
            return [(number, known) for number, known in plates if number not in lie and uids[number] not in served]

        return [worth_laying(reading, not_there(reading), tagged) for reading in readings]

    def _seen_in_photograph_of(self, reading: Reading) -> set[int]:
        """Return the plates that the log knows to lie in a reading's photograph, those that did not serve too."""
        if reading.photo is None:
            return set()
        seen = self.sightings(photo=reading.photo, count=None).sightings
        return {one.trial_id for one in seen if one.trial_id is not None}

    def board(self, count: int = 10) -> Board:
        """Return the plates that make the best chart of the studio's own by expected uncertainty, none that changed."""
        from matcher.plates_beside import board_of

        return board_of(self._by_now(steady=True), count)

    @property
    def board_uids(self) -> tuple[str, ...]:
        """The uids of the plates on the board that was chosen; none where none was."""
        return self._settings.board

    def kept_board(self) -> Board | None:
        """Return the board that was chosen, with what it is worth for the studio's colours by now; None for none."""
        from matcher.plates_beside import board_with

        uids = self._settings.board
        numbers = {trial.uid: trial.id or 0 for trial in self.log.of_uids(uids)}
        there = [numbers[uid] for uid in uids if uid in numbers]
        return self._with_changed(board_with(self._by_now(also=there), there)) if there else None

    def board_with(self, numbers: Sequence[int]) -> Board:
        """Return what a board of these plates is worth. Raises StudioError for plates that can't make one."""
        from matcher.plates_beside import board_with

        self._on_a_board(numbers)
        return self._with_changed(board_with(self._by_now(also=numbers), numbers))

    def _with_changed(self, board: Board) -> Board:
        aged = self.ageings(self.log.some(board.numbers))
        return replace(board, changed=tuple(number for number in board.numbers if aged[number].changed))

    def keep_board(self, numbers: Sequence[int], seen: Sequence[str] | None = None, who: str = "") -> None:
        """Keep these plates as the studio's board, until another is kept; none for no board. The history keeps both.

        seen: the uids of the board as it was seen. Raises StudioError for plates that can't make one, and when another
        was kept meanwhile; then nothing is changed.
        """
        from matcher.storage.settings import board_in, keep_board_in
        from matcher.trials.log import note_change

        uids = tuple(str(trial.uid) for trial in self._on_a_board(numbers))
        with self.database.writing() as session:
            before = board_in(session)
            if before == uids:
                return
            if seen is not None and before != tuple(seen):
                raise StudioError("Look at the board again first: another was kept meanwhile.")
            keep_board_in(session, uids)
            note_change(session, "studio", "board", {"plates": list(before)}, {"plates": list(uids)}, who)

    def _on_a_board(self, numbers: Sequence[int]) -> list[Trial]:
        """Return plates that are to make a board. Raises StudioError: too many, one twice, not logged, set aside."""
        from matcher.plates_beside import MOST_ON_BOARD

        if len(numbers) > MOST_ON_BOARD:
            raise StudioError(f"Choose at most {MOST_ON_BOARD} plates for the board: {len(numbers)} are too many.")
        if len(set(numbers)) < len(numbers):
            raise StudioError("Name each plate of the board once.")
        trials = [self.trial(number) for number in numbers]
        for trial in trials:
            if trial.set_aside is not None:
                raise StudioError(f"Plate {trial.id} is set aside: take it back, or choose another for the board.")
        return trials
