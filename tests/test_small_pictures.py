"""Pictures on their way to the browser: made small once, kept within bounds, served by address, refused in words."""

from __future__ import annotations

import io
import os
import re
import shutil
import threading
import urllib.error
import urllib.request
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from starlette.applications import Starlette
from streamlit.testing.v1 import AppTest

from matcher.errors import PhotoError
from matcher.photo.photo import open_photo
from matcher.photo.small import SIDES, jpeg_of, shown_size, size_of, small_jpeg
from matcher.shipped import shipped
from matcher.storage.made_pictures import MadePictures
from matcher.studio import Studio
from tests.app_pages import plain
from tests.example_counts import examples
from tests.own_loop import run_apart
from ui.state.places import CAMERA, LOG, PHOTOGRAPHING, SUGGESTIONS, TARGET, Place

APP = Path(__file__).parents[1] / "ui" / "app.py"
PLATE = shipped("demo_images") / "trials" / "005.jpg"
UNKNOWN = "0" * 64


def jpeg(seed: int, side: int = 40) -> bytes:
    noise = np.random.default_rng(seed).integers(0, 256, (side, side, 3), dtype=np.uint8)
    return jpeg_of(noise)


# The sizes, and the shape that the page keeps room for


@examples(60)
@given(width=st.integers(1, 3000), height=st.integers(1, 3000), side=st.sampled_from(SIDES))
def test_the_room_that_a_picture_is_given_is_its_own(width: int, height: int, side: int) -> None:
    file = io.BytesIO()
    Image.new("L", (width, height), 90).save(file, "PNG", compress_level=1)
    photo = open_photo(file.getvalue())
    small = Image.open(io.BytesIO(small_jpeg(photo, side)))
    assert small.size == shown_size(width, height, side)
    assert max(small.size) <= side and max(small.size) == min(side, max(width, height))


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WebP", "TIFF"])
def test_a_files_size_is_that_of_the_upright_picture(kind: str, orientation: int, tmp_path: Path) -> None:
    """EXIF's orientation by Exif 2.32, tag 274: from 5 on the picture lies on its side."""
    exif = Image.Exif()
    exif[274] = orientation
    path = tmp_path / f"turned.{kind.lower()}"
    Image.new("RGB", (60, 40), (90, 60, 30)).save(path, kind, exif=exif)
    photo = open_photo(path)
    assert size_of(path) == (photo.width, photo.height) == ((60, 40) if orientation < 5 else (40, 60))


def test_a_phones_picture_has_a_size_without_being_decoded(tmp_path: Path) -> None:
    import pillow_heif

    path = tmp_path / "phone.heic"
    pillow_heif.from_pillow(Image.new("RGB", (128, 64), (90, 60, 30))).save(path)
    assert size_of(path) == (128, 64)


def test_what_is_no_photograph_has_no_size(tmp_path: Path) -> None:
    path = tmp_path / "notes.jpg"
    for data in (b"", b"half past four", b"\xff\xd8\xff"):
        path.write_bytes(data)
        with pytest.raises(PhotoError, match=r"^notes\.jpg "):
            size_of(path)
    with pytest.raises(PhotoError, match="is not there"):
        size_of(tmp_path / "gone.jpg")


# Kept on disk


def test_a_picture_is_made_once(tmp_path: Path) -> None:
    made: list[int] = []

    def make() -> bytes:
        made.append(1)
        return jpeg(1)

    assert MadePictures(tmp_path / "made").get("a", make) == MadePictures(tmp_path / "made").get("a", make) == jpeg(1)
    assert made == [1]


