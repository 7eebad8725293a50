"""Plates that are shared by choice: only the chosen fields leave, others' are ranked apart, and how far they carry."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa

from matcher.colour.difference import delta_e_2000
from matcher.errors import StudioError
from matcher.hands import Hand, Role, at_work
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.sharing.carry_over import FEWEST_PAIRS, carry_over, of_differences
from matcher.sharing.places import shared_place
from matcher.sharing.shared_plate import FIELDS, SharedPlate, to_share
from matcher.sharing.wording import carry_in_words
from matcher.studio import Studio
from matcher.trials.trial import Trial
from tests.example_counts import draws
from tests.plates import a_photograph, a_target, a_trial
from tests.postgres_server import fresh_database

SECRETS = ("Secret Client", "Secret Maker", "secret note", "Secret Bottle", "secret-photo", "SECRET PIECE")


@pytest.fixture(params=["folder", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A place that two studios reach."""
    if request.param == "folder":
        (tmp_path / "shared").mkdir()
        yield str(tmp_path / "shared")
        return
    with fresh_database(request.getfixturevalue("postgres_server")) as url:
        yield url


@pytest.fixture
def two(tmp_path: Path, where: str) -> Iterator[tuple[Studio, Studio]]:
    with Studio.open(tmp_path / "ours") as ours, Studio.open(tmp_path / "theirs") as theirs:
        ours.title, theirs.title = "Our foundry (invented)", "Their foundry (invented)"
        for studio in (ours, theirs):
            studio.sharing.keep_place(where)
        yield ours, theirs


def recipe(passes: int) -> Recipe:
    return Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, passes, 100.0),))


def everything_there(where: str) -> str:
    """Return all that lies in the shared place, as text."""
    if "://" not in where:
        return "\n".join(f"{path.name} {path.read_text(encoding='utf-8')}" for path in Path(where).rglob("*"))
    engine = sa.create_engine(sa.make_url(where).set(drivername="postgresql+psycopg"))
    with engine.connect() as connection:
        tables = sa.inspect(connection).get_table_names()
        rows = [
            list(map(str, row)) for table in tables for row in connection.execute(sa.text(f"SELECT * FROM {table}"))
        ]
    engine.dispose()
    return json.dumps([tables, rows])


def test_nothing_but_the_chosen_fields_leaves(two, where, tmp_path):
    ours, _ = two
    ours.save_stock("Secret Bottle", "ferric nitrate", 400)
    photo = ours.keep_photo(a_photograph(3), "secret-photo.jpg")
    target = ours.save_target(a_target(name="Secret Client"))
    work = Recipe(
        "silicon bronze",
        undercoat=Undercoat("liver of sulphur", 0.5),
        coats=(Coat("ferric nitrate", 0.5, 6, 105.0, stock="Secret Bottle"),),
    )
    trial = a_trial(
        recipe=work, made_by="Secret Maker", piece="SECRET PIECE", notes="secret note", photos=(photo,),
        target_id=target.id, stages=(),
    )  # fmt: skip
    kept = ours.record(trial, "Secret Maker")
    shown = ours.sharing.what_would_leave([kept.id or 0])
    assert everything_there(where).count("studio_uid") <= 1  # a column's name at most: nothing has left
    ours.sharing.share([kept.id or 0], who="Secret Maker")
    there = everything_there(where)
    assert "silicon bronze" in there and "ferric nitrate" in there
    assert not [secret for secret in SECRETS if secret.lower() in there.lower()] and photo not in there
    (plate,) = ours.sharing.shared()
    assert set(plate.as_dict()) == set(FIELDS)
    assert {**plate.as_dict(), "shared_at": ""} == {**shown[0].as_dict(), "shared_at": ""}
    assert [line.what for line in ours.history("trial", kept.id)][-1] == "shared"


