"""The log itself, in a folder and on a PostgreSQL server: kept whole, never deleted, every change remembered."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from sqlalchemy import event

from matcher.errors import MatcherError, RecipeError, StudioError
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.storage.schema import ReadingRow
from matcher.studio import Studio
from matcher.trials.stocks import Stock, equivalent_strength
from matcher.trials.trial import StageReading, Target, Trial
from tests.example_counts import examples
from tests.plates import MADE_AT, a_photograph, a_reading, a_recipe, a_target, a_trial, names, recipes


def told(trial: Trial) -> dict[str, Any]:
    return {**trial.as_dict(), "id": None, "uid": None}


# Recording


def test_a_recorded_trial_comes_back_whole(studio: Studio, place: str) -> None:
    logged = studio.record(a_trial())
    with Studio.open(place) as later:
        (found,) = later.trials()
    assert found.id == logged.id == 1
    assert found.uid == logged.uid
    assert told(found) == told(a_trial())
    assert found.recipe == a_recipe()
    np.testing.assert_array_equal(found.reading.covariance, a_reading().covariance)


@examples(25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    recipe=recipes,
    lab=st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120)),
    sigmas=st.tuples(*[st.floats(1e-6, 30)] * 3),
    notes=st.text(max_size=200),
    made_at=st.datetimes(datetime(1900, 1, 1), datetime(2200, 1, 1), timezones=st.just(timezone(timedelta(hours=5.5)))),
    temp=st.none() | st.floats(-60, 80),
)
def test_any_valid_trial_comes_back_to_the_last_bit(
    studio: Studio,
    recipe: Recipe,
    lab: tuple[float, ...],
    sigmas: tuple[float, ...],
    notes: str,
    made_at: datetime,
    temp: float | None,
) -> None:
    unstocked = replace(
        recipe,
        undercoat=None if recipe.undercoat is None else replace(recipe.undercoat, stock=None),
        coats=tuple(replace(coat, stock=None) for coat in recipe.coats),
    )
    reading = Reading(np.array(lab), np.diag(np.square(sigmas)))
    logged = studio.record(Trial(unstocked, reading, made_at, notes=notes, ambient_temp_c=temp))
    assert logged.recipe == unstocked
    assert logged.made_at == made_at
    assert logged.ambient_temp_c == temp
    assert logged.notes == notes.replace("\0", "")
    np.testing.assert_array_equal(logged.reading.lab, reading.lab)
    np.testing.assert_array_equal(logged.reading.covariance, reading.covariance)


def test_recording_the_same_trial_twice_keeps_it_once(studio: Studio) -> None:
    once = studio.record(a_trial(uid="from the form"))
    assert studio.record(a_trial(uid="from the form")).id == once.id
    assert studio.record(once).id == once.id
    assert [trial.id for trial in studio.record_all([once, once])] == [once.id, once.id]
    assert len(studio.trials()) == 1


def test_two_plates_alike_are_two_trials(studio: Studio) -> None:
    assert [studio.record(a_trial()).id, studio.record(a_trial()).id] == [1, 2]


def test_what_is_logged_is_not_changed_by_recording_over_it(studio: Studio) -> None:
    logged = studio.record(a_trial())
    with pytest.raises(StudioError, match="stays as it is"):
        studio.record(replace(logged, recipe=a_recipe(passes=9)))
    assert studio.trial(1).recipe == a_recipe()


def test_several_trials_are_kept_all_or_none(studio: Studio) -> None:
    with pytest.raises(StudioError, match="photograph first"):
        studio.record_all([a_trial(), a_trial(), a_trial(photos=("0" * 64,))])
    assert studio.trials() == []
    assert studio.history() == []
    assert studio.log.revision() == 0
    assert len(studio.record_all([a_trial(), a_trial()])) == 2


def test_the_columns_hold_recipe_and_reading_for_queries_of_ones_own(studio: Studio) -> None:
    studio.record(a_trial())
    studio.record(a_trial(55.0, recipe=Recipe("bronze", coats=(Coat("ferric nitrate", 1.0, 1, 90.0),))))
    query = sa.text(
        "SELECT t.id, c.passes, c.surface_temp_c, r.lab_l, r.variance_l, r.covariance_la, r.stage FROM trials t "
        "JOIN coats c ON c.trial_id = t.id JOIN readings r ON r.trial_id = t.id "
        "WHERE c.chemical = 'ferric nitrate' AND c.strength_of_stock < 0.75 AND r.position = 0"
    )
    with studio.database.reading() as session:
        assert session.execute(query).fetchall() == [(1, 6, 105.0, 38.0, 0.5, 0.1, "finished")]


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"photos": ("0" * 64,)}, "Keep the photograph first"),
        ({"photos": ("no hash",)}, "Keep the photograph first"),
        ({"target_id": 7}, "no target 7"),
        ({"recipe": a_recipe(stock="unheard of")}, "no stock labelled 'unheard of'"),
        ({"ambient_temp_c": 200.0}, "air temperature"),
        ({"ambient_temp_c": float("nan")}, "air temperature"),
        ({"ambient_humidity_percent": 101.0}, "humidity"),
        ({"made_by": "x" * 201}, "maker's name"),
        ({"made_by": 5}, "maker's name"),
        ({"made_at": "yesterday"}, "date"),
        ({"set_aside": "  "}, "reason"),
        ({"uid": "u" * 65}, "uid"),
        ({"uid": ""}, "uid"),
        ({"stages": (StageReading("", a_reading()),)}, "stage"),
        ({"reading": a_reading().lab}, "Reading"),
        ({"recipe": "ferric nitrate"}, "Recipe"),
        ({"reading": replace(a_reading(), lights=np.full(3, np.nan))}, "finite numbers"),
        ({"reading": replace(a_reading(), photo="0" * 65)}, "photograph's hash"),
        ({"notes": "n" * 20_001}, "notes"),
    ],
)
def test_what_cannot_be_kept_gets_one_sentence_and_nothing_is_kept(
    studio: Studio, changed: dict[str, Any], word: str
) -> None:
    with pytest.raises(StudioError, match=word) as said:
        studio.record(a_trial(**changed))
    assert str(said.value).rstrip().endswith(".")
    assert "\n" not in str(said.value)
    assert studio.trials() == []
    assert studio.history() == []


def test_text_that_no_database_keeps_is_kept_without_it(studio: Studio) -> None:
    assert studio.record(a_trial(notes="a\0b \ud800 é 漢 🜍")).notes == "ab ? é 漢 🜍"


def test_a_time_without_a_zone_is_this_machines_own(studio: Studio) -> None:
    naive = datetime(2025, 3, 31, 14, 30)
    assert studio.record(a_trial(made_at=naive)).made_at == naive.astimezone(UTC)


# Never deleted


def test_a_trial_set_aside_stays_in_the_log_with_its_reason(studio: Studio) -> None:
    for lightness in (30.0, 40.0, 50.0):
        studio.record(a_trial(lightness))
    assert studio.set_aside(2, "torch went out", who="Ann").set_aside == "torch went out"
    assert [trial.id for trial in studio.trials()] == [1, 3]
    assert [trial.id for trial in studio.trials(include_set_aside=True)] == [1, 2, 3]
    assert studio.trial(2).set_aside == "torch went out"
    assert studio.take_back(2, who="Ben").set_aside is None
    assert [trial.id for trial in studio.trials()] == [1, 2, 3]
    assert [(c.who, c.what, c.detail) for c in studio.history("trial", 2)][1:] == [
        ("Ann", "set aside", "torch went out"),
        ("Ben", "taken back", ""),
    ]


def test_setting_aside_needs_a_reason(studio: Studio) -> None:
    studio.record(a_trial())
    with pytest.raises(StudioError, match="reason"):
        studio.set_aside(1, "   ")
    assert studio.trial(1).set_aside is None


def test_doing_again_what_is_done_changes_nothing(studio: Studio) -> None:
    studio.record(a_trial())
    studio.set_aside(1, "streaky")
    revision, lines = studio.log.revision(), len(studio.history())
    studio.set_aside(1, "streaky")
    assert (studio.log.revision(), len(studio.history())) == (revision, lines)


@pytest.mark.parametrize("number", [0, -1, 99, 2**31, 2**80, "1", None, 1.5])
def test_a_trial_that_is_not_there_gets_one_sentence(studio: Studio, number: Any) -> None:
    studio.record(a_trial())
    for attempt in (studio.trial, studio.take_back, lambda n: studio.set_aside(n, "why")):
        with pytest.raises(StudioError, match="There is no plate"):
            attempt(number)


def test_nothing_in_the_log_is_ever_deleted_but_drafts(studio: Studio) -> None:
    said: list[str] = []
    event.listen(studio.database.engine, "before_cursor_execute", lambda _c, _k, text, *_: said.append(text))
    sha256 = studio.keep_photo(a_photograph())
    studio.record(a_trial(photos=(sha256,)))
    studio.set_aside(1, "streaky")
    studio.take_back(1)
    target = studio.save_target(a_target())
    studio.set_target_aside(target.id or 0)
    studio.save_stock("Fe-1", "ferric nitrate", 400)
    assert said
    assert not [text for text in said if text.upper().lstrip().startswith("DELETE")]


# What comes later


def test_a_reading_taken_later_and_a_photograph_join_their_trial(studio: Studio) -> None:
    studio.record(a_trial())
    sha256 = studio.keep_photo(a_photograph(), "waxed.jpg")
    studio.add_stage(1, StageReading("waxed", a_reading(34.0)), who="Ann")
    studio.add_photo(1, sha256)
    trial = studio.add_photo(1, sha256)
    assert [step.stage for step in trial.stages] == ["bare", "pass 3", "waxed"]
    assert trial.stages[-1].reading.lab[0] == 34.0
    assert trial.reading.lab[0] == 38.0
    assert trial.photos == (sha256,)
    assert [change.what for change in studio.history("trial", 1)] == ["recorded", "reading added", "photograph added"]


def test_the_history_says_who_and_when(studio: Studio) -> None:
    before = datetime.now(UTC)
    studio.record(a_trial(), who="Ann")
    studio.record(a_trial(made_by="Ben"))
    first, second = studio.history()
    assert (first.who, first.what, first.kind, first.subject) == ("Ann", "recorded", "trial", "1")
    assert second.who == "Ben"
    assert before <= first.at <= datetime.now(UTC)


# Targets


def test_a_target_is_saved_listed_and_set_aside(studio: Studio) -> None:
    sha256 = studio.keep_photo(a_photograph())
    saved = studio.save_target(a_target(photo=sha256))
    assert saved.id == 1
    assert {**studio.target(1).as_dict(), "id": None, "uid": None} == {
        **a_target(photo=sha256).as_dict(),
        "id": None,
        "uid": None,
    }
    assert studio.save_target(saved).id == 1
    assert studio.set_target_aside(1).set_aside == "done"
    assert studio.targets() == []
    assert [target.id for target in studio.targets(include_set_aside=True)] == [1]
    assert studio.take_target_back(1).set_aside is None
    assert studio.record(a_trial(target_id=1)).target_id == 1


@pytest.mark.parametrize(
    ("target", "word"),
    [
        (a_target(""), "target's name"),
        (a_target(tolerance=0.0), "tolerance"),
        (a_target(tolerance=float("nan")), "tolerance"),
        (a_target(photo="0" * 64), "photograph first"),
        (replace(a_target(), reading=None), "Reading"),  # type: ignore[arg-type]
    ],
)
def test_a_target_that_cannot_be_kept_gets_one_sentence(studio: Studio, target: Target, word: str) -> None:
    with pytest.raises(StudioError, match=word):
        studio.save_target(target)
    assert studio.targets(include_set_aside=True) == []


def test_a_target_that_is_not_there_gets_one_sentence(studio: Studio) -> None:
    with pytest.raises(StudioError, match="There is no target 4"):
        studio.target(4)


# Drafts


def test_a_half_typed_form_survives_until_it_is_dropped(studio: Studio, place: str) -> None:
    typed = {"passes": "6", "coats": [{"chemical": "ferric ni"}], "lab": [38.5, None], "odd\0key": "a\ud800"}
    studio.save_draft("record", typed)
    with Studio.open(place) as later:
        assert later.draft("record") == {
            "passes": "6",
            "coats": [{"chemical": "ferric ni"}],
            "lab": [38.5, None],
            "oddkey": "a?",
        }
        later.save_draft("record", {"passes": "7"})
    assert studio.draft("record") == {"passes": "7"}
    assert studio.draft("another") is None
    studio.drop_draft("record")
    studio.drop_draft("record")
    assert studio.draft("record") is None


@pytest.mark.parametrize("body", [{"when": MADE_AT}, {"x": float("nan")}, [1], "text", {"long": "x" * 4_000_001}])
def test_a_draft_that_is_not_plain_json_is_refused(studio: Studio, body: Any) -> None:
    studio.save_draft("record", {"kept": 1})
    with pytest.raises(StudioError, match="draft"):
        studio.save_draft("record", body)
    assert studio.draft("record") == {"kept": 1}


def test_a_draft_doesnt_disturb_the_suggestions(studio: Studio) -> None:
    studio.record(a_trial())
    first = studio.suggester()
    studio.save_draft("record", {"passes": "6"})
    assert studio.suggester() is first


# Own cards, stocks


def test_a_card_measured_anew_counts_from_then_on(studio: Studio) -> None:
    studio.save_card("bench card", "grey card", (49.1, -0.2, 0.3), tolerance=0.4, measured_at=MADE_AT)
    studio.save_card("bench card", "grey card", (48.9, -0.2, 0.3), tolerance=0.3)
    studio.save_card("scale", "grey scale", [(90, 0, 0), (49, 0, 0), (20, 0, 0)])
    bench, scale = studio.own_cards()
    assert (bench.name, bench.kind, bench.tolerance) == ("bench card", "grey card", 0.3)
    np.testing.assert_array_equal(bench.lab, [48.9, -0.2, 0.3])
    np.testing.assert_array_equal(scale.lab, [[90, 0, 0], [49, 0, 0], [20, 0, 0]])
    assert "49.1" in studio.history("card", "bench card")[-1].detail


@pytest.mark.parametrize("lab", [(49,), (49, 0, float("nan")), "grey", [[49, 0], [1, 2]], [[[1, 2, 3]]], (500, 0, 0)])
def test_a_card_with_an_impossible_colour_is_refused(studio: Studio, lab: Any) -> None:
    with pytest.raises(MatcherError):
        studio.save_card("card", "grey card", lab)
    assert studio.own_cards() == []


def test_a_new_stock_leaves_old_trials_as_they_are(studio: Studio) -> None:
    studio.save_stock("Fe-1", "ferric nitrate", 400.0, lot="A7", made_at=MADE_AT)
    studio.record(a_trial(recipe=a_recipe(stock="Fe-1")))
    with pytest.raises(StudioError, match="label of its own"):
        studio.save_stock("Fe-1", "ferric nitrate", 350.0)
    studio.save_stock("Fe-2", "ferric nitrate", 350.0)
    assert [(stock.label, stock.grams_per_litre) for stock in studio.stocks()] == [("Fe-1", 400.0), ("Fe-2", 350.0)]
    assert studio.trial(1).recipe.coats[0].stock == "Fe-1"
    assert studio.trial(1).recipe.coats[0].strength == 0.5


def test_a_coat_cannot_name_a_stock_of_another_chemical(studio: Studio) -> None:
    studio.save_stock("Cu-1", "cupric nitrate", 300.0)
    with pytest.raises(StudioError, match="it holds cupric nitrate"):
        studio.record(a_trial(recipe=a_recipe(stock="Cu-1")))


def test_an_old_recipe_is_mixed_from_the_new_stock_at_its_equivalent_strength(studio: Studio) -> None:
    studio.save_stock("Fe-1", "ferric nitrate", 400.0)
    studio.save_stock("Fe-2", "ferric nitrate", 500.0)
    studio.save_stock("Fe-3", "ferric nitrate", 100.0)
    old = Coat("ferric nitrate", 0.5, 6, 104.0, stock="Fe-1")  # 200 g/L on the metal
    new = studio.equivalent_strength(old, "Fe-2")
    assert new == Coat("ferric nitrate", 0.4, 6, 104.0, stock="Fe-2")
    assert studio.equivalent_strength(Undercoat("ferric nitrate", 0.25, stock="Fe-1"), "Fe-3").strength == 1.0
    with pytest.raises(RecipeError, match="stronger stock than Fe-3"):
        studio.equivalent_strength(old, "Fe-3")
    with pytest.raises(StudioError, match="no stock labelled 'Fe-9'"):
        studio.equivalent_strength(old, "Fe-9")
    with pytest.raises(StudioError, match="it names none"):
        studio.equivalent_strength(replace(old, stock=None), "Fe-2")


@pytest.mark.parametrize("grams", [0.0, -5.0, float("inf"), "strong"])
def test_a_stock_without_a_strength_is_refused(studio: Studio, grams: Any) -> None:
    with pytest.raises(StudioError, match="stock's strength"):
        studio.save_stock("Fe-1", "ferric nitrate", grams)
    assert studio.stocks() == []


# Several at once, and speed


def test_two_pages_that_record_at_once_both_keep_theirs(place: str) -> None:
    with Studio.open(place) as one, Studio.open(place) as other:
        failures: list[BaseException] = []

        def record(studio: Studio, who: str) -> None:
            try:
                for n in range(10):
                    studio.record(a_trial(20.0 + n, made_by=who))
                    studio.save_draft(f"form of {who}", {"n": n})
            except BaseException as error:
                failures.append(error)

        threads = [
            threading.Thread(target=record, args=(studio, f"{studio_name} {n}"))
            for studio_name, studio in (("one", one), ("other", other))
            for n in range(2)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert failures == []
        assert len(one.trials()) == len(other.trials()) == 40
        assert one.log.revision() == 40


def test_pages_that_open_a_new_studio_at_once_find_one_and_the_same(place: str) -> None:
    failures: list[BaseException] = []
    together = threading.Barrier(4)

    def open_and_record() -> None:
        try:
            together.wait()
            with Studio.open(place) as studio:
                studio.record(a_trial())
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=open_and_record) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    with Studio.open(place) as studio:
        assert len(studio.trials()) == 4


@pytest.mark.parametrize("how", ["export", "backup"])
def test_a_studio_moves_from_here_to_a_folder_and_back(studio: Studio, tmp_path: Path, how: str) -> None:
    sha256 = studio.keep_photo(a_photograph(), "plate.jpg")
    studio.save_stock("Fe-1", "ferric nitrate", 400.0)
    studio.record(a_trial(photos=(sha256,), recipe=a_recipe(stock="Fe-1"), target_id=studio.save_target(a_target()).id))
    getattr(studio, how)(tmp_path / "carried.zip")
    with Studio.restore(tmp_path / "carried.zip", tmp_path / "folder") as folder:
        assert told(folder.trial(1)) == told(studio.trial(1))
        assert folder.photo_path(sha256).read_bytes() == a_photograph()
        folder.record(a_trial(44.0))
        folder.export(tmp_path / "back.zip")
    back = studio.import_file(tmp_path / "back.zip")
    assert (back.trials, back.trials_here_before, back.differing) == (1, 1, ())
    studio.export(tmp_path / "table.csv")
    assert studio.import_file(tmp_path / "table.csv").trials_here_before == 2


def test_photographs_kept_together_are_those_kept_one_by_one(studio: Studio, tmp_path: Path) -> None:
    paths = [tmp_path / f"plate {n}.jpg" for n in range(3)]
    for n, path in enumerate(paths):
        path.write_bytes(a_photograph(n))
    assert studio.keep_photos([*paths, paths[0]]) == [studio.keep_photo(path) for path in (*paths, paths[0])]


def test_a_reader_sees_one_state_while_another_writes(place: str) -> None:
    with Studio.open(place) as one, Studio.open(place) as other:
        one.record(a_trial())
        with one.database.reading() as session:
            count = sa.select(sa.func.count()).select_from(ReadingRow)
            before = session.scalar(count)
            other.record(a_trial())
            assert session.scalar(count) == before
        assert len(one.trials()) == 2


def test_loading_takes_as_many_queries_for_many_trials_as_for_one(studio: Studio) -> None:
    said: list[str] = []
    event.listen(studio.database.engine, "before_cursor_execute", lambda _c, _k, text, *_: said.append(text))
    counts = []
    for n in (1, 60):
        studio.record_all([a_trial() for _ in range(n)])
        said.clear()
        studio.trials()
        counts.append(len(said))
    assert counts[0] == counts[1] <= 5


# Without a studio


@given(chemical=names, strength=st.floats(0.01, 1.0), own=st.floats(1, 2000), other=st.floats(1, 2000))
def test_an_equivalent_strength_puts_the_same_grams_per_litre_on_the_metal(
    chemical: str, strength: float, own: float, other: float
) -> None:
    coat = Coat(chemical, strength, 3, 104.0, stock="old")
    old, new = Stock("old", chemical, own), Stock("new", chemical, other)
    if strength * own > other * (1 + 1e-12):
        with pytest.raises(RecipeError, match="stronger stock"):
            equivalent_strength(coat, old, new)
        return
    again = equivalent_strength(coat, old, new)
    assert again.strength * other == pytest.approx(strength * own)
    assert (again.stock, again.passes, again.chemical) == ("new", 3, coat.chemical)


def test_a_stock_of_another_chemical_is_no_equivalent() -> None:
    with pytest.raises(RecipeError, match="Choose a stock of ferric nitrate"):
        equivalent_strength(
            Coat("ferric nitrate", 0.5, 3, 104.0), Stock("a", "ferric nitrate", 400), Stock("b", "cupric nitrate", 400)
        )


def test_a_trial_comes_back_from_json() -> None:
    trial = a_trial(id=4, uid="u", photos=("ab" * 32,), target_id=2, set_aside="streaky")
    assert Trial.from_dict(json.loads(json.dumps(trial.as_dict()))).as_dict() == trial.as_dict()
    target = a_target(id=4, uid="u", photo="ab" * 32, set_aside="done")
    assert Target.from_dict(json.loads(json.dumps(target.as_dict()))).as_dict() == target.as_dict()


@pytest.mark.parametrize("data", [{}, {"recipe": {"alloy": "b"}}, {"recipe": 1, "reading": 2}, [], None])
def test_a_written_trial_with_fields_missing_is_refused(data: Any) -> None:
    with pytest.raises(MatcherError):
        Trial.from_dict(data)
    with pytest.raises(MatcherError):
        Target.from_dict(data)
