"""A studio as one file that can be carried: a zip with a plain `studio.json` and the photographs by their hash.

Export and import go between studios; a backup is an export that also holds the database as it stood. The whole of an
imported file is checked before anything is written, and importing the same file again changes nothing.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any, TextIO

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.dates import moment
from matcher.errors import MatcherError, Misfit, StudioError
from matcher.files import opened, whole_file, whole_folder
from matcher.json_stream import Lazily, members
from matcher.photo.formats import MAX_BYTES
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Recipe
from matcher.storage import carried, checked
from matcher.storage.carried import CarriedTable
from matcher.storage.copy import copy_rows, copy_sqlite, fault_of, without_what_runs
from matcher.storage.damaged import Damaged, T, Which, as_kept, readable_in_portions
from matcher.storage.database import DATABASE_NAME, PHOTO_FOLDER, Database
from matcher.storage.photos import KeptPhoto, PhotoStore, is_sha256, note_photo_in
from matcher.storage.schema import (
    DeviceRow,
    EarlierReadingRow,
    HistoryRow,
    PhotoRow,
    SignInCodeRow,
    SolutionUseRow,
    StudioRow,
    TableColumnsRow,
    TargetRow,
    TrialRow,
)
from matcher.storage.settings import board_in, keep_board_in
from matcher.trials import camera_profiles, own_cards, stocks, targets
from matcher.trials.log import by_uid, load_history, load_trials, note, record_in, same_content
from matcher.trials.own_cards import OwnCard
from matcher.trials.stocks import Stock
from matcher.trials.trial import Target, Trial
from matcher.words import agreeing, capital, counted

FORMAT = "patina studio log"
VERSION = 4
"""2: with commissions, readings that were taken again, and what was used of stocks. A file of 1 has none of these.
3: with tags and where they were seen. 4: with deliveries, and areas of a commission that are set aside."""
MAX_JSON_BYTES = 400 * 1024**2
"""Of studio.json, read piece by piece: what it says then takes some 1.4 GB of memory. An export that would be longer
is refused; a backup, which holds the database too, leaves the long lists out of its studio.json and says so."""
MAX_ENTRIES = 500_000
_PORTION = 500
MAX_EXPANSION = 200
"""A photograph hardly packs; an entry that grows more than this on unpacking is there to fill the disk."""

UNITS = {
    "strength": "fraction of the stock solution, above 0 to 1",
    "burnish": "share rubbed back, 0 to 1",
    "lab": "CIELAB, D50, 2 degrees",
    "covariance": "of lab, standard uncertainty",
    "left_out_share": "share of the region, 0 to 1",
    "made_at": "ISO 8601, UTC",
    "photo": "SHA-256 of the file, hexadecimal",
}
"""Of the fields of `studio.json` whose names do not say their unit."""


def _a_reading(columns: Mapping[str, Any]) -> None:
    Reading.from_dict(columns["whole"])


_OF_THE_LOG = (
    CarriedTable(
        "earlier_readings", "earlier reading", EarlierReadingRow, _a_reading, one_of=("trial_id", "target_id")
    ),
    CarriedTable("solution_uses", "solution use", SolutionUseRow),
    CarriedTable("table_columns", "column mapping", TableColumnsRow),
)
"""Tables of the log itself that are carried row by row; those of higher rooms are handed in."""
Tables = Sequence[CarriedTable]


@dataclass(frozen=True)
class Exported:
    """What was written. missing_photos: hashes of photographs that the log names and the store has lost.

    damaged: what could not be read; its rows are carried along as they stand.
    """

    path: Path
    trials: int
    photos: int
    missing_photos: tuple[str, ...] = ()
    damaged: tuple[Damaged, ...] = ()


@dataclass(frozen=True)
class Besides:
    """How many things of one kind an import brought, besides plates and targets: new ones, ones that say something else
    here, where they stay as they are, and ones to which something has happened since (caught_up)."""

    kind: str
    new: int
    differing: int
    caught_up: int = 0


def besides_in_words(one: Besides) -> list[str]:
    """Say what an import brought of one kind; nothing when that is nothing."""
    said = [f"{counted(one.new, one.kind)} {agreeing(one.new)} new."] if one.new else []
    if one.caught_up:
        said.append(f"{counted(one.caught_up, one.kind)} {agreeing(one.caught_up)} as the file knows, which is later.")
    if one.differing:
        differs, stays = (
            agreeing(one.differing, "differs", "differ"),
            agreeing(one.differing, "stays as it is", "stay as they are"),
        )
        said.append(f"{counted(one.differing, one.kind)} {differs} from the file's copy and {stays} here.")
    return said


@dataclass(frozen=True)
class Imported:
    """What an import brought: how many were new, how many were here before.

    differing: numbers here of trials whose copy in the file says something else; they stay as they are here.
    unfilled: rows of a table that wait for their plate's colour, passed over. problems: rows that were left out, and
    what the two studios say differently, each one sentence.
    """

    trials: int = 0
    trials_here_before: int = 0
    targets: int = 0
    stocks: int = 0
    photos: int = 0
    differing: tuple[int, ...] = ()
    unfilled: int = 0
    problems: tuple[str, ...] = ()
    besides: tuple[Besides, ...] = ()


@dataclass(frozen=True)
class Difference:
    """Something in which a backup's database and its `studio.json` do not agree; the database's was restored.

    kind: "plate", "target", …, or "schema" for a trigger or view that was dropped; key: its uid or name.
    in_database, in_json: whether it is there at all.
    """

    kind: str
    key: str
    in_database: bool
    in_json: bool

    def __str__(self) -> str:
        thing = f"{self.kind} {self.key}" if self.key else self.kind
        if self.kind == "schema":
            return f"{self.key!r}, which no studio's database has, was left out."
        if self.in_database and self.in_json:
            return f"The backup's database and its studio.json differ about {thing}: the database's was restored."
        if self.in_database:
            return f"The backup's studio.json lacks {thing}: it was restored from the database."
        return f"The backup's database lacks {thing}, which its studio.json has: import the backup to take it in."


@dataclass(frozen=True)
class _Contents:
    """A checked `studio.json`: everything is a value of ours, nothing is written yet."""

    uid: str
    title: str
    is_demo: bool
    photos: dict[str, KeptPhoto]
    photo_names: dict[str, str]
    missing: frozenset[str]
    stocks: list[Stock]
    targets: list[Target]
    trials: list[Trial]
    target_uids: dict[str, str]
    cards: list[OwnCard]
    profiles: dict[str, dict[str, Any]]
    history: list[dict[str, Any]] = field(default_factory=list)
    damaged: tuple[Damaged, ...] = ()
    rows: Mapping[str, list[dict[str, Any]]] = field(default_factory=dict)
    board: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()


def export_studio(
    database: Database, photos: PhotoStore, path: Path, overwrite: bool = False, also: Tables = ()
) -> Exported:
    """Write the studio to ``path``, whole or not at all. Raises StudioError, also for one that no import would read.

    also: tables of higher rooms to carry, in the order of who names whom; here and in the other functions.
    """
    with (
        whole_file(path, overwrite) as temporary,
        zipfile.ZipFile(temporary, "w") as archive,
        database.reading() as session,
    ):
        return _write(archive, session, photos, path, also)


def back_up(database: Database, photos: PhotoStore, path: Path, overwrite: bool = False, also: Tables = ()) -> Exported:
    """Write an export that also holds the SQLite database as it stood at one moment. Raises StudioError.

    Work may go on meanwhile. A server's database becomes a SQLite file too, row by row, so that every backup holds
    everything and is restored in one way.
    """
    with tempfile.TemporaryDirectory(prefix="studio-backup-") as folder:
        copy = Path(folder) / DATABASE_NAME
        if database.file is not None:
            with database.telling():
                copy_sqlite(database.file, copy)
        else:
            with database.reading() as session, Database.made(folder) as (_, made):
                copy_rows(session, made)
        with whole_file(path, overwrite) as temporary, zipfile.ZipFile(temporary, "w") as archive:
            archive.write(copy, DATABASE_NAME, zipfile.ZIP_DEFLATED)  # before opening it leaves anything beside it
            snapshot = Database.open(folder)
            try:
                with snapshot.reading() as session:
                    return _write(archive, session, photos, path, also, is_backup=True)
            finally:
                snapshot.close()


def read_back(path: Path, also: Tables = ()) -> None:
    """Read an export or a backup to its last byte, as who restores it will. Raises StudioError when it is damaged."""
    with _opened(path) as archive, tempfile.TemporaryDirectory(prefix="studio-backup-") as folder:
        contents = _contents(archive, also)
        for sha256, photo in contents.photos.items():
            if sha256 not in contents.missing:
                with archive.open(_photo_name(sha256, photo.suffix)) as stream:
                    if hashlib.file_digest(stream, "sha256").hexdigest() != sha256:  # type: ignore[arg-type]
                        raise StudioError(f"The photograph {sha256[:12]}… in {path.name} is damaged: back up again.")
        if DATABASE_NAME in archive.namelist():
            file = Path(folder) / DATABASE_NAME
            _unpack_database(archive, file)
            fault = fault_of(file)
            if fault:
                raise StudioError(f"The database in {path.name} is damaged ({fault}): back up again.")


def restore(backup: Path, folder: Path, also: Tables = ()) -> tuple[Difference, ...]:
    """Make the studio that ``backup`` holds in ``folder``, which must be new or empty. Raises StudioError.

    Returns in what the backup's database and its studio.json differ. Triggers and views in the database are dropped.
    Every device is signed out: one that was since, because it was lost, would be back.
    """
    folder = folder.expanduser().absolute()
    with _opened(backup) as archive:
        contents = _contents(archive, also)
        how = _restore_both if DATABASE_NAME in archive.namelist() else _restore_json
        if contents.left_out and how is _restore_json:
            raise StudioError(f"{backup.name} lacks its database: restore another backup.")
        with whole_folder(folder, "Restore into") as draft:
            return how(archive, contents, draft, also)


def _restore_json(archive: zipfile.ZipFile, contents: _Contents, folder: Path, also: Tables) -> tuple[Difference, ...]:
    database = Database.open(folder)
    try:
        _take_in(database, archive, contents, PhotoStore(folder / PHOTO_FOLDER), "", also)
    finally:
        database.close()
    return ()


def _restore_both(archive: zipfile.ZipFile, contents: _Contents, folder: Path, also: Tables) -> tuple[Difference, ...]:
    file, store = folder / DATABASE_NAME, PhotoStore(folder / PHOTO_FOLDER)
    _unpack_database(archive, file)
    try:
        dropped = without_what_runs(file)
    except sqlite3.DatabaseError as error:
        raise StudioError(f"The database in this backup is damaged ({error}): restore another backup.") from error
    database = Database.open(folder)
    try:
        _keep_photos(archive, contents, store)
        with database.engine.execution_options(writes=True).begin() as connection:  # it was, perhaps; this one was not
            connection.execute(sa.update(StudioRow).values(moved_to=None))
            now = datetime.now(UTC)
            connection.execute(sa.update(DeviceRow).where(DeviceRow.signed_out_at.is_(None)).values(signed_out_at=now))
            connection.execute(sa.update(SignInCodeRow).where(SignInCodeRow.used_at.is_(None)).values(used_at=now))
        with database.reading() as session:
            kept = _fingerprints(_shortened(_document(session, store, [], also), contents.left_out), also)
    finally:
        database.close()
    schema = [Difference("schema", name, in_database=True, in_json=False) for name in dropped]
    return (*schema, *_differences(kept, _fingerprints(_said(contents), also)))


_Fingerprints = dict[tuple[str, str], bytes]


def _differences(database: _Fingerprints, document: _Fingerprints) -> list[Difference]:
    """Compare what a backup's database holds with what its studio.json says."""
    return [
        Difference(*key, key in database, key in document)
        for key in dict.fromkeys([*database, *document])
        if database.get(key) != document.get(key)
    ]


