"""A studio as one file: out, in again, refused when it is not what it says, and backed up while work goes on."""

from __future__ import annotations

import json
import shutil
import sqlite3
import threading
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from matcher.errors import MatcherError, StudioError
from matcher.storage.database import DATABASE_NAME
from matcher.studio import Studio
from matcher.studio.carrying import carried
from matcher.trials import archive as portable
from matcher.trials.facts import facts_of
from matcher.trials.trial import Trial
from tests.example_counts import examples
from tests.plates import MADE_AT, a_photograph, a_profile, a_recipe, a_target, a_trial


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("filled") / "studio"
    with Studio.open(folder) as opened:
        fill(opened)
    return folder


@pytest.fixture
def studio(filled: Path, tmp_path: Path) -> Iterator[Studio]:
    """A studio with one of everything, made once and copied."""
    with Studio.open(shutil.copytree(filled, tmp_path / "studio")) as opened:
        yield opened


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Studio]:
    with Studio.open(tmp_path / "other") as opened:
        yield opened


def fill(studio: Studio) -> None:
    studio.title = "Foundry at the weir (invented)"
    plate, client = (
        studio.keep_photo(a_photograph(1), "plate.jpg"),
        studio.keep_photo(a_photograph(2, "PNG"), "client.png"),
    )
    studio.save_stock("Fe-1", "ferric nitrate", 400.0, lot="A7", made_at=MADE_AT, notes="blue bottle")
    target = studio.save_target(a_target(photo=client))
    studio.record(a_trial(photos=(plate,), target_id=target.id, recipe=a_recipe(stock="Fe-1")), who="Ann")
    studio.record(a_trial(44.0))
    studio.set_aside(2, "streaky", who="Ben")
    studio.save_card("bench card", "grey card", (49.1, -0.2, 0.3), measured_at=MADE_AT)
    studio.save_card("scale", "grey scale", [(90, 0, 0), (20, 0, 0)], measured_at=MADE_AT)
    studio.save_profile(a_profile())
    studio.save_profile(a_profile("old lamps"))
    studio.retire_profile("old lamps", "lamps changed")


def told(trials: list[Trial]) -> list[dict[str, Any]]:
    return [{**trial.as_dict(), "id": None, "target_id": None} for trial in trials]


def everything(studio: Studio) -> dict[str, Any]:
    return {
        "title": studio.title,
        "trials": told(studio.trials(include_set_aside=True)),
        "targets": [{**target.as_dict(), "id": None} for target in studio.targets(include_set_aside=True)],
        "stocks": studio.stocks(),
        "cards": [card.as_dict() for card in studio.own_cards()],
        "profiles": [profile.as_dict() for profile in studio.profiles(include_retired=True)],
        "photos": {p.name: p.read_bytes() for p in studio.photos.folder.glob("??/*")},
    }


