"""Plates are found by the commission that they were made for, on the wall and by the command line; all invented."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from matcher.commissions.commission import Area
from matcher.ranking.finding import NONE, Wanted
from matcher.ranking.made_for import Job, made_for
from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.trials.trial import Target
from tests.plates import a_trial
from tests.test_commissions import a_commission

CLIENT = "Park of Aldmere (invented)"
BIRD, REEDS = Job("Heron fountain", CLIENT, "bird"), Job("Heron fountain", CLIENT, "reeds")


def a_job(studio: Studio) -> dict[str, int]:
    """Log a sample for an area, one for its approved plate, a cast that was made for no target, and one for nobody."""
    wanted = studio.save_target(Target("umber", Reading((40.0, 14.0, 22.0)), tolerance=2.0))
    kept = studio.commissions.save(a_commission(areas=(Area("bird", target_id=wanted.id), Area("reeds"))))

    def plate(uid: str, target_id: int | None) -> int:
        return studio.record(a_trial(uid=uid, stages=(), target_id=target_id)).id or 0

    made = {"sample": plate("sample", wanted.id)}
    signed = studio.sign_offs.sign(kept.areas[0].id or 0, made["sample"], "the sculptor", "north light")
    made |= {"for the approved": plate("approved", signed.aim_id), "cast": plate("cast", None)}
    studio.casts.note(made["cast"], kept.areas[1].id or 0, 1)
    return {**made, "nobody's": plate("nobody", None)}


def found(studio: Studio, **wanted: Any) -> set[int | None]:
    return {trial.id for trial in studio.finder().find(Wanted(**wanted)).trials}


def test_title_client_and_area_find_what_was_made_for_a_commission(studio: Studio) -> None:
    made = a_job(studio)
    jobs = made_for(studio.database)
    assert jobs.jobs(made["sample"], 1) == (BIRD,) and jobs.jobs(made["cast"], None) == (REEDS,)
    theirs = set(made.values()) - {made["nobody's"]}
    for words in ("Heron fountain", "heron FOUNTAIN plate", "aldmere", "fountain (invented)"):
        assert found(studio, words=words) == theirs, words
    assert found(studio, words="Heron fountain, bird: umber") == {made["sample"]}, "as the page names it"
    assert found(studio, words="fountain, reeds:") == {made["cast"]}
    assert found(studio, chosen=(("commission", ("Heron fountain",)),)) == theirs
    assert found(studio, chosen=(("commission", (NONE,)),)) == {made["nobody's"]}
    assert studio.finder().choices("commission") == (("Heron fountain", 3), (NONE, 1))


def test_a_commission_that_is_renamed_is_found_by_its_new_name(studio: Studio) -> None:
    a_job(studio)
    before, kept = studio.finder(), studio.commissions.commission(1)
    assert studio.finder() is before, "nothing is looked up anew while nothing changed"
    studio.commissions.change(replace(kept, title="Otter gate"), kept)
    assert len(found(studio, words="otter gate")) == 3
    assert dict(studio.finder().choices("commission")) == {"Otter gate": 3, NONE: 1}


def test_the_command_line_finds_by_commission(told: Any, refused: Any, tmp_path: Path) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        made = a_job(studio)
    place = ("--studio", tmp_path / "studio")
    for asked, count in ((("--find", "Heron fountain"), 3), (("--commission", "heron fountain"), 3)):
        assert len(told("trials", "list", *asked, *place)["trials"]) == count
    (one,) = told("trials", "list", "--commission", "none", *place)["trials"]
    assert one["id"] == made["nobody's"]
    assert "commission" in refused("trials", "list", "--commission", "Otter", *place)