def test_the_colour_only_leaves_no_recipe(two, where):
    ours, _ = two
    kept = ours.record(Trial(recipe(4), Reading((40, 14, 22))))
    ours.sharing.share([kept.id or 0], with_recipe=False)
    assert "ferric" not in everything_there(where)
    assert ours.sharing.shared()[0].recipe is None
    ours.sharing.share([kept.id or 0])
    assert ours.sharing.shared()[0].recipe == recipe(4)  # in its place, not beside it


def test_a_plate_withdrawn_is_there_no_longer(two, where):
    ours, theirs = two
    plates = ours.record_all([Trial(recipe(n), Reading((40 + n, 14, 22))) for n in (1, 2, 3)])
    ours.sharing.share([plate.id or 0 for plate in plates])
    assert ours.sharing.withdraw([plates[0].id or 0, plates[2].id or 0]) == 2
    assert str(plates[0].uid) not in everything_there(where)
    (studio,) = theirs.sharing.others(Reading((40, 14, 22)), []).studios
    assert [one.plate.plate_uid for one in studio.plates] == [plates[1].uid]
    assert ours.sharing.withdraw([plates[0].id or 0]) == 0


def test_others_are_ranked_apart_under_their_title_and_never_logged(two):
    ours, theirs = two
    own = ours.record(Trial(recipe(2), Reading((50, 10, 20))))
    plates = theirs.record_all([Trial(recipe(n), Reading((30.0 + 3 * n, 14, 22))) for n in range(1, 9)])
    theirs.sharing.share([plate.id or 0 for plate in plates])
    ours.sharing.share([own.id or 0])
    (studio,) = ours.sharing.others(Reading((45, 14, 22)), ours.trials(), 3).studios
    assert (studio.title, studio.shared) == ("Their foundry (invented)", 8)
    labs = np.array([plate.reading.lab for plate in plates])
    order = np.argsort(delta_e_2000((45, 14, 22), labs), kind="stable")[:3]
    assert [one.plate.plate_uid for one in studio.plates] == [plates[row].uid for row in order]
    assert len(ours.trials()) == 1 and len(ours.suggester().trials) == 1
    assert not studio.carry.is_known and studio.plates[0].here is None
    assert "isn't known" in carry_in_words(studio.title, studio.carry)


def test_sharing_needs_a_place_a_title_and_plates_that_count(tmp_path, where):
    with Studio.open(tmp_path / "new") as studio:
        kept = studio.record(Trial(recipe(4), Reading((40, 14, 22))))
        with pytest.raises(StudioError, match="title first"):
            studio.sharing.what_would_leave([kept.id or 0])
        studio.title = "New (invented)"
        with pytest.raises(StudioError, match="where plates are shared"):
            studio.sharing.share([kept.id or 0])
        studio.sharing.keep_place(where)
        studio.set_aside(kept.id or 0, "burnt")
        with pytest.raises(StudioError, match="set aside"):
            studio.sharing.share([kept.id or 0])
        assert studio.sharing.shared() == []
        with pytest.raises(StudioError, match="is no folder"):
            studio.sharing.keep_place(str(tmp_path / "nowhere"))
        assert studio.sharing.place == where
        helper = Hand("h", "Hal", Role.HELPER)
        with at_work(helper), pytest.raises(StudioError, match="owner"):
            studio.sharing.keep_place(None)


def test_what_cannot_be_read_in_the_shared_folder_is_counted_and_left_out(tmp_path):
    place = shared_place(str(tmp_path))
    good = to_share(Trial(recipe(4), Reading((40, 14, 22)), uid="one"), "s", "Somebody", True)
    place.put([good])
    bad = {**good.as_dict(), "lab": [1, 2]}, {**good.as_dict(), "more": 1}, {**good.as_dict(), "recipe": {"x": 1}}, []
    for at, one in enumerate(bad):
        (tmp_path / f"{at}.shared-plate.json").write_text(json.dumps(one))
    (tmp_path / "x.shared-plate.json").write_bytes(b"\xff\x00")
    (tmp_path / "y.shared-plate.json").mkdir()
    assert [plate.plate_uid for plate in place.shelf().plates] == ["one"] and place.shelf().unread == 6


