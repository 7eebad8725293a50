"""The wall of plates: found, laid out, picked and opened again by the address alone. Invented plates."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from colour.difference import delta_E_CIE2000
from streamlit.testing.v1 import AppTest

from matcher.ranking import long_log
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.studio import Studio
from matcher.trials.trial import Trial
from tests.app_pages import plain
from tests.browser import Served, Visitor
from ui.wall.beside import differences
from ui.wall.bricks import AT_ONCE

APP = Path(__file__).parents[1] / "ui" / "app.py"
Visit = Callable[..., Visitor]


def plate(passes: int, chemical: str = "ferric nitrate", lab: Sequence[float] | None = None) -> Trial:
    known = (70.0 - 3.5 * passes, 10.0 + 0.8 * passes, 32.0 - 0.9 * passes) if lab is None else lab
    return Trial(Recipe("silicon bronze", None, (Coat(chemical, 0.5, passes, 105.0),)), Reading(lab=np.array(known)))


BROWNS = tuple(plate(k) for k in (1, 4, 7, 10))
GREENS = (plate(3, "cupric nitrate", (52.0, -22.0, 6.0)), plate(5, "cupric nitrate", (40.0, -20.0, 8.0)))


def wall(
    monkeypatch: pytest.MonkeyPatch, folder: Path, trials: Sequence[Trial] = (*BROWNS, *GREENS), **query: Any
) -> AppTest:
    """Return the wall of a studio with these plates, come to by an address."""
    monkeypatch.setenv("MATCHER_STUDIO", str(folder / "studio"))
    if not (folder / "studio").exists():
        with Studio.open(folder / "studio") as studio:
            studio.record_all(list(trials))
    app = AppTest.from_file(str(APP), default_timeout=60).run().switch_page("screens/log.py")
    for name, value in query.items():
        app.query_params[name] = value
    return app.run()


def bodies(app: AppTest) -> list[str]:
    assert not app.exception
    return [plain(element.proto.body) for element in app.get("html")]


def said(app: AppTest) -> str:
    return html.unescape(re.sub(r"<[^>]+>", " ", " ".join(bodies(app))))


def bricks(app: AppTest) -> list[int]:
    """Return the plates on the wall, in their order."""
    walls = [body for body in bodies(app) if "pm-wall" in body and "<style>" not in body]
    return [int(number) for body in walls for number in re.findall(r'<a href="[^"]*\?plate=(\d+)"', body)]


def test_every_plate_is_its_picture_fetched_when_it_is_near_and_the_way_to_its_page(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = wall(monkeypatch, tmp_path)
    assert sorted(bricks(app)) == [1, 2, 3, 4, 5, 6]
    (body,) = (body for body in bodies(app) if 'class="pm-wall"' in body)
    pictures = re.findall(r"<img [^>]*>", body)
    assert len(pictures) == 6 and all('loading="lazy"' in one and 'alt="Plate ' in one for one in pictures)
    assert all(re.search(r'src="/patches/plate/\d+/[0-9a-f]{40}/120\.jpg"', one) for one in pictures)
    labels = re.findall(r"<h2>([^<]*) <small>(\d+)</small></h2>", body)
    assert sum(int(number) for _, number in labels) == 6, "each shade stands above its plates, with their number"


def test_a_shade_goes_from_dark_to_light(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    found = bricks(wall(monkeypatch, tmp_path))
    assert found.index(6) < found.index(5), "of the greens the darker one first"


def test_a_search_lives_in_the_address(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    app = wall(monkeypatch, tmp_path)
    app.text_input(key="log.words").set_value("cupric").run()
    app.selectbox(key="log.order").set_value("newest").run()
    assert bricks(app) == [6, 5]
    address = {name: text if isinstance(text, str) else text[0] for name, text in app.query_params.items()}
    assert address == {"words": "cupric", "order": "newest"}
    again = wall(monkeypatch, tmp_path, **address)
    assert bricks(again) == [6, 5] and again.text_input(key="log.words").value == "cupric"
    again.query_params["plate"] = "5"
    again.run()
    assert bricks(again) == [] and "Plate 5" in said(again)
    next(button for button in again.button if button.label == "Back to all plates").click().run()
    assert bricks(again) == [6, 5] and again.text_input(key="log.words").value == "cupric"


def test_what_plates_must_have_is_chosen_with_how_many_it_leaves(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = wall(monkeypatch, tmp_path, chemical="cupric nitrate")
    assert sorted(bricks(app)) == [5, 6]
    groups: list[Any] = list(app.get("button_group"))
    chemical = next(group for group in groups if group.label == "Chemical")
    assert [option.content for option in chemical.proto.options] == [r"ferric nitrate \(4\)", r"cupric nitrate \(2\)"]
    chemical.set_value([]).run()
    assert len(bricks(app)) == 6 and "chemical" not in app.query_params


def test_an_address_that_names_what_no_plate_has_passes_over_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = wall(
        monkeypatch, tmp_path, chemical="unobtainium", order="sideways", view="upside down", pick="99", shade="<b>"
    )
    assert len(bricks(app)) == 6


def test_likeness_goes_by_ciede2000_from_a_plate_or_from_typed_figures(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Against colour-science's own CIEDE2000."""
    labs = {number: trial.reading.lab for number, trial in enumerate((*BROWNS, *GREENS), start=1)}
    for like, lab in (("3", labs[3]), ("50, -20, 8", np.array([50.0, -20.0, 8.0]))):
        app = wall(monkeypatch, tmp_path, order="likeness", like=like)
        assert bricks(app) == sorted(labs, key=lambda number: delta_E_CIE2000(lab, labs[number]))
    for like in ("", "brownish", "1, 2", "99"):
        app = wall(monkeypatch, tmp_path, order="likeness", like=like)
        assert "Type a plate's number, or L*, a*, b*" in said(app) and len(bricks(app)) == 6


