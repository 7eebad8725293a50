"""Files that people name: written whole or not at all, and read only when they are ordinary files."""

from __future__ import annotations

import os
import socket
import stat
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from matcher import files
from matcher.errors import MatcherError, Misfit, StudioError
from matcher.files import opened, read_whole, whole_file
from matcher.instrument.files import read_targets
from matcher.photo.photo import open_photo
from matcher.storage.photos import PhotoStore
from matcher.studio import Studio
from matcher.trials.camera_profiles import read_profile
from matcher.typed_in.values import recipe_file

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pipes, sockets and devices as POSIX has them")


def written(path: Path, data: bytes = b"new", overwrite: bool = False) -> None:
    with whole_file(path, overwrite) as temporary:
        temporary.write_bytes(data)


def left_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_a_new_file_is_there_whole_with_what_the_umask_leaves(tmp_path: Path) -> None:
    was = os.umask(0o027)
    try:
        written(tmp_path / "new.txt")
    finally:
        os.umask(was)
    assert (tmp_path / "new.txt").read_bytes() == b"new"
    assert stat.S_IMODE((tmp_path / "new.txt").stat().st_mode) == 0o640
    assert left_in(tmp_path) == {"new.txt"}


@pytest.mark.parametrize("content", [b"precious", b""])
def test_an_existing_file_is_kept_unless_asked(tmp_path: Path, content: bytes) -> None:
    there = tmp_path / "there.txt"
    there.write_bytes(content)
    there.chmod(0o600)
    with pytest.raises(StudioError, match="is there already"):
        written(there)
    assert there.read_bytes() == content
    written(there, overwrite=True)
    assert there.read_bytes() == b"new"
    assert stat.S_IMODE(there.stat().st_mode) == 0o600, "a file that only its owner reads stays so"
    assert left_in(tmp_path) == {"there.txt"}


def a_folder(path: Path) -> None:
    path.mkdir()


def a_pipe(path: Path) -> None:
    os.mkfifo(path)


