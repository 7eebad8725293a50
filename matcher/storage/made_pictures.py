"""Pictures that were made of kept photographs, so that each is made once: a folder that anyone may empty at any time.

It lies hidden in the folder of the photographs and holds nothing that could not be made again: no export, backup or
log names it. Several processes may share it.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import threading
import time
from collections.abc import Callable
from pathlib import Path

FOLDER = ".made"
MOST_BYTES = 512 * 1024**2
"""Room for some 15,000 pictures for lists: more than a studio of 5,000 plates shows."""

AT_ONCE = 2
"""How many pictures are made at the same time: each may decode a large photograph."""

_AFTER_SWEEP = 0.8
_USED_AGAIN_AFTER_S = 24 * 3600.0
_ABANDONED_AFTER_S = 3600.0
_TEMPORARY = ".writing-"
_END_OF_JPEG = b"\xff\xd9"


class MadePictures:
    """JPEG files under ``folder`` by name, at most ``most_bytes`` of them; those not looked at for longest go first.

    A file is written under a temporary name and renamed, and one that a power cut left short is made anew. What
    cannot be written, on a disk that is full or for reading only, is given all the same.
    """

    def __init__(self, folder: Path, most_bytes: int = MOST_BYTES) -> None:
        self.folder = folder
        self.most_bytes = most_bytes
        self._lock = threading.Lock()
        self._making = threading.Semaphore(AT_ONCE)
        self._bytes: int | None = None

    def get(self, name: str, make: Callable[[], bytes]) -> bytes:
        """Return the picture of a name, any text that says all that it hangs on; made by ``make`` when not here."""
        path = self._path(name)
        with contextlib.suppress(OSError):
            data = path.read_bytes()
            if data.endswith(_END_OF_JPEG):
                self._note_use(path)
                return data
        with self._making:
            data = make()
        with contextlib.suppress(OSError):
            self._put(path, data)
        return data

    def _path(self, name: str) -> Path:
        digest = hashlib.sha256(name.encode()).hexdigest()[:40]
        return self.folder / digest[:2] / f"{digest}.jpg"

    def _note_use(self, path: Path) -> None:
        """Move a file to the end of the line, once a day at most: a look should cost no write."""
        if time.time() - path.stat().st_mtime > _USED_AGAIN_AFTER_S:
            os.utime(path)

    def _put(self, path: Path, data: bytes) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = path.parent / f"{_TEMPORARY}{secrets.token_hex(8)}"
        try:
            temporary.write_bytes(data)
            temporary.replace(path)
        finally:
            temporary.unlink(missing_ok=True)
        with self._lock:
            # Counted once and then kept up; another process's pictures come in at the next sweep.
            self._bytes = sum(size for _, size, _ in self._files()) if self._bytes is None else self._bytes + len(data)
            if self._bytes > self.most_bytes:
                self._bytes = self._sweep()

    def _files(self) -> list[tuple[float, int, Path]]:
        """Return when each file was last used, its size and its path. Those left half written are removed."""
        found = []
        for path in self.folder.glob("??/*"):
            with contextlib.suppress(OSError):  # another process may have removed it meanwhile
                known = path.stat()
                if not path.name.startswith(_TEMPORARY):
                    found.append((known.st_mtime, known.st_size, path))
                elif time.time() - known.st_mtime > _ABANDONED_AFTER_S:
                    path.unlink()
        return found

    def _sweep(self) -> int:
        """Remove what was not used for longest until there is room again; return how many bytes are left."""
        files = sorted(self._files())
        left = sum(size for _, size, _ in files)
        for _, size, path in files:
            if left <= _AFTER_SWEEP * self.most_bytes:
                break
            with contextlib.suppress(OSError):
                path.unlink()
            left -= size
        return left
