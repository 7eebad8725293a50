"""Which plates to lay beside a finish, told wherever a reading too wide to choose by is shown; everything invented."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matcher.bench.work import After, Piece, Taken
from matcher.colour.sources import Source
from matcher.colour.uncertainty import BudgetTerm
from matcher.plates_beside import board_with, worth_laying
from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.trials.trial import Target
from tests.app_pages import open_page, said_on
from tests.plates import a_recipe, a_trial
from tests.tagged_plates import LAMPS, Bench, bench_with
from ui.state.light import CardChoice

APP = Path(__file__).parents[1] / "ui" / "app.py"
BROWNS = [(40, 13, 22), (52, 8, 26), (30, 6, 10), (46, -6, 12), (42, 10, 19)]
WIDE = 16.0 * np.eye(3)


@pytest.fixture(scope="module")
def lamps() -> Bench:
    return bench_with({"target": (42, 12, 20)}, {}, LAMPS, seed=2)


@pytest.fixture
def studio(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, lamps: Bench) -> Iterator[Studio]:
    """Five plates, the last read by a phone alone; a target and a piece on the bench, both read so too."""
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    with Studio.open(tmp_path / "studio") as opened:
        photo = opened.keep_photo(lamps.data, "lamps.png")
        by_phone = Reading((42, 12, 20), WIDE, photo=photo, region=lamps.finishes["target"])
        for n, lab in enumerate(BROWNS):
            reading = replace(by_phone, lab=np.array(lab, float)) if n == 4 else Reading(lab, 0.25 * np.eye(3))
            opened.record(a_trial(reading=reading, recipe=a_recipe(passes=n + 2), stages=()))
        opened.save_target(Target("otter", by_phone, photo=photo))
        opened.shelf.put(Piece("p", a_recipe(), counts=(1, 1, 1, 2), at=3, readings=(Taken(After(0, 2), by_phone),)))
        yield opened


def in_words(body: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def test_on_the_target_page_it_stands_before_what_else_would_help(studio: Studio, lamps: Bench) -> None:
    photo = studio.keep_photo(lamps.data, "lamps.png")
    card = CardChoice("card", "grey card", None, tuple(map(tuple, lamps.card.tolist())))
    mark = {"kind": "outline", "points": lamps.finishes["target"].tolist()}
    studio.save_draft("target", {"photo": photo, "card": card.as_dict(), "finishes": [mark]})
    body = said_on(open_page("target"))
    said = in_words(body)
    assert re.search(
        r"Tag plates? [\d, and]+, lay (that one|them) beside it and photograph them together: ±\d+\.\d becomes", said
    )
    assert said.index("photograph them together") < said.index("What else would help")
    (to_tag,) = re.findall(r'href="/log\?to-tag=([\d,]+)"', body)
    for number in range(1, 6):
        studio.give_tag(number, f"{studio.tag_signs}-{number}")
    body = said_on(open_page("target"))
    assert "Lay plate" in in_words(body) and "to-tag" not in body
    assert all(f'href="/log?plate={number}"' in body for number in to_tag.split(","))


@pytest.mark.parametrize("where", ["suggestions", "bench"])
def test_a_kept_target_and_a_reading_of_a_piece_offer_it_once(studio: Studio, where: str) -> None:
    query = {"target": "1"} if where == "suggestions" else {"piece": "p"}
    app = open_page(where, **query)
    said = " ".join([in_words(said_on(app)), *(folded.label for folded in app.expander)])
    assert said.count("photograph them together") == 1


def test_a_plate_is_not_laid_beside_itself_and_one_known_well_needs_none(studio: Studio) -> None:
    body = said_on(open_page("log", plate="5"))
    assert "photograph them together" in in_words(body) and 'href="/log?plate=5"' not in body
    assert "photograph them together" not in in_words(said_on(open_page("log", plate="1")))


def test_the_way_to_the_tags_has_the_plates_filled_in(studio: Studio) -> None:
    app = open_page("log", **{"to-tag": "3,1"})
    assert app.segmented_control(key="tags.for").value == "Logged plates"
    assert app.text_input(key="tags.plates").value == "3, 1" and "New tags, for plate 3" in said_on(app)


def test_the_command_line_tells_it_of_targets_suggestions_and_plates(studio: Studio, told: Any, run: Any) -> None:
    where = ("--studio", studio.name)
    (target,) = told("targets", *where)["targets"]
    laid = target["lay_beside"]
    assert laid["numbers"] and laid["words"].startswith("tag plate") and laid["then_delta_e00"] < laid["now_delta_e00"]
    assert told("suggest", "--target", 1, *where)["lay_beside"] == laid
    assert told("trials", "history", 1, *where)["lay_beside"] is None
    assert 5 not in told("trials", "history", 5, *where)["lay_beside"]["numbers"]
    for command in (("targets",), ("suggest", "--target", 1), ("trials", "history", 5)):
        assert "and photograph them together: ±" in run(*command, *where)[1]


def test_what_is_of_the_finish_itself_stays() -> None:
    plates = [(n, Reading(lab, 0.25 * np.eye(3))) for n, lab in enumerate(BROWNS, 1)]
    spots = BudgetTerm(Source.PALE_SPOTS, np.array([[4.0], [0.0], [0.0]]))
    rest = BudgetTerm(Source.CAMERA_AND_LIGHT, 4.0 * np.eye(3))
    there, gone = (
        worth_laying(Reading((42, 12, 20), sum(t.covariance for t in terms), photo="a" * 64, budget=terms), plates)
        for terms in ((rest, spots), (rest,))
    )
    assert there is not None and gone is not None
    assert there.then_delta_e00 > gone.then_delta_e00 + 2, "no plate beside it says whether a spot is glare"


def test_plates_that_were_read_alike_gain_less_than_plates_read_apart() -> None:
    """Three plates of one colour: of one profile's error they tell no more together than one of them does alone."""
    effect = 2.0 * np.eye(3)

    def gained(count: int, shared: str | None) -> float:
        names = [None if shared is None else shared.format(n) for n in range(count)]
        terms = [BudgetTerm(Source.PROFILE, effect, shared=name) for name in names]
        known = [Reading((42, 12, 20), effect @ effect.T, budget=(term,)) for term in terms]
        return board_with(list(enumerate(known)), range(count)).reaches[-1]

    assert gained(3, None) == pytest.approx(gained(3, "profile {}")), "causes of other names are apart"
    assert gained(3, "profile {}") < 0.8 * gained(1, None)
    assert 0.95 * gained(1, None) < gained(3, "one profile") <= gained(1, None)


def test_no_plate_is_named_twice_where_there_are_few() -> None:
    laid = worth_laying(Reading((42, 12, 20), WIDE, photo="a" * 64), [(7, Reading((42, 11, 20), 4.0 * np.eye(3)))])
    assert laid is not None and laid.numbers == (7,)


def test_nothing_is_offered_for_what_is_sure_enough_or_too_dark_to_read() -> None:
    from matcher.calibration.calibration import TOO_DARK_CODE
    from matcher.errors import Caveat

    plates = [(n, Reading(lab, 0.01 * np.eye(3))) for n, lab in enumerate(BROWNS, 1)]
    wide = Reading((42, 12, 20), WIDE, photo="a" * 64)
    assert worth_laying(wide, plates) is not None
    assert worth_laying(replace(wide, covariance=0.3 * np.eye(3)), plates) is None
    assert worth_laying(replace(wide, caveats=(Caveat(TOO_DARK_CODE, "Too dark."),)), plates) is None
