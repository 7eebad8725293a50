"""Sheets of tags: every tag is printed to size and found again, and the words for people are there."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from matcher import find_plates, open_photo
from matcher.errors import TagError
from matcher.sheets.paper import A4, LETTER
from matcher.sheets.tag_sheet import MOST, PrintedTag, tag_sheet, tags_from
from matcher.tags.code import HIGHEST_NUMBER, TagCode
from tests.test_paper import as_printed
from tests.test_sheets import DOTS_PER_MM, needs_poppler, rendered


@needs_poppler
@pytest.mark.parametrize(("size", "paper", "address"), [(15, LETTER, ""), (20, A4, "192.168.1.20:8501"), (25, A4, "")])
def test_every_tag_of_a_sheet_is_found_and_is_true_to_size(size, paper, address, tmp_path) -> None:
    tags = tags_from("K7QX2", 85, 30)
    page = rendered(tag_sheet(tags, size, address, "Invented studio", paper), tmp_path)
    found = find_plates(open_photo(cv2.imencode(".png", page)[1].tobytes()))
    assert sorted(seen.tag for seen in found) == sorted(str(tag.code) for tag in tags)
    for seen in found:
        sides = np.linalg.norm(seen.corners - np.roll(seen.corners, -1, axis=0), axis=1) / DOTS_PER_MM
        np.testing.assert_allclose(sides, size, atol=0.1)
    dark = page < 128
    assert page.shape[::-1] == pytest.approx(np.array([paper.width_mm, paper.height_mm]) * DOTS_PER_MM, abs=1)
    assert not dark[:, : 10 * DOTS_PER_MM].any() and not dark[:, -10 * DOTS_PER_MM :].any()


@needs_poppler
def test_a_sheet_says_number_code_size_and_how_to_fix_a_tag(tmp_path) -> None:
    tags = [PrintedTag(TagCode("K7QX2", 88)), PrintedTag(TagCode("K7QX2", 9_999_999), "Plate 1234567")]
    pdf = tag_sheet(tags, 15, studio="Invented studio")
    words = " ".join(as_printed(pdf, tmp_path).split())
    for part in ("88", "K7QX2-88", "Plate 1234567", "K7QX2-9999999", "15 mm wide", "50 mm", "Invented studio"):
        assert part in words
    for part in ("ruler", "flat", "beside the finish and not on it", "seal it against heat and water", "no source"):
        assert part in words


@needs_poppler
def test_tags_run_over_pages_and_none_is_left_out(tmp_path) -> None:
    words = as_printed(tag_sheet(tags_from("K7QX2", 1, 130), 15), tmp_path).split()
    assert {f"K7QX2-{number}" for number in range(1, 131)} <= set(words)


def test_what_cannot_be_printed_is_refused() -> None:
    for first, count in ((0, 1), (1, 0), (1, MOST + 1), (HIGHEST_NUMBER, 2)):
        with pytest.raises(TagError):
            tags_from("K7QX2", first, count)
    some = tags_from("K7QX2", HIGHEST_NUMBER, 1)
    for size, address in ((16, ""), (20, "two words"), (20, "[::1]:8501"), (20, "a" * 41)):
        with pytest.raises(TagError):
            tag_sheet(some, size, address)
    with pytest.raises(TagError):
        tag_sheet([])
