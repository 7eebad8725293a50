"""Trials as a table: for a spreadsheet, and from a log kept by hand."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from matcher.errors import StudioError
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.studio import Studio
from matcher.trials import spreadsheet
from matcher.trials.spreadsheet import RowProblems, columns, opened_table, planned_table, waiting_in_words
from matcher.trials.trial import Trial
from tests.example_counts import examples
from tests.plates import MADE_AT, a_recipe, a_target, a_trial, recipes

BY_HAND = """alloy,coat_1_chemical,coat_1_strength_of_stock,coat_1_passes,coat_1_surface_temp_c,lab_l,lab_a,lab_b,notes
silicon bronze,ferric nitrate,0.5,6,105,38.1,14.2,22.0,even
silicon bronze,ferric nitrate,0.25,4,104,45.0,12.0,25.5,"two lines,
with a comma"
silicon bronze,,,,,70.1,3.0,11.0,bare
"""


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio.open(tmp_path / "studio") as opened:
        yield opened


def read_table(path: Path) -> list[tuple[int, Trial | str]]:
    with opened_table(path) as found:
        return list(found)


def a_table(folder: Path, text: str | bytes, name: str = "log.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


def cells_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"), newline="")))


def test_a_log_kept_by_hand_is_taken_in(studio: Studio, tmp_path: Path) -> None:
    brought = studio.import_file(a_table(tmp_path, BY_HAND), who="Ann")
    assert (brought.trials, brought.problems) == (3, ())
    first, second, bare = studio.trials()
    assert first.recipe == Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, 6, 105.0),))
    np.testing.assert_array_equal(first.reading.lab, [38.1, 14.2, 22.0])
    np.testing.assert_array_equal(first.reading.covariance, Reading(np.array([38.1, 14.2, 22.0])).covariance)
    assert second.notes == "two lines,\nwith a comma"
    assert bare.recipe == Recipe("silicon bronze")
    assert [(c.who, c.what) for c in studio.history("trial", 1)] == [("Ann", "imported")]


def test_the_same_log_taken_in_again_counts_once_and_new_rows_are_added(studio: Studio, tmp_path: Path) -> None:
    studio.import_file(a_table(tmp_path, BY_HAND))
    longer = BY_HAND + "silicon bronze,ferric nitrate,1,2,104,30,10,12,\n"
    again = studio.import_file(a_table(tmp_path, longer))
    assert (again.trials, again.trials_here_before) == (1, 3)
    assert len(studio.trials()) == 4


def test_two_rows_that_say_the_same_are_two_plates(studio: Studio, tmp_path: Path) -> None:
    twice = "alloy,lab_l,lab_a,lab_b\nbronze,40,10,20\nbronze,40,10,20\n"
    for expected in (2, 0):
        assert studio.import_file(a_table(tmp_path, twice)).trials == expected
    assert len(studio.trials()) == 2


def test_a_table_that_was_exported_comes_back_the_same(studio: Studio, tmp_path: Path) -> None:
    studio.save_stock("Fe-1", "ferric nitrate", 400.0)
    target = studio.save_target(a_target())
    studio.record(a_trial(recipe=a_recipe(stock="Fe-1"), target_id=target.id, stages=(), notes="=1+1\n'quoted'"))
    studio.record(Trial(Recipe("bronze"), Reading(np.array([70.0, 3.0, 11.5]), np.diag([0.04, 0.01, 0.09])), MADE_AT))
    studio.set_aside(2, "-- streaky")
    assert studio.export(tmp_path / "out.csv").trials == 2
    with Studio.open(tmp_path / "other") as other:
        other.save_stock("Fe-1", "ferric nitrate", 400.0)
        other.import_file(tmp_path / "out.csv")
        for there, here in zip(studio.trials(True), other.trials(True), strict=True):
            assert (here.uid, here.recipe, here.made_at, here.notes) == (
                there.uid,
                there.recipe,
                there.made_at,
                there.notes,
            )
            assert (here.piece, here.made_by, here.set_aside) == (there.piece, there.made_by, there.set_aside)
            assert here.ambient_temp_c == there.ambient_temp_c
            np.testing.assert_array_equal(here.reading.lab, there.reading.lab)
            np.testing.assert_allclose(np.diag(here.reading.covariance), np.diag(there.reading.covariance), rtol=1e-12)
    assert studio.import_file(tmp_path / "out.csv").trials_here_before == 2
    assert cells_of(tmp_path / "out.csv")[0]["target"] == "the client's bust"


@examples(40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(recipe=recipes, lab=st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100)))
def test_any_recipe_comes_back_from_a_table(tmp_path: Path, recipe: Recipe, lab: tuple[float, ...]) -> None:
    path = tmp_path / "out.csv"
    path.unlink(missing_ok=True)
    spreadsheet.export_table([Trial(recipe, Reading(np.array(lab)), MADE_AT, uid="u")], path, {})
    ((_, trial),) = read_table(path)
    assert isinstance(trial, Trial)
    assert trial.recipe == recipe
    np.testing.assert_array_equal(trial.reading.lab, lab)


# Not a formula


@pytest.mark.parametrize("text", ["=HYPERLINK(1)", "+1", "-1+2", "@SUM(A1)", "\t=1", "'=1", "''=1", "=", "-"])
def test_text_that_a_spreadsheet_would_run_is_written_as_text_and_read_back(
    studio: Studio, tmp_path: Path, text: str
) -> None:
    studio.record(a_trial(notes=text, piece=text, made_by=text, stages=()))
    studio.export(tmp_path / "out.csv")
    (cells,) = cells_of(tmp_path / "out.csv")
    for name in ("notes", "piece", "made_by"):
        assert cells[name].startswith("'")
    ((_, trial),) = read_table(tmp_path / "out.csv")
    assert isinstance(trial, Trial)
    assert trial.notes == text
    assert trial.piece == " ".join(text.split())


def test_no_cell_of_text_begins_like_a_formula_and_numbers_stay_numbers(studio: Studio, tmp_path: Path) -> None:
    odd = Recipe(
        "=alloy",
        Undercoat("+under", 0.5),
        (Coat("-chemical", 0.5, 3, 104.0, "@application"),),
        Seal("=seal"),
        "-surface",
    )
    studio.record(a_trial(recipe=odd, reading=Reading(np.array([30.0, -10.5, -20.25])), notes="@"))
    studio.set_aside(1, "=reason")
    studio.export(tmp_path / "out.csv")
    (cells,) = cells_of(tmp_path / "out.csv")
    begin = [name for name, cell in cells.items() if re.match(r"[=+\-@\t\r]", cell)]
    assert begin == ["lab_a", "lab_b"]
    assert (float(cells["lab_a"]), float(cells["lab_b"])) == (-10.5, -20.25)


# As spreadsheets save it


def test_a_mark_before_the_first_column_is_accepted(studio: Studio, tmp_path: Path) -> None:
    assert studio.import_file(a_table(tmp_path, b"\xef\xbb\xbf" + BY_HAND.encode())).trials == 3


def test_utf_16_is_accepted(studio: Studio, tmp_path: Path) -> None:
    assert studio.import_file(a_table(tmp_path, BY_HAND.encode("utf-16"))).trials == 3


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_line_end_is_accepted(studio: Studio, tmp_path: Path, end: str) -> None:
    plain = "alloy,lab_l,lab_a,lab_b\nbronze,40,10,20\nbrass,60,0,30\n"
    assert studio.import_file(a_table(tmp_path, plain.replace("\n", end))).trials == 2


def test_semicolons_come_with_decimal_commas(studio: Studio, tmp_path: Path) -> None:
    studio.import_file(a_table(tmp_path, "Alloy;Lab L;lab_a;lab_b;ambient_temp_c\nbronze;38,5;−1,25;2.5;18\n"))
    (trial,) = studio.trials()
    np.testing.assert_array_equal(trial.reading.lab, [38.5, -1.25, 2.5])
    assert trial.ambient_temp_c == 18.0


def test_empty_rows_and_columns_do_no_harm(studio: Studio, tmp_path: Path) -> None:
    assert studio.import_file(a_table(tmp_path, "alloy,lab_l,lab_a,lab_b,,\n,,,,,\nbronze,1,2,3,,\n\n")).trials == 1


# Planned


def test_planned_rows_wait_until_their_plate_is_made(studio: Studio, tmp_path: Path) -> None:
    recipes_planned = [a_recipe(passes=passes) for passes in (2, 4, 6, 8)]
    planned = planned_table(recipes_planned, ["", "first", "=1", ""])
    rows = list(csv.DictReader(io.StringIO(planned.decode("utf-8-sig"), newline="")))
    taken = {}
    for filled in (1, 4):  # one plate is made, the table taken in; then the rest, and the same table again
        for made in rows[:filled]:
            made |= {"lab_l": "38.1", "lab_a": "14.2", "lab_b": "22"}
        stream = io.StringIO(newline="")
        table = csv.DictWriter(stream, list(rows[0]))
        table.writeheader()
        table.writerows(rows)
        taken[filled] = studio.import_file(a_table(tmp_path, stream.getvalue()))
    assert (taken[1].trials, taken[1].unfilled, taken[1].problems) == (1, 3, ())
    assert (taken[4].trials, taken[4].unfilled, taken[4].trials_here_before) == (3, 0, 1)
    assert [trial.recipe for trial in studio.trials()] == recipes_planned
    assert waiting_in_words(3) == "3 rows have no colour yet: passed over until the plate is made."


def test_a_row_that_was_measured_in_part_is_still_named(studio: Studio, tmp_path: Path) -> None:
    with pytest.raises(RowProblems, match="Row 2: Fill in 'lab_b'"):
        studio.import_file(a_table(tmp_path, "alloy,lab_l,lab_a,lab_b\nbronze,38,14,\nbronze,,,\n"))


# Refused


HEAD = (
    "alloy,undercoat,undercoat_strength_of_stock,coat_1_chemical,coat_1_strength_of_stock,coat_1_passes,"
    "coat_1_surface_temp_c,coat_2_chemical,seal,seal_first_coat_hot,made_at,lab_l,lab_a,lab_b,sigma_l,sigma_a,"
    "sigma_b,coat_1_stock,ambient_humidity_percent,set_aside\n"
)


def row(**cells: str) -> str:
    told = {"alloy": "bronze", "lab_l": "40", "lab_a": "10", "lab_b": "20"} | cells
    return ",".join(told.get(name, "") for name in HEAD.strip().split(",")) + "\n"


@pytest.mark.parametrize(
    ("cells", "word"),
    [
        ({"alloy": ""}, "alloy"),
        ({"lab_l": ""}, "Fill in 'lab_l'"),
        ({"lab_a": "red"}, "Give 'lab_a' as a number: 'red'"),
        ({"lab_l": "400"}, "L* from 0 to 100"),
        ({"lab_l": "nan"}, "as a number"),
        ({"sigma_l": "1"}, "Fill in 'sigma_a'"),
        ({"sigma_l": "1", "sigma_a": "-1", "sigma_b": "1"}, "sigma_a"),
        ({"coat_1_strength_of_stock": "0.5", "coat_1_passes": "3", "coat_1_surface_temp_c": "104"}, "coat's chemical"),
        ({"coat_2_chemical": "ferric nitrate"}, "Number the coats from 1"),
        ({"undercoat": "liver of sulphur", "undercoat_strength_of_stock": "50"}, "undercoat's strength"),
        ({"undercoat_strength_of_stock": "0.5"}, "column 'undercoat'"),
        ({"seal": "wax", "seal_first_coat_hot": "maybe"}, "yes or no"),
        ({"made_at": "31/03/2025"}, "Give the date as 2025-03-31"),
        ({"ambient_humidity_percent": "140"}, "humidity"),
        (
            {"coat_1_chemical": "ferric nitrate", "coat_1_strength_of_stock": "0.5", "coat_1_passes": "3",
             "coat_1_surface_temp_c": "104", "coat_1_stock": "none such"},
            "no stock labelled",
        ),
        ({"set_aside": "x" * 300}, "Shorten the reason"),
    ],
)  # fmt: skip
def test_a_bad_row_is_named_by_its_number_and_nothing_is_taken_in(
    studio: Studio, tmp_path: Path, cells: dict[str, str], word: str
) -> None:
    path = a_table(tmp_path, HEAD + row() + row(**cells) + row(lab_l="50"))
    with pytest.raises(RowProblems) as told:
        studio.import_file(path)
    (problem,) = told.value.problems
    assert problem.startswith("Row 3: ")
    assert word in problem
    assert problem.rstrip().endswith(".")
    assert "\n" not in str(told.value)
    assert studio.trials(include_set_aside=True) == []
    assert studio.history() == []
    brought = studio.import_file(path, skip_bad=True)
    assert (brought.trials, brought.problems) == (2, (problem,))
    assert [trial.reading.lab[0] for trial in studio.trials()] == [40.0, 50.0]


def test_every_bad_row_is_named(studio: Studio, tmp_path: Path) -> None:
    path = a_table(tmp_path, HEAD + row() + "".join(row(lab_a="red") for _ in range(30)))
    with pytest.raises(RowProblems, match="And 20 more") as told:
        studio.import_file(path)
    assert [problem.split(":")[0] for problem in told.value.problems] == [f"Row {n}" for n in range(3, 33)]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "is empty"),
        ("  \n \n", "is empty"),
        ("alloy,lab_l,lab_a\nbronze,1,2\n", "Add the column 'lab_b'"),
        ("alloy,lab_l,lab_a,lab_b,colour\nbronze,1,2,3,red\n", "Rename or remove the column 'colour'"),
        ("alloy,lab_l,lab_a,lab_b,coat_0_passes\n", "Rename or remove"),
        ("alloy,lab_l,lab_a,lab_b,lab_l\nbronze,1,2,3,4\n", "'lab_l' is there twice"),
        ('alloy,lab_l,lab_a,lab_b\n"bronze,1,2,3\n', "not a whole table"),
        (b"alloy,lab_l,lab_a,lab_b\nbr\xf6nze,1,2,3\n", "Save log.csv as CSV in UTF-8"),
        (b"alloy\0,lab_l", "Save log.csv as CSV in UTF-8"),
        (b"\xff\xfea", "Save log.csv as CSV in UTF-8"),
        (b"\xff\xd8\xff\xe0" + bytes(50), "Save log.csv as CSV in UTF-8"),
    ],
)
def test_a_table_that_cannot_be_read_gets_one_sentence(
    studio: Studio, tmp_path: Path, text: str | bytes, word: str
) -> None:
    with pytest.raises(StudioError, match=re.escape(word)) as told:
        studio.import_file(a_table(tmp_path, text))
    assert "\n" not in str(told.value)
    assert studio.trials() == []


def test_more_cells_than_columns_are_not_passed_over(studio: Studio, tmp_path: Path) -> None:
    with pytest.raises(RowProblems, match="Row 2: Check the separators"):
        studio.import_file(a_table(tmp_path, "alloy,lab_l,lab_a,lab_b\nbronze,38,5,14,0,22,0\n"))
    with pytest.raises(RowProblems, match="has none"):
        studio.import_file(a_table(tmp_path, "alloy,lab_l,lab_a,lab_b,\nbronze,38,5,14,note\n"))


def test_a_table_that_is_not_there_gets_one_sentence(studio: Studio, tmp_path: Path) -> None:
    with pytest.raises(StudioError, match="is not there"):
        studio.import_file(tmp_path / "nowhere.csv")


def test_an_oversized_table_is_refused_unread(studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spreadsheet, "MAX_CSV_BYTES", 100)
    with pytest.raises(StudioError, match="import it in parts"):
        studio.import_file(a_table(tmp_path, BY_HAND))


@examples(200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(st.text(max_size=8) | st.sampled_from(["0.5", "3", "yes", "40"]), max_size=12), max_size=4))
def test_any_cells_under_our_heading_are_trials_or_problems(tmp_path: Path, body: list[list[str]]) -> None:
    stream = io.StringIO()
    table = csv.writer(stream)
    table.writerow(columns(1)[6:18] + ["lab_l", "lab_a", "lab_b"])
    table.writerows(body)
    table.writerows([*cells, *[""] * (12 - len(cells)), "40", "10", "20"] for cells in body)
    try:
        found = read_table(a_table(tmp_path, stream.getvalue().encode("utf-8", "replace")))
    except StudioError as error:
        assert "\0" in stream.getvalue() or "whole table" in str(error)
        return
    measured = [given for at, given in found if at > len(body) + 1]
    assert all(measured) and len(measured) == len(body)
    assert all(given is None or isinstance(given, str) for at, given in found if at <= len(body) + 1)


def test_every_column_is_documented_where_a_person_looks() -> None:
    said: Any = spreadsheet.__doc__
    for name in columns(1):
        assert re.search(rf"\b{name}\b", said), name


def test_a_table_of_several_portions_is_taken_in_whole_or_not_at_all(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(spreadsheet, "_PORTION", 3)
    rows = [f"plate {n},2025-03-31,bronze,{30 + n},5,14" for n in range(8)]
    text = "\n".join(["uid,made_at,alloy,lab_l,lab_a,lab_b", *rows])
    with pytest.raises(RowProblems, match=r"Row 10: .*'x' is not"):
        studio.import_file(a_table(tmp_path, f"{text}\nplate 9,2025-03-31,bronze,x,5,14\n"))
    assert studio.trials() == []
    again = "plate 1,2025-03-31,bronze,31,5,14"  # the same plate twice counts once, another of its uid is refused
    with pytest.raises(RowProblems, match=r"Row 11: .*other content"):
        studio.import_file(a_table(tmp_path, f"{text}\n{again}\nplate 1,2025-03-31,bronze,99,5,14\n"))
    brought = studio.import_file(a_table(tmp_path, f"{text}\n{again}\n"))
    assert len(studio.trials()) == 8
    assert brought.problems == ()
    assert studio.import_file(a_table(tmp_path, text)).trials_here_before == 8


def test_only_so_many_problems_are_kept(studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spreadsheet, "_KEPT_PROBLEMS", 2)
    text = "alloy,lab_l,lab_a,lab_b\n" + "bronze,x,5,14\n" * 5 + "bronze,38,5,14\n"
    with pytest.raises(RowProblems, match="Row 3"):
        studio.import_file(a_table(tmp_path, text))
    brought = studio.import_file(a_table(tmp_path, text), skip_bad=True)
    assert brought.trials == 1
    assert len(brought.problems) == 3
    assert brought.problems[-1] == "And 3 more rows cannot be taken in."


def test_a_line_without_end_is_refused(studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spreadsheet, "MAX_LINE_CHARACTERS", 200)
    with pytest.raises(StudioError, match="over 200 characters"):
        studio.import_file(a_table(tmp_path, f"alloy,lab_l,lab_a,lab_b\nbronze,38,5,14{',' * 300}\n"))
    assert studio.trials() == []
