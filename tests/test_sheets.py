"""What is printed is what is looked for: the carrier sheet, rendered by Poppler and found again by OpenCV."""

from __future__ import annotations

import os
import shutil
import subprocess
import tomllib
from pathlib import Path

import cv2
import numpy as np
import pytest

from matcher.card.card import load_cards
from matcher.card.printable import A4_MM, TOP_MM, carrier_sheet
from matcher.errors import CardError
from matcher.shipped import shipped

DOTS_PER_MM = 10

needs_poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None and "CI" not in os.environ, reason="pdftoppm (poppler-utils) is not installed"
)


def rendered(pdf: bytes, folder: Path) -> np.ndarray:
    """The page as grey pixels, `DOTS_PER_MM` to the millimetre."""
    (folder / "sheet.pdf").write_bytes(pdf)
    command = ["pdftoppm", "-png", "-gray", "-r", str(DOTS_PER_MM * 25.4), "-singlefile", "sheet.pdf", "sheet"]
    subprocess.run(command, cwd=folder, check=True, capture_output=True)
    return cv2.imread(str(folder / "sheet.png"), cv2.IMREAD_GRAYSCALE)


def definition() -> dict:
    return tomllib.loads((shipped("reference_cards") / "carrier_sheet.toml").read_text())["carrier"]


@needs_poppler
def test_the_four_markers_are_printed_where_the_definition_says(tmp_path):
    page = rendered(carrier_sheet(load_cards()["carrier sheet"]), tmp_path)
    assert page.shape[::-1] == pytest.approx(np.array(A4_MM) * DOTS_PER_MM, abs=1)
    carrier = definition()
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, carrier["dictionary"]))
    corners, numbers, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(page)
    found = {int(number): quad.reshape(4, 2) for number, quad in zip(numbers.ravel(), corners, strict=True)}
    assert found.keys() == {marker["id"] for marker in carrier["marker"]}
    sheet = np.array([(A4_MM[0] - carrier["sheet_mm"][0]) / 2, TOP_MM])
    for marker in carrier["marker"]:
        square = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * carrier["marker_mm"]
        expected = sheet + np.array(marker["at_mm"]) + square
        np.testing.assert_allclose((found[marker["id"]] + 0.5) / DOTS_PER_MM, expected, atol=0.5)


@needs_poppler
def test_the_window_and_the_ruler_are_true_to_size(tmp_path):
    page = rendered(carrier_sheet(load_cards()["carrier sheet"]), tmp_path)
    carrier = definition()
    sheet = np.array([(A4_MM[0] - carrier["sheet_mm"][0]) / 2, TOP_MM])
    left, top, right, bottom = (np.array(carrier["window_mm"]) + np.tile(sheet, 2)) * DOTS_PER_MM
    middle = round((top + bottom) / 2)
    # Half of the dashed lines' length is ink: look for columns that are mostly or partly dark inside the sheet.
    band = page[round(top) + 60 : middle, round(left) - 100 : round(right) + 100]
    inked = np.flatnonzero((band < 128).mean(axis=0) > 0.4) + round(left) - 100
    assert inked.min() == pytest.approx(left, abs=3) and inked.max() == pytest.approx(right, abs=3)
    ruler_row = round((TOP_MM + carrier["sheet_mm"][1] + 16) * DOTS_PER_MM)
    runs = np.flatnonzero((page[ruler_row - 2 : ruler_row + 3, : round(sheet[0] * 10) + 520] < 128).any(axis=0))
    assert runs.max() - runs.min() == pytest.approx(50 * DOTS_PER_MM, abs=4)


@needs_poppler
def test_the_window_is_left_white_but_for_its_cut_marks(tmp_path):
    page = rendered(carrier_sheet(load_cards()["carrier sheet"]), tmp_path)
    carrier = definition()
    sheet = np.array([(A4_MM[0] - carrier["sheet_mm"][0]) / 2, TOP_MM])
    left, top, right, bottom = ((np.array(carrier["window_mm"]) + np.tile(sheet, 2)) * DOTS_PER_MM).astype(int)
    assert (page[top + 50 : bottom - 50, left + 50 : right - 50] == 255).all()


def test_the_sheet_is_one_small_page_and_the_same_every_time():
    card = load_cards()["carrier sheet"]
    pdf = carrier_sheet(card)
    assert pdf.startswith(b"%PDF-") and pdf.count(b"/Type /Page\n") == 1 and len(pdf) < 20_000
    assert pdf == carrier_sheet(card)


def test_a_card_without_a_carrier_has_nothing_to_print():
    with pytest.raises(CardError, match="Choose the carrier sheet"):
        carrier_sheet(load_cards()["grey card"])