def test_a_plates_own_page_leads_to_those_like_it(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    app = wall(monkeypatch, tmp_path, plate="5")
    app.button(key="log.like.5").click().run()
    assert bricks(app)[:2] == [5, 6]


def test_picked_plates_stand_beside_each_other_with_what_sets_them_apart(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = wall(monkeypatch, tmp_path, pick=["1", "5", "2"])
    (table,) = (body for body in bodies(app) if 'class="pm-beside-table"' in body)
    assert re.findall(r'<th scope="col">Plate (\d+)', table) == ["1", "5", "2"]
    assert "than plate 1" in table and table.count("95 %:") == 2
    assert "Coat" in table and "Alloy" not in table, "only what differs"
    app.button(key="log.unpick").click().run()
    assert "pick" not in app.query_params and 'class="pm-beside-table"' not in " ".join(bodies(app))


def test_only_what_differs_between_recipes_is_named() -> None:
    one, two = BROWNS[0].recipe, Recipe("silicon bronze", Undercoat("liver of sulphur", 0.5), BROWNS[0].recipe.coats)
    assert [name for name, _ in differences([one, two])] == ["Undercoat"]
    assert differences([one, one]) == []


def test_a_long_log_comes_in_chunks(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Nothing is fetched of what is not near, and the page's own HTML stays small: under 100 kB a chunk."""
    many = [plate(1 + k % 12, lab=(30 + k % 40, 5 + k % 13, 10 + k % 17)) for k in range(AT_ONCE + 40)]
    app = wall(monkeypatch, tmp_path, many, order="oldest")
    assert bricks(app) == list(range(1, AT_ONCE + 1))
    assert all(len(body) < 100_000 for body in bodies(app) if 'class="pm-wall"' in body)
    app.button(key="log.more").click().run()
    assert bricks(app) == list(range(1, AT_ONCE + 41))
    assert not [button for button in app.button if button.key == "log.more"]


def test_a_log_too_long_to_be_read_whole_is_searched_where_it_lies(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(long_log, "READ_WHOLE", 10)
    monkeypatch.setattr(long_log, "PORTION", 20)
    monkeypatch.setattr(long_log, "MOST_LOOKED_AT", 20)
    trials = [*(plate(1 + number % 20) for number in range(60)), GREENS[0]]
    app = wall(monkeypatch, tmp_path, trials, view="list")
    assert "The first 15 found, of 61 plates" in said(app)
    app.button(key="log.more").click().run()
    assert "The first 30 found, of 61 plates" in said(app)
    pills = {one.label: list(one.options) for one in app.button_group if one.label == "Chemical"}
    assert pills == {"Chemical": ["cupric nitrate", "ferric nitrate", "bare metal"]}, "they can't be counted"
    app = wall(monkeypatch, tmp_path, words="cupric", order="newest", view="list")
    for looked in (40, 60):
        assert f"0 found in {looked} looked through, of 61 plates" in said(app)
        assert "No plate is all of this" not in said(app)
        app.button(key="log.more").click().run()
    assert "1 of 61 plates" in said(app) and [one.key for one in app.button if one.label == "Open"] == ["log.open.61"]
    assert not [one for one in app.button if one.key == "log.more"]
    app = wall(monkeypatch, tmp_path, plate="61")
    assert "Plate 61" in said(app)


def test_a_plate_is_opened_and_left_by_hand_and_two_are_picked(read_demo: Served, visit: Visit) -> None:
    visitor = visit(read_demo)
    visitor.open("log?words=ferric")
    plates = visitor.page.locator(".pm-wall > a")
    count = plates.count()
    plates.nth(4).click()
    visitor.page.get_by_role("heading", name="Plate", level=1).wait_for()
    visitor.settle()
    assert "words=ferric" in visitor.page.url and "plate=" in visitor.page.url
    visitor.page.go_back()
    plates.nth(4).wait_for()
    visitor.settle()
    assert plates.count() == count
    visitor.page.get_by_text("Pick plates to compare").click()
    visitor.settle()
    for number in (0, 7):
        plates.nth(number).click()
        visitor.settle()
    assert plates.count() == count, "picked, not opened"
    assert visitor.page.locator(".st-key-panel-picking .pm-strip img").count() == 2
    visitor.press("Compare them")
    assert visitor.page.locator(".st-key-panel-beside .pm-strip img").count() == 2
    visitor.shot("picked")