def test_a_shared_database_is_no_studio_s_own(tmp_path, opened_database):
    with pytest.raises(StudioError, match="studio's own log"):
        shared_place(opened_database).shelf()


@pytest.mark.parametrize("pairs", [FEWEST_PAIRS, 12])
def test_the_region_expected_of_their_plates_holds_95_in_100(pairs):
    """Invented studios whose plates differ by a shift and a scatter: neither too narrow nor too wide, by Hotelling."""
    rng = np.random.default_rng(8)
    times, root = draws(4000, 1500), np.array([[1.5, 0, 0], [0.6, 1.0, 0], [0.2, -0.4, 0.7]])
    held = 0
    for _ in range(times):
        shift = rng.normal(0, 3, 3)
        carry = of_differences([shift + root @ rng.normal(size=3) for _ in range(pairs)])
        plate = to_share(Trial(recipe(1), Reading((40, 14, 22)), uid="u"), "s", "t", True)
        lab, covariance = carry.expected_here(plate)
        off = plate.lab + shift + root @ rng.normal(size=3) - lab
        held += off @ np.linalg.solve(covariance, off) <= 7.8147
    assert 0.93 <= held / times <= 0.97


def test_pairs_are_plates_of_one_recipe_however_it_is_spelt():
    ours = [Trial(recipe(n), Reading((40.0 + n, 14, 22))) for n in range(1, 8)]
    theirs = [
        to_share(
            Trial(
                Recipe("Silicon-Bronze", coats=(Coat("iron(III) nitrate", 0.5, n, 100.0),)),
                Reading((38.0 + n + 0.1 * (-1) ** n, 15, 22)),
                uid=str(n),
            ),
            "s", "t", n != 7,
        )
        for n in range(1, 8)
    ]  # fmt: skip
    carry = carry_over(theirs, ours)
    assert carry.pairs == 6 and carry.is_known  # the seventh shares no recipe
    assert np.allclose(carry.shift, [2, -1, 0], atol=0.05)
    assert not carry_over(theirs[:5], ours).is_known


def test_a_shared_plate_comes_back_as_it_went():
    plate = to_share(a_trial(uid="a plate"), "studio", "Title", True)
    assert SharedPlate.from_dict(json.loads(json.dumps(plate.as_dict()))).as_dict() == plate.as_dict()


def test_the_commands_show_before_they_share(two, told, run, where, tmp_path):
    ours, _ = two
    ours.record_all([Trial(recipe(n), Reading((40 + n, 14, 22))) for n in (1, 2)])
    of_ours, of_theirs = ("--studio", tmp_path / "ours"), ("--studio", tmp_path / "theirs")
    shown = told("share", "show", "1,2", "--colour-only", *of_ours)
    assert len(shown["plates"]) == 2 and shown["plates"][0]["recipe"] is None
    assert told("share", "list", *of_ours)["plates"] == []
    code, out, _ = run("share", "give", "1,2", *of_ours)
    assert code == 0 and "6 passes" not in out and "no photograph, client, person, note or bottle" in out
    assert [one["plate"] for one in told("share", "list", *of_ours)["plates"]] == [1, 2]
    found = told("share", "others", "--lab", "41,14,22", *of_theirs)
    assert (
        found["studios"][0]["title"] == "Our foundry (invented)" and found["studios"][0]["carries_over"]["pairs"] == 0
    )
    code, out, _ = run("share", "others", "--lab", "41,14,22", *of_theirs)
    assert "not yours" in out and "isn't known" in out
    assert told("share", "withdraw", "1", *of_ours) == {"withdrawn": 1}
    place = told("share", "place", *of_ours)["place"]
    assert place == where or "@" in place
    assert told("share", "place", "none", *of_ours) == {"place": None}
