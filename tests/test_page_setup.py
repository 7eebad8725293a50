"""The pages that make readings surer: camera and light, good and bad photographs, repeats, two finishes side by side.

Most of it without a browser: the studio keeps what was half done, and the page goes on from there.
"""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.demo import one_plate, two_finishes
from matcher.demo_examples import read_examples
from matcher.photo.photo import open_photo
from matcher.shipped import shipped
from matcher.studio import Studio
from tests.app_pages import plain
from tests.browser import Served, Visitor, page_file
from tests.scenes import Scene, box, draw_card, png, turned

APP = Path(__file__).parents[1] / "ui" / "app.py"
DEMO = shipped("demo_images")
TRUTH = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))["pictures"]
CHART = load_cards()["24-patch chart"]
PLACE = box(200, 130, 590, 390)
Visit = Callable[..., Visitor]
Open = Callable[[str], AppTest]


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio.open(tmp_path / "studio") as opened:
        yield opened


@pytest.fixture
def page(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Open:
    """Open a page of one studio, as a reload shows it."""
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))

    def open_page(name: str) -> AppTest:
        app = AppTest.from_file(str(APP), default_timeout=90).run()
        return app.switch_page(page_file(name)).run()

    return open_page


def shown(app: AppTest) -> str:
    """Everything that the page says in its own HTML, as plain text."""
    assert not app.exception
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", plain(element.proto.body)) for element in app.get("html")))


def labels(app: AppTest) -> list[str]:
    return [button.label for button in app.button]


def press(app: AppTest, label: str) -> AppTest:
    return next(button for button in app.button if button.label == label).click().run()


def chart_scene(*covered: int, degrees: float = 0.0, mirrored: bool = False) -> bytes:
    """An invented photograph of the chart, with numbered patches covered by something brown."""
    drawn = draw_card(CHART, 240)
    scene = Scene(lab=(70, 2, 8)).lay_picture(turned(PLACE, degrees), drawn[:, ::-1] if mirrored else drawn)
    for row, column in (divmod(number, 6) for number in covered):
        scene.lay(box(200 + 65 * column, 130 + 65 * row, 265 + 65 * column, 195 + 65 * row), (55, 20, 25))
    return png(scene.codes())


def two_charts() -> bytes:
    scene = Scene(1200, 700, lab=(70, 2, 8))
    for place in (box(60, 130, 500, 420), box(640, 130, 1080, 420)):
        scene.lay_picture(place, draw_card(CHART, 240))
    return png(scene.codes())


def another_chart() -> bytes:
    rng = np.random.default_rng(0)
    labs = np.column_stack([rng.uniform(15, 95, 24), rng.uniform(-45, 45, (24, 2))])
    return png(Scene(lab=(70, 2, 8)).lay_picture(PLACE, draw_card(CHART.with_lab(labs), 240)).codes())


def corners(place: Any) -> dict[str, Any]:
    return {"kind": "corners", "points": np.asarray(place, float).tolist()}


# Camera and light


@pytest.mark.parametrize(
    ("picture", "says"),
    [
        (chart_scene(mirrored=True), "The photo is mirrored"),
        (two_charts(), "There is more than one 24-patch colour chart"),
        (another_chart(), "No 24-patch colour chart found for certain"),
        ((DEMO / "client_reference.jpg").read_bytes(), "No 24-patch colour chart found for certain"),
    ],
    ids=["mirrored", "two charts", "a chart of another kind", "no chart"],
)
def test_a_chart_that_is_no_good_gets_its_sentence_and_the_photograph_stays(
    page: Open, studio: Studio, picture: bytes, says: str
) -> None:
    sha256 = studio.keep_photo(picture, "chart.png")
    studio.save_draft("camera", {"photo": sha256, "name": "bench", "light": "window"})
    app = page("camera")
    assert says in shown(app)
    assert "Tap the four outer corners" in shown(app)
    assert "Yes, that is the chart" not in labels(app)
    assert studio.draft("camera") == {"photo": sha256, "name": "bench", "light": "window"}


