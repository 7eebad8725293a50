"""The studio's photographs: files named by their own SHA-256, so that the same picture is kept once.

A photograph is written under a temporary name, flushed to the disk and then renamed: after a crash it is there whole
or not at all. `log` holds which trials it belongs to. Of a studio on a server they lie in its database, and this
folder holds copies (`shared_photos`).
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any, BinaryIO

from sqlalchemy.orm import Session

from matcher.errors import Misfit, StudioError, UnavailableError, file_in_words
from matcher.files import flush_folder, make_folder, opened
from matcher.photo.formats import MAX_BYTES, format_of
from matcher.photo.stored import RefusedError
from matcher.storage import checked
from matcher.storage.schema import PhotoRow

_CHUNK_BYTES = 1024**2
_TEMPORARY = ".incoming-"
_ABANDONED_AFTER_S = 24 * 3600.0


class WrongBytesError(StudioError):
    """What came is not what its SHA-256 says."""


class LostPhotoError(StudioError):
    """A photograph that the log names is nowhere."""


@dataclass(frozen=True)
class KeptPhoto:
    """What is known of a kept file. sha256: 64 hex digits. suffix: of its true format, with the dot."""

    sha256: str
    suffix: str
    size_bytes: int


class PhotoStore:
    """Photographs in ``folder``, as ab/abcdef….jpg. The bytes of each are looked at before they are first used."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._sound: set[tuple[str, int, int]] = set()

    def keep(self, source: str | Path | bytes, name: str = "") -> KeptPhoto:
        """Keep a photograph; the same one again changes nothing. Raises StudioError: not a photograph, no room."""
        name = name or ("" if isinstance(source, bytes) else Path(source).name)
        try:
            stream: BinaryIO = io.BytesIO(source) if isinstance(source, bytes) else opened(Path(source))
        except Misfit as misfit:
            raise StudioError(f"{file_in_words(name)} {misfit}.") from misfit
        with stream:
            return self.keep_stream(stream, name)

    def keep_stream(self, stream: IO[bytes], name: str, expected: str | None = None) -> KeptPhoto:
        """Keep what ``stream`` gives, as ``keep`` does; ``expected`` is the SHA-256 that it must have."""
        return self._put_here(stream, name, expected)

    def _put_here(self, stream: IO[bytes], name: str, expected: str | None) -> KeptPhoto:
        """Put what ``stream`` gives into the folder. Raises StudioError."""
        name = file_in_words(name) or "the photograph"
        try:
            return self._keep(stream, name, expected)
        except OSError as error:
            raise UnavailableError(
                f"{name} could not be kept ({error.strerror or error}): check the room on the disk of {self.folder}."
            ) from error

    def path(self, sha256: str) -> Path:
        """Return where a kept photograph lies. Raises StudioError when it is not there, or not as it was kept."""
        found = self._find(sha256)
        if found is None:
            raise LostPhotoError(f"The photograph {sha256[:12]!s}… is not in {self.folder}: restore it from a backup.")
        if not self._is_sound(found):
            raise WrongBytesError(
                f"The photograph {sha256[:12]!s}… in {self.folder} is damaged, its bytes are no longer those that were "
                "kept: restore it from a backup, or keep it again."
            )
        return found

    def has(self, sha256: str) -> bool:
        return self._find(sha256) is not None

    def kept(self) -> set[str]:
        """Return the SHA-256 of every photograph that is here."""
        return {path.stem for path in self.folder.glob("??/*") if is_sha256(path.stem)}

    def take_in(self) -> int:
        """Take in photographs that were kept on this machine before they had a better place; return how many."""
        return 0

    def _is_sound(self, path: Path) -> bool:
        """Tell whether a file's bytes are those of its name; looked at again once it has changed."""
        try:
            now = path.stat()
            known = path.stem, now.st_mtime_ns, now.st_size
            if known not in self._sound:
                with path.open("rb") as file:
                    if hashlib.file_digest(file, "sha256").hexdigest() != path.stem:
                        return False
                self._sound.add(known)
        except OSError as error:
            raise StudioError(
                f"The photograph {path.stem[:12]}… in {self.folder} cannot be read ({error.strerror or error}): check "
                "the disk, or restore it from a backup."
            ) from error
        return True

    def _find(self, sha256: str) -> Path | None:
        if not is_sha256(sha256):
            raise StudioError(f"Name a photograph by its 64 hexadecimal digits: {sha256!r} is not that.")
        return next((p for p in sorted((self.folder / sha256[:2]).glob(f"{sha256}.*"))), None)

    def _keep(self, stream: IO[bytes], name: str, expected: str | None) -> KeptPhoto:
        make_folder(self.folder)
        self._sweep()
        descriptor, temporary = tempfile.mkstemp(prefix=_TEMPORARY, dir=self.folder)
        try:
            with os.fdopen(descriptor, "wb") as file:
                sha256, size_bytes = _copy(stream, file, name)
                if expected is not None and sha256 != expected:
                    raise WrongBytesError(f"{name} is damaged (its hash is another): copy or export it again.")
                file.flush()
                os.fsync(file.fileno())
            suffix = _true_suffix(Path(temporary), name)
            kept = self._find(sha256)
            if kept is None or kept.stat().st_size != size_bytes or not self._is_sound(kept):
                kept = self._put(Path(temporary), sha256, suffix)
            return KeptPhoto(sha256, kept.suffix, size_bytes)
        finally:
            Path(temporary).unlink(missing_ok=True)

    def _sweep(self) -> None:
        """Remove what a crash left half written; younger files may be another process's, still under way."""
        for left in self.folder.glob(f"{_TEMPORARY}*"):
            with contextlib.suppress(FileNotFoundError):
                if time.time() - left.stat().st_mtime > _ABANDONED_AFTER_S:
                    left.unlink()

    def _put(self, temporary: Path, sha256: str, suffix: str) -> Path:
        shelf = self.folder / sha256[:2]
        shelf.mkdir(exist_ok=True)
        final = shelf / f"{sha256}{suffix}"
        temporary.chmod(0o644)
        os.replace(temporary, final)  # noqa: PTH105 - the one call that promises to be atomic on every system
        for folder in (shelf, self.folder):
            flush_folder(folder)
        return final


