"""A studio carried elsewhere: exported, imported, backed up and read back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from matcher.errors import StudioError
from matcher.files import check_ending
from matcher.hands import Work, need
from matcher.studio.log import StudioLog
from matcher.studio.supplies import StudioSupplies

if TYPE_CHECKING:
    from matcher.notebook import OwnTable
    from matcher.notebook_columns import Meanings
    from matcher.storage.carried import CarriedTable
    from matcher.trials.archive import Exported, Imported


class StudioCarrying(StudioLog, StudioSupplies):
    """Files that carry a studio, written and taken in."""

    def export(self, path: str | Path, overwrite: bool = False) -> Exported:
        """Write the studio to one file that can be carried; a name that ends in .csv gets a table of the trials.

        Raises StudioError; then nothing is written. A file that is there is kept unless ``overwrite``.
        """
        from matcher.trials import archive as portable
        from matcher.trials import spreadsheet

        path = Path(path)
        check_ending(path, ".zip", ".csv")
        if path.suffix.lower() != ".csv":
            return portable.export_studio(self.database, self.photos, path, overwrite, carried())
        names = {target.id: target.name for target in self.targets(include_set_aside=True)}
        count = spreadsheet.export_table(self.trials(include_set_aside=True), path, names, overwrite)
        return portable.Exported(path, trials=count, photos=0)

    def import_file(self, path: str | Path, skip_bad: bool = False, who: str = "") -> Imported:
        """Take in an export or a backup of a studio, or a table of trials (CSV).

        What is here already stays as it is, but for what was noted later of a bottle, and what was withdrawn or taken
        back.

        A table with columns of the studio's own is taken in where it was said before what they mean (``notebooks``).

        Raises StudioError (RowProblems for a table's rows); then nothing is taken in. skip_bad: take in a table's
        good rows and report the others.
        """
        from matcher.trials import archive as portable
        from matcher.trials import spreadsheet

        path = Path(path)
        if path.suffix.lower() == ".zip" or portable.is_archive(path):
            return portable.import_studio(self.database, self.photos, path, who, carried())
        known = self._known_table(path)
        if known is not None:
            return self.notebooks.take_in(*known, self.stocks(), skip_bad, who)
        return spreadsheet.import_table(self.database, path, skip_bad, who)

    def _known_table(self, path: Path) -> tuple[OwnTable, Meanings] | None:
        """Return a table of the studio's own whose columns were mapped before, None for any other file."""
        from matcher.notebook import read_own_table
        from matcher.trials.spreadsheet import is_own_table

        try:
            if is_own_table(path):
                return None
            table = read_own_table(path)
        except StudioError:
            return None  # as a table of the tool's own it says better what is wrong
        meanings = self.notebooks.remembered(table)
        return None if meanings is None else (table, meanings)

    def backup(self, path: str | Path, overwrite: bool = False) -> Exported:
        """Write a consistent copy of everything, database and photographs, to one zip, while work goes on.

        ``Studio.restore`` makes a studio of it again; so does unpacking it into an empty folder. A file that
        is there is kept unless ``overwrite``. Raises StudioError, also for whoever may not run the studio: what people
        sign in by is in it too.
        """
        from matcher.trials import archive as portable

        need(Work.RUN)
        check_ending(Path(path), ".zip")
        return portable.back_up(self.database, self.photos, Path(path), overwrite, carried())

    @staticmethod
    def read_back(path: str | Path) -> None:
        """Read a backup or an export to its last byte. Raises StudioError when it could not be restored."""
        from matcher.trials import archive as portable

        portable.read_back(Path(path), carried())


def carried() -> tuple[CarriedTable, ...]:
    """Return the tables of higher rooms than the log's that an export carries, in the order of who names whom."""
    from matcher.commissions import carried as of_commissions
    from matcher.tags import carried as of_tags

    return (*of_commissions.CARRIED, *of_tags.CARRIED)