def test_corners_that_hold_another_chart_say_so_and_are_kept(page: Open, studio: Studio) -> None:
    marked = {"photo": studio.keep_photo(another_chart(), "chart.png"), "corners": [corners(PLACE)]}
    studio.save_draft("camera", marked)
    assert "does not look like a 24-patch colour chart" in shown(page("camera"))
    assert studio.draft("camera") == marked


@pytest.mark.parametrize("kept", [{}, {"corners": [corners(turned(PLACE, 180))]}], ids=["found", "marked by hand"])
def test_a_chart_upside_down_is_taken_as_it_is_and_learned_from(
    page: Open, studio: Studio, kept: dict[str, Any]
) -> None:
    sha256 = studio.keep_photo(chart_scene(degrees=180), "chart.png")
    studio.save_draft("camera", {"photo": sha256, **kept})
    app = press(page("camera"), "Yes, that is the chart")
    app = press(app, "Make the profile")
    assert "Give the camera and its light a name first" in shown(app)
    by_label = {box_.label: box_ for box_ in app.text_input}
    by_label["The light"].set_value("north window").run()
    next(field for field in app.text_input if field.label == "Name of camera and light").set_value("bench").run()
    app = press(app, "Make the profile")
    said = shown(app)
    assert "Profile made: bench" in said and "very good" in said
    assert "as the file shows it" in said
    (profile,) = studio.profiles()
    assert (profile.name, profile.light, profile.photo) == ("bench", "north window", sha256)
    assert "Profile made: bench" in shown(page("camera")), "what was learned is still there after a reload"


def test_covered_patches_are_named_and_shown_as_left_out(page: Open, studio: Studio) -> None:
    sha256 = studio.keep_photo(chart_scene(3, 4), "chart.png")
    choice = {"way": "card", "kind": "24-patch chart", "own": None, "corners": None, "region": None}
    studio.save_draft("camera", {"photo": sha256, "card": choice, "name": "bench"})
    app = press(page("camera"), "Make the profile")
    assert f"they were left out: {CHART.patches[3].name}, {CHART.patches[4].name}." in shown(app)
    pictures = "".join(element.proto.body for element in app.get("html"))
    assert f"{CHART.patches[3].name}: left out" in html.unescape(pictures)


def test_a_chart_with_too_much_covered_is_refused_and_everything_stays(page: Open, studio: Studio) -> None:
    sha256 = studio.keep_photo(chart_scene(3, 4, 8, 9, 10, 11), "chart.png")
    choice = {"way": "card", "kind": "24-patch chart", "own": None, "corners": PLACE.tolist(), "region": None}
    draft = {"photo": sha256, "card": choice, "corners": [corners(PLACE)], "name": "bench", "light": "window"}
    studio.save_draft("camera", draft)
    app = page("camera")
    if "Make the profile" in labels(app):
        app = press(app, "Make the profile")
    assert re.search("does not fit its published colours|does not look like", shown(app))
    assert studio.profiles() == []
    assert studio.draft("camera") == draft


def with_profile(studio: Studio, name: str = "bench, window") -> None:
    photo = open_photo(DEMO / "chart_daylight.jpg")
    studio.save_profile(profile_from_chart(photo, find_card(photo, CHART.name), name, "north window"))


def test_a_profile_is_renamed_retired_with_a_reason_and_taken_back(page: Open, studio: Studio) -> None:
    with_profile(studio)
    app = page("camera")
    assert "Off by ΔE00" in shown(app) and "Invented camera" in shown(app)
    app = press(app, "Retire")
    assert "reason" in shown(app), "it asks for a reason"
    field = next(item for item in app.text_input if item.label == "Reason to retire it")
    app = press(field.set_value("the lamp was changed").run(), "Retire")
    assert studio.profiles() == []
    assert "Retired: the lamp was changed" in shown(app)
    app = press(app, "Restore")
    field = next(item for item in app.text_input if item.label == "New name")
    app = press(field.set_value("bench, new lamp").run(), "Rename")
    assert "Renamed: bench, new lamp." in shown(app)
    assert [profile.name for profile in studio.profiles()] == ["bench, new lamp"]


