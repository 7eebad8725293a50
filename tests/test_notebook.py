"""A studio's own table of plates: read as it stands, its columns mapped once, taken in once, and remembered."""

from __future__ import annotations

import html
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from matcher.errors import StudioError
from matcher.notebook import OwnTable, plates_of, read_own_table
from matcher.notebook_columns import FAHRENHEIT, ONE_IN, PARTS, Meanings, Use, by_name
from matcher.recipe.recipe import Coat, Undercoat, not_noted
from matcher.studio import Studio
from matcher.trials.spreadsheet import RowProblems, is_own_table
from matcher.trials.stocks import Stock
from matcher.trials.trial import Trial
from tests.app_pages import plain
from tests.plates import MADE_AT, a_trial

APP = Path(__file__).parents[1] / "ui" / "app.py"

# Invented, as a workshop's spreadsheet might be: semicolons, decimal commas, a title above, °F, parts, gaps.
OLD = """Patina tests, shop book 3;;;;;;;;;;
;;;;;;;;;;
Date;Plate no.;Undercoat;Solution;Conc.;Passes;Temp (F);L*;a*;b*;Remarks
3.4.2019;A1;liver of sulphur;ferric nitrate;1:3;6;220;38,1;14,2;22,0;even
17.4.2019;A2;;ferric nitrate;1:1;?;;45;12;25,5;
18.4.2019;A3;;cupric nitrate;half;4;210;;;;not read yet
19.4.2019;A4;;ferric nitrate;1:1;many;215;40;13;20;smudged
"""


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio.open(tmp_path / "studio") as opened:
        yield opened


def a_table(folder: Path, text: str = OLD, encoding: str = "utf-8") -> OwnTable:
    (folder / "book.csv").write_bytes(text.encode(encoding))
    return read_own_table(folder / "book.csv")


def meant(table: OwnTable) -> Meanings:
    return replace(table.proposed(), alloy="silicon bronze")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("separator", [";", "\t", "|"])
def test_the_heading_is_found_below_a_title_in_any_separator_and_encoding(
    tmp_path: Path, encoding: str, separator: str
) -> None:
    table = a_table(tmp_path, OLD.replace(";", separator), encoding)
    assert table.heading[:3] == ("Date", "Plate no.", "Undercoat") and len(table.heading) == 11
    assert [number for number, _ in table.rows] == [4, 5, 6, 7]
    assert table.examples(6) == ["220", "210", "215"]


def test_a_mapping_is_proposed_by_name_and_content(tmp_path: Path) -> None:
    assert a_table(tmp_path).proposed().uses == (
        Use("made_at", "day first"), Use("piece"), Use("undercoat"), Use("coat_1_chemical"),
        Use("coat_1_strength_of_stock", PARTS), Use("coat_1_passes"), Use("coat_1_surface_temp_c", FAHRENHEIT),
        Use("lab_l"), Use("lab_a"), Use("lab_b"), Use("notes"),
    )  # fmt: skip
    assert by_name("Coat 2 temp") == "coat_2_surface_temp_c" and by_name("of no use") == ""
    assert by_name("Undercoat strength") == "undercoat_strength_of_stock"
    twice = a_table(tmp_path, "Chemical;Passes;Chemical;Passes;L;a;b\nx;2;y;3;40;1;2\n").proposed()
    assert [use.cell for use in twice.uses][:4] == [
        "coat_1_chemical", "coat_1_passes", "coat_2_chemical", "coat_2_passes",
    ]  # fmt: skip


def test_rows_become_plates_in_our_units_and_what_cannot_be_read_is_named(tmp_path: Path) -> None:
    table = a_table(tmp_path)
    first, second, unread, bad = (plate for _, plate in plates_of(table, meant(table), []))
    assert isinstance(first, Trial) and isinstance(second, Trial)
    # 220 °F is 104.4 °C; one part of stock to three of water is a quarter
    assert first.recipe.coats == (Coat("ferric nitrate", 0.25, 6, 104.44),)
    assert first.recipe.undercoat == Undercoat("liver of sulphur", None, None)
    assert (first.made_at.date().isoformat()[:7], first.piece, first.notes) == ("2019-04", "A1", "even")
    assert np.allclose(first.reading.lab, (38.1, 14.2, 22.0))
    assert second.recipe.coats == (Coat("ferric nitrate", 0.5, None, None),) and not_noted(second.recipe)
    assert unread is None
    assert isinstance(bad, str) and "coat, passes" in bad and "many" in bad