def _said(contents: _Contents) -> dict[str, Any]:
    """Return contents as they stand in a `studio.json`, as far as they are compared."""
    uids = contents.target_uids
    return {
        "studio": {"uid": contents.uid, "title": contents.title, "is_demo": contents.is_demo},
        "trials": (
            {**_without(trial.as_dict(), "id", "target_id"), "target_uid": uids.get(str(trial.uid))}
            for trial in contents.trials
        ),
        "targets": (_without(target.as_dict(), "id") for target in contents.targets),
        "stocks": (stock.as_dict() for stock in contents.stocks),
        "own_cards": (card.as_dict() for card in contents.cards),
        "camera_profiles": contents.profiles,
        "photos": ({"sha256": photo.sha256, "size_bytes": photo.size_bytes} for photo in contents.photos.values()),
        "history": ({**line, "at": line["at"].isoformat()} for line in contents.history),
        **contents.rows,
    }


def _fingerprints(document: Mapping[str, Any], also: Tables) -> _Fingerprints:
    """Return a hash of each thing in a `studio.json`, by its kind and its uid or name."""
    found = {("studio", ""): _hash(document["studio"])}
    for kind, name, key in (
        ("plate", "trials", "uid"),
        ("target", "targets", "uid"),
        ("stock", "stocks", "label"),
        ("card", "own_cards", "name"),
    ):
        found |= {(kind, item[key]): _hash(item) for item in document[name]}
    found |= {("camera profile", name): _hash(body) for name, body in document["camera_profiles"].items()}
    found |= {("photograph", item["sha256"]): _hash(item["size_bytes"]) for item in document["photos"]}
    found |= {
        (table.kind, table.key_of(item)): _hash(item)
        for table in (*_OF_THE_LOG, *also)
        for item in document[table.name]
    }
    lines = Counter(f"of {item['at']}, {_hash(item).hex()[:8]}" for item in document["history"])
    return found | {("line of history", line): _hash(count) for line, count in lines.items()}


