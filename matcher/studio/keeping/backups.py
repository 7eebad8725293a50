"""Backups made day by day: written whole, read back, kept for a stated time; and what came of the last one.

What is settled about them is kept in the studio (for how long, which folder on which machine, when the last was), so
that of several machines one makes the day's backup.
"""

from __future__ import annotations

import os
import platform
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from matcher.dates import moment, now, stamp, stamped
from matcher.errors import MatcherError, StudioError, sentence_of
from matcher.files import make_folder, user_data
from matcher.hands import Work, need
from matcher.storage.drafts import Drafts
from matcher.studio import Studio
from matcher.studio.keeping.move import move
from matcher.trials.archive import Difference

EVERY = timedelta(days=1)
KEEP_DAYS, MOST_DAYS = 30, 3650
FORM = "backups of the studio"
"""The form under which is kept what is settled about them."""
_AGAIN_AFTER = timedelta(hours=1)
"""After one that failed, or that was begun and never ended."""


@dataclass(frozen=True)
class Backup:
    """A backup that was read back. machine: on which it lies."""

    at: datetime
    path: Path
    machine: str
    size_bytes: int


@dataclass(frozen=True)
class Failure:
    """A backup that could not be made, and why, in a sentence."""

    at: datetime
    machine: str
    why: str


@dataclass(frozen=True)
class Backups:
    """What is settled, and how the last one went. folder: on this machine. failure: None once one has succeeded.

    by_themselves: whether they are made without being asked for, on this machine and for this studio.
    """

    folder: Path
    keep_days: int
    by_themselves: bool
    last: Backup | None = None
    failure: Failure | None = None

    @property
    def due(self) -> bool:
        """Whether one should be made now."""
        if not self.by_themselves or (self.failure is not None and now() - self.failure.at < _AGAIN_AFTER):
            return False
        return self.last is None or now() - self.last.at >= EVERY


def backups_of(studio: Studio) -> Backups:
    """Return what is settled about a studio's backups, and how the last one went."""
    return _told(studio, Drafts(studio.database).draft(FORM) or {})


def settle(studio: Studio, folder: str | Path | None = None, keep_days: int | None = None) -> Backups:
    """Let backups lie in another folder of this machine, or be kept for another time. Raises StudioError."""
    need(Work.RUN)
    if keep_days is not None and not 1 <= keep_days <= MOST_DAYS:
        raise StudioError(f"Keep backups for 1 to {MOST_DAYS} days: {keep_days} is not among them.")
    place = None if folder is None else _usable(Path(folder).expanduser().absolute())

    def settled(body: dict[str, Any]) -> None:
        if keep_days is not None:
            body["keep_days"] = keep_days
        if place is not None:
            body["folders"] = {**body.get("folders", {}), _machine(): str(place)}

    return _change(studio, settled)


def back_up(studio: Studio) -> Backup:
    """Make a backup now, read it back, and remove those that are too old. Raises StudioError; that is noted too."""
    settled = backups_of(studio)
    at = now()
    try:
        folder = _usable(settled.folder)
        path = folder / f"{_beginning(studio)}{stamp(at)}.zip"
        studio.backup(path, overwrite=True)
        try:
            studio.read_back(path)
        except MatcherError:
            path.unlink(missing_ok=True)
            raise
        made = Backup(at, path, _machine(), path.stat().st_size)
    except (MatcherError, OSError) as error:
        why = sentence_of(error) if isinstance(error, MatcherError) else f"{error.strerror or error}."
        _change(studio, lambda body: body.update(failed={"at": at.isoformat(), "machine": _machine(), "why": why}))
        raise StudioError(f"No backup could be made: {why}") from error

    def done(body: dict[str, Any]) -> None:
        body["last"] = {
            "at": at.isoformat(),
            "path": str(path),
            "machine": made.machine,
            "size_bytes": made.size_bytes,
        }
        body.pop("failed", None)
        body.pop("begun", None)

    _change(studio, done)
    _remove_old(studio, settled)
    return made


