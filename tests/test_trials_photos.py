"""The photograph store: kept once, whole, under the hash of what is in the file."""

from __future__ import annotations

import hashlib
import io
import os
import struct
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.errors import MatcherError, StudioError
from matcher.photo.formats import FORMATS, format_of
from matcher.photo.photo import open_photo
from matcher.photo.stored import RefusedError
from matcher.storage import photos
from matcher.storage.photos import PhotoStore
from matcher.studio import Studio
from tests import pictures
from tests.plates import a_photograph, a_trial


@pytest.fixture
def store(tmp_path: Path) -> PhotoStore:
    return PhotoStore(tmp_path / "photos")


def files_in(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def a_tiff(tag: int = 0x0100, extra: bytes = b"", value: int = 1, order: str = "<") -> bytes:
    mark = {"<": b"II*\0", ">": b"MM\0*"}[order]
    entry = struct.pack(f"{order}HHHIHH", 1, tag, 3, 1, value, 0)
    return mark + struct.pack(f"{order}I", 8 + len(extra)) + extra + entry + bytes(4)


BARE = {"tag": 0x0106, "value": 32803}  # PhotometricInterpretation: colour filter array (TIFF/EP)


def test_a_photograph_lies_under_its_sha_256(store: PhotoStore) -> None:
    raw = a_photograph()
    kept = store.keep(raw, "plate.jpg")
    assert kept.sha256 == hashlib.sha256(raw).hexdigest()
    assert kept.size_bytes == len(raw)
    assert store.path(kept.sha256) == store.folder / kept.sha256[:2] / f"{kept.sha256}.jpg"
    assert store.path(kept.sha256).read_bytes() == raw


def test_keeping_the_same_photograph_again_changes_nothing(store: PhotoStore, tmp_path: Path) -> None:
    raw = a_photograph()
    first = store.keep(raw)
    when = store.path(first.sha256).stat().st_mtime_ns
    (tmp_path / "copy.jpeg").write_bytes(raw)
    assert store.keep(tmp_path / "copy.jpeg") == first
    assert store.path(first.sha256).stat().st_mtime_ns == when
    assert len(files_in(store.folder)) == 1


def test_a_file_cut_short_on_the_disk_is_made_whole_by_keeping_it_again(store: PhotoStore) -> None:
    raw = a_photograph()
    kept = store.keep(raw)
    store.path(kept.sha256).write_bytes(raw[:10])
    store.keep(raw)
    assert store.path(kept.sha256).read_bytes() == raw


@pytest.mark.parametrize(
    ("head", "name", "suffix"),
    [
        (a_photograph(kind="JPEG"), "plate.png", ".jpg"),  # the name lies, the bytes don't
        (a_photograph(kind="PNG"), "plate", ".png"),
        (a_photograph(kind="WEBP"), "plate.JPG", ".webp"),
        (a_photograph(kind="TIFF"), "plate.tiff", ".tif"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "IMG.HEIC", ".heic"),
        (a_tiff(0xC612), "raw.tif", ".dng"),  # tag DNGVersion of the DNG specification (from memory)
        (a_tiff(0x0100, b"CR\x02\0" + bytes(4)), "raw.CR2", ".cr2"),
        (a_tiff(**BARE), "raw.NEF", ".nef"),
        (a_tiff(**BARE), "raw.arw", ".arw"),
        (a_tiff(**BARE), "raw.exe", ".tif"),
        (a_tiff(), "plain.nef", ".tif"),
        (b"II*\0" + bytes(4), "cut short.nef", ".nef"),  # too damaged to look into: the name is all there is
        (a_tiff(0xC612, order=">"), "big-endian", ".dng"),
        (pictures.tiff(np.zeros((4, 4, 3), np.uint8), bigtiff=True), "large.tif", ".tif"),
        (b"\0\0\0\x18ftypcrx " + bytes(9), "raw", ".cr3"),
        (b"\0\0\0\x18ftypmif2" + bytes(9), "raw", ".heic"),
    ],
)
def test_the_suffix_is_that_of_the_true_format(store: PhotoStore, head: bytes, name: str, suffix: str) -> None:
    assert store.keep(head, name).suffix == suffix


@pytest.mark.parametrize(
    "raw", [b"", b"GIF89a" + bytes(40), b"%PDF-1.7", b"\xff\xd8", b"\0\0\0\x18ftypisom" + bytes(9)]
)
def test_what_is_no_photograph_is_refused_and_leaves_nothing(store: PhotoStore, raw: bytes) -> None:
    with pytest.raises(StudioError, match=r"^the photograph is .*\.$"):
        store.keep(raw)
    assert files_in(store.folder) == []


@given(st.binary(max_size=64), st.sampled_from([b"", b"II*\0", b"MM\0*", b"II*\0\x08\0\0\0"]), st.text(max_size=10))
def test_any_bytes_have_a_suffix_or_are_refused(rest: bytes, head: bytes, name: str) -> None:
    try:
        _, suffix = format_of(io.BytesIO(head + rest), Path(name).suffix.lower())
        assert suffix in {suffix for known in FORMATS for suffix in known.suffixes}
    except RefusedError:
        assert not head


HEADS = {
    "BigTIFF": pictures.tiff(np.full((4, 4, 3), 90, np.uint8), bigtiff=True),
    "big-endian BigTIFF": pictures.tiff(np.full((4, 4, 3), 90, np.uint8), bigtiff=True, byteorder=">"),
    "burst of HEIC": b"\0\0\0\x18ftyphevc" + bytes(99),
    "burst of another brand": b"\0\0\0\x18ftypmsf1" + bytes(99),
    "AVIF": b"\0\0\0\x18ftypavif" + bytes(99),
    "film": b"\0\0\0\x18ftypisom" + bytes(99),
    "GIF": b"GIF89a" + bytes(99),
    "JPEG": a_photograph(),
}


@pytest.mark.parametrize("kind", HEADS)
def test_the_studio_keeps_what_can_be_read_and_refuses_the_rest_with_the_same_words(
    store: PhotoStore, kind: str
) -> None:
    def said(do: Callable[[], object]) -> str:
        try:
            do()
        except MatcherError as error:
            return str(error)
        return "taken"

    data = HEADS[kind]
    assert said(lambda: store.keep(data, "plate.jpg")) == said(lambda: open_photo(data, name="plate.jpg"))


def test_a_photograph_with_a_very_long_name_is_kept_under_the_end_of_it(tmp_path: Path) -> None:
    """No file system holds more than 255 bytes of a name; 200 characters of it are kept for display."""
    name = "a" * 246 + "plate.jpg"
    (tmp_path / name).write_bytes(a_photograph())
    with Studio.open(tmp_path / "studio") as studio:
        sha256 = studio.keep_photo(tmp_path / name)
        assert studio.photo_path(sha256).suffix == ".jpg"
        assert studio.keep_photo(a_photograph(3), "b" * 5000 + ".jpg") != sha256


def test_a_photograph_over_the_bound_is_refused_and_leaves_nothing(
    store: PhotoStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(photos, "MAX_BYTES", 3_000_000)
    with pytest.raises(StudioError, match="is over 3 MB: export a smaller copy"):
        store.keep(b"\xff\xd8\xff" + bytes(4 * 1024**2), "big.jpg")
    assert files_in(store.folder) == []


def test_a_stream_with_another_hash_than_promised_is_refused(store: PhotoStore) -> None:
    with pytest.raises(StudioError, match="damaged"):
        store.keep_stream(io.BytesIO(a_photograph(1)), "plate.jpg", expected="0" * 64)
    assert files_in(store.folder) == []


def test_a_file_that_is_not_there_gets_one_sentence(store: PhotoStore, tmp_path: Path) -> None:
    with pytest.raises(StudioError, match=r"nowhere\.jpg is not there"):
        store.keep(tmp_path / "nowhere.jpg")
    with pytest.raises(StudioError, match="is a folder"):
        store.keep(tmp_path)


def test_a_disk_that_fails_while_writing_leaves_nothing(store: PhotoStore, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fails)
    with pytest.raises(StudioError, match="No space left"):
        store.keep(a_photograph())
    assert files_in(store.folder) == []


def test_the_file_is_on_the_disk_before_it_has_its_name(store: PhotoStore, monkeypatch: pytest.MonkeyPatch) -> None:
    did: list[str] = []
    flush, rename = os.fsync, os.replace

    def flush_and_tell(number: int) -> None:
        did.append("flush")
        flush(number)

    def rename_and_tell(old: Path, new: Path) -> None:
        did.append("rename")
        rename(old, new)

    monkeypatch.setattr(os, "fsync", flush_and_tell)
    monkeypatch.setattr(os, "replace", rename_and_tell)
    store.keep(a_photograph())
    assert did == ["flush", "rename", "flush", "flush"]  # the file; then the two folders that name it


def test_what_a_crash_left_half_written_is_swept_away_a_day_later(store: PhotoStore) -> None:
    store.folder.mkdir()
    old, young = store.folder / ".incoming-old", store.folder / ".incoming-young"
    for left in (old, young):
        left.write_bytes(b"half")
    os.utime(old, (time.time() - 2 * 86400,) * 2)
    store.keep(a_photograph())
    assert not old.exists()
    assert young.exists()


@pytest.mark.parametrize("name", ["", "../../etc/passwd", "A" * 64, "g" * 64, "0" * 63, None])
def test_only_a_hash_names_a_photograph(store: PhotoStore, name: object) -> None:
    with pytest.raises(StudioError, match="64 hexadecimal digits"):
        store.path(name)  # type: ignore[arg-type]


def test_a_photograph_lost_from_the_folder_says_so(tmp_path: Path) -> None:
    with Studio.open(tmp_path) as studio:
        sha256 = studio.keep_photo(a_photograph(), "plate.jpg")
        studio.record(a_trial(photos=(sha256,)))
        studio.photo_path(sha256).unlink()
        with pytest.raises(StudioError, match="restore it from a backup"):
            studio.photo_path(sha256)
        assert studio.trial(1).photos == (sha256,)