def test_a_name_that_is_taken_is_refused_and_stays_in_its_field(page: Open, studio: Studio) -> None:
    with_profile(studio)
    with_profile(studio, "other")
    field = next(item for item in page("camera").text_input if item.label == "New name")
    app = press(field.set_value("other").run(), "Rename")
    assert "Choose another name" in shown(app)
    assert next(item for item in page("camera").text_input if item.label == "New name").value == "other"


def profile_file(app: AppTest) -> Any:
    files: list[Any] = list(app.get("file_uploader"))
    return next(item for item in files if "exported" in item.label)


def test_a_profile_is_taken_in_from_a_file_and_what_is_none_gets_a_sentence(page: Open, studio: Studio) -> None:
    with_profile(studio)
    exported = studio.profile("bench, window").to_json().encode()
    app = page("camera")
    profile_file(app).set_value(("other.json", b'{"version": 1}', "application/json")).run()
    assert "Check the profile against an exported one" in shown(app)
    profile_file(app).set_value(("other.jpg", b"\xff\xd8\xff", "image/jpeg")).run()
    assert "The file is no camera profile" in shown(app), "whatever the kind of the file"
    renamed = exported.replace(b'"bench, window"', b'"from the other yard"')
    profile_file(app).set_value(("other.json", renamed, "application/json")).run()
    assert "is here already, as " in shown(app), "the same profile under another name"
    renamed = renamed.replace(b'"light": "', b'"light": "skylight, ')
    profile_file(app).set_value(("other.json", renamed, "application/json")).run()
    assert "Imported: from the other yard." in shown(app)
    assert {profile.name for profile in studio.profiles()} == {"bench, window", "from the other yard"}


# How to photograph a finish


def test_every_example_shows_the_figures_that_were_read(page: Open, studio: Studio) -> None:
    said = shown(page("photographing"))
    for example in read_examples():
        assert example.title in said and example.remedy in said
        if example.delta_e00 is None:
            assert "Not read at all" in said
        else:
            assert f"Off by ΔE00 {example.delta_e00:.1f}" in said
    for part in ("a finish like it, and the photograph is read by it too", "What it then says", "What it can't do"):
        assert part in said


# How well readings repeat


def repeated(studio: Studio, files: list[Path], **more: Any) -> dict[str, Any]:
    """Keep photographs as a half-finished form, the finish marked on each where the truth says."""
    photos = [{"sha256": studio.keep_photo(file), "name": file.name} for file in files]
    outlines = {}
    for item, file in zip(photos, files, strict=True):
        finishes = TRUTH[file.relative_to(DEMO).as_posix()]["finishes"]
        if finishes:
            outlines[item["sha256"]] = {"kind": "outline", "points": finishes[0]["polygon"]}
    draft = {"photos": photos, "marks": outlines, **more}
    studio.save_draft("repeats", draft)
    return draft


def test_photographs_of_one_plate_say_what_this_set_up_can_tell(page: Open, studio: Studio) -> None:
    repeated(studio, list(one_plate()), daylight=True)
    app = page("repeats")
    said = shown(app)
    assert "4 readings lie ΔE00" in said
    (smallest,) = re.findall(r"ΔE00 ([\d.]+)\s+is the smallest difference", said)
    assert 0.2 < float(smallest) < 3.5
    assert "For a tolerance of ΔE00 2" in said
    glaring = next(number for number, file in enumerate(one_plate(), start=1) if file.stem == "plate_glare")
    assert re.findall(r"Photograph (\d): \d+ % of the marked region is glare", said) == [str(glaring)]
    app.number_input[0].set_value(0.1).run()
    assert "beyond this set-up" in shown(app)