def test_the_folder_stays_within_its_bounds_and_keeps_what_was_looked_at_last(tmp_path: Path) -> None:
    size = len(jpeg(0))
    made = MadePictures(tmp_path, most_bytes=10 * size + size // 2)
    for number in range(10):
        made.get(str(number), lambda number=number: jpeg(number))  # type: ignore[misc]
        for path in tmp_path.glob("??/*"):  # the clock of a fast disk may not tell them apart
            os.utime(path, ns=(0, path.stat().st_mtime_ns - 10**9))
    a_week_ago = min(tmp_path.glob("??/*"), key=lambda path: path.stat().st_mtime)
    os.utime(a_week_ago, (0, a_week_ago.stat().st_mtime - 7 * 24 * 3600))
    assert made.get("0", lambda: b"") == jpeg(0)  # looked at: it goes to the end of the line
    for number in range(10, 14):
        made.get(str(number), lambda number=number: jpeg(number))  # type: ignore[misc]
        assert sum(path.stat().st_size for path in tmp_path.glob("??/*")) <= made.most_bytes
    assert made.get("0", lambda: b"") == jpeg(0)
    assert made.get("13", lambda: b"") == jpeg(13)
    assert made.get("1", lambda: b"gone") == b"gone"


def test_a_picture_that_was_cut_short_is_made_anew(tmp_path: Path) -> None:
    made = MadePictures(tmp_path)
    made.get("a", lambda: jpeg(1))
    (path,) = tmp_path.glob("??/*")
    path.write_bytes(jpeg(1)[:-40])
    assert made.get("a", lambda: jpeg(1)) == jpeg(1)
    assert path.read_bytes() == jpeg(1)


def test_where_nothing_can_be_kept_the_picture_is_given_all_the_same(tmp_path: Path) -> None:
    (tmp_path / "made").write_text("a file where the folder should be")
    assert MadePictures(tmp_path / "made").get("a", lambda: jpeg(1)) == jpeg(1)


def test_many_who_write_the_same_pictures_at_once_all_get_whole_ones(tmp_path: Path) -> None:
    """Each thread has its own store on one folder, so small that it is swept all the time, as processes would."""
    wrong: list[int] = []

    def use(seed: int) -> None:
        made = MadePictures(tmp_path, most_bytes=4 * len(jpeg(0)))
        for number in np.random.default_rng(seed).integers(0, 8, 60):
            if made.get(str(number), lambda number=number: jpeg(int(number))) != jpeg(int(number)):
                wrong.append(int(number))

    threads = [threading.Thread(target=use, args=(seed,)) for seed in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    assert not list(tmp_path.glob("??/.writing-*"))


def test_no_export_or_backup_carries_them(tmp_path: Path) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        sha256 = studio.keep_photo(PLATE)
        studio.small_photo(sha256, SIDES[0])
        assert list((tmp_path / "studio" / "photos").rglob(".made/*/*.jpg"))
        for carry, name in ((studio.export, "export.zip"), (studio.backup, "backup.zip")):
            carry(tmp_path / name)
            with zipfile.ZipFile(tmp_path / name) as archive:
                pictures = [entry for entry in archive.namelist() if entry.endswith(".jpg")]
            assert [Path(entry).stem for entry in pictures] == [sha256]


# Served


@pytest.fixture
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Studio:
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "served"))
    return Studio.open(tmp_path / "served")


def ask(path: str, method: str = "GET", **headers: str) -> tuple[int, dict[str, str], bytes]:
    """Ask the page's own routes, without a server, by ASGI."""
    from ui.photograph.picture_routes import picture_routes

    raw_path, _, query = path.partition("?")
    scope: dict[str, Any] = {
        "type": "http",
        "method": method,
        "path": raw_path,
        "root_path": "",
        "query_string": query.encode(),
        "headers": [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()],
    }
    sent: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    run_apart(Starlette(routes=picture_routes())(scope, receive, send))
    answered = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return sent[0]["status"], answered, b"".join(message.get("body", b"") for message in sent[1:])


def test_a_photograph_comes_small_and_for_good(studio: Studio) -> None:
    sha256 = studio.keep_photo(PLATE)
    status, headers, body = ask(f"/pictures/{sha256}/480.jpg?1")
    assert status == 200 and headers["content-type"] == "image/jpeg"
    assert max(Image.open(io.BytesIO(body)).size) == 480
    assert re.fullmatch(r"private, max-age=\d{8}, immutable", headers["cache-control"])
    assert ask(f"/pictures/{sha256}/480.jpg", if_none_match=headers["etag"])[0] == 304
    assert ask(f"/pictures/{sha256}/480.jpg", if_none_match='"another"')[0] == 200
    assert ask(f"/pictures/{sha256}/640.jpg")[1]["etag"] != headers["etag"]
    assert ask(f"/pictures/{sha256}/480.jpg", method="HEAD")[0] == 200
    assert ask(f"/pictures/{sha256}/480.jpg", method="POST")[0] == 405