def _hash(value: Any) -> bytes:
    return hashlib.sha256(json.dumps(value, sort_keys=True).encode()).digest()


def import_studio(database: Database, photos: PhotoStore, path: Path, who: str = "", also: Tables = ()) -> Imported:
    """Take in what ``path`` holds and this studio has not. Raises StudioError; then nothing is taken in."""
    with _opened(path) as archive:
        contents = _contents(archive, also)
        if contents.left_out:
            raise StudioError(
                f"{path.name} is a backup that is too long to take in: restore it as a studio of its own."
            )
        return _take_in(database, archive, contents, photos, who, also)


def _take_in(
    database: Database, archive: zipfile.ZipFile, contents: _Contents, photos: PhotoStore, who: str, also: Tables
) -> Imported:
    new_photos = _keep_photos(archive, contents, photos)  # before the log names them; unnamed ones do no harm
    with database.writing() as session:
        return _merge(session, contents, new_photos, who, also)


# Writing


def _document(session: Session, photos: PhotoStore, damaged: list[Damaged], also: Tables) -> dict[str, Any]:
    """Return the studio as plain JSON types; things are named by uid, since numbers differ between studios.

    Its long lists are made while they are written, and ``damaged`` fills meanwhile.
    """
    studio = session.scalars(sa.select(StudioRow)).one()
    uid_of_target = {row.id: row.uid for row in session.execute(sa.select(TargetRow.id, TargetRow.uid))}
    uid_of_trial = {row.id: row.uid for row in session.execute(sa.select(TrialRow.id, TrialRow.uid))}
    names = {"trial": uid_of_trial, "target": uid_of_target}
    names |= {table.kind: carried.uids_of(session, table) for table in (*_OF_THE_LOG, *also)}

    there = photos.kept()

    def readable(kind: str, load: Callable[[Session, Which], list[T]]) -> Iterator[T]:
        return readable_in_portions(session, kind, load, damaged)

    return {
        "format": FORMAT,
        "version": VERSION,
        "units": UNITS,
        "exported_at": datetime.now(UTC).isoformat(),
        "studio": {"uid": studio.uid, "title": studio.title, "is_demo": studio.is_demo},
        "board": list(board_in(session)),
        "stocks": [stock.as_dict() for stock in readable("stock", stocks.load_stocks)],
        "targets": Lazily(
            lambda: (_without(each.as_dict(), "id") for each in readable("target", targets.load_targets))
        ),
        "trials": Lazily(
            lambda: (
                {**_without(trial.as_dict(), "id", "target_id"), "target_uid": uid_of_target.get(trial.target_id)}
                for trial in readable("plate", load_trials)
            )
        ),
        "own_cards": [card.as_dict() for card in readable("card", own_cards.load_cards)],
        "camera_profiles": dict(readable("camera profile", camera_profiles.load_bodies)),
        "photos": [
            _photo_entry(row, row.sha256 not in there)
            for row in session.scalars(sa.select(PhotoRow).order_by(PhotoRow.sha256))
        ],
        **{table.name: carried.written(session, table, damaged) for table in (*_OF_THE_LOG, *also)},
        "history": Lazily(lambda: (_history_entry(row, names) for row in readable("line of history", load_history))),
        "damaged": Lazily(lambda: [as_kept(session, one) for one in damaged]),
    }