def test_a_ratio_can_mean_one_part_in_so_many(tmp_path: Path) -> None:
    table = a_table(tmp_path)
    uses = tuple(Use(use.cell, ONE_IN) if use.unit == PARTS else use for use in table.proposed().uses)
    first = next(plate for _, plate in plates_of(table, Meanings(uses, "silicon bronze"), []))
    assert isinstance(first, Trial) and first.recipe.coats[0].strength == pytest.approx(1 / 3)


def test_grams_per_litre_are_of_a_bottle_that_is_known(tmp_path: Path) -> None:
    text = "Chemical;Strength (g/L);Passes;Temp;L;a;b\nferric nitrate;100;3;105;40;10;20\n"
    table = a_table(tmp_path, text)
    bottle = Stock("Fe-1", "ferric nitrate", 400.0, MADE_AT)
    ((_, plate),) = plates_of(table, meant(table), [bottle])
    assert isinstance(plate, Trial) and plate.recipe.coats == (Coat("ferric nitrate", 0.25, 3, 105.0, stock="Fe-1"),)
    for shelf in ([], [bottle, replace(bottle, label="Fe-2", grams_per_litre=300.0)]):
        ((_, said),) = plates_of(table, meant(table), shelf)
        assert isinstance(said, str) and "share of stock" in said


def test_it_is_taken_in_once_and_the_columns_are_remembered_and_travel_along(studio: Studio, tmp_path: Path) -> None:
    table = a_table(tmp_path)
    assert studio.notebooks.remembered(table) is None
    with pytest.raises(RowProblems, match="Row 7"):
        studio.notebooks.take_in(table, meant(table), [])
    assert studio.trials() == []
    brought = studio.notebooks.take_in(table, meant(table), [], skip_bad=True, who="Ann")
    assert (brought.trials, brought.unfilled, len(brought.problems)) == (2, 1, 1)
    assert studio.notebooks.remembered(table) == meant(table)
    # again, with the file corrected, by the door that all files come in by: one more row, nothing twice
    (tmp_path / "book.csv").write_text(OLD.replace("many", "5"))
    assert not is_own_table(tmp_path / "book.csv")
    again = studio.import_file(tmp_path / "book.csv")
    assert (again.trials, again.trials_here_before, again.unfilled) == (1, 2, 1)
    # another meaning of a column makes no other plate of a row
    celsius = tuple(Use(use.cell, "" if use.unit == FAHRENHEIT else use.unit) for use in meant(table).uses)
    once_more = studio.notebooks.take_in(a_table(tmp_path), Meanings(celsius, "tin bronze"), [], skip_bad=True)
    assert (once_more.trials, once_more.trials_here_before) == (0, 2)
    assert studio.notebooks.remembered(table) == Meanings(celsius, "tin bronze")  # as it was said last
    studio.notebooks.take_in(table, meant(table), [], skip_bad=True)
    studio.export(tmp_path / "all.zip")
    with Studio.open(tmp_path / "other") as other:
        other.import_file(tmp_path / "all.zip")
        assert other.notebooks.remembered(table) == meant(table) and len(other.trials()) == 3


@pytest.mark.parametrize(
    ("uses", "alloy", "said"),
    [
        ({"lab_l": ""}, "tin bronze", "Say which column is L"),
        ({}, "", "alloy"),
        ({"notes": "piece"}, "tin bronze", "one column alone"),
        ({"notes": "nonsense"}, "tin bronze", "from the list"),
    ],
)
def test_a_mapping_that_cannot_be_says_what_to_do(tmp_path: Path, uses: dict[str, str], alloy: str, said: str) -> None:
    table = a_table(tmp_path)
    changed = tuple(Use(uses.get(use.cell, use.cell), use.unit) for use in table.proposed().uses)
    with pytest.raises(StudioError, match=said):
        list(plates_of(table, Meanings(changed, alloy), []))