@pytest.mark.parametrize(
    "path",
    [
        f"/pictures/{UNKNOWN}/480.jpg",
        f"/pictures/{UNKNOWN.replace('0', 'A')}/480.jpg",
        "/pictures/../480.jpg",
        "/pictures/..%2f..%2fstudio.sqlite3/480.jpg",
        "/pictures/*/480.jpg",
        "/pictures//480.jpg",
        "/pictures",
        "/pictures/",
        "/pictures/studio.sqlite3",
        "/pictures/\0/480.jpg",
        "KNOWN/479.jpg",
        "KNOWN/99999999999999999999.jpg",
        "KNOWN/-480.jpg",
        "KNOWN/４８０.jpg",
        "KNOWN/480.png",
        "KNOWN/480.jpg/more",
    ],
)
def test_whatever_else_is_asked_for_is_refused_in_a_sentence(path: str, studio: Studio) -> None:
    sha256 = studio.keep_photo(PLATE)
    status, headers, body = ask(path.replace("KNOWN", f"/pictures/{sha256}"))
    said = body.decode()
    if status == 307:  # the address without its slash at the end, which is asked for next
        return
    assert status == 404 and headers["content-type"].startswith("text/plain")
    assert said.endswith(".") and "\n" not in said and "Traceback" not in said
    assert not list(studio.made_pictures.folder.rglob("*.jpg"))


def test_a_damaged_photograph_is_refused_and_says_so_in_the_pictures_place(studio: Studio) -> None:
    sha256 = studio.keep_photo(PLATE)
    path = studio.photo_path(sha256)
    path.write_bytes(path.read_bytes()[:9000])
    status, headers, body = ask(f"/pictures/{sha256}/480.jpg")
    assert status == 404 and "damaged" in body.decode() and headers["cache-control"] == "no-store"
    status, headers, body = ask(f"/pictures/{sha256}/480.jpg", accept="image/avif,image/webp,*/*;q=0.8")
    assert status == 404 and headers["content-type"].startswith("image/svg+xml") and b"<text" in body


@pytest.mark.parametrize("place", [LOG, SUGGESTIONS, TARGET, PHOTOGRAPHING, CAMERA], ids=lambda place: place.address)
def test_a_page_holds_addresses_and_each_is_answered(
    place: Place, master_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MATCHER_STUDIO", str(shutil.copytree(master_demo, tmp_path / "demo")))
    app = AppTest.from_file(str(APP), default_timeout=120).run().switch_page(place.file).run()
    assert not app.exception
    images = re.findall(r"<img [^>]*>", " ".join(plain(element.proto.body) for element in app.get("html")))
    photographs = [image for image in images if "/pictures/" in image or "/patches/" in image]
    assert photographs and not [image for image in images if "data:image/jpeg" in image]
    for image in photographs:
        found = re.search(r'src="([^"]*)"(?: width="(\d+)" height="(\d+)")? loading="lazy"', image)
        assert found is not None
        status, _, body = ask(found[1])
        assert status == 200
        width, height = Image.open(io.BytesIO(body)).size
        on_the_wall = found[2] is None and width == height  # its places are square before any patch has come
        assert on_the_wall or (width, height) == (int(found[2]), int(found[3]))


def test_the_server_gives_pictures_and_still_finds_every_page(read_demo: Any) -> None:
    with read_demo.studio() as studio:
        sha256 = next(photo for trial in studio.trials() for photo in trial.photos)

    def got(path: str) -> tuple[str, bytes]:
        with urllib.request.urlopen(f"{read_demo.address}{path}", timeout=30) as answer:
            return answer.headers.get_content_type(), answer.read()

    kind, body = got(f"/pictures/{sha256}/480.jpg")
    assert kind == "image/jpeg" and body[:3] == b"\xff\xd8\xff"
    with urllib.request.urlopen(f"{read_demo.address}/start", timeout=30) as answer:
        assert answer.url == f"{read_demo.address}/", "the front page's own address leads to it"
    for page in ("/", "/log", "/suggestions?target=1"):
        kind, body = got(page)
        assert kind == "text/html" and b"<html" in body
    script = re.search(rb'src="\.?(/static/js/[^"]+)"', got("/")[1])
    assert script is not None and got(script[1].decode())[0].endswith("javascript")
    with pytest.raises(urllib.error.HTTPError) as refused:
        got(f"/pictures/{UNKNOWN}/480.jpg")
    assert refused.value.code == 404
