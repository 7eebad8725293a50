"""Sharing on the page: plates chosen on the wall, shown before they leave; others' beside a target, apart. Invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe
from matcher.studio import Studio
from matcher.trials.trial import Target, Trial
from tests.app_pages import button, open_page, said_on


def recipe(passes: int) -> Recipe:
    return Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, passes, 100.0),))


@pytest.fixture
def shared(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Our studio is open; another shares seven plates of recipes that we have made too, 2 darker than ours."""
    (tmp_path / "shared").mkdir()
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "ours"))
    with Studio.open(tmp_path / "ours") as ours, Studio.open(tmp_path / "theirs") as theirs:
        ours.title, theirs.title = "Our foundry (invented)", "Theirs & sons (invented)"
        ours.save_target(Target("Heron", Reading((45, 14, 22))))
        ours.record_all([Trial(recipe(n), Reading((60.0 - 3 * n, 14 + 0.1 * n, 22))) for n in range(1, 8)])
        plates = theirs.record_all(
            [Trial(recipe(n), Reading((58.0 - 3 * n + 0.2 * (-1) ** n, 14, 22 + 0.1 * (n % 3)))) for n in range(1, 8)]
        )
        theirs.sharing.keep_place(str(tmp_path / "shared"))
        theirs.sharing.share([plate.id or 0 for plate in plates])
    return tmp_path


def test_plates_picked_on_the_wall_are_shown_shared_and_taken_away(shared: Path) -> None:
    app = open_page("log", pick="3")
    next(one for one in app.toggle if one.label == "Share plates").set_value(True).run()
    app.text_input(key="log.share.place").set_value(str(shared / "shared")).run()
    button(app, "Use this place").click().run()
    assert "This would leave the studio" in said_on(app) and "3 passes" in said_on(app)
    assert "no photograph, client, person, note or bottle" in said_on(app).replace("\n", " ")
    before = len(list((shared / "shared").iterdir()))
    button(app, "Share 1 plate").click().run()
    assert len(list((shared / "shared").iterdir())) == before + 1
    assert "Shared now: 1 plate" in said_on(app)
    button(app, "Take them away again").click().run()
    assert len(list((shared / "shared").iterdir())) == before


def test_others_plates_stand_apart_under_their_title_with_how_far_they_carry_over(shared: Path) -> None:
    with Studio.open(shared / "ours") as ours:
        ours.sharing.keep_place(str(shared / "shared"))
    app = open_page("suggestions", target="1")
    assert "Theirs" not in said_on(app)
    next(one for one in app.pills if "others" in one.options or "Other studios' plates" in one.options).set_value(
        "others"
    ).run()
    said = said_on(app)
    assert [one.value for one in app.subheader if "Theirs" in one.value]
    assert "Over 7 recipes in common your plates lie" in said and "made here, expected" in said
    assert "not yours" in said


def test_without_a_shared_place_suggestions_do_not_speak_of_other_studios(shared: Path) -> None:
    app = open_page("suggestions", target="1")
    assert not [one for one in app.pills if "Other studios' plates" in one.options]