def files_of(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


# Out and in


def test_all_of_a_studio_arrives_in_another(studio: Studio, other: Studio, tmp_path: Path) -> None:
    written = studio.export(tmp_path / "out.zip")
    assert (written.trials, written.photos, written.missing_photos) == (2, 2, ())
    brought = other.import_file(tmp_path / "out.zip", who="Cleo")
    assert (brought.trials, brought.targets, brought.stocks, brought.photos) == (2, 1, 1, 2)
    assert everything(other) == everything(studio)
    assert [trial.id for trial in other.trials()] == [1]  # the one set aside arrives set aside
    trial = other.trial(1)
    assert trial.target_id == other.targets()[0].id


def test_the_history_comes_along(studio: Studio, other: Studio, tmp_path: Path) -> None:
    studio.export(tmp_path / "out.zip")
    other.import_file(tmp_path / "out.zip", who="Cleo")
    assert [(c.who, c.what) for c in other.history("trial", 1)] == [("Ann", "recorded"), ("Cleo", "imported")]
    assert [c.what for c in other.history("trial", 2)] == ["recorded", "set aside", "imported"]


def test_importing_the_same_file_again_changes_nothing(studio: Studio, other: Studio, tmp_path: Path) -> None:
    studio.export(tmp_path / "out.zip")
    other.import_file(tmp_path / "out.zip")
    before, lines, revision = everything(other), other.history(), other.log.revision()
    again = other.import_file(tmp_path / "out.zip")
    assert (again.trials, again.trials_here_before, again.targets, again.stocks, again.photos) == (0, 2, 0, 0, 0)
    assert again.differing == ()
    assert (everything(other), other.history(), other.log.revision()) == (before, lines, revision)


def test_importing_ones_own_export_changes_nothing(studio: Studio, tmp_path: Path) -> None:
    studio.export(tmp_path / "out.zip")
    before = everything(studio)
    assert studio.import_file(tmp_path / "out.zip").trials == 0
    assert everything(studio) == before


def test_what_was_changed_here_since_stays_and_is_named(studio: Studio, other: Studio, tmp_path: Path) -> None:
    studio.export(tmp_path / "out.zip")
    other.import_file(tmp_path / "out.zip")
    was = facts_of(other.trial(2))
    other.correct(2, replace(was, notes="looked at it again"), instead_of=was)
    other.take_back(2)
    assert other.import_file(tmp_path / "out.zip").differing == (2,)
    assert other.trial(2).notes == "looked at it again"
    assert other.trial(2).set_aside is None


def test_numbers_differ_between_studios_but_links_hold(studio: Studio, other: Studio, tmp_path: Path) -> None:
    other.save_target(a_target("another client"))
    for lightness in (20.0, 25.0, 30.0):
        other.record(a_trial(lightness))
    studio.export(tmp_path / "out.zip")
    other.import_file(tmp_path / "out.zip")
    (arrived,) = (trial for trial in other.trials() if trial.target_id is not None)
    assert arrived.id == 4
    assert other.target(arrived.target_id or 0).name == "the client's bust"
    assert other.title == ""  # a studio with trials of its own keeps its name


def test_a_stock_label_that_means_another_bottle_here_is_told_apart(
    studio: Studio, other: Studio, tmp_path: Path
) -> None:
    other.save_stock("Fe-1", "ferric nitrate", 250.0)
    studio.export(tmp_path / "out.zip")
    for _ in range(2):
        other.import_file(tmp_path / "out.zip")
    arrived = other.trial(1).recipe.coats[0].stock
    assert arrived == "Fe-1 (Foundry at the weir (invented))"
    assert {stock.label: stock.grams_per_litre for stock in other.stocks()} == {"Fe-1": 250.0, str(arrived): 400.0}


def test_a_card_measured_here_is_not_replaced(studio: Studio, other: Studio, tmp_path: Path) -> None:
    other.save_card("bench card", "grey card", (50.0, 0.0, 0.0))
    studio.export(tmp_path / "out.zip")
    other.import_file(tmp_path / "out.zip")
    np.testing.assert_array_equal(other.own_cards()[0].lab, [50.0, 0.0, 0.0])


def test_the_file_is_plain_json_that_says_its_version_and_units(studio: Studio, tmp_path: Path) -> None:
    studio.export(tmp_path / "out.zip")
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        data = json.loads(archive.read("studio.json"))
        assert archive.testzip() is None
    assert data["version"] == 4
    assert data["trials"][0]["recipe"]["coats"][0]["surface_temp_c"] == 105.0
    assert data["stocks"][0]["grams_per_litre"] == 400.0
    assert "fraction of the stock" in data["units"]["strength"]


def test_a_lost_photograph_doesnt_keep_the_rest_from_being_carried(
    studio: Studio, other: Studio, tmp_path: Path
) -> None:
    sha256 = studio.trial(1).photos[0]
    studio.photo_path(sha256).unlink()
    assert studio.export(tmp_path / "out.zip").missing_photos == (sha256,)
    other.import_file(tmp_path / "out.zip")
    assert other.trial(1).photos == (sha256,)
    with pytest.raises(StudioError, match="restore it"):
        other.photo_path(sha256)


def test_an_export_is_never_written_over_another_file(studio: Studio, tmp_path: Path) -> None:
    (tmp_path / "out.zip").write_text("precious")
    for write in (studio.export, studio.backup):
        with pytest.raises(StudioError, match="is there already"):
            write(tmp_path / "out.zip")
    with pytest.raises(StudioError, match="is there already"):
        studio.export(tmp_path)
    assert (tmp_path / "out.zip").read_text() == "precious"


def test_an_export_that_fails_half_way_leaves_no_file(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(zipfile.ZipFile, "write", fails)
    (tmp_path / "out").mkdir()
    with pytest.raises(StudioError, match="No space left"):
        studio.export(tmp_path / "out" / "out.zip")
    assert files_of(tmp_path / "out") == []


# Refused


def test_every_byte_that_is_damaged_is_refused_or_harmless(studio: Studio, tmp_path: Path) -> None:
    studio.export(tmp_path / "out.zip")
    raw = (tmp_path / "out.zip").read_bytes()
    rng = np.random.default_rng(11)
    for at in rng.integers(0, len(raw), 60):
        damaged = bytearray(raw)
        damaged[at] ^= int(rng.integers(1, 256))
        (tmp_path / "damaged.zip").write_bytes(damaged)
        with Studio.open(tmp_path / f"fresh {at}") as fresh:
            try:
                fresh.import_file(tmp_path / "damaged.zip")
            except StudioError as error:
                assert str(error)[-1] in ".\"'"
                assert fresh.trials(include_set_aside=True) == []
            else:
                assert told(fresh.trials(True)) == told(studio.trials(True))


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.99])
def test_a_file_cut_short_is_refused(studio: Studio, other: Studio, tmp_path: Path, share: float) -> None:
    studio.export(tmp_path / "out.zip")
    raw = (tmp_path / "out.zip").read_bytes()
    (tmp_path / "cut.zip").write_bytes(raw[: int(len(raw) * share)])
    with pytest.raises(StudioError, match="not a whole export"):
        other.import_file(tmp_path / "cut.zip")
    assert everything(other)["trials"] == []