def _photo_entry(row: PhotoRow, missing: bool) -> dict[str, Any]:
    return {
        "sha256": row.sha256,
        "suffix": row.suffix,
        "name": row.name,
        "size_bytes": row.size_bytes,
        "missing": missing,
    }


def _history_entry(row: HistoryRow, names: Mapping[str, Mapping[int, str]]) -> dict[str, Any]:
    number = int(row.subject) if row.subject.isdecimal() and len(row.subject) < 10 else -1
    subject = names.get(row.kind, {}).get(number, row.subject)
    plain = {"who": row.who, "what": row.what, "kind": row.kind, "subject": subject, "detail": row.detail}
    return {"at": row.at.isoformat(), **plain}


def _write(
    archive: zipfile.ZipFile, session: Session, photos: PhotoStore, path: Path, also: Tables, is_backup: bool = False
) -> Exported:
    damaged: list[Damaged] = []
    document = _document(session, photos, damaged, also)
    entry = zipfile.ZipInfo("studio.json", datetime.now().timetuple()[:6])
    entry.compress_type = zipfile.ZIP_DEFLATED
    with tempfile.TemporaryFile() as text:  # no entry of a zip can be taken back
        if not _fits(document, text):
            if not is_backup:
                raise StudioError(
                    "This studio is too long to be exported: its studio.json would be over "
                    f"{MAX_JSON_BYTES // 1024**2} MB, and no import reads that. Make a backup, which is restored "
                    "whole, or move the studio."
                )
            damaged.clear()
            document = _shortened(_document(session, photos, damaged, also), _long_lists(also))
            if not _fits(document, text):
                raise StudioError("This studio is too long for one backup: back up its database and photographs apart.")
        text.seek(0)
        with archive.open(entry, "w", force_zip64=True) as stream:
            shutil.copyfileobj(text, stream)
    there = [entry for entry in document["photos"] if not entry["missing"]]
    for entry in there:
        archive.write(photos.path(entry["sha256"]), _photo_name(entry["sha256"], entry["suffix"]))
    missing = tuple(entry["sha256"] for entry in document["photos"] if entry["missing"])
    logged = session.scalars(sa.select(sa.func.count()).select_from(TrialRow)).one()
    count = logged - sum(one.kind == "plate" for one in damaged)
    return Exported(path, count, len(there), missing, tuple(damaged))