def is_sha256(text: object) -> bool:
    return isinstance(text, str) and len(text) == 64 and set(text) <= set("0123456789abcdef")


def _true_suffix(path: Path, name: str) -> str:
    """Return the suffix of the format that the bytes show. Raises StudioError when they show none that is read."""
    try:
        with path.open("rb") as file:
            return format_of(file, Path(name).suffix.lower())[1]
    except RefusedError as refused:
        raise StudioError(f"{name} {refused}.") from refused


def _copy(stream: IO[bytes], file: BinaryIO, name: str) -> tuple[str, int]:
    """Copy ``stream``; return its SHA-256 and its size. Raises StudioError when it is too big."""
    digest, size_bytes = hashlib.sha256(), 0
    while chunk := stream.read(_CHUNK_BYTES):
        size_bytes += len(chunk)
        if size_bytes > MAX_BYTES:
            raise StudioError(f"{name} is over {MAX_BYTES // 10**6} MB: export a smaller copy and use that.")
        digest.update(chunk)
        file.write(chunk)
    return digest.hexdigest(), size_bytes


def note_photo_in(session: Session, kept: KeptPhoto, name: str = "") -> None:
    """Note a kept photograph within an open transaction; one that is known changes nothing."""
    if session.get(PhotoRow, kept.sha256) is None:
        session.add(PhotoRow(**photo_values(kept, name)))
        session.flush()


def photo_values(kept: KeptPhoto, name: str) -> dict[str, Any]:
    """Return what the log notes of a photograph that was just kept. name: of the file that it was."""
    return {
        "sha256": kept.sha256,
        "suffix": kept.suffix,
        "name": checked.file_name(name),
        "size_bytes": kept.size_bytes,
        "kept_at": datetime.now(UTC),
        "chunk_count": 0,
    }