def rewritten(
    source: Path, target: Path, change: Callable[[dict[str, Any]], Any], add: dict[str, bytes | None] | None = None
) -> Path:
    """Write an export again with its studio.json changed and entries added, replaced or, where None, left away."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            if name == "studio.json":
                data = json.loads(old.read(name))
                changed = change(data)
                new.writestr(name, json.dumps(data if changed is None else changed))
            elif name not in (add or {}):
                new.writestr(name, old.read(name))
        for name, body in (add or {}).items():
            if body is not None:
                new.writestr(name, body)
    return target


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda data: data.update(version=5), "update this program"),
        (lambda data: data.update(version="1"), "update this program"),
        (lambda data: data.update(version=None), "update this program"),
        (lambda data: data.update(format="recipes"), "another kind"),
        (lambda data: [1, 2], "another kind"),
        (lambda data: data.pop("trials"), "damaged"),
        (lambda data: data.update(trials={"a": 1}), "damaged"),
        (lambda data: data.update(stocks=5), "damaged"),
        (lambda data: data["trials"][1].pop("uid"), "Trial 2 in this file has no uid"),
        (lambda data: data["trials"][1].update(uid=None), "Trial 2 in this file has no uid"),
        (lambda data: data["trials"][1]["recipe"]["coats"][0].update(strength=7), "Trial 2 in this file: .*strength"),
        (lambda data: data["trials"][0]["reading"].update(lab=[1, 2]), "Trial 1 in this file: .*three numbers"),
        (lambda data: data["trials"][0].update(notes=5), "notes"),
        (lambda data: data["trials"][0]["recipe"]["coats"][0].update(stock="none such"), "no stock labelled"),
        (lambda data: data["photos"][0].update(sha256="../../../x"), "no proper name"),
        (lambda data: data["photos"][0].update(suffix="/../x"), "no proper name"),
        (lambda data: data["photos"][0].update(sha256="0" * 64), "is not in this file"),
        (lambda data: data["photos"].clear(), "photograph first"),
        (lambda data: data["history"][0].update(at="soon"), "date"),
        (lambda data: data["own_cards"][0].update(lab="grey"), "CIELAB"),
    ],
)
def test_a_file_that_is_not_what_it_says_is_refused_whole(
    studio: Studio, other: Studio, tmp_path: Path, change: Callable[[dict[str, Any]], Any], word: str
) -> None:
    def silent(data: dict[str, Any]) -> Any:
        changed = change(data)
        return changed if changed == [1, 2] else None

    file = rewritten(studio.export(tmp_path / "out.zip").path, tmp_path / "changed.zip", silent)
    with pytest.raises(MatcherError, match=word) as said:
        other.import_file(file)
    assert "\n" not in str(said.value)
    assert other.trials(include_set_aside=True) == []
    assert other.targets() == []
    assert other.stocks() == []
    assert other.history() == []


@pytest.mark.parametrize("raw", [b"", b"{", b"[1,", b"\xff\xfe", b"[" * 200_000, b'{"format": NaN}'])
def test_a_studio_json_that_is_no_json_is_refused(other: Studio, tmp_path: Path, raw: bytes) -> None:
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as archive:
        archive.writestr("studio.json", raw)
    with pytest.raises(StudioError, match=r"damaged|another kind"):
        other.import_file(tmp_path / "bad.zip")


@pytest.mark.parametrize(
    "name",
    ["../evil.jpg", "photos/../../evil.jpg", "/etc/evil", "..\\evil", "C:\\evil", "C:/evil", "photos/ab/../../../x"],
)
def test_an_entry_that_points_outside_is_refused(studio: Studio, other: Studio, tmp_path: Path, name: str) -> None:
    file = rewritten(studio.export(tmp_path / "out.zip").path, tmp_path / "slip.zip", lambda data: None, {name: b"x"})
    before = files_of(tmp_path)
    with pytest.raises(StudioError, match="points outside"):
        other.import_file(file)
    with pytest.raises(StudioError, match="points outside"):
        Studio.restore(file, tmp_path / "restored")
    assert files_of(tmp_path) == before


def test_an_entry_that_grows_without_end_is_refused(studio: Studio, other: Studio, tmp_path: Path) -> None:
    sha256 = studio.trial(1).photos[0]
    bomb = b"\xff\xd8\xff" + bytes(40 * 1024**2)
    file = rewritten(
        studio.export(tmp_path / "out.zip").path,
        tmp_path / "bomb.zip",
        lambda data: None,
        {f"photos/{sha256[:2]}/{sha256}.jpg": bomb},
    )
    assert file.stat().st_size < 200_000
    with pytest.raises(StudioError, match="that is no photograph"):
        other.import_file(file)
    assert files_of(other.photos.folder.parent / "photos") == []


def test_a_studio_json_beyond_the_bound_is_refused(
    studio: Studio, other: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio.export(tmp_path / "out.zip")
    monkeypatch.setattr(portable, "MAX_JSON_BYTES", 1000)
    with pytest.raises(StudioError, match="it is not read"):
        other.import_file(tmp_path / "out.zip")


def test_no_export_is_written_that_an_import_would_refuse(
    studio: Studio, other: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bound is lowered to the byte: what is written to its last byte is read, a byte less is refused in writing."""
    with zipfile.ZipFile(studio.export(tmp_path / "out.zip").path) as archive:
        length = archive.getinfo("studio.json").file_size
    monkeypatch.setattr(portable, "MAX_JSON_BYTES", length)
    studio.export(tmp_path / "just.zip")
    assert other.import_file(tmp_path / "just.zip").trials == 2
    monkeypatch.setattr(portable, "MAX_JSON_BYTES", length - 1)
    with pytest.raises(StudioError, match=r"too long to be exported.*Make a backup"):
        studio.export(tmp_path / "long.zip")
    assert not (tmp_path / "long.zip").exists()