def _fits(document: Mapping[str, Any], into: IO[bytes]) -> bool:
    """Write a studio.json, from the start of a file; return whether an import reads as much as that."""
    into.seek(0)
    into.truncate()
    left = MAX_JSON_BYTES
    for piece in json.JSONEncoder(allow_nan=False, ensure_ascii=False, indent=1).iterencode(document):
        data = piece.encode()
        left -= len(data)
        if left < 0:
            return False
        into.write(data)
    return True


def _long_lists(also: Tables) -> tuple[str, ...]:
    """Return the lists of studio.json that grow with the work."""
    return ("targets", "trials", "history", *(table.name for table in (*_OF_THE_LOG, *also)))


def _shortened(document: dict[str, Any], left_out: Sequence[str]) -> dict[str, Any]:
    """Return a studio.json without some of its lists, which it names; the database beside it has them."""
    if not left_out:
        return document
    return {**{name: [] if name in left_out else value for name, value in document.items()}, "left_out": list(left_out)}


def _photo_name(sha256: str, suffix: str) -> str:
    return f"{PHOTO_FOLDER}/{sha256[:2]}/{sha256}{suffix}"


# Reading


def is_archive(path: Path) -> bool:
    """Tell whether a file is a zip, whatever its name."""
    try:
        with opened(path) as file:
            return zipfile.is_zipfile(file)
    except Misfit:
        return False


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    """Open an export after looking over its entries. Raises StudioError."""
    try:
        with opened(path) as file, zipfile.ZipFile(file) as archive:
            _check_entries(archive, path.name)
            yield archive
    except Misfit as misfit:
        raise StudioError(f"{path} {misfit}.") from misfit
    except (
        zipfile.BadZipFile,
        zipfile.LargeZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        ValueError,
        RuntimeError,
    ) as error:
        raise StudioError(f"{path.name} is not a whole export of a studio ({error}): export it again.") from error
    except OSError as error:
        raise StudioError(f"{path.name} cannot be read ({error.strerror or error}): copy it here again.") from error


def _check_entries(archive: zipfile.ZipFile, name: str) -> None:
    entries = archive.infolist()
    names = [entry.filename for entry in entries]
    if len(entries) > MAX_ENTRIES or len(set(names)) != len(names):
        raise StudioError(f"{name} is not an export of a studio: it holds too many files, or two of one name.")
    for entry in entries:
        parts = entry.filename.replace("\\", "/").split("/")
        if ".." in parts or parts[0] in ("", "~") or ":" in parts[0]:
            raise StudioError(f"{name} is refused: its entry {entry.filename!r} points outside the studio.")
        if entry.flag_bits & 1:
            raise StudioError(f"{name} is locked with a password: export it again without one.")
    if "studio.json" not in names:
        raise StudioError(f"{name} is not an export of a studio: there is no studio.json in it.")


def _contents(archive: zipfile.ZipFile, also: Tables) -> _Contents:
    try:
        with archive.open("studio.json") as stream:
            data = _members(io.TextIOWrapper(io.BufferedReader(_Bounded(stream)), "utf-8-sig"))
        _check_kind(data)
        return _checked(archive, data, also)
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        said = str(error) if isinstance(error, ValueError | RecursionError) else repr(error)
        raise StudioError(f"The studio.json in this file is damaged ({said[:200]}): export it again.") from error