def a_socket(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as listener:
        here = Path.cwd()
        os.chdir(path.parent)  # a socket's name may have some 100 characters
        try:
            listener.bind(path.name)
        finally:
            os.chdir(here)


def a_device(path: Path) -> None:
    try:
        os.mknod(path, 0o600 | stat.S_IFCHR, os.makedev(1, 3))
    except PermissionError:
        pytest.skip("only the superuser makes a device")


def a_link(path: Path) -> None:
    path.with_name("pointed-at").write_text("precious")
    path.symlink_to("pointed-at")


def a_link_to_nothing(path: Path) -> None:
    path.symlink_to("nowhere")


@pytest.mark.parametrize("overwrite", [False, True])
@pytest.mark.parametrize("make", [a_folder, a_pipe, a_socket, a_device, a_link, a_link_to_nothing])
def test_what_is_no_file_is_never_replaced(tmp_path: Path, make: Callable[[Path], None], overwrite: bool) -> None:
    make(tmp_path / "there")
    before, kind = left_in(tmp_path), (tmp_path / "there").lstat().st_mode
    with pytest.raises(StudioError, match="is there already"):
        written(tmp_path / "there", overwrite=overwrite)
    assert (tmp_path / "there").lstat().st_mode == kind
    assert left_in(tmp_path) == before


def test_a_write_that_fails_leaves_what_was_there(tmp_path: Path) -> None:
    (tmp_path / "there.txt").write_text("precious")

    def fail(at: Path) -> None:
        with whole_file(at, overwrite=True) as temporary:
            temporary.write_text("half of")
            raise OSError(28, "No space left on device")

    with pytest.raises(StudioError, match="No space left"):
        fail(tmp_path / "there.txt")
    assert (tmp_path / "there.txt").read_text() == "precious"
    assert left_in(tmp_path) == {"there.txt"}


@pytest.mark.parametrize("links", [True, False])
def test_a_file_that_comes_meanwhile_is_kept(tmp_path: Path, links: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    if not links:

        def refuse(*_: object) -> None:
            raise PermissionError(1, "Operation not permitted")  # as a FAT disk answers

        monkeypatch.setattr(files.os, "link", refuse)

    def late(path: Path) -> None:
        with whole_file(path) as temporary:
            temporary.write_text("ours")
            path.write_text("theirs")

    with pytest.raises(StudioError, match="is there already"):
        late(tmp_path / "new.txt")
    assert (tmp_path / "new.txt").read_text() == "theirs"
    written(tmp_path / "other.txt")
    assert left_in(tmp_path) == {"new.txt", "other.txt"}


@pytest.mark.parametrize("name", ["x" * 300, "a\0b", "missing/new.txt"])
def test_a_name_that_cannot_be_gets_one_sentence(tmp_path: Path, name: str) -> None:
    with pytest.raises(StudioError) as raised:
        written(tmp_path / name)
    assert str(raised.value).endswith(".")
    assert left_in(tmp_path) == set()


@pytest.mark.parametrize("make", [a_folder, a_pipe, a_socket, a_device])
def test_only_ordinary_files_are_opened(tmp_path: Path, make: Callable[[Path], None]) -> None:
    make(tmp_path / "there")
    with pytest.raises(Misfit, match="is a folder" if make is a_folder else "is not a file"):
        opened(tmp_path / "there")


def test_a_file_is_read_up_to_its_bound(tmp_path: Path) -> None:
    (tmp_path / "ten").write_bytes(b"0123456789")
    assert read_whole(tmp_path / "ten", 10) == b"0123456789"
    with pytest.raises(Misfit, match="is over"):
        read_whole(tmp_path / "ten", 9)
    (tmp_path / "link").symlink_to("ten")
    assert read_whole(tmp_path / "link", 10) == b"0123456789"


def an_import(path: Path) -> None:
    with Studio.open(path.parent / "studio") as studio:
        studio.import_file(path)


READERS: dict[str, Callable[[Path], object]] = {
    "a table or an export": an_import,
    "a backup": lambda path: Studio.restore(path, path.parent / "restored"),
    "a camera profile": read_profile,
    "an instrument's file": read_targets,
    "a photograph to read": open_photo,
    "a photograph to keep": lambda path: PhotoStore(path.parent / "photos").keep(path),
    "a recipe": lambda path: recipe_file(str(path)),
}


@pytest.mark.parametrize("ending", [".zip", ".csv"])
@pytest.mark.parametrize("reader", READERS)
def test_a_pipe_is_refused_in_a_sentence_and_hangs_nothing(tmp_path: Path, reader: str, ending: str) -> None:
    pipe = tmp_path / f"pipe{ending}"
    os.mkfifo(pipe)
    said: list[str] = []

    def read() -> None:
        try:
            READERS[reader](pipe)
        except MatcherError as error:
            said.append(str(error))

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    thread.join(20)
    waited = thread.is_alive()
    if waited:  # let it go on, so that it does not hold up the tests that follow
        with pipe.open("wb"):
            pass
        thread.join(20)
    assert not waited
    assert said
    assert "is not a file" in said[0]
    assert said[0].endswith(".")


@pytest.mark.parametrize("reader", READERS)
def test_a_folder_or_nothing_in_place_of_a_file_gets_one_sentence(tmp_path: Path, reader: str) -> None:
    for name, said in (("folder", "is a folder"), ("nothing", "is not there"), ("a\0b", "cannot be read")):
        (tmp_path / "folder").mkdir(exist_ok=True)
        with pytest.raises(MatcherError, match=said):
            READERS[reader](tmp_path / name)


def test_a_photographs_path_may_be_text_as_every_other(tmp_path: Path) -> None:
    (tmp_path / "plate.jpg").write_bytes(b"\xff\xd8\xff" + bytes(100))
    with Studio.open(tmp_path / "studio") as studio:
        sha256 = studio.keep_photo(str(tmp_path / "plate.jpg"))
        assert studio.keep_photos([str(tmp_path / "plate.jpg")]) == [sha256]


@pytest.mark.parametrize("name", ["out.zip", "out.csv"])
def test_an_export_replaces_only_a_file_and_only_when_asked(tmp_path: Path, name: str) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        for make in (a_pipe, a_link):
            make(tmp_path / name)
            for overwrite in (False, True):
                with pytest.raises(StudioError, match="is there already"):
                    studio.export(tmp_path / name, overwrite)
            assert not stat.S_ISREG((tmp_path / name).lstat().st_mode)
            (tmp_path / name).unlink()
        (tmp_path / name).touch()
        with pytest.raises(StudioError, match="is there already"):
            studio.export(tmp_path / name)
        assert (tmp_path / name).stat().st_size == 0
        studio.export(tmp_path / name, overwrite=True)
        assert (tmp_path / name).stat().st_size > 0
