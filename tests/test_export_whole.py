"""An export holds everything that was logged: every table is looked through, and what stays out is named on purpose."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from matcher.dates import in_utc, moment
from matcher.errors import StudioError
from matcher.hands import Role
from matcher.storage.schema import FinishOutlineRow, SightingRow, Table, TableColumnsRow
from matcher.studio import Studio
from matcher.tags.code import TagCode
from tests.plates import MADE_AT, a_photograph, a_profile, a_reading, a_trial
from tests.test_commissions_carried import fill

STAYS_OUT = {
    "people": "who belongs here, and by what they sign in, is each studio's own",
    "devices": "a secret of each",
    "sign_in_codes": "a secret",
    "sign_in_attempts": "of this place",
    "plate_colours": "worked out from the readings",
    "drafts": "half-typed forms and pieces on the bench are carried by a backup and a move; the board is in the export",
    "photo_chunks": "the photographs are files of their own in it",
}
"""Tables that no export carries, and why."""
COLUMNS_STAY_OUT = {
    ("studio", "made_at"): "of this place",
    ("studio", "trials_revision"): "of this place",
    ("studio", "moved_to"): "of this place",
    ("photos", "kept_at"): "of this place",
    ("photos", "chunk_count"): "of this place",
    ("trials", "logged_at"): "the history says when it was recorded",
    ("camera_profiles", "saved_at"): "the history says so",
    ("history", "subject"): "a number here; named by uid in the file",
}


@pytest.fixture
def whole(studio: Studio) -> Studio:
    """A studio with something in every table."""
    fill(studio)
    plate = studio.record(a_trial(uid="tagged", photos=(studio.keep_photo(a_photograph(4), "tagged.jpg"),)))
    tag = str(TagCode(studio.tag_signs, 7))
    studio.give_tag(plate.id or 0, tag, "Ann")
    studio.save_card("my grey scale", "grey scale", [(90.25, 0.125, 0.0), (20.5, 0.0, 0.0)], measured_at=MADE_AT)
    studio.save_profile(a_profile("shop tubes"), "Ann")
    studio.save_draft("record", {"notes": "half typed"})
    studio.keep_board([plate.id or 0])
    ines = studio.access.people.add("Ines", Role.OWNER, "a long passphrase, invented")
    studio.access.codes.make(ines.uid)
    studio.access.devices.begin(ines.uid, "passphrase", "bench tablet")
    with studio.database.writing() as session:
        outline = {"points": [[1.5, 2.5], [3.5, 4.5], [5.5, 6.5]]}
        of = {"trial_id": plate.id, "tag": tag, "noted_at": MADE_AT}
        session.execute(sa.insert(FinishOutlineRow), [{"uid": "outline", "who": "Ann", "body": outline, **of}])
        sighting = {"uid": "sighting", "seen_at": MADE_AT - timedelta(hours=2), "photo_sha256": plate.photos[0], **of}
        place = {"corners": [[0, 0], [9, 0], [9, 9], [0, 9]], "outline": [[1, 1], [8, 1], [8, 8]]}
        left = {"left_out_code": "glare", "left_out_message": "It mirrors the lamp.", "replaced_at": MADE_AT}
        session.execute(
            sa.insert(SightingRow), [{**sighting, "place": place, "whole": a_reading(33.25).as_dict(), **left}]
        )
        columns = {"uses": [["lab_l", ""]], "alloy": "bronze", "heading": ["Helligkeit"]}
        session.execute(sa.insert(TableColumnsRow), [{"uid": "columns", "body": columns}])
    studio.set_aside(plate.id or 0, "kept for its crack")
    return studio


def test_every_table_and_column_is_in_an_export_or_stays_out_on_purpose(whole: Studio, tmp_path: Path) -> None:
    whole.export(tmp_path / "out.zip")
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        document = json.loads(archive.read("studio.json"))
        files = {Path(name).stem for name in archive.namelist()}
    assert whole.photos.kept() <= files
    there = set(_leaves(document))
    lacking = set()
    for table in Table.metadata.sorted_tables:
        if table.name in STAYS_OUT:
            continue
        with whole.database.reading() as session:
            rows = session.execute(sa.select(table)).mappings().all()
        assert rows, f"{table.name} is empty: put something into it above"
        for column in table.columns:
            named = bool(column.foreign_keys) or column.name in ("id", "position")
            if named or (table.name, column.name) in COLUMNS_STAY_OUT:
                continue
            if any(leaf not in there for row in rows for leaf in _leaves(row[column.name])):
                lacking.add(f"{table.name}.{column.name}")
    assert lacking == set()


def test_what_stays_out_is_a_table_still() -> None:
    tables = Table.metadata.tables
    assert set(STAYS_OUT) <= set(tables)
    assert all(column in tables[table].columns for table, column in COLUMNS_STAY_OUT)


def test_no_secret_is_in_an_export_and_nobody_comes_in_by_one(whole: Studio, tmp_path: Path) -> None:
    whole.export(tmp_path / "out.zip")
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        text = archive.read("studio.json").decode()
    secret = 0
    with whole.database.reading() as session:
        for table, column in (("people", "passphrase"), ("devices", "secret_sha256"), ("sign_in_codes", "code_sha256")):
            for value in session.scalars(sa.select(Table.metadata.tables[table].columns[column])):
                secret += 1
                assert value not in text
    assert secret == 3
    assert "half typed" not in text
    with Studio.open(tmp_path / "other") as other:
        other.import_file(tmp_path / "out.zip")
        assert other.access.people.people() == []


def _leaves(value: Any) -> Iterator[Any]:
    """Yield what stands in a value, each figure, text and moment in one form."""
    if isinstance(value, dict):
        for each in value.values():
            yield from _leaves(each)
    elif isinstance(value, list):
        for each in value:
            yield from _leaves(each)
    elif isinstance(value, datetime):
        yield in_utc(value)
    elif isinstance(value, str):
        yield _moment(value)
        if value.startswith("{"):
            yield from _leaves(json.loads(value))
    elif value is not None:
        yield value


def _moment(text: str) -> Any:
    try:
        return moment(text) if text[4:5] == "-" and "T" in text else text
    except StudioError:
        return text