def _members(text: TextIO) -> dict[str, Any]:
    """Return what a studio.json says; of its long lists each item becomes a value of ours as it is read."""
    data: dict[str, Any] = {}
    for name, value in members(text):
        if name in _TAKEN:
            _check_kind(data)  # at the head of what is written: a later version says so before it is not understood
            data[name] = [_TAKEN[name](at, item) for at, item in enumerate(value, start=1)]
        else:
            data[name] = list(value) if isinstance(value, Iterator) else value
    return data


def _check_kind(data: Mapping[str, Any]) -> None:
    if data.get("format") != FORMAT:
        raise StudioError("This file is not an export of a studio: its studio.json is of another kind.")
    version = data.get("version")
    if not isinstance(version, int) or not 1 <= version <= VERSION:
        raise StudioError(f"This export is of version {version!r} and {VERSION} is read here: update this program.")


class _Bounded(io.RawIOBase):
    """A stream that is read no further than any studio.json goes."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._stream, self._left = stream, MAX_JSON_BYTES

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        data = self._stream.read(len(buffer))
        self._left -= len(data)
        if self._left < 0:
            raise StudioError(f"The studio.json in this file is over {MAX_JSON_BYTES // 1024**2} MB: it is not read.")
        buffer[: len(data)] = data
        return len(data)


def _checked(archive: zipfile.ZipFile, data: Mapping[str, Any], also: Tables) -> _Contents:
    studio, entries = data["studio"], data["photos"]
    kept = {entry["sha256"]: KeptPhoto(entry["sha256"], entry["suffix"], int(entry["size_bytes"])) for entry in entries}
    missing = frozenset(entry["sha256"] for entry in entries if entry.get("missing"))
    for sha256, photo in kept.items():
        _check_photo(archive, photo, sha256 in missing)
    return _Contents(
        uid=checked.uid_of(studio["uid"]),
        title=checked.line(studio["title"], "studio's title"),
        is_demo=bool(studio["is_demo"]),
        photos=kept,
        photo_names={entry["sha256"]: checked.line(entry["name"], "photograph's name") for entry in entries},
        missing=missing,
        stocks=[Stock.from_dict(item) for item in data["stocks"]],
        targets=data["targets"],
        trials=[trial for trial, _ in data["trials"]],
        target_uids={str(trial.uid): uid for trial, uid in data["trials"] if uid},
        cards=[OwnCard.from_dict(item) for item in data["own_cards"]],
        profiles={name: camera_profiles.checked_body(name, body) for name, body in data["camera_profiles"].items()},
        history=data["history"],
        damaged=tuple(_damaged(item) for item in data.get("damaged", ())),
        board=tuple(checked.uid_of(uid) for uid in data.get("board", ())),
        left_out=tuple(checked.line(name, "list left out") for name in data.get("left_out", ())),
        rows={table.name: _rows(table, data.get(table.name, ())) for table in (*_OF_THE_LOG, *also)},
    )


def _rows(table: CarriedTable, items: Sequence[Any]) -> list[dict[str, Any]]:
    found = []
    for at, item in enumerate(items, start=1):
        try:
            found.append(carried.taken(table, item))
        except MatcherError as error:
            raise StudioError(f"{capital(table.kind)} {at} in this file: {error}") from error
    return found


def _target(_: int, item: Mapping[str, Any]) -> Target:
    return Target.from_dict(_without(item, "id"))


def _trial(at: int, item: Mapping[str, Any]) -> tuple[Trial, str | None]:
    try:
        trial = Trial.from_dict(_without(item, "id", "target_id"))
    except MatcherError as error:
        raise StudioError(f"Trial {at} in this file: {error}") from error
    if trial.uid is None:
        raise StudioError(f"Trial {at} in this file has no uid: export it again.")
    return trial, item.get("target_uid")


def _history_line(_: int, item: Mapping[str, Any]) -> dict[str, Any]:
    lines = {name: checked.line(item[name], f"history's {name!r}") for name in ("who", "what", "kind", "subject")}
    return {
        **lines,
        "at": moment(item["at"]),
        "detail": checked.storable(item["detail"], "history's detail", checked.MAX_JSON_CHARACTERS),
    }


def _damaged(item: Mapping[str, Any]) -> Damaged:
    key = item["key"]
    return Damaged(checked.line(item["kind"], "kind"), key if isinstance(key, int) else checked.line(key, "name"))


_TAKEN: dict[str, Callable[[int, Any], Any]] = {"targets": _target, "trials": _trial, "history": _history_line}
"""Of the long lists of studio.json: what makes a value of ours of each item."""


def _check_photo(archive: zipfile.ZipFile, photo: KeptPhoto, missing: bool) -> None:
    if not is_sha256(photo.sha256) or not re.fullmatch(r"\.[a-z0-9]{1,7}", photo.suffix):
        raise StudioError(f"A photograph in this file has no proper name ({photo.sha256!r}): export it again.")
    if missing:
        return
    try:
        entry = archive.getinfo(_photo_name(photo.sha256, photo.suffix))
    except KeyError as error:
        raise StudioError(f"The photograph {photo.sha256[:12]}… is not in this file: export it again.") from error
    if entry.file_size > MAX_BYTES or entry.file_size > MAX_EXPANSION * max(entry.compress_size, 1):
        raise StudioError(
            f"{entry.filename} unpacks to {entry.file_size} bytes: that is no photograph, so nothing is read."
        )


def _keep_photos(archive: zipfile.ZipFile, contents: _Contents, photos: PhotoStore) -> int:
    """Put the file's photographs into the store, each checked against its hash. Return how many were new."""
    wanted = [photo for sha256, photo in contents.photos.items() if sha256 not in contents.missing]
    there = photos.kept()
    wanted = [photo for photo in wanted if photo.sha256 not in there]
    _check_room(sum(photo.size_bytes for photo in wanted), photos.folder)
    for photo in wanted:
        name = _photo_name(photo.sha256, photo.suffix)
        with archive.open(name) as stream:
            photos.keep_stream(stream, name, expected=photo.sha256)
    return len(wanted)


