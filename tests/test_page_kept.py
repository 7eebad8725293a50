"""How the studio is kept, on the page: the last backup, one that failed, a check, and a studio that was moved."""

from __future__ import annotations

from pathlib import Path

import pytest
import streamlit as st

from matcher.errors import StudioError
from matcher.hands import Hand, Role, at_work
from matcher.studio import Studio
from matcher.studio.keeping.backups import back_up, settle, there
from matcher.studio.keeping.move import move
from tests.app_pages import button, open_page, said_on
from tests.plates import a_photograph, a_trial
from ui.photograph.lay_beside import TO_TAG

BELOW_THE_WALL = (
    "Tags to print",
    "The studio's own chart",
    "Plates for other studios",
    "Export, import and backup",
    "How the studio is kept",
)


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    monkeypatch.delenv("MATCHER_BACKUPS")
    st.cache_resource.clear()
    with Studio.open(tmp_path / "studio") as studio:
        studio.record(a_trial(photos=(studio.keep_photo(a_photograph(2)),)))
        settle(studio, tmp_path / "backups")
    return tmp_path / "studio"


def test_the_log_page_backs_up_and_says_when_that_was(kept: Path, tmp_path: Path) -> None:
    page = open_page("log")
    assert "No backup was made yet." in said_on(page)
    button(page, "Back up now").click().run()
    assert "The last backup was made on " in said_on(page)
    assert len(list((tmp_path / "backups").glob("*.zip"))) == 1
    page.text_input(key="kept.folder").set_value(str(tmp_path / "another disk"))
    page.number_input(key="kept.days").set_value(7)
    button(page, "Save").click().run()
    assert "kept for 7 days" in said_on(page)
    assert (tmp_path / "another disk").is_dir()


def open_parts(**query: str) -> list[str]:
    """Return which of the parts below the wall stand open, those folded left out."""
    page = open_page("log", **query)
    parts = [part for part in page.expander if part.label in BELOW_THE_WALL]
    assert sorted(part.label for part in parts) == sorted(BELOW_THE_WALL)
    return [part.label for part in parts if part.proto.expanded]


def test_what_is_seldom_used_below_the_wall_is_folded_but_for_what_has_something_to_say(
    kept: Path, tmp_path: Path
) -> None:
    assert open_parts() == []
    assert open_parts(**{TO_TAG: "1"}) == ["Tags to print"]
    with Studio.open(kept) as studio:
        studio.record(a_trial(uid="another"))
        studio.keep_board([1, 2], (), "")
        studio.set_aside(1, "dropped")
        (tmp_path / "backups").rmdir()
        (tmp_path / "backups").write_text("unplugged")
        with pytest.raises(StudioError):
            back_up(studio)
    assert open_parts() == ["The studio's own chart", "How the studio is kept"]


def test_an_empty_log_has_its_import_open(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Studio.open(tmp_path / "new").close()
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "new"))
    assert [part.label for part in open_page("log").expander if part.proto.expanded] == ["Export, import and backup"]


def test_one_that_failed_is_told_on_the_front_page_and_under_the_log(kept: Path, tmp_path: Path) -> None:
    with Studio.open(kept) as studio:
        (tmp_path / "backups").rmdir()
        (tmp_path / "backups").write_text("unplugged")
        with pytest.raises(StudioError):
            back_up(studio)
        assert not (tmp_path / "backups").is_dir()
    for name in ("start", "log"):
        said = said_on(open_page(name))
        assert "The backup of " in said
        assert " failed. The folder " in said


def test_a_check_names_what_is_wrong(kept: Path) -> None:
    page = open_page("log")
    button(page, "Check everything").click().run()
    assert "All is as it was kept: " in said_on(page)
    with Studio.open(kept) as studio:
        (sha256,) = studio.photos.kept()
        studio.photo_path(sha256).write_bytes(b"something else")
    button(page, "Check everything").click().run()
    assert f"1 photograph is damaged: {sha256[:12]}…." in said_on(page)


def test_a_studio_that_was_moved_says_so_on_every_page_and_can_be_looked_at(kept: Path, tmp_path: Path) -> None:
    with Studio.open(kept) as studio:
        move(studio, tmp_path / "new")
    for name in ("start", "target", "log", "record", "bench", "commissions", "solutions"):
        page = open_page(name)
        said = said_on(page)
        assert f"This studio was moved to {tmp_path / 'new'}." in said
        assert "<h1>" in said, name
        assert said.count("was moved to") == 1, f"{name} keeps something merely by being looked at"


def test_only_an_owner_backs_up_what_people_sign_in_by(kept: Path, tmp_path: Path) -> None:
    with Studio.open(kept) as studio:
        for role in (Role.READER, Role.HELPER, Role.PATINEUR):
            with at_work(Hand("uid", "R. Okonedo-Vale (invented)", role)):
                with pytest.raises(StudioError, match="ask the studio's owner"):
                    studio.backup(tmp_path / "mine.zip")
                with pytest.raises(StudioError, match="ask the studio's owner"):
                    settle(studio, tmp_path / "mine")
        with at_work(Hand("uid", "R. Okonedo-Vale (invented)", Role.OWNER)):
            back_up(studio)
        assert len(there(studio)) == 1
