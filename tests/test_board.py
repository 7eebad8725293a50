"""The studio's own chart: which plates make it, kept until chosen anew, printed; page and command line. Invented."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import sqlalchemy as sa

from matcher import find_plates, open_photo
from matcher.errors import StudioError, TagError
from matcher.plates_beside import MOST_ON_BOARD, Board, board_of, board_with
from matcher.reading.reading import Reading
from matcher.sheets.board_sheet import OnTheBoard, board_sheet
from matcher.sheets.paper import A4, LETTER
from matcher.sheets.tag_sheet import PrintedTag
from matcher.studio import Studio
from matcher.tags.code import TagCode
from matcher.trials.trial import StageReading
from tests.app_pages import open_page, said_on
from tests.plates import a_recipe, a_trial
from tests.test_paper import as_printed
from tests.test_sheets import DOTS_PER_MM, needs_poppler, rendered

APP = Path(__file__).parents[1] / "ui" / "app.py"
LABS = np.column_stack([np.linspace(22, 62, 14), 9 + 8 * np.sin(np.arange(14)), 16 + 12 * np.cos(1.7 * np.arange(14))])


@pytest.fixture
def studio(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Studio]:
    """Fourteen plates measured with an instrument, of colours far apart."""
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    with Studio.open(tmp_path / "studio") as opened:
        opened.record_all(
            [a_trial(reading=Reading(lab), recipe=a_recipe(n + 1), stages=()) for n, lab in enumerate(LABS)]
        )
        yield opened


def numbered() -> list[tuple[int, Reading]]:
    return [(number, Reading(lab)) for number, lab in enumerate(LABS, 1)]


# What a board is worth


def test_a_board_that_is_kept_is_worth_what_it_was_chosen_for() -> None:
    best = board_of(numbered(), 8)
    again = board_with(numbered(), best.numbers)
    assert again.numbers == best.numbers and again.reaches == pytest.approx(best.reaches)
    others = [number for number, _ in numbered() if number not in best.numbers][:3]
    assert board_with(numbered(), others).reaches[-1] > best.reaches[3]


def test_plates_that_can_not_serve_are_left_out_and_named() -> None:
    board = board_with(numbered(), [3, 99, 5])
    assert (board.numbers, board.left_out, len(board.reaches)) == ((3, 5), (99,), 3)
    assert board_with(numbered(), [99]) == Board((), (), (99,)) and Board((), ()).words == ""


def test_the_gain_is_said_with_one_two_four_eight_and_all() -> None:
    board = Board(tuple(range(10)), tuple(float(20 - k) for k in range(11)))
    assert board.words.endswith("grey card alone ±20.0 (ΔE00); with so many of these plates beside it: one ±19.0, two "
                                "±18.0, four ±16.0, eight ±12.0 and all 10 ±10.0")  # fmt: skip
    assert Board((7,), (9.0, 5.0)).words.endswith(": the one ±5.0")


def test_a_plate_counts_with_the_colour_that_it_has_by_now(studio: Studio) -> None:
    waxed = Reading(LABS[0] - [8, 0, 0])
    studio.add_stage(1, StageReading("waxed", waxed))
    assert dict(studio._by_now())[1].lab == pytest.approx(waxed.lab)


# Kept


def test_a_board_stays_as_it_was_chosen_until_another_is_kept(studio: Studio) -> None:
    assert studio.kept_board() is None
    best = studio.board(8)
    studio.keep_board(best.numbers)
    studio.record(a_trial(reading=Reading((80, 30, -20)), recipe=a_recipe(9), notes="odd", stages=()))
    kept = studio.kept_board()
    assert kept is not None and kept.numbers == best.numbers
    assert studio.board(8).numbers != best.numbers, "a colour far from all others would be chosen by now"
    studio.set_aside(best.numbers[0], "scratched")
    kept = studio.kept_board()
    assert kept is not None and (kept.numbers, kept.left_out) == (best.numbers[1:], best.numbers[:1])
    for wrong, said in (([1] * 2, "once"), (range(1, 15), "at most 12"), ([99], "99"), (best.numbers[:1], "set aside")):
        with pytest.raises(StudioError, match=said):
            studio.keep_board(list(wrong))
    assert studio.kept_board() is not None, "what is refused changes nothing"
    studio.keep_board([])
    assert studio.kept_board() is None


def test_an_export_and_a_backup_carry_the_board(studio: Studio, tmp_path: Path) -> None:
    studio.keep_board([5, 3, 9])
    studio.export(tmp_path / "all.zip")
    studio.backup(tmp_path / "backup.zip")
    with Studio.open(tmp_path / "other") as other:
        other.import_file(tmp_path / "all.zip")
        kept = other.kept_board()
        assert kept is not None
        assert [other.trial(number).uid for number in kept.numbers] == [studio.trial(n).uid for n in (5, 3, 9)]
        other.keep_board([2])
        other.import_file(tmp_path / "all.zip")
        assert other.board_uids == (studio.trial(2).uid,), "a board that was chosen here stays"
    with Studio.restore(tmp_path / "backup.zip", tmp_path / "restored") as restored:
        assert restored.board_uids == studio.board_uids and not restored.restored_with


def test_a_board_that_cannot_be_read_is_none_and_another_can_be_kept(studio: Studio, tmp_path: Path) -> None:
    studio.keep_board([5, 3])
    for body in ("{", "[1]", '{"plates": 7}', '{"plates": ["nobody"]}'):
        with studio.database.writing() as session:
            session.execute(sa.text("UPDATE drafts SET body = :body"), {"body": body})
        assert studio.kept_board() is None
    studio.export(tmp_path / "all.zip")
    studio.keep_board([4])
    assert studio.board_uids == (studio.trial(4).uid,)


# Printed


def on_a_board(count: int) -> list[OnTheBoard]:
    return [
        OnTheBoard(number, LABS[number], PrintedTag(TagCode("K7QX2", number + 100), f"Plate {number}"))
        for number in range(1, count + 1)
    ]


@needs_poppler
@pytest.mark.parametrize(("size", "paper", "count"), [(25, LETTER, MOST_ON_BOARD), (15, A4, 8)])
def test_the_page_is_one_and_its_tags_are_found_and_true_to_size(size, paper, count, tmp_path) -> None:
    plates = on_a_board(count)
    pdf = board_sheet(plates, board_of(numbered(), 12).words, size, "192.168.1.20:8501", "Invented studio", paper)
    page = rendered(pdf, tmp_path)
    found = find_plates(open_photo(cv2.imencode(".png", page)[1].tobytes()))
    assert sorted(seen.tag for seen in found) == sorted(str(one.tag.code) for one in plates)
    for seen in found:
        sides = np.linalg.norm(seen.corners - np.roll(seen.corners, -1, axis=0), axis=1) / DOTS_PER_MM
        np.testing.assert_allclose(sides, size, atol=0.1)
    words = " ".join(as_printed(pdf, tmp_path).split())
    assert "page 1 of 1" in words
    for part in (
        "printed colour is not the plate's",
        "none touching another",
        "needs the finish marked once more",
        "with an instrument",
        "drifts alike",
    ):
        assert part in words
    assert all(f"Plate {one.number}" in words for one in plates)


def test_no_page_is_printed_of_no_plates_or_of_too_many() -> None:
    for count in (0, MOST_ON_BOARD + 1):
        with pytest.raises(TagError):
            board_sheet(on_a_board(count))


# On the command line


def test_the_command_line_chooses_prints_gives_and_keeps(studio: Studio, told: Any, run: Any, refused: Any) -> None:
    where, page = ("--studio", studio.name), Path(studio.name).parent / "board.pdf"
    found = told("tags", "board", "--count", 8, *where)
    assert len(found["plates"]) == 8 and not found["kept"] and set(found["tags"].values()) == {None}
    assert len(found["mean_reach_delta_e00"]) == 9
    printed = told("tags", "board", "--plates", "3,5", "--keep", "--out", page, "--give", *where)
    assert page.read_bytes().startswith(b"%PDF") and printed["kept"]
    assert studio.plate_of(printed["tags"]["5"]) == 5 and studio.plate_of(printed["tags"]["3"]) == 3
    _, out, _ = run("tags", "board", *where)
    assert out.startswith("The studio's board:\n    plate 3, ") and "a whole shelf that drifts alike" in out
    assert told("tags", "board", *where)["plates"] == [3, 5]
    assert len(told("tags", "board", "--anew", *where)["plates"]) == 10
    assert not told("tags", "board", "--forget", *where)["kept"]
    assert "8 to 12" in refused("tags", "board", "--count", 3, *where)
    assert "--out" in refused("tags", "board", "--give", *where)
    assert "Log a plate first" in refused("tags", "board", "--studio", _empty(page.parent))


def _empty(folder: Path) -> Path:
    Studio.open(folder / "empty").close()
    return folder / "empty"


# On the page


def test_the_log_chooses_a_board_keeps_it_and_gives_its_tags(studio: Studio) -> None:
    app = open_page("log")
    assert "with so many of these plates" not in said_on(app), "nothing is worked out before it is asked for"
    app.number_input(key="board.count").set_value(8).run()
    app.button(key="board.show").click().run()
    best = studio.board(8)
    assert "with so many of these plates" in said_on(app) and f">{best.numbers[0]}</a>" in said_on(app)
    app.button(key="board.keep").click().run()
    kept = studio.kept_board()
    assert kept is not None and kept.numbers == best.numbers
    body = said_on(app)
    assert "none touching another" in body and "a whole shelf that drifts alike" in body
    app.button(key="board.give").click().run()
    assert {one.trial_id for one in studio.tags().in_force()} == set(best.numbers)
    assert not any(button.key == "board.give" for button in app.button)
    app.button(key="board.anew").click().run()
    app.number_input(key="board.count").set_value(8).run()
    app.button(key="board.show").click().run()
    assert "the same plates would be chosen" in said_on(app)


def test_a_person_makes_a_board_of_plates_of_their_own_choice_and_keeps_none(studio: Studio) -> None:
    """Those that they have at hand, as ``tags board --plates`` does."""
    app = open_page("log")
    for typed, said in (("3, x", "with commas between them"), ("3, 99", "99"), ("3, 3", "once")):
        app.text_input(key="board.these").set_value(typed).run()
        app.button(key="board.show").click().run()
        assert said in said_on(app) and not any(button.key == "board.keep" for button in app.button)
    app.text_input(key="board.these").set_value("3, 5, 9").run()
    app.button(key="board.show").click().run()
    assert "and all 3" in said_on(app) and all(f">{number}</a>" in said_on(app) for number in (3, 5, 9))
    app.button(key="board.keep").click().run()
    kept = studio.kept_board()
    assert kept is not None and kept.numbers == (3, 5, 9)
    app.button(key="board.forget").click().run()
    assert not app.exception and studio.kept_board() is None


def test_an_empty_log_speaks_of_no_board(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("MATCHER_STUDIO", str(_empty(tmp_path)))
    assert "The studio's own chart" not in [folded.label for folded in open_page("log").expander]