def _check_room(needed_bytes: int, folder: Path) -> None:
    there = next(parent for parent in (folder, *folder.parents) if parent.exists())
    if needed_bytes > shutil.disk_usage(there).free:
        raise StudioError(f"Free some room first: the photographs need {needed_bytes / 1024**2:.0f} MB on {there}.")


def _unpack_database(archive: zipfile.ZipFile, file: Path) -> None:
    info = archive.getinfo(DATABASE_NAME)
    _check_room(info.file_size, file.parent)
    with archive.open(DATABASE_NAME) as stream, file.open("wb") as copy:
        shutil.copyfileobj(stream, copy)


# Merging


def _merge(session: Session, contents: _Contents, new_photos: int, who: str, also: Tables) -> Imported:
    """Add to the log what it has not, in one transaction."""
    for sha256, photo in contents.photos.items():
        note_photo_in(session, photo, contents.photo_names[sha256])
    labels, new_stocks, shelf, shelf_problems = _merge_stocks(session, contents, who)
    known_targets = set(session.scalars(sa.select(TargetRow.uid)))
    ids = {target.uid: targets.save_in(session, target, who).id for target in contents.targets}
    _take_over_settings(session, contents)
    numbers: dict[str | None, int | None] = {}
    differing: list[int] = []
    new = 0
    for start in range(0, len(contents.trials), _PORTION):
        incoming = [
            _as_here(trial, labels, ids.get(contents.target_uids.get(str(trial.uid), "")))
            for trial in contents.trials[start : start + _PORTION]
        ]
        logged = by_uid(session, [str(trial.uid) for trial in incoming])
        known = {uid: trial for uid, trial in logged.items() if uid not in numbers}
        fresh = [trial for trial in incoming if trial.uid not in known]
        numbers |= {trial.uid: trial.id for trial in record_in(session, fresh, who, what="imported")}
        new += len(fresh)
        old = [(trial, known[str(trial.uid)]) for trial in incoming if trial.uid in known]
        differing += [here.id or 0 for there, here in old if not same_content(there, here)]
    tables = (*_OF_THE_LOG, *also)
    added = [carried.merge(session, table, contents.rows[table.name], labels) for table in tables]
    merged = [
        carried.take_over_last_said(session, table, contents.rows[table.name], contents.history, one)
        for table, one in zip(tables, added, strict=True)
    ]
    new_things = {"trial": numbers, "target": {uid: ids[uid] for uid in set(ids) - known_targets}}
    _merge_history(session, contents, new_things | {one.kind: one.new for one in merged})
    for one in merged:
        for number in one.caught_up.values():
            note(session, "brought up to date", one.kind, number, "as an imported studio knows it", who)
    _merge_cards(session, contents, who)
    return Imported(
        trials=new,
        trials_here_before=len(contents.trials) - new,
        targets=len(set(ids) - known_targets),
        stocks=new_stocks,
        photos=new_photos,
        differing=tuple(differing),
        problems=(
            *(
                f"The {one.kind} {one.key} was damaged where this file was written, and stays out: its row is in the "
                "file's studio.json as it was."
                for one in contents.damaged
            ),
            *(
                f"The {one.kind} {key} stays out: what it belongs to is not in this file."
                for one in merged
                for key in one.left_out
            ),
            *shelf_problems,
            *(line for one in merged for line in one.told),
        ),
        besides=(
            shelf,
            *(Besides(one.kind, len(one.new), len(one.differing), len(one.caught_up)) for one in merged),
        ),
    )