def test_a_backup_of_a_studio_that_is_too_long_to_export_is_restored_whole(
    studio: Studio, other: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with zipfile.ZipFile(studio.export(tmp_path / "out.zip").path) as archive:
        monkeypatch.setattr(portable, "MAX_JSON_BYTES", archive.getinfo("studio.json").file_size - 1)
    with pytest.raises(StudioError, match="too long"):
        studio.export(tmp_path / "long.zip")
    made = studio.backup(tmp_path / "backup.zip")
    portable.read_back(made.path, carried())
    with zipfile.ZipFile(made.path) as archive:
        data = json.loads(archive.read("studio.json"))
    assert data["trials"] == [] and "trials" in data["left_out"] and made.trials == 2
    with pytest.raises(StudioError, match="restore it as a studio of its own"):
        other.import_file(made.path)
    with Studio.restore(made.path, tmp_path / "again") as again:
        assert again.restored_with == ()
        assert [one.as_dict() for one in again.trials()] == [one.as_dict() for one in studio.trials()]
        assert again.photos.kept() == studio.photos.kept()
    without = rewritten(made.path, tmp_path / "without.zip", lambda data: None, {DATABASE_NAME: None})
    with pytest.raises(StudioError, match="lacks its database"):
        Studio.restore(without, tmp_path / "third")


def test_a_photograph_swapped_for_another_is_refused(studio: Studio, other: Studio, tmp_path: Path) -> None:
    sha256 = studio.trial(1).photos[0]
    swapped = {f"photos/{sha256[:2]}/{sha256}.jpg": a_photograph(99)}
    file = rewritten(studio.export(tmp_path / "out.zip").path, tmp_path / "swap.zip", lambda data: None, swapped)
    with pytest.raises(StudioError, match="hash is another"):
        other.import_file(file)
    assert other.trials(include_set_aside=True) == []


def test_a_zip_of_other_things_is_no_export(other: Studio, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "holiday.zip", "w") as archive:
        archive.writestr("beach.jpg", a_photograph())
    with pytest.raises(StudioError, match=r"no studio\.json"):
        other.import_file(tmp_path / "holiday.zip")
    with pytest.raises(StudioError, match="is not there"):
        other.import_file(tmp_path / "nowhere.zip")


@examples(40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=5) | st.integers(),
        lambda item: st.lists(item, max_size=3) | st.dictionaries(st.text(max_size=5), item, max_size=3),
    ),
    st.sampled_from(["studio", "stocks", "targets", "trials", "own_cards", "camera_profiles", "photos", "history"]),
    st.booleans(),
)
def test_any_json_in_any_place_is_taken_in_or_refused_by_one_of_our_errors(
    studio: Studio, other: Studio, tmp_path: Path, odd: Any, place: str, within: bool
) -> None:
    def change(data: dict[str, Any]) -> None:
        if within and isinstance(data[place], list):
            data[place][0] = odd
        elif within and data[place]:
            data[place][next(iter(data[place]))] = odd
        else:
            data[place] = odd

    for file in (tmp_path / "out.zip", tmp_path / "odd.zip"):
        file.unlink(missing_ok=True)
    file = rewritten(studio.export(tmp_path / "out.zip").path, tmp_path / "odd.zip", change)
    try:
        other.import_file(file)
    except MatcherError as error:
        assert "\n" not in str(error)


