"""The paper of every sheet: its sizes, type that is embedded and holds the signs that are needed, tables over pages."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from matcher.errors import StudioError
from matcher.sheets.paper import A4, LETTER, in_type, lacking, lacking_in_words, listed, paper_named, said, sheet, table
from matcher.trials.stocks import Stock
from tests.test_sheets import needs_poppler


def as_printed(pdf: bytes, folder: Path, *more: str) -> str:
    """What Poppler reads of a PDF, set out as on the page."""
    (folder / "sheet.pdf").write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", "-layout", *more, "sheet.pdf", "-"], cwd=folder, check=True, capture_output=True, text=True
    )
    return done.stdout


def asked(pdf: bytes, folder: Path, tool: str) -> str:
    (folder / "sheet.pdf").write_bytes(pdf)
    return subprocess.run([tool, "sheet.pdf"], cwd=folder, check=True, capture_output=True, text=True).stdout


@needs_poppler
def test_the_paper_has_the_sizes_of_its_standards(tmp_path):
    """ISO 216: A4 is 210 by 297 mm, 595.28 by 841.89 points; ANSI A ("letter") is 612 by 792 points."""
    for paper, size in ((A4, "595.276 x 841.89"), (LETTER, "612 x 792")):
        assert f"Page size:       {size}" in asked(sheet([said("Bottle")], "Bottle", paper), tmp_path, "pdfinfo")
    assert paper_named(" letter") is LETTER
    with pytest.raises(StudioError, match="Choose the paper from A4, Letter"):
        paper_named("foolscap")


@needs_poppler
def test_what_is_drawn_is_drawn_in_type_that_travels_with_the_sheet(tmp_path):
    story = [said("Plain", lead="Bold"), *listed(["one", "two"]), table(["a"], [["b"]], [1])]
    fonts = asked(sheet(story, "Bottle", foot="foot"), tmp_path, "pdffonts").splitlines()[2:]
    drawn = [line for line in fonts if "DejaVuSans" in line]
    assert len(drawn) == 2 and all(line.split()[-5:-2] == ["yes", "yes", "yes"] for line in drawn)
    assert [line.split()[0] for line in fonts if line not in drawn] in ([], ["Helvetica"])  # named first, never used


@needs_poppler
def test_the_signs_of_the_trade_and_accented_names_are_printed(tmp_path):
    words = "½ ¼ ¾ ° ² ³ · × − ± – … é ü ñ ø ł č ß Ł"
    printed = as_printed(sheet([said(f"ΔE00 {words}")], "Bottle"), tmp_path)
    assert f"ΔE00 {words}" in printed


@needs_poppler
def test_names_in_greek_cyrillic_and_the_accents_of_europe_are_printed_plain_and_bold(tmp_path):
    """Pangrams of the alphabets, and invented names."""
    names = (
        "Ξεσκεπάζω την ψυχοφθόρα βδελυγμία", "Съешь же ещё этих мягких французских булок",
        "Zażółć gęślą jaźń", "Příliš žluťoučký kůň", "Árvíztűrő tükörfúrógép", "Pijamalı hasta yağız şoföre", "Őry",
        "Їжак, Ґанок, Ђурђевак", "Հերոն", "ჩვენი ყანჩა",
    )  # fmt: skip
    printed = as_printed(sheet([said(name, lead=name) for name in names], "Names", head=("Ηρώ", "Чайка")), tmp_path)
    assert all(printed.count(name) == 2 for name in names), printed
    assert "Ηρώ" in printed and "Чайка" in printed
    assert lacking(*names) == ""


def test_a_letter_that_the_type_lacks_loses_its_accent_and_another_script_is_not_passed_over():
    assert in_type("Őry") == "Őry" and in_type("Fe(NO₃)₃") == "Fe(NO₃)₃" and in_type("a\tb") == "a b"
    assert in_type("銅 и") == "? и" and in_type("a\0b") == "ab"
    assert in_type("שלום") == "????", "drawn sign by sign it would stand the wrong way round"


def test_what_cannot_be_printed_is_known_before_from_whatever_is_printed():
    bottle = Stock("銅 1", "ferric nitrate", 400.0, made_by="山田?")
    assert lacking("Ann?", {"to": ["鷺", bottle]}, None, 3.5) == "鷺銅山田"
    assert lacking_in_words("") == "" and lacking_in_words("鷺銅").startswith("The sheets can't print 鷺 銅: a ?")
    assert lacking_in_words("".join(map(chr, range(0x4E00, 0x4E30)))).count(" …") == 1


@needs_poppler
def test_text_is_never_markup_and_long_names_stay_on_the_page(tmp_path):
    long = "x" * 300
    pdf = sheet([said("<b>a & b</b> <para>"), said(long), table(["name"], [[long]], [1])], long, head=(long, long))
    printed = as_printed(pdf, tmp_path)
    assert "<b>a & b</b> <para>" in printed
    assert printed.count("x") >= 600 and max(map(len, printed.splitlines())) < 150


@needs_poppler
def test_a_table_repeats_its_head_on_each_page_and_splits_a_row_that_is_taller(tmp_path):
    rows = [[f"bottle {number}", "ferric nitrate"] for number in range(120)] + [["last", "words " * 2000]]
    printed = as_printed(sheet([table(["label", "chemical"], rows, [1, 3])], "Bottles", foot="Safety first"), tmp_path)
    pages = printed.split("\f")[:-1]
    assert len(pages) > 4
    for number, page in enumerate(pages, start=1):
        assert page.split()[:2] == ["label", "chemical"]
        assert f"page {number} of {len(pages)}" in page and "Safety first" in page
    assert printed.count("words") == 2000 and all(f"bottle {number} " in printed for number in range(120))


def test_a_sheet_is_the_same_every_time():
    assert sheet([said("Bottle")], "Bottle") == sheet([said("Bottle")], "Bottle")