def back_up_when_due(studio: Studio) -> Backup | None:
    """Make the day's backup, unless there is one, or another process is at it; what goes wrong is noted for people."""
    if studio.moved_to is not None or not _claimed(studio):
        return None
    try:
        return back_up(studio)
    except StudioError:
        return None


def there(studio: Studio) -> list[Path]:
    """Return this studio's backups in the folder that is named on this machine, the newest first."""
    found = backups_of(studio).folder.glob(f"{_beginning(studio)}*.zip")
    return sorted((path for path in found if _made_at(path) is not None), key=lambda path: path.name, reverse=True)


def restore(backup: str | Path, where: str | Path) -> tuple[str, tuple[Difference, ...]]:
    """Make the studio of a backup or an export again, in a new or empty folder or an empty server's database.

    Returns where it lies, and in what the backup's database and its studio.json differed. Raises StudioError.
    """
    if "://" not in str(where):
        with Studio.restore(backup, where) as studio:
            return studio.name, studio.restored_with
    with TemporaryDirectory(prefix="studio-restored-") as name, Studio.restore(backup, Path(name) / "studio") as studio:
        return move(studio, where).to, studio.restored_with


def _claimed(studio: Studio) -> bool:
    """Tell whether a backup is due, and nobody else makes it at this moment."""
    mine: list[bool] = []

    def claim(body: dict[str, Any]) -> None:
        begun = body.get("begun")
        if _told(studio, body).due and (begun is None or now() - moment(begun) >= _AGAIN_AFTER):
            body["begun"] = now().isoformat()
            mine.append(True)

    if not backups_of(studio).due or not studio.log.revision():
        return False
    _change(studio, claim)
    return bool(mine)


def _remove_old(studio: Studio, settled: Backups) -> None:
    """Remove backups that are older than they are kept for; never the newest."""
    _, *older = there(studio)
    for path in older:
        made_at = _made_at(path)
        if made_at is not None and now() - made_at > timedelta(days=settled.keep_days):
            path.unlink(missing_ok=True)


def _change(studio: Studio, change: Any) -> Backups:
    made: list[dict[str, Any]] = []

    def changed(body: dict[str, Any] | None) -> dict[str, Any]:
        made.append(dict(body or {}))
        change(made[-1])
        return made[-1]

    Drafts(studio.database).change(FORM, changed, Work.OWN)
    return _told(studio, made[-1])


def _told(studio: Studio, body: dict[str, Any]) -> Backups:
    """Read what is kept; what cannot be understood counts as not settled."""
    try:
        folders, last, failed = body.get("folders", {}), body.get("last"), body.get("failed")
        usual = user_data() / "backups"
        return Backups(
            Path(folders.get(_machine(), usual)),
            int(body.get("keep_days", KEEP_DAYS)),
            os.environ.get("MATCHER_BACKUPS", "") != "no" and not studio.is_demo,
            last and Backup(moment(last["at"]), Path(last["path"]), str(last["machine"]), int(last["size_bytes"])),
            failed and Failure(moment(failed["at"]), str(failed["machine"]), str(failed["why"])),
        )
    except (AttributeError, KeyError, TypeError, ValueError, MatcherError):
        return _told(studio, {})


def _usable(folder: Path) -> Path:
    """Return a folder that can be written to, made where it is not there. Raises StudioError."""
    try:
        make_folder(folder)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise StudioError(f"The folder {folder} for backups cannot be made ({reason}): name another.") from error
    if not os.access(folder, os.W_OK | os.X_OK):
        raise StudioError(f"The folder {folder} for backups is read-only: name one that you may write to.")
    return folder


def _beginning(studio: Studio) -> str:
    return f"studio-{studio.uid[:8]}-"


def _made_at(path: Path) -> datetime | None:
    """Return when a backup was made, by its name; None for any other file."""
    try:
        return stamped(path.stem.rpartition("-")[2])
    except ValueError:
        return None


def _machine() -> str:
    return platform.node() or "this machine"