# Backup


def test_a_backup_becomes_the_same_studio_again(studio: Studio, tmp_path: Path) -> None:
    studio.save_draft("record", {"passes": "6"})
    studio.backup(tmp_path / "backup.zip")
    before, lines = everything(studio), studio.history()
    studio.record(a_trial(60.0))
    with Studio.restore(tmp_path / "backup.zip", tmp_path / "restored") as restored:
        assert everything(restored) == before
        assert restored.history() == lines
        assert restored.draft("record") == {"passes": "6"}


def test_unpacking_a_backup_by_hand_gives_a_studio(studio: Studio, tmp_path: Path) -> None:
    studio.backup(tmp_path / "backup.zip")
    with zipfile.ZipFile(tmp_path / "backup.zip") as archive:
        archive.extract(DATABASE_NAME, tmp_path / "by hand")
        for name in archive.namelist():
            if name.startswith("photos/"):
                archive.extract(name, tmp_path / "by hand")
    with Studio.open(tmp_path / "by hand") as restored:
        assert everything(restored) == everything(studio)


def test_an_export_can_be_restored_too(studio: Studio, tmp_path: Path) -> None:
    studio.export(tmp_path / "out.zip")
    with Studio.restore(tmp_path / "out.zip", tmp_path / "restored") as restored:
        assert everything(restored) == everything(studio)


def test_a_backup_can_be_imported(studio: Studio, other: Studio, tmp_path: Path) -> None:
    studio.backup(tmp_path / "backup.zip")
    other.import_file(tmp_path / "backup.zip")
    assert everything(other) == everything(studio)


def test_restoring_goes_into_an_empty_folder_only(studio: Studio, tmp_path: Path) -> None:
    studio.backup(tmp_path / "backup.zip")
    with pytest.raises(StudioError, match="new or empty folder"):
        Studio.restore(tmp_path / "backup.zip", tmp_path / "studio")
    assert len(studio.trials(include_set_aside=True)) == 2


def test_a_damaged_backup_leaves_no_half_studio(studio: Studio, tmp_path: Path) -> None:
    sha256 = studio.trial(1).photos[0]
    swapped = {f"photos/{sha256[:2]}/{sha256}.jpg": a_photograph(99)}
    file = rewritten(studio.backup(tmp_path / "b.zip").path, tmp_path / "swap.zip", lambda data: None, swapped)
    with pytest.raises(StudioError):
        Studio.restore(file, tmp_path / "restored")
    assert not (tmp_path / "restored").exists()
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_backup_made_while_trials_are_recorded_is_one_state(studio: Studio, tmp_path: Path) -> None:
    stop = threading.Event()

    def record() -> None:
        n = 0
        while not stop.is_set():
            sha256 = studio.keep_photo(a_photograph(1000 + n))
            studio.record(a_trial(20.0 + n % 60, photos=(sha256,)))
            n += 1

    thread = threading.Thread(target=record)
    thread.start()
    try:
        written = [studio.backup(tmp_path / f"backup {n}.zip") for n in range(5)]
    finally:
        stop.set()
        thread.join()
    assert written[-1].trials > written[0].trials
    for n, backup in enumerate(written):
        assert backup.missing_photos == ()
        with Studio.restore(backup.path, tmp_path / f"restored {n}") as restored:
            trials = restored.trials(include_set_aside=True)
            assert len(trials) == backup.trials
            assert all(restored.photo_path(sha256).is_file() for trial in trials for sha256 in trial.photos)
            assert restored.log.revision() >= len(trials)
        with closing(sqlite3.connect(tmp_path / f"restored {n}" / DATABASE_NAME)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