def test_a_photograph_without_a_card_is_left_out_and_stays(page: Open, studio: Studio) -> None:
    draft = repeated(studio, [*one_plate()[:3], DEMO / "plate_no_card.jpg"])
    said = shown(page("repeats"))
    assert re.search(r"Left out.\s+No card found for certain", said)
    assert "3 readings lie ΔE00" in said
    assert studio.draft("repeats") == draft


def test_two_photographs_are_too_few_and_it_is_said(page: Open, studio: Studio) -> None:
    repeated(studio, list(one_plate()[:2]))
    assert "2 of 3 readings" in shown(page("repeats"))


def test_a_proposed_outline_confirmed_on_one_photograph_serves_the_others_as_a_mark_does(
    page: Open, studio: Studio
) -> None:
    draft = repeated(studio, list(one_plate()[:3]))
    studio.save_draft("repeats", {**draft, "marks": {}})
    app = page("repeats")
    assert "1 plate found, nothing read yet" in shown(app) and "readings lie" not in shown(app)
    press(app, "Read this area")
    assert "3 readings lie ΔE00" in shown(app) and "Read this area" not in labels(app)


# Two finishes side by side


def test_two_proposed_outlines_are_confirmed_one_after_the_other_and_compared(page: Open, studio: Studio) -> None:
    card = {"way": "card", "kind": "grey card", "own": None, "corners": None, "region": None}
    studio.save_draft("compare", {"photo": studio.keep_photo(two_finishes()), "card": card})
    app = page("compare")
    assert {"Read area 1", "Read area 2"} <= set(labels(app)) and "with 95 %" not in shown(app)
    press(app, "Read area 2")
    assert "Read this area" in labels(app) and "Now mark the second finish" in shown(app)
    press(app, "Read this area")
    assert "with 95 %" in shown(app) and "Read this area" not in labels(app)
    marks = (studio.draft("compare") or {})["finishes"]
    (second, first), truth = (np.mean(mark["points"], axis=0) for mark in marks), TRUTH["two_plates.jpg"]["finishes"]
    assert np.abs(first - np.mean(truth[0]["polygon"], axis=0)).max() < 40
    assert np.abs(second - np.mean(truth[1]["polygon"], axis=0)).max() < 40


def test_where_no_plate_stands_out_the_page_says_so_and_asks_for_a_mark(page: Open, studio: Studio) -> None:
    card = {"way": "none", "kind": None, "own": None, "corners": None, "region": None}
    studio.save_draft("target", {"photo": studio.keep_photo(DEMO / "chart_daylight.jpg"), "card": card})
    app = page("target")
    assert "It can't be told for certain where the finish is" in shown(app) and "Draw a box" in shown(app)
    assert not [label for label in labels(app) if label.startswith("Read ")]


def test_a_photograph_without_a_card_still_compares_two_finishes(page: Open, studio: Studio) -> None:
    marks = [{"kind": "outline", "points": finish["polygon"]} for finish in TRUTH["two_plates.jpg"]["finishes"]]
    card = {"way": "none", "kind": None, "own": None, "corners": None, "region": None}
    studio.save_draft("compare", {"photo": studio.keep_photo(two_finishes()), "card": card, "finishes": marks})
    app = page("compare")
    said = shown(app)
    assert "Their difference still holds" in said
    (low, high) = re.findall(r"([\d.]+) to ([\d.]+) with 95 %", said)[0]
    (apart,) = re.findall(r"the interval would be [\d.]+ to ([\d.]+)\.", said)
    assert float(low) == 0.0 and float(high) < float(apart) / 3
    assert sum(float(share) for share in re.findall(r"(\d+) %\s+ΔE00", said)) == pytest.approx(100, abs=3)


