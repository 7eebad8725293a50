"""A photograph that comes in on the page is decoded once: a large one takes a tenth of a second each time."""

from matcher import Studio
from matcher.photo import photo as photo_file
from matcher.shipped import shipped
from ui.photograph.intake import keep
from ui.photograph.photographs import photo_of


def test_a_photograph_that_was_just_brought_in_is_not_decoded_again(tmp_path, monkeypatch):
    data, opened, times = (shipped("demo_images") / "plate_daylight.jpg").read_bytes(), photo_file.open_photo, []

    def counted(*given, **named):
        times.append(given)
        return opened(*given, **named)

    monkeypatch.setattr(photo_file, "open_photo", counted)
    studio = Studio.open(tmp_path / "studio")
    sha256 = keep(studio, data, "plate.jpg")
    photo = photo_of(studio, sha256)
    assert len(times) == 1
    kept = opened(studio.photo_path(sha256))
    assert (photo.sha256, photo.encoding, photo.camera) == (kept.sha256, kept.encoding, kept.camera)
    assert (photo.linear((0, 0, 40, 30)) == kept.linear((0, 0, 40, 30))).all()