def _merge_stocks(
    session: Session, contents: _Contents, who: str
) -> tuple[dict[str | None, str | None], int, Besides, list[str]]:
    """Add the stocks, and what became there of those that are here; one whose label names another stock here gets its
    studio's name behind its label.

    Returns the labels here by those in the file, None for one whose row was damaged there; how many were new; what came
    of the others, and where the two studios can't both be right.
    """
    here = {stock.label: stock for stock in stocks.load_stocks(session)}
    before, caught_up, differing = len(here), 0, 0
    problems: list[str] = []
    labels: dict[str | None, str | None] = {
        str(one.key): None for one in contents.damaged if one.kind == "stock" and one.key not in here
    }
    for stock in contents.stocks:
        same = here.get(stock.label)
        label = stock.label
        if same is not None and not stocks.same_solution(same, stock):
            label = labels[stock.label] = f"{stock.label} ({contents.title or contents.uid[:8]})"[: checked.MAX_LINE]
        was_here = label in here
        kept = stocks.save_in(session, replace(stock, label=label), who)
        here[kept.label] = kept
        try:
            took, differs = _merge_what_became(session, contents, stock, label, who)
        except StudioError as error:
            problems.append(f"What became of the bottle {label!r} stays as it is here. {error}")
            continue
        if was_here:
            caught_up, differing = caught_up + bool(took), differing + bool(differs)
    return labels, len(here) - before, Besides("bottle", 0, differing, caught_up), problems


def _merge_what_became(
    session: Session, contents: _Contents, stock: Stock, label: str, who: str
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Take over what was noted later of a bottle, and the lines of its history that are not here."""
    lines = [line for line in contents.history if line["kind"] == "stock" and line["subject"] == stock.label]
    kept = load_history(session, (HistoryRow.kind == "stock") & (HistoryRow.subject == label))
    came = stocks.catch_up_in(
        session,
        label,
        stock,
        stocks.changes_in((row.what, row.at) for row in kept),
        stocks.changes_in((line["what"], line["at"]) for line in lines),
        who,
    )
    there = {(row.at, row.who, row.what, row.detail) for row in kept}
    news = [
        {**line, "subject": label}
        for line in lines
        if line["what"] != "saved" and (line["at"], line["who"], line["what"], line["detail"]) not in there
    ]
    if news:
        session.execute(sa.insert(HistoryRow), news)
    return came


def _as_here(trial: Trial, labels: Mapping[str | None, str | None], target_id: int | None) -> Trial:
    """Return a trial from the file with what it names as this studio names it."""
    return replace(trial, recipe=_relabelled(trial.recipe, labels), target_id=target_id)


def _relabelled(recipe: Recipe, labels: Mapping[str | None, str | None]) -> Recipe:
    under = recipe.undercoat
    if under is not None and under.stock in labels:
        under = replace(under, stock=labels[under.stock])
    coats = tuple(replace(coat, stock=labels[coat.stock]) if coat.stock in labels else coat for coat in recipe.coats)
    return replace(recipe, undercoat=under, coats=coats)


def _merge_history(session: Session, contents: _Contents, new: Mapping[str, Mapping[Any, int | None]]) -> None:
    """Carry over what happened, in the other studio, to what is new here. new: numbers here by kind and uid."""
    lines = [
        {**_without(line, "subject"), "subject": str(new[line["kind"]][line["subject"]])}
        for line in contents.history
        if line["subject"] in new.get(line["kind"], ())
    ]
    if lines:
        session.execute(sa.insert(HistoryRow), lines)


def _merge_cards(session: Session, contents: _Contents, who: str) -> None:
    """Add the cards and profiles whose names are not taken: what was measured here stays."""
    here = {card.name for card in own_cards.load_cards(session)}
    for card in contents.cards:
        if card.name not in here:
            own_cards.save_in(session, card, who)
    profiles = camera_profiles.load_profiles(session)
    for name, body in contents.profiles.items():
        if name not in profiles:
            camera_profiles.save_profile_in(session, name, body, who)


def _take_over_settings(session: Session, contents: _Contents) -> None:
    """An empty studio without a title becomes the one that is imported; one without a board gets that one's."""
    if contents.board and not board_in(session):
        keep_board_in(session, contents.board)
    studio = session.scalars(sa.select(StudioRow)).one()
    if not studio.title and session.scalars(sa.select(TrialRow.id).limit(1)).first() is None:
        session.execute(sa.update(StudioRow).values(title=contents.title, is_demo=contents.is_demo))
        note(session, "named", "studio", contents.title, "", "")


def _without(data: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in data.items() if name not in names}