def test_the_map_of_where_two_finishes_differ_follows_a_card_that_was_measured_again(
    page: Open, studio: Studio
) -> None:
    truth = TRUTH["two_plates.jpg"]
    marks = [{"kind": "outline", "points": finish["polygon"]} for finish in truth["finishes"]]
    card = {"way": "card", "kind": "grey card", "own": "bench card", "corners": truth["cards"][0]["corners"]}
    studio.save_draft("compare", {"photo": studio.keep_photo(two_finishes()), "card": card, "finishes": marks})
    maps = []
    for lightness in (49.5, 30.0, 49.5):
        studio.save_card("bench card", "grey card", (lightness, 0, 0))
        maps += [
            plain(element.proto.body)
            for element in page("compare").get("html")
            if '<img class="pm-map' in element.proto.body
        ]
    assert len(maps) == 3
    assert maps[1] != maps[0], "taken as darker, the card makes both finishes darker and their difference another"
    assert maps[2] == maps[0]


# In Chromium


def test_a_chart_teaches_the_camera_and_its_profile_is_exported(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("camera")
    visitor.press("Upload", role="radio")
    visitor.upload(DEMO / "chart_daylight.jpg")
    visitor.shot("camera-chart")
    visitor.press("Yes, that is the chart")
    visitor.page.get_by_label("The light").fill("north window")
    name = visitor.page.get_by_label("Name of camera and light")
    name.fill("bench camera, window")
    name.press("Tab")
    visitor.settle()
    visitor.press("Make the profile")
    visitor.sees(re.compile("^Profile made: bench camera, window"))
    visitor.shot("camera-learned")
    visitor.page.get_by_text("Patches, rename, export, retire").click()
    visitor.settle()
    exported = visitor.download("Export as a file")
    assert json.loads(exported.read_text(encoding="utf-8"))["name"] == "bench camera, window"


def test_a_chart_that_is_not_found_is_marked_by_its_corners(serve: Any, visit: Visit, tmp_path: Path) -> None:
    """Two charts in the picture, so that neither is chosen; the left one is marked, with a finger."""
    Studio.open(tmp_path / "studio").close()
    visitor = visit(serve(tmp_path / "studio"), phone=True)
    visitor.open("camera")
    visitor.upload({"name": "two.png", "mimeType": "image/png", "buffer": two_charts()})
    visitor.sees("There is more than one 24-patch colour chart")
    bench = visitor.bench()
    bench.size = (1200, 700)
    for point in ((60, 130), (500, 130), (500, 420), (60, 420)):
        bench.tap(point)
    visitor.sees("The chart is read inside your corners.")
    visitor.shot("camera-corners")
    visitor.press("Yes, that is the chart")
    visitor.sees("Name it")


def test_one_mark_serves_all_photographs_of_a_plate(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("repeats")
    visitor.press("Use the demo's photographs of one plate")
    visitor.bench().drag((350, 450), (650, 800))
    visitor.sees(re.compile("^4 readings lie"))
    visitor.shot("repeats")
    visitor.open("repeats")
    visitor.sees(re.compile("^4 readings lie"))


def test_two_finishes_are_marked_and_compared(demo: Served, visit: Visit) -> None:
    visitor = visit(demo)
    visitor.open("compare")
    visitor.press("The client's piece and the next plate")
    visitor.press("Yes, that is the card")
    for finish in TRUTH["two_plates.jpg"]["finishes"]:
        low, high = np.min(finish["polygon"], axis=0), np.max(finish["polygon"], axis=0)
        margin = 0.1 * (high - low)
        visitor.bench().drag(tuple(low + margin), tuple(high - margin))
    visitor.sees(re.compile("^Where they differ"))
    assert visitor.page.locator(".lines g:not(.fixed) text").all_text_contents() == ["1", "2"]
    covered = visitor.page.locator(".stage").evaluate(
        """stage => [...stage.querySelectorAll(".lines g:not(.fixed) text")].flatMap(text => {
             const t = text.getBoundingClientRect();
             return [...stage.querySelectorAll(".grip")].map(grip => grip.getBoundingClientRect())
               .filter(g => g.left < t.right && t.left < g.right && g.top < t.bottom && t.top < g.bottom);
           }).length"""
    )
    assert covered == 0, "no corner ring covers a number"
    visitor.sees(re.compile(r"match within ΔE00\s2"))
    visitor.shot("compare")
    assert visitor.foreign == []