@pytest.mark.parametrize("text", ["", "one line of text\n", "a;b;c\n", "L;a;b\n", "\0\0;;"])
def test_what_is_no_table_says_so(tmp_path: Path, text: str) -> None:
    with pytest.raises(StudioError, match=r"Save|Put plates|columns"):
        a_table(tmp_path, text)


def test_the_command_line_shows_the_columns_and_takes_the_rows_in(told, refused, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    a_table(tmp_path)
    book = tmp_path / "book.csv"
    shown = told("trials", "columns", book, "--alloy", "tin bronze")
    assert shown["columns"][6] == {
        "name": "Temp (F)", "means": "coat_1_surface_temp_c", "unit": FAHRENHEIT, "examples": ["220", "210", "215"],
    }  # fmt: skip
    assert (len(shown["rows"]), shown["waiting"], len(shown["problems"])) == (2, 1, 1)
    assert "Row 7" in refused("trials", "import", book, "--as-proposed", "--alloy", "tin bronze")
    more = (
        "--skip-bad",
        "--alloy",
        "tin bronze",
        "--column",
        "Remarks=none",
        "--column",
        "Conc.=coat_1_strength_of_stock:one part in",
    )
    assert told("trials", "import", book, *more)["trials"] == 2
    assert told("trials", "import", book, "--skip-bad")["trials_here_before"] == 2
    first = told("trials", "list")["trials"][0]
    assert first["notes"] == "" and first["recipe"]["coats"][0]["strength"] == pytest.approx(1 / 3)
    assert "none of" in refused("trials", "columns", book, "--column", "Nowhere=notes")


def test_on_the_page_the_columns_are_said_once_and_one_tap_imports(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    with Studio.open(tmp_path / "studio") as studio:
        studio.record(a_trial())

    def uploaded() -> AppTest:
        app = AppTest.from_file(str(APP), default_timeout=60).run().switch_page("screens/log.py").run()
        files: list[Any] = list(app.get("file_uploader"))
        return files[0].set_value(("book.csv", OLD.encode(), "text/csv")).run()  # type: ignore[no-any-return]

    def said(app: AppTest) -> str:
        return " ".join(html.unescape(plain(element.proto.body)) for element in app.get("html"))

    app = uploaded()
    assert not app.exception
    assert "Proposed by name and content" in said(app) and "220 · 210 · 215" in said(app)
    assert "even" in said(app) and "104 °C; unsealed" in said(app) and "a temperature not noted" in said(app)
    assert "Row 7: Write the coat, passes as one number: 'many' is not one." in said(app)
    assert "Row 6 has no colour and stays in your file" in said(app)
    app.text_input(key=next(each.key for each in app.text_input if str(each.key).endswith(".alloy"))).set_value(
        "tin bronze"
    ).run()
    app.button(key="own-table.take").click().run()
    assert "Imported: 2 new plates" in said(app)
    with Studio.open(tmp_path / "studio") as studio:
        assert [trial.recipe.alloy for trial in studio.trials()][1:] == ["tin bronze", "tin bronze"]
    again = uploaded()
    assert "Remembered from the last table" in said(again)
    assert "All of these plates are in the log" in said(again)
    assert "own-table.take" not in [button.key for button in again.button]
    # a column that is passed over, and one that two are
    again.selectbox(key=next(str(each.key) for each in again.selectbox if str(each.key).endswith(".10"))).set_value(
        "piece"
    ).run()
    assert "Let one column alone be the mark on the plate" in said(again)


# Whatever a workshop wrote: nothing is lost, nothing is guessed


def plates(folder: Path, text: str) -> list[Trial | str | None]:
    table = a_table(folder, text)
    return [plate for _, plate in plates_of(table, meant(table), [])]


def test_what_the_tool_has_no_place_for_is_kept_in_the_notes(tmp_path: Path) -> None:
    text = "Metal;L;a;b;Weather;Remarks;Comments;Old code\nbrass;40;10;20;rain;even;dull;\nbrass;41;10;20;;;;X7\n"
    table = a_table(tmp_path, text)
    assert [use.cell for use in table.proposed().uses][4:] == ["keep", "notes", "notes", "keep"]
    first, second = plates(tmp_path, text)
    assert isinstance(first, Trial) and first.notes == "even\ndull\nWeather: rain"
    assert isinstance(second, Trial) and second.notes == "Old code: X7"


def test_a_column_that_comes_in_empty_makes_no_new_plates(studio: Studio, tmp_path: Path) -> None:
    for text, new in (("Metal;L;a;b\nbrass;40;10;20\n", 1), ("Metal;L;a;b;Weather\nbrass;40;10;20;\n", 0)):
        table = a_table(tmp_path, text)
        assert studio.notebooks.take_in(table, meant(table), []).trials == new


@pytest.mark.parametrize(
    ("heading", "cell"),
    [
        ("Metal temp (°F)", "coat_1_surface_temp_c"),
        ("Metal", "alloy"),
        ("Surface temperature", "coat_1_surface_temp_c"),
        ("Surface", "surface"),
        ("Air temp", "ambient_temp_c"),
        ("RH %", "ambient_humidity_percent"),
        ("% of stock", "coat_1_strength_of_stock"),
        ("No. of passes", "coat_1_passes"),
        ("2nd coat chemical", "coat_2_chemical"),
        ("Acid", "coat_1_chemical"),
        ("Burnished back", "undercoat_burnish"),
        ("Sample #", "piece"),
        ("CIE Lab", "lab"),
        ("Wax coats", "seal_coats"),
        ("Weather", ""),
        ("Nearby", ""),
    ],
)
def test_what_workshops_call_their_columns(heading: str, cell: str) -> None:
    assert by_name(heading) == cell  # common practice, no source


def test_columns_without_a_telling_name_are_told_by_what_stands_in_them(tmp_path: Path) -> None:
    rows = "x;y;z;Heat;w;v\n220F;1:2;31/3/2025;hot;brass;38.1, 14.2, 22\n221F;?;1/4/2025;very;brass;40, 1, 2\n"
    assert a_table(tmp_path, rows).proposed().uses == (
        Use("coat_1_surface_temp_c", FAHRENHEIT), Use("coat_1_strength_of_stock", PARTS), Use("made_at", "day first"),
        Use("keep"), Use("alloy"), Use("lab"),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("strength", "passes", "temp", "coat"),
    [
        ("half strength", "6 passes", "105 °C", (0.5, 6, 105.0)),
        ("½", "6x", "~212 F", (0.5, 6, 100.0)),  # water boils: 212 °F is 100 °C (from memory)
        ("1 in 4", "6", "105,5", (0.25, 6, 105.5)),
        ("50 % of stock", "6", "105 deg C", (0.5, 6, 105.0)),
    ],
)
def test_values_as_workshops_write_them(
    tmp_path: Path, strength: str, passes: str, temp: str, coat: tuple[float, int, float]
) -> None:
    heading = "Chem;Strength;Passes;Temp °C;Lab\n"
    (plate,) = plates(tmp_path, f"{heading}ferric nitrate;{strength};{passes};{temp};38,1 / -14,2 / 22\n")
    assert isinstance(plate, Trial) and plate.recipe.coats == (Coat("ferric nitrate", *coat),)
    assert np.allclose(plate.reading.lab, (38.1, -14.2, 22.0))


@pytest.mark.parametrize(
    "row", ["1:2;6;105;40 1 2", "0.5;5-6;105;40 1 2", "0.5;6;hot;40 1 2", "0.5;6;105;40 1", "0,5 ml;6;105;40 1 2"]
)
def test_what_cannot_be_read_is_not_guessed(tmp_path: Path, row: str) -> None:
    table = a_table(tmp_path, f"Chem;Strength;Passes;Temp;Lab\nferric nitrate;{row}\nferric nitrate;0.5;6;100;40 1 2\n")
    uses = ("coat_1_chemical", "coat_1_strength_of_stock", "coat_1_passes", "coat_1_surface_temp_c", "lab")
    found = [plate for _, plate in plates_of(table, Meanings(tuple(map(Use, uses)), "brass"), [])]
    assert isinstance(found[0], str) and isinstance(found[1], Trial)
