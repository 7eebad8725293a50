"""A day or time that was typed is what is shown, whatever the clock of the machine; what is kept is UTC.

The zones lie on both sides of UTC, by half hours too (the machine's own copy of the IANA time zone database).
"""

from __future__ import annotations

import csv
import io
import re
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.cli.main import main
from matcher.dates import ISO, LONG, SHORT, TO_THE_MINUTE, day_shown, local, moment, on_day, shown
from matcher.errors import StudioError
from matcher.studio import Studio
from matcher.trials.facts import facts_of, what_changed
from matcher.typed_in.words import trial_lines
from tests.plates import a_trial

ZONES = ("Pacific/Auckland", "America/Los_Angeles", "Asia/Kolkata", "Pacific/Kiritimati", "Pacific/Pago_Pago", "UTC")


@pytest.fixture(params=ZONES)
def zone(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    with monkeypatch.context() as here:
        here.setenv("TZ", request.param)
        time.tzset()
        yield request.param
    time.tzset()


def test_a_day_that_was_typed_is_that_day(zone: str) -> None:
    kept = moment("2025-03-31")
    assert kept.utcoffset() == timedelta(0)
    assert shown(kept) == "31 March 2025"
    assert shown(kept, ISO) == "2025-03-31"
    early = moment("2025-03-04T06:05")
    assert [shown(early, form) for form in (LONG, SHORT, TO_THE_MINUTE, ISO)] == [
        "4 March 2025", "4 Mar 2025", "4 March 2025, 06:05", "2025-03-04",
    ]  # fmt: skip
    assert shown(early) == day_shown(local(early).date())


def test_a_time_that_was_typed_is_that_time(zone: str) -> None:
    for typed in ("2025-03-31T00:10", "2025-03-31T23:50", "2025-07-01T12:00"):
        assert shown(moment(typed), f"{ISO}T%H:%M") == typed
    assert moment("2025-03-31T23:50+00:00") == datetime(2025, 3, 31, 23, 50, tzinfo=UTC)


def test_a_plate_moved_to_another_day_keeps_its_time_and_is_shown_on_that_day(zone: str) -> None:
    made_at = moment("2025-03-31T22:45")
    assert shown(on_day(made_at, "2024-12-24"), f"{ISO}T%H:%M") == "2024-12-24T22:45"
    assert on_day(made_at, "2025-03-31") == made_at


@pytest.mark.parametrize("wrong", ["31/03/2025", "", "2025-02-30", "2999-01-01", "0000-00-00"])
def test_what_is_no_day_that_has_been_gets_one_sentence(zone: str, wrong: str) -> None:
    with pytest.raises(StudioError, match=r"^Give .*\.$"):
        on_day(moment("2025-03-31"), wrong)


def test_the_ends_of_the_calendar_are_shown_and_not_a_traceback(zone: str) -> None:
    for end in (datetime.min.replace(tzinfo=UTC), datetime.max.replace(tzinfo=UTC)):
        assert shown(end) in {f"{there.day} {there:%B %Y}" for there in (end, local(end))}


def test_the_command_line_lists_and_corrects_by_the_day_that_was_typed(
    zone: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    home = ("--studio", str(tmp_path / "studio"))
    plate = ("--alloy", "bronze", "--lab", "38,14,22", "--made-at", "2025-03-31")
    assert main(["record", *home, *plate]) == 0
    assert main(["trials", "list", *home]) == 0
    assert "1  2025-03-31" in capsys.readouterr().out
    assert main(["trials", "correct", *home, "1", "--made-at", "2025-03-30"]) == 0
    assert "Made on: 30 March 2025, was 31 March 2025" in capsys.readouterr().out


def test_a_table_holds_and_gives_back_the_day_that_was_typed(zone: str, tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("alloy,made_at,lab_l,lab_a,lab_b\nbronze,2025-03-31,40,10,20\n")
    with Studio.open(tmp_path / "studio") as studio, Studio.open(tmp_path / "other") as other:
        studio.import_file(tmp_path / "log.csv")
        studio.export(tmp_path / "out.csv")
        (row,) = csv.DictReader(io.StringIO((tmp_path / "out.csv").read_text("utf-8-sig")))
        assert row["made_at"].startswith("2025-03-31T")
        other.import_file(tmp_path / "out.csv")
        assert other.trials()[0].made_at == studio.trials()[0].made_at
        assert "2025-03-31" in trial_lines(other.trials()[0])[0]


def test_a_correction_of_the_time_is_told_in_local_time(zone: str) -> None:
    was, now = (facts_of(a_trial(made_at=moment(f"2025-03-31T{hour}:30"))) for hour in ("01", "23"))
    assert what_changed(was, now, {}) == ("Made on: 31 March 2025, 23:30, was 31 March 2025, 01:30",)


@given(st.datetimes(datetime(1, 1, 3), datetime(9999, 12, 29)))
def test_what_is_kept_is_utc_and_says_the_same_moment(when: datetime) -> None:
    kept = moment(when)
    assert kept.tzinfo is UTC
    assert local(kept) == kept


def test_no_other_place_formats_a_date() -> None:
    """What is shown goes through ``shown``; a file's time stamp and a camera's own clock are no days that are shown."""
    root = Path(__file__).parents[1]
    known = {"dates.py", "upgrade.py"}
    for top in ("matcher", "ui"):
        for file in (root / top).rglob("*.py"):
            text = file.read_text(encoding="utf-8")
            assert file.name in known or ("strftime(" not in text and not re.search(r"\{[^{}]*:%[Ydb]", text)), file
