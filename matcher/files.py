"""Files that people name: read only when they are ordinary files, and written whole or not at all.

Every reader and writer of a file whose name was given goes through here, so none hangs on a pipe or spoils a device.
"""

from __future__ import annotations

import os
import secrets
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from matcher.errors import Misfit, StudioError

NEW_FILE_MODE = 0o666
"""As any program makes a file: what the person's umask leaves of it."""


def user_data() -> Path:
    """Return this person's own folder for what the program keeps, which need not be there."""
    from platformdirs import user_data_path

    return user_data_path("patina-matcher", appauthor=False)


def make_folder(folder: Path) -> None:
    """Make a folder that is not there. Raises OSError, ValueError.

    One below the person's own data is for them alone: a studio holds what people sign in by (XDG Base Directory
    Specification 0.8: "an attempt should be made to create it with permission 0700").
    """
    if folder.expanduser().absolute().is_relative_to(user_data()):
        user_data().mkdir(mode=0o700, parents=True, exist_ok=True)
    folder.mkdir(parents=True, exist_ok=True)


def opened(path: Path) -> BinaryIO:
    """Open an ordinary file to read its bytes.

    Raises Misfit with the rest of a sentence that begins with the file's name: "is a folder: name a file in it".
    """
    try:
        _check_ordinary(path.stat().st_mode)  # before it is opened: opening alone can turn a device on
        file = open(path, "rb", opener=_open_at_once)  # noqa: SIM115 - Path.open takes no opener
        try:
            _check_ordinary(os.fstat(file.fileno()).st_mode)
        except BaseException:
            file.close()
            raise
        return file
    except FileNotFoundError as error:
        raise Misfit("is not there: check the path and the name") from error
    except PermissionError as error:
        raise Misfit("may not be read by this user: change its permissions or copy it") from error
    except Misfit:
        raise
    except (OSError, ValueError) as error:
        raise Misfit(f"cannot be read from where it is ({_reason(error)}): copy it to this machine's disk") from error


def read_whole(path: Path, most_bytes: int) -> bytes:
    """Return the bytes of an ordinary file of at most ``most_bytes``. Raises Misfit, as ``opened`` does."""
    with opened(path) as file:
        try:
            data = file.read(most_bytes + 1)
        except OSError as error:
            raise Misfit(f"cannot be read to its end ({_reason(error)}): copy it here again") from error
    if len(data) > most_bytes:
        raise Misfit(f"is over {most_bytes / 1e6:.3g} MB, more than is read: check that it is the right file")
    return data


@contextmanager
def whole_file(path: Path, overwrite: bool = False) -> Iterator[Path]:
    """Give a temporary file, beside ``path``, that becomes ``path`` when all went well.

    overwrite: an ordinary file of that name is replaced; without it the name must be free. A folder, link, pipe or
    device is never replaced. Raises StudioError; then what was there is as it was, and nothing is left over.
    """
    try:
        path = path.expanduser().absolute()
        old_mode = _check_place(path, overwrite)
    except (OSError, ValueError, RuntimeError) as error:
        raise StudioError(f"{path} cannot be a file here ({_reason(error)}): name another.") from error
    try:
        temporary = _fresh(path.parent)
        try:
            yield temporary
            with temporary.open("rb+") as file:
                os.fsync(file.fileno())
            if old_mode is not None:
                temporary.chmod(old_mode)
            _put(temporary, path, overwrite)
        finally:
            temporary.unlink(missing_ok=True)
        flush_folder(path.parent)
    except FileExistsError as error:
        raise _taken(path) from error
    except OSError as error:
        raise StudioError(f"{path} cannot be written ({_reason(error)}): name another file, or free room.") from error


@contextmanager
def whole_folder(folder: Path, asked: str) -> Iterator[Path]:
    """Give a temporary folder, beside ``folder``, that becomes ``folder`` when all went well.

    folder: absolute, new or empty. asked: what is done with it, as a sentence begins: "Restore into". Raises
    StudioError; then nothing is left over.
    """
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise StudioError(f"{asked} a new or empty folder: {folder} holds something already.")
        make_folder(folder.parent)
        draft = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise StudioError(f"The folder {folder} cannot be made ({error.strerror}): name another.") from error
    try:
        yield draft
        draft.chmod(0o755)
        if folder.exists():
            folder.rmdir()
        draft.rename(folder)
        flush_folder(folder.parent)
    except OSError as error:
        raise StudioError(
            f"{folder} could not be written ({error.strerror}): free some room, or name another folder."
        ) from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def check_ending(path: Path, *endings: str) -> None:
    """Raise StudioError for a file's name whose ending does not say what will be in it."""
    try:
        there = path.exists()
    except OSError:  # a name too long to look for
        there = False
    if path.suffix.lower() not in endings and not there:  # what is there already is said so elsewhere
        raise StudioError(f"Give the file a name that ends in {' or '.join(endings)}: {path.name!r} does not.")


def flush_folder(folder: Path) -> None:
    """Make a rename last through a power cut, where the system lets a folder be flushed."""
    with suppress(OSError):  # Windows and some network disks flush files only
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _open_at_once(name: str, flags: int) -> int:
    """Open without waiting: a pipe that took the file's place meanwhile has no writer to wait for."""
    return os.open(name, flags | getattr(os, "O_NONBLOCK", 0))


def _check_ordinary(mode: int) -> None:
    if stat.S_ISDIR(mode):
        raise Misfit("is a folder: name a file in it")
    if not stat.S_ISREG(mode):
        raise Misfit("is not a file, but a pipe or a device: copy what it gives into a file, and name that")


def _check_place(path: Path, overwrite: bool) -> int | None:
    """Return the permissions of the file that may be replaced, None where the name is free. Raises StudioError."""
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        if not path.parent.is_dir():
            raise StudioError(f"There is no folder {path.parent}: make it first, or check the path.") from None
        return None
    if stat.S_ISDIR(mode):
        raise StudioError(f"{path} is there already, and is a folder: name a file in it.")
    if stat.S_ISLNK(mode):
        raise StudioError(f"{path} is there already, and only points to another place: name the file itself.")
    if not stat.S_ISREG(mode):
        raise StudioError(f"{path} is there already, and is a pipe or a device: name a file.")
    if not overwrite:
        raise _taken(path)
    return stat.S_IMODE(mode)


def _taken(path: Path) -> StudioError:
    return StudioError(f"{path} is there already: name a new file, or ask for it to be overwritten.")


def _fresh(folder: Path) -> Path:
    temporary = folder / f".writing-{secrets.token_hex(8)}"
    os.close(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, NEW_FILE_MODE))
    return temporary


def _put(temporary: Path, path: Path, overwrite: bool) -> None:
    """Give the finished file its name. A name that was taken meanwhile raises FileExistsError or StudioError."""
    if not overwrite:
        try:
            os.link(temporary, path)  # a rename would silently replace what was put there meanwhile
            return
        except FileExistsError:
            raise
        except OSError:
            pass  # a disk without links: looking again just before the rename must do
    _check_place(path, overwrite)
    temporary.replace(path)


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)
