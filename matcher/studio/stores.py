"""What a studio keeps, each kind of thing in a store of its own, and what it says of itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from matcher.errors import StudioError

if TYPE_CHECKING:
    from matcher.changes import Changes
    from matcher.storage.damaged import Damaged
    from matcher.storage.database import Database
    from matcher.trials.archive import Difference


class StudioStores:
    """The stores of an open studio, which all its other parts are made from."""

    def __init__(self, database: Database) -> None:
        from matcher.access.sign_in import Access
        from matcher.bench.shelf import Shelf
        from matcher.commissions.casts import Casts
        from matcher.commissions.read_again import Readings
        from matcher.commissions.sign_off import SignOffs
        from matcher.commissions.store import Commissions
        from matcher.notebook import Notebooks
        from matcher.ranking.in_log import NearestPlates
        from matcher.sharing.sharing import Sharing
        from matcher.storage.drafts import Drafts
        from matcher.storage.made_pictures import FOLDER, MadePictures
        from matcher.storage.settings import Settings
        from matcher.storage.shared_photos import photos_of
        from matcher.tags.store import Tags
        from matcher.trials.camera_profiles import ProfileShelf
        from matcher.trials.corrections import Corrections
        from matcher.trials.log import TrialLog
        from matcher.trials.own_cards import OwnCards
        from matcher.trials.stocks import StockShelf
        from matcher.trials.targets import TargetList

        self.database = database
        self.log = TrialLog(database)
        self.access = Access(database)
        self.photos = photos_of(database)
        self.made_pictures = MadePictures(database.photo_folder / FOLDER)
        self._corrections = Corrections(database)
        self._targets = TargetList(database)
        self._drafts = Drafts(database)
        self.tag_log = Tags(database)
        self.ranking = NearestPlates(database)
        self.sharing = Sharing(database)
        self.shelf = Shelf(database)
        self.commissions = Commissions(database)
        self.sign_offs = SignOffs(database)
        self.casts = Casts(database)
        self.readings = Readings(database)
        self._own_cards = OwnCards(database)
        self._profiles = ProfileShelf(database)
        self.bottles = StockShelf(database)
        self.notebooks = Notebooks(database)
        self._settings = Settings(database)
        self.restored_with: tuple[Difference, ...] = ()

    def close(self) -> None:
        self.database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()

    @property
    def changes(self) -> Changes:
        """What tells that the log has changed, by this process or another; ``changes.wait`` waits for it.

        Half-typed forms are of one person and tell nobody; pieces on the bench do.
        """
        return self.database.changes

    @property
    def name(self) -> str:
        """Where it lies: the folder, or the URL without its password."""
        return self.database.name

    def damaged(self) -> tuple[Damaged, ...]:
        """Return what could not be read, and was left out, when things of its kind were last asked for.

        ``matcher.storage.damaged.in_words`` says it in one sentence.
        """
        return tuple(one for found in self.database.damaged.values() for one in found)

    @property
    def title(self) -> str:
        return self._settings.title

    @title.setter
    def title(self, text: str) -> None:
        self.give_title(text)

    def give_title(self, text: str, seen: str | None = None, who: str = "") -> None:
        """Give the studio another title; its history keeps the earlier one.

        seen: the title that was seen. Raises StudioError, also when another person gave it another one meanwhile.
        """
        from matcher.storage import checked
        from matcher.storage.schema import StudioRow
        from matcher.trials.log import note_change

        wanted = checked.line(text, "studio's title")
        with self.database.writing() as session:
            studio = session.get_one(StudioRow, 1)
            before = studio.title
            if before == wanted:
                return
            if seen is not None and before != seen:
                raise StudioError(f"Look at the studio's title again first: it was changed to {before!r} meanwhile.")
            studio.title = wanted
            note_change(session, "studio", "title", {"title": before}, {"title": wanted}, who)

    @property
    def uid(self) -> str:
        """What names this studio among all; the signs of its tags follow from it."""
        return self._settings.uid

    @uid.setter
    def uid(self, value: str) -> None:
        self._settings.uid = value

    @property
    def moved_to(self) -> str | None:
        """Where the studio was moved; nothing is written here since. None where it still is."""
        return self._settings.moved_to

    @property
    def is_demo(self) -> bool:
        """Whether its trials are invented."""
        return self._settings.is_demo

    @is_demo.setter
    def is_demo(self, value: bool) -> None:
        self._settings.is_demo = value
