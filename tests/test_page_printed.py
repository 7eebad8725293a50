"""The page on paper, as Chromium prints it: what it says and shows, as far as it lies open, and nothing to press."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.browser import Served, Visitor

Visit = Callable[..., Visitor]
WORD = re.compile(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*?)</word>')
PAGES = {  # place: the most pages that it takes, what stands on it, and what only fills a form or is folded
    "commissions?commission=1": (
        2,
        ("Heron fountain (invented)", "clearly greener", "Stands in spray", "The commission was taken on"),
        ("Name of the area", "Another area", "Write it down", "Journal", "Change what is written here", "Handed to"),
    ),
    "suggestions?target=1": (
        1,
        ("Plates nearest to", "1. Predicted", "3. Plate 87", "5. Plate 9"),
        (
            "Cautions for these chemicals",
            "Hot metal looks",
            "What can be used today",
            "Most passes",
            "What explains it",
        ),
    ),
    "log?plate=88": (
        1,
        ("Plate 88", "Ferric nitrate at quarter strength", "Toffee again", "JQWQ2-88"),
        ("Code of another tag", "Set this plate aside", "Add a reading", "overheated at one edge", "Invented pictures"),
    ),
    "solutions": (
        2,
        ("Fe 2", "ferric nitrate, 400 g/L", "Causes severe skin burns", "CuS 1"),
        ("Labels to print", "What the label asks for", "Wash hands", "Used up (1)"),
    ),
}
needs_poppler = pytest.mark.skipif(
    shutil.which("pdftotext") is None and "CI" not in os.environ, reason="pdftotext (poppler-utils) is not installed"
)


def printed(visitor: Visitor, folder: Path) -> list[list[tuple[float, float, float, float, str]]]:
    """Print what the browser shows on A4, and return the words of each page: left, top, right, bottom, text."""
    visitor.page.pdf(path=folder / "page.pdf", format="A4")
    done = subprocess.run(["pdftotext", "-bbox", "page.pdf", "-"], cwd=folder, check=True, capture_output=True)
    return [
        [(float(x), float(y), float(right), float(low), word) for x, y, right, low, word in WORD.findall(page)]
        for page in done.stdout.decode().split("<page ")[1:]
    ]


def text(pages: list[list[tuple[float, float, float, float, str]]]) -> str:
    return " ".join(word for page in pages for *_, word in page)


def over_one_another(page: list[tuple[float, float, float, float, str]]) -> list[tuple[str, str]]:
    """Return the pairs of words that cover each other by more than a fifth of the smaller.

    A word's box is as tall as its type may ever be, which is more than a line: the middle half of it is taken.
    """
    box = np.array([word[:4] for word in page])
    quarter = (box[:, 3] - box[:, 1]) / 4
    box[:, 1] += quarter
    box[:, 3] -= quarter
    low, high = np.maximum(box[:, None, :2], box[None, :, :2]), np.minimum(box[:, None, 2:], box[None, :, 2:])
    common = np.clip(high - low, 0, None).prod(axis=-1)
    area = (box[:, 2:] - box[:, :2]).prod(axis=-1)
    pairs = np.argwhere(np.triu(common > 0.2 * np.minimum(area[:, None], area[None, :]), 1))
    return [(page[one][4], page[other][4]) for one, other in pairs]


@needs_poppler
@pytest.mark.parametrize("place", PAGES)
def test_a_page_prints_what_lies_open_on_few_sheets_and_nothing_over_one_another(
    read_demo: Served, visit: Visit, tmp_path: Path, place: str
) -> None:
    most, there, not_there = PAGES[place]
    visitor = visit(read_demo)
    visitor.open(place)
    pages = printed(visitor, tmp_path)
    said = text(pages)
    assert 1 <= len(pages) <= most
    for words in there:
        assert words in said, words
    for words in not_there:
        assert words not in said, words
    assert [over_one_another(page) for page in pages] == [[] for _ in pages]


@needs_poppler
def test_what_happened_with_a_commission_takes_the_sheets_width(
    read_demo: Served, visit: Visit, tmp_path: Path
) -> None:
    """A4 is 595 points wide; 14 mm at either side are left white."""
    visitor = visit(read_demo)
    visitor.open("commissions?commission=1")
    pages = printed(visitor, tmp_path)
    words = [word for page in pages for word in page]
    said = [word[4] for word in words]
    heading = said.index("happened")
    handover = next(at for at in range(heading, len(said)) if said[at : at + 4] == ["hand", "over", "with", "the"])
    assert words[handover][0] < 100, "it stands below, not beside"
    story = words[heading + 1 : handover - 1]
    assert len(story) > 60 and max(right for _, _, right, *_ in story) > 480


@needs_poppler
def test_what_is_unfolded_is_printed_too(read_demo: Served, visit: Visit, tmp_path: Path) -> None:
    visitor = visit(read_demo)
    visitor.open("suggestions?target=1")
    visitor.page.locator('[class*="st-key-panel-place"]').first.wait_for()  # what it shows till then folds again
    visitor.settle()
    visitor.page.locator("summary", has_text="Cautions for these chemicals").first.click()
    visitor.sees(re.compile("Hot metal looks like cold metal"))
    assert "Hot metal looks like cold metal" in text(printed(visitor, tmp_path))


@needs_poppler
def test_paper_is_white_and_finishes_keep_their_neutral_grey(read_demo: Served, visit: Visit, tmp_path: Path) -> None:
    """The commission's page is warm on the screen, and panels are grey there: neither is worth ink."""
    visitor = visit(read_demo)
    for place in ("commissions?commission=1", "suggestions?target=1"):
        visitor.open(place)
        printed(visitor, tmp_path)
        subprocess.run(["pdftoppm", "-r", "50", "-png", "-singlefile", "page.pdf", "page"], cwd=tmp_path, check=True)
        seen = np.asarray(Image.open(tmp_path / "page.png").convert("RGB"))
        assert (seen == 255).all(axis=-1).mean() > 0.5, place
        assert (np.abs(seen.astype(int) - 0x89) <= 1).all(axis=-1).sum() > 300, f"{place}: no mat under its finishes"
