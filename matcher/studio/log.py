"""What is logged: plates with their tags, where those were seen, and targets."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from matcher.storage.settings import TAGS_PRINTED
from matcher.studio.stores import StudioStores

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from matcher.reading.reading import Reading
    from matcher.tags.given import TagHistory, TagLookedFor, TagOnPlate
    from matcher.tags.sightings import KeptSighting, SightingPage
    from matcher.tags.store import Given
    from matcher.trials.corrections import Correction
    from matcher.trials.facts import TypedFacts
    from matcher.trials.log import Change
    from matcher.trials.trial import StageReading, Target, Trial


class StudioLog(StudioStores):
    """Plates, tags and targets: recorded, corrected, set aside and taken back, with their history."""

    def trials(self, include_set_aside: bool = False) -> list[Trial]:
        """Return the trials, oldest first.

        Parameters
        ----------
        include_set_aside : bool
            Whether those that no longer count are among them.

        Returns
        -------
        list of Trial
            One that is damaged in the log is left out; ``damaged`` then names it.
        """
        return self.log.trials(include_set_aside)

    def trial(self, trial_id: int) -> Trial:
        """Return one trial, set aside or not. Raises StudioError when there is none of that number."""
        return self.log.trial(trial_id)

    def record(self, trial: Trial, who: str = "", tag: str = "", tag_corners: ArrayLike | None = None) -> Trial:
        """Keep a trial.

        Parameters
        ----------
        trial : Trial
            Its photographs, target and stocks must be in the studio. One of a uid that is logged with the same
            content is kept once.
        who : str
            Who logs it, for the history; "" is whoever made it.
        tag : str
            The code of the tag that it carries, "" for none.
        tag_corners : array_like, shape (4, 2), optional
            The tag's corners in the photograph that its reading is of, so that where its finish lies by the tag is
            kept; looked for there when not given.

        Returns
        -------
        Trial
            As logged, with its number.

        Raises
        ------
        StudioError
            It cannot be kept, or its tag is on another plate; then nothing is changed.
        """
        if not tag.strip():
            return self.log.record(trial, who)
        corners = self._tag_corners(trial.reading, tag) if tag_corners is None else tag_corners
        return self.tag_log.record(trial, tag, who, corners)

    def _tag_corners(self, reading: Reading, tag: str) -> ArrayLike | None:
        """Return the corners (4, 2) of a tag in a reading's kept photograph, None where it is not seen there."""
        from matcher.commissions.read_again import photo_as_read
        from matcher.tags.given import tag_text
        from matcher.tags.outlines import corners_in

        code = tag_text(tag, self.tag_signs)
        if reading.photo is None or reading.region is None or not self.photos.has(reading.photo):
            return None
        return corners_in(photo_as_read(self.photos.path(reading.photo), reading), code)

    def record_all(self, trials: Sequence[Trial], who: str = "") -> list[Trial]:
        """Keep several trials in one go: all of them, or none when one cannot be kept. Raises StudioError."""
        return self.log.record_all(trials, who)

    def check_right(self, trial_id: int, who: str = "", seen: Trial | None = None) -> Trial:
        """Note that somebody checked an odd plate and says that it is right, so that it counts in full.

        See ``TrialLog.check_right``. Raises StudioError.
        """
        return self.log.check_right(trial_id, who, seen)

    def doubt_again(self, trial_id: int, who: str = "") -> Trial:
        """Take back that a plate is right. Raises StudioError."""
        return self.log.doubt_again(trial_id, who)

    def set_aside(self, trial_id: int, reason: str, who: str = "") -> Trial:
        """Take a trial out of the suggestions, with the reason; nothing is deleted. Raises StudioError."""
        return self.log.set_aside(trial_id, reason, who)

    def take_back(self, trial_id: int, who: str = "", seen: str | None = None) -> Trial:
        """Let a trial that was set aside count again. seen: the reason that was seen. Raises StudioError."""
        return self.log.take_back(trial_id, who, seen)

    def add_stage(self, trial_id: int, step: StageReading, who: str = "") -> Trial:
        """Add a reading taken later ("waxed") to a trial. Raises StudioError."""
        return self.log.add_stage(trial_id, step, who)

    def add_photo(self, trial_id: int, sha256: str, who: str = "") -> Trial:
        """Add a kept photograph to a trial. Raises StudioError."""
        return self.log.add_photo(trial_id, sha256, who)

    def correct(self, trial_id: int, facts: TypedFacts, instead_of: TypedFacts, who: str = "") -> Trial:
        """Mend what was typed of a trial, its readings apart, and return it; its history keeps the earlier version.

        instead_of: what the log said when the correction was begun (``matcher.trials.facts_of``). Raises StudioError,
        also when the log says something else by now; then nothing is changed.
        """
        return self._corrections.correct(trial_id, facts, instead_of, who)

    def corrections(self, trial_id: int) -> list[Correction]:
        """Return how a trial was corrected, the oldest correction first; each with what was changed."""
        from matcher.trials.corrections import corrections_among

        return corrections_among(self.history("trial", trial_id))

    def what_a_correction_changes(self, was: TypedFacts, now: TypedFacts) -> tuple[str, ...]:
        """Say what differs between two versions of what was typed, a line each: "Coat 1, passes: 8, was 6"."""
        from matcher.trials.facts import what_changed

        return what_changed(was, now, {target.id or 0: target.name for target in self.targets(include_set_aside=True)})

    def history(self, kind: str | None = None, subject: object = None) -> list[Change]:
        """Return what was changed, by whom and when; of one thing with ``("trial", 12)``."""
        return self.log.history(kind, subject)

    # Tags and where they were seen

    def give_tag(
        self, trial_id: int, tag: str, who: str = "", why: str = "", at: datetime | None = None, move: bool = False
    ) -> Given:
        """Give a tag to a plate, whose earlier one is taken back; ``matcher.tags.store.Tags.give`` says all of it.

        move: whether it may be taken from another plate. Raises StudioError; then nothing is changed.
        """
        return self.tag_log.give(trial_id, tag, who, why, at, move)

    def take_tag(
        self, trial_id: int, who: str = "", why: str = "", at: datetime | None = None, seen: str | None = None
    ) -> Given:
        """Take a plate's tag back, with the reason; its history keeps it. seen: the tag that was seen on it.

        Raises StudioError.
        """
        return self.tag_log.take(trial_id, who, why, at, seen)

    def tags(self) -> TagHistory:
        """Return which plate carried which tag when."""
        return self.tag_log.history()

    def tag_of(self, trial_id: int, at: datetime | None = None) -> TagOnPlate | None:
        """Return the tag that a plate carries, or carried at a moment; None for none."""
        return self.tags().tag_of(trial_id, at)

    def tags_printed_to(self) -> int:
        """Return the highest number that was printed on tags for plates to come; 0 where none was."""
        highest = (self._drafts.draft(TAGS_PRINTED) or {}).get("highest")
        return highest if isinstance(highest, int) else 0

    def note_tags_printed(self, highest: int) -> None:
        """Keep that tags up to a number were printed for plates to come, so that none of them is printed again."""

        def higher(kept: dict[str, Any] | None) -> dict[str, Any]:
            before = (kept or {}).get("highest")
            return {"highest": max(highest, before if isinstance(before, int) else 0)}

        self._drafts.change(TAGS_PRINTED, higher)

    @property
    def tag_signs(self) -> str:
        """The five signs that every tag of this studio begins with."""
        from matcher.tags.code import studio_signs

        return studio_signs(self._settings.uid)

    def plate_of(self, tag: str, at: datetime | None = None) -> int | None:
        """Return the number of the plate that carries a tag, or carried it at a moment; None for none.

        Raises TagError for what is no code.
        """
        from matcher.tags.given import tag_text

        found = self.tags().plate_of(tag_text(tag, self.tag_signs), at)
        return None if found is None else found.trial_id

    def tag_looked_for(self, words: str) -> TagLookedFor | None:
        """Return the tag that the words of a search are, as typed or as scanned, with its plate; None for no tag."""
        from matcher.tags.given import looked_for

        return looked_for(words, self.tag_signs, self.tags())

    def keep_sightings(self, sightings: Sequence[KeptSighting]) -> list[KeptSighting]:
        """Keep the tags that were seen in photographs that are read for keeps: all, or none. Raises StudioError."""
        return self.tag_log.keep_sightings(sightings)

    def sightings(
        self, trial_id: int | None = None, photo: str | None = None, start: int = 0, count: int | None = 50
    ) -> SightingPage:
        """Return sightings of a plate or in a photograph, the newest first. count: None is all that follow."""
        return self.tag_log.sightings(trial_id, photo, start=start, count=count)

    # Targets

    def save_target(self, target: Target, who: str = "") -> Target:
        """Keep a target and return it as saved, with its number. Raises StudioError."""
        return self._targets.save(target, who)

    def targets(self, include_set_aside: bool = False) -> list[Target]:
        """Return the targets, oldest first; those set aside only when asked for."""
        return self._targets.targets(include_set_aside)

    def target(self, target_id: int) -> Target:
        """Return one target, set aside or not. Raises StudioError when there is none of that number."""
        return self._targets.target(target_id)

    def change_target(self, now: Target, instead_of: Target, who: str = "") -> Target:
        """Let a target have another name, tolerance or notes, and return it; its history keeps what it was.

        instead_of: the target as it was seen. Raises StudioError, also when it is signed off or was changed meanwhile.
        """
        return self._targets.change(now, instead_of, who)

    def set_target_aside(self, target_id: int, reason: str = "done", who: str = "") -> Target:
        """Note that a target is no longer worked on. Raises StudioError."""
        return self._targets.set_aside(target_id, reason, who)

    def take_target_back(self, target_id: int, who: str = "", seen: str | None = None) -> Target:
        """Let a target that was set aside be worked on again. seen: the reason that was seen. Raises StudioError."""
        return self._targets.take_back(target_id, who, seen)
