"""Recipe cards, session sheets, sign-offs and edition records as they are printed: whole, in the margins, in words."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matcher.commissions.commission import HANDOVER, Area, Commission, JournalLine
from matcher.commissions.control_chart import control_chart
from matcher.commissions.sign_off import SignOff
from matcher.errors import StudioError
from matcher.photo.small import jpeg_of
from matcher.printed import plate_card, shown_of
from matcher.reading.reading import Reading
from matcher.recipe.cautions import cautions_for
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.sheets.drawn import Shown
from matcher.sheets.edition_record import AreaRecord, edition_record
from matcher.sheets.paper import A4, LETTER, MARGIN_MM, MM, Paper
from matcher.sheets.recipe_sheets import OnTheCard, PlannedPlate, recipe_card, session_sheet
from matcher.sheets.sign_off_sheet import sign_off_sheet
from matcher.studio import Studio

needs_poppler = pytest.mark.skipif(
    shutil.which("pdftotext") is None and "CI" not in os.environ, reason="pdftotext (poppler-utils) is not installed"
)
WORD = re.compile(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*?)</word>')
LONG = "Ödön's ½-size heron, Grünspan & verdigris " * 6
RECIPE = Recipe(
    "silicon bronze",
    Undercoat("liver of sulphur", 0.5, 0.25),
    (Coat("cupric nitrate", 0.25, 3, 100.0), Coat("ferric nitrate", 0.5, 23, 105.0)),
    Seal("wax", 3, hot=True),
)
MANY = Recipe("x" * 150, RECIPE.undercoat, tuple(Coat("ferric nitrate", 0.5, 6 + k, 105.0) for k in range(40)))
GREY = jpeg_of(np.full((60, 60, 3), 119, np.uint8))
TARGET = Shown("Target", np.array([40.0, 14.0, 22.0]), GREY)
PLATE = Shown("Plate 88, waxed", np.array([39.0, 14.0, 23.0]))


def text_of(pdf: bytes, folder: Path) -> str:
    (folder / "sheet.pdf").write_bytes(pdf)
    done = subprocess.run(["pdftotext", "-layout", "sheet.pdf", "-"], cwd=folder, check=True, capture_output=True)
    return re.sub(r"\s+", " ", done.stdout.decode())


def words_of(pdf: bytes, folder: Path) -> list[tuple[float, float, float, float]]:
    """Return left, top, right, bottom of every word, in points."""
    (folder / "sheet.pdf").write_bytes(pdf)
    done = subprocess.run(["pdftotext", "-bbox", "sheet.pdf", "-"], cwd=folder, check=True, capture_output=True)
    found = [tuple(map(float, groups[:4])) for groups in WORD.findall(done.stdout.decode())]
    return [(left, top, right, bottom) for left, top, right, bottom in found]


def commission(title: str = "Heron fountain (invented)", areas: int = 2) -> Commission:
    return Commission(title, "silicon bronze", client="the town (invented)", casts=8,
                      areas=tuple(Area(f"area {n}", 1200.0, 1) for n in range(areas)))  # fmt: skip


def signed(**changed: Any) -> SignOff:
    by, light = "A. Quill-Marsh (invented)", "daylight, north window"
    made = SignOff(1, 1, 88, by, light, Reading(TARGET.lab), Reading(PLATE.lab), RECIPE, stage="waxed", id=3)
    return replace(made, **changed)


def record(area: Area, casts: int) -> AreaRecord:
    start = datetime(2026, 1, 5, tzinfo=UTC)
    made = [(n, start + timedelta(days=60 * n), Reading((40 - 0.6 * n, 14, 22))) for n in range(1, casts + 1)]
    chart = control_chart(Reading(PLATE.lab), made, np.diag([0.25, 0.16, 0.25]), 2.0)
    return AreaRecord(area, signed(), chart, shown=(TARGET, PLATE))


def all_sheets(paper: Paper) -> dict[str, bytes]:
    job = commission(LONG, 3)
    records = [record(job.areas[0], 30), record(job.areas[1], 0), AreaRecord(job.areas[2])]
    journal = [JournalLine(1, LONG * 3, HANDOVER)]
    return {
        "card": recipe_card(OnTheCard("Plate 88", RECIPE, (TARGET, PLATE), ("Made 3 May 2026",), LONG), LONG, paper),
        "long card": recipe_card(OnTheCard(LONG, MANY, (), (LONG,), "y" * 400), LONG, paper),
        "session": session_sheet([PlannedPlate(RECIPE, PLATE, "near"), PlannedPlate(MANY)], LONG, LONG, TARGET, paper),
        "sign-off": sign_off_sheet(
            job, job.areas[0], signed(note=LONG, signed_by=LONG), (TARGET, PLATE), True, LONG, paper
        ),
        "edition": edition_record(job, records, journal, True, LONG, paper),
    }


@needs_poppler
@pytest.mark.parametrize("paper", [A4, LETTER])
def test_nothing_runs_over_the_margins_however_long_the_names_are(paper: Paper, tmp_path: Path) -> None:
    for name, pdf in all_sheets(paper).items():
        words = np.array(words_of(pdf, tmp_path))
        edge, slack = MARGIN_MM * MM, 1.0
        assert words[:, 0].min() > edge - slack and words[:, 2].max() < paper.width_mm * MM - edge + slack, name
        assert words[:, 1].min() > edge - 4 and words[:, 3].max() < paper.height_mm * MM - edge + 4, name


@needs_poppler
def test_type_is_embedded_and_the_trades_signs_are_in_it(tmp_path: Path) -> None:
    for name, pdf in all_sheets(A4).items():
        (tmp_path / "sheet.pdf").write_bytes(pdf)
        fonts = subprocess.run(["pdffonts", "sheet.pdf"], cwd=tmp_path, check=True, capture_output=True).stdout.decode()
        assert fonts.splitlines()[2:] and all(" yes yes " in line for line in fonts.splitlines()[2:]), name
    text = text_of(all_sheets(A4)["sign-off"], tmp_path)
    assert "ΔE00" in text and "cm²" in text and "Ödön" in text and "Grünspan" in text and "½" in text


@needs_poppler
def test_a_card_has_every_step_a_box_for_every_pass_and_all_cautions(tmp_path: Path) -> None:
    text = text_of(recipe_card(OnTheCard("Plate 88", RECIPE)), tmp_path)
    for step in ("1. Liver of sulphur, half strength", "2. Wash", "3. Burnish back 25 %", "105 °C (221 °F)", "6. Wax"):
        assert step in text
    for caution in cautions_for(RECIPE):
        assert caution.message[:40] in text
    assert "5 10 15 20" in text, "every fifth of 23 boxes is numbered"
    assert "common practice, no source" in text


@pytest.fixture
def opened_demo(master_demo: Path) -> Iterator[Studio]:
    with Studio.open(master_demo) as opened:
        yield opened


def pages_of(pdf: bytes, folder: Path) -> int:
    (folder / "sheet.pdf").write_bytes(pdf)
    done = subprocess.run(["pdfinfo", "sheet.pdf"], cwd=folder, check=True, capture_output=True).stdout.decode()
    return int(re.search(r"Pages: +(\d+)", done)[1])  # type: ignore[index]


@needs_poppler
@pytest.mark.parametrize("paper", [A4, LETTER])
def test_a_recipe_of_five_steps_takes_one_page_which_nobody_must_turn(
    paper: Paper, opened_demo: Studio, tmp_path: Path
) -> None:
    pdf = plate_card(opened_demo, 88, paper)
    assert pages_of(pdf, tmp_path) == 1
    (tmp_path / "sheet.pdf").write_bytes(pdf)
    raw = subprocess.run(["pdftotext", "-raw", "sheet.pdf", "-"], cwd=tmp_path, check=True, capture_output=True).stdout
    text = re.sub(r"\s+", " ", raw.decode())
    for caution in cautions_for(opened_demo.trial(88).recipe):
        assert caution.message in text, "whole, and in one column"
    assert "Toffee again" in text and "5. Wax" in text


@needs_poppler
def test_a_card_names_the_bottle_of_each_layer_and_asks_for_one_where_none_is_named(
    opened_demo: Studio, tmp_path: Path
) -> None:
    text = text_of(plate_card(opened_demo, 88), tmp_path)
    assert "From Fe 2, lot F-2309, 400 g/L of Fe(NO3)3·9H2O: mixed to 100 g/L." in text
    assert re.search(r"From bottle …+ of …+ g/L: the recipe names none\.", text), "of its undercoat"


@needs_poppler
def test_a_plate_marked_with_its_own_number_is_named_once(opened_demo: Studio, tmp_path: Path) -> None:
    assert opened_demo.trial(88).piece == "plate 88"
    assert "Plate 88: plate 88" not in text_of(plate_card(opened_demo, 88), tmp_path)


@needs_poppler
def test_the_recipe_is_kept_back_from_a_client_unless_chosen(tmp_path: Path) -> None:
    job = commission()
    kept = text_of(sign_off_sheet(job, job.areas[0], signed(), (TARGET, PLATE)), tmp_path)
    given = text_of(sign_off_sheet(job, job.areas[0], signed(), (TARGET, PLATE), with_recipe=True), tmp_path)
    assert "ferric nitrate" not in kept and "23 passes" in given
    edition = edition_record(job, [record(job.areas[0], 3)])
    assert "ferric nitrate" not in text_of(edition, tmp_path)


@needs_poppler
def test_a_sign_off_says_how_near_the_plate_is_and_who_approved_it_in_what_light(tmp_path: Path) -> None:
    job = commission()
    text = text_of(sign_off_sheet(job, job.areas[0], signed(), (TARGET, PLATE)), tmp_path)
    for said in (
        "Plate 88, waxed",
        "matches the target within the tolerance",
        "A. Quill-Marsh",
        "north window",
        "signature",
    ):
        assert said in text
    assert re.search(r"How the plate differs: [^.]+\.", text), "a sentence that stands by itself"
    sheet = sign_off_sheet(job, job.areas[0], signed(), (TARGET, PLATE))
    (tmp_path / "sheet.pdf").write_bytes(sheet)
    laid = subprocess.run(["pdftotext", "-layout", "sheet.pdf", "-"], cwd=tmp_path, check=True, capture_output=True)
    assert not re.search(r"[Lab]\*\s*$", laid.stdout.decode(), re.MULTILINE), "a figure stands on its name's line"
    far = signed(plate=Reading((60, 5, 5)))
    assert "outside the tolerance, and is approved as it is" in text_of(
        sign_off_sheet(job, job.areas[0], far, (TARGET, PLATE)), tmp_path
    )
    gone = signed(withdrawn_at=datetime(2027, 1, 2, tzinfo=UTC), withdrawn_reason="seen outdoors")
    withdrawn = text_of(sign_off_sheet(job, job.areas[0], gone, (TARGET, PLATE)), tmp_path)
    assert "Withdrawn 2 January 2027: seen outdoors" in withdrawn and "holds no longer" in withdrawn
    assert "frozen" in text and "frozen" not in withdrawn


@needs_poppler
def test_an_edition_says_each_cast_its_drift_and_what_to_know(tmp_path: Path) -> None:
    job = commission()
    journal = [JournalLine(1, "Wax again each spring.", HANDOVER), JournalLine(1, "Sent the crane bill.")]
    text = text_of(edition_record(job, [record(job.areas[0], 8), AreaRecord(job.areas[1])], journal), tmp_path)
    for said in ("cast 8", "a drift, not chance", "Western Electric", "Nothing is signed off yet", "each spring"):
        assert said in text
    assert "crane" not in text, "notes are the studio's own"
    assert "Area 0" in text and "Area 1" in text, "areas begin with a capital, as on the page"


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: session_sheet([], "s"), "Plan a plate first"),
        (lambda: session_sheet([PlannedPlate(RECIPE)] * 201, "s"), "at most 200"),
    ],
)
def test_what_cannot_be_printed_says_why(make: Callable[[], bytes], says: str) -> None:
    with pytest.raises(StudioError, match=says):
        make()


@needs_poppler
def test_the_command_line_prints_plates_sessions_and_first_plates(
    run: Any, refused: Any, master_demo: Path, tmp_path: Path
) -> None:
    demo = ("--studio", shutil.copytree(master_demo, tmp_path / "demo"))
    for name, command, says in (
        ("card.pdf", ("trials", "card", "3", tmp_path / "card.pdf", "--paper", "letter"), "Plate 3"),
        ("first.pdf", ("first-plates", "--chemical", "ferric nitrate", "--plates", "4",
                       "--sheet", tmp_path / "first.pdf"), "First plates"),
        ("next.pdf", ("next", "--lab", "38,14,22", "--plates", "2", "--sheet", tmp_path / "next.pdf"), "Session"),
    ):  # fmt: skip
        code, out, err = run(*command, *demo)
        assert (code, err) == (0, "") and f"Wrote {tmp_path / name}" in out
        assert says in text_of((tmp_path / name).read_bytes(), tmp_path)
    assert "card.pdf" in refused("trials", "card", "3", tmp_path / "card.pdf", *demo)
    assert "A4, Letter" in refused("trials", "card", "3", tmp_path / "new.pdf", "--paper", "A3", *demo)


def test_a_finish_without_its_photograph_is_said_to_be_a_plain_colour(studio: Studio) -> None:
    typed = shown_of(studio, "Target", Reading(TARGET.lab))
    assert (typed.name, typed.patch) == ("Target (plain colour)", None)
    gone = replace(Reading(TARGET.lab), photo="ab" * 32, region=np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0]]))
    assert shown_of(studio, "Plate 3", gone).name == "Plate 3 (plain colour)"
