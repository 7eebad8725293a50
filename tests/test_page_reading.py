"""The reading as the page shows it: how far to trust it, with which profile, and what more makes it surer.

Without a browser where the page's own logic is enough; in Chromium what is uploaded, marked and unfolded. The pictures
are drawn or rendered, and invented.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from matcher.calibration.calibrate import calibrate
from matcher.card.detect import find_card
from matcher.colour.difference import delta_e_2000
from matcher.colour.sources import Source
from matcher.instrument.munsell import munsell_reading
from matcher.photo.photo import open_photo
from matcher.reading.advice import budget_in_short, reach_of, trust_sentence, what_would_help
from matcher.reading.exposures import read_frames
from matcher.reading.reading import Reading
from matcher.studio import Studio
from tests.app_pages import plain
from tests.browser import Bench, Served, Visitor
from tests.mottles import MOTTLES, mottled
from tests.plates import a_profile
from tests.scenes import BROWN, GREY, Scene, box, png
from ui.photograph.intake import PHOTOGRAPH_FIELDS
from ui.show.literal import literal

APP = Path(__file__).parents[1] / "ui" / "app.py"
CARD, SECOND, PLATE = box(40, 220, 200, 340), box(610, 220, 770, 340), box(260, 150, 560, 450)
MARK = [[280, 170], [540, 170], [540, 430], [280, 430]]
TWO_TO_ONE = float(np.log(2))
CGATS = b"""CGATS.17
ORIGINATOR "invented"
ILLUMINATION_NAME "D65"
OBSERVER_ANGLE "2"
NUMBER_OF_FIELDS 4
BEGIN_DATA_FORMAT
SAMPLE_NAME LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
"door left" 36.2 14.8 23.1
"lintel" 30.5 9.0 12.4
END_DATA
"""


def bench(gradient: float = 0.0, plate: Any = BROWN, seed: int = 1) -> bytes:
    scene = Scene(seed=seed).lay(PLATE, plate, texture=0.15).lay(CARD, GREY).lay(SECOND, GREY)
    return png(scene.codes(gradient=gradient))


def paper(gradient: float, shadow: bool = False) -> bytes:
    scene = Scene()
    scene.light = np.zeros_like(scene.light)
    scene.lay(box(-5, -5, 805, 605), (75, 0, 1))
    if shadow:
        scene.light[100:500, 100:350] *= 0.5
    return png(scene.codes(gradient=gradient))


def with_lamp(place: tuple[int, int], **how: Any) -> bytes:
    """The bench with a lamp's reflection on the plate, clipped in the middle and with a haze around it."""
    scene = Scene(seed=1).lay(PLATE, BROWN, texture=0.15).lay(CARD, GREY)
    y, x = np.mgrid[:600, :800]
    scene.light += np.exp(np.minimum(4 - ((x - place[0]) ** 2 + (y - place[1]) ** 2) / 900, 1.2))[..., None]
    return png(scene.codes(**how))


def half_done(folder: Path, picture: bytes, more: dict[str, Any] | None = None, **kept: bytes) -> Path:
    """Make a studio whose target page has ``picture`` marked, and return it. more: further fields of its draft; kept:
    photographs that they name, as {"photo": "@name"}."""
    with Studio.open(folder / "studio") as studio:
        hashes = {name: studio.keep_photo(data, f"{name}.png") for name, data in kept.items()}
        card = {"way": "card", "kind": "grey card", "own": None, "corners": CARD.tolist(), "region": None}
        draft = {
            "photo": studio.keep_photo(picture, "plate.png"),
            "photo_name": "plate.png",
            "card": card,
            "finishes": [{"kind": "box", "points": MARK}],
            **_named(more or {}, hashes),
        }
        studio.save_draft("target", draft)
    return folder / "studio"


def target_page(
    monkeypatch: pytest.MonkeyPatch, folder: Path, picture: bytes, more: dict[str, Any] | None = None, **kept: bytes
) -> AppTest:
    """Return the target page of a studio as ``half_done`` makes it."""
    monkeypatch.setenv("MATCHER_STUDIO", str(half_done(folder, picture, more, **kept)))
    return opened("screens/target.py")


def _named(fields: Any, hashes: dict[str, str]) -> Any:
    if isinstance(fields, dict):
        return {name: _named(value, hashes) for name, value in fields.items()}
    if isinstance(fields, list):
        return [_named(value, hashes) for value in fields]
    return hashes[fields[1:]] if isinstance(fields, str) and fields.startswith("@") else fields


def opened(screen: str) -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=120).run()
    app = app.switch_page(screen).run()
    assert not app.exception
    return app


def said_on(app: AppTest) -> str:
    import html

    return html.unescape(" ".join(plain(element.proto.body) for element in app.get("html")))


def saved(app: AppTest, folder: Path) -> Reading:
    """Press save, and return the reading of the target that was saved."""
    app.button(key="target.save").click().run()
    with Studio.open(folder / "studio") as studio:
        return studio.targets()[-1].reading


def test_a_reading_tells_its_trust_what_would_help_and_what_its_uncertainty_is_made_of(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = target_page(monkeypatch, tmp_path, bench())
    assert "What the ± is made of" in [item.label for item in app.expander]
    said, reading = said_on(app), saved(app, tmp_path)
    assert trust_sentence(reading) in said
    helps = [item.words[1:] for item in what_would_help(reading)]
    assert helps and helps[0] in said, "what would help most is told with its figures"
    parts = budget_in_short(reading)
    places = [said.index(f"{part.why[1:]}</span><b>±{part.delta_e00:.1f}</b>") for part in parts]
    assert places == sorted(places), "the largest part comes first"


def spotted(name: str) -> bytes:
    """Return a photograph of a mottled finish with a grey card on either side."""
    mottle = MOTTLES[name]
    finish = mottled(np.random.default_rng(11), mottle.body, mottle.spots, 0.15)
    scene = Scene().lay_picture(PLATE, np.repeat(np.repeat(finish, 2, 0), 2, 1)).lay(CARD, GREY).lay(SECOND, GREY)
    return png(scene.codes())


def test_pale_spots_are_shown_and_the_answer_what_they_are_counts_at_once(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = target_page(monkeypatch, tmp_path, spotted("brown with white bloom"))
    (asked,) = [radio for radio in app.radio if radio.label == "What are the pale spots?"]
    assert asked.value == "unknown" and "pale spots striped" in said_on(app)
    app = asked.set_value("finish").run()
    assert not app.exception
    assert [radio.value for radio in app.radio if radio.label == asked.label] == ["finish"], "it can be taken back"
    reading = saved(app, tmp_path)
    assert Source.PALE_SPOTS not in {term.name for term in reading.budget}
    assert reading.left_out_share < 0.01


def test_nobody_is_asked_of_spots_that_have_a_colour_of_their_own(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = target_page(monkeypatch, tmp_path, spotted("brown with verdigris"))
    assert "What are the pale spots?" not in [radio.label for radio in app.radio]


def test_without_a_profile_the_page_says_why_and_where_one_is_made(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = target_page(monkeypatch, tmp_path, bench())
    assert "No camera profile is kept yet: photograph a 24-patch chart under this light." in said_on(app)
    assert not [box for box in app.selectbox if box.label == "Camera profile"], "there is none to choose"


def test_a_profile_is_chosen_by_hand_named_with_its_light_and_kept_in_the_draft(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        studio.save_profile(a_profile("window", camera=None, neutral=np.ones(3)))
        studio.save_profile(a_profile("tubes", camera=None, red=1.6))
        studio.save_profile(a_profile("skylight", camera=None, red=1.1))
    app = target_page(monkeypatch, tmp_path, bench())
    assert "Read with the camera profile window (two cool white tubes, 31 March 2025; " in said_on(app)
    asked = next(box for box in app.radio if "Was it taken in the light" in box.label)
    assert (
        asked.value == ""
        and asked.options[1] == "Another light, or not sure"
        and "two cool white tubes, 31 March 2025" in asked.label
    )
    choice = next(box for box in app.selectbox if box.label == "Camera profile")
    choice.set_value("named tubes").run()
    assert "Read with the camera profile tubes" in said_on(app)
    assert "The light is not that of the profile 'tubes'" in said_on(app), "a wrong choice is said"
    assert not [box for box in app.radio if "Was it taken in the light" in box.label], "nor is it asked about"
    app = opened("screens/target.py")
    assert "Read with the camera profile tubes" in said_on(app), "a reload brings the choice back"
    next(box for box in app.selectbox if box.label == "Camera profile").set_value("none").run()
    assert "No camera profile, as you chose." in said_on(app)


def test_a_profile_that_was_retired_since_it_was_chosen_gives_way(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        studio.save_profile(a_profile("window", camera=None, neutral=np.ones(3)))
        studio.save_profile(a_profile("old", camera=None))
        studio.retire_profile("old", "new lamps")
    app = target_page(monkeypatch, tmp_path, bench(), {"profile": "named old"})
    assert "The profile old is no longer in use" in said_on(app)
    assert "Read with the camera profile window" in said_on(app)


def test_a_sheet_of_paper_levels_the_light_and_says_what_it_did(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Bar: 1.0 ΔE00 at 2:1 across the picture, where the card alone is off by more than 2.5."""
    more = {"more_way": "paper", "paper": {"photo": "@sheet", "name": "sheet.png"}}
    picture = bench(TWO_TO_ONE)
    app = target_page(monkeypatch, tmp_path, picture, more, sheet=paper(TWO_TO_ONE))
    assert "Uneven light corrected by the sheet of paper (on the mark it is " in said_on(app)
    levelled = saved(app, tmp_path)
    alone = saved(target_page(monkeypatch, tmp_path, picture), tmp_path)
    assert float(delta_e_2000(levelled.lab, BROWN)) <= 1.0 < 2.5 < float(delta_e_2000(alone.lab, BROWN))
    assert reach_of(levelled) < reach_of(alone)


def test_a_second_card_in_the_picture_levels_the_light(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    more = {"more_way": "card", "second": [{"kind": "corners", "points": SECOND.tolist()}]}
    app = target_page(monkeypatch, tmp_path, bench(TWO_TO_ONE), more)
    assert "Uneven light corrected by the second card" in said_on(app)
    assert float(delta_e_2000(saved(app, tmp_path).lab, BROWN)) <= 1.0


@pytest.mark.parametrize(
    ("sheet", "sentence"),
    [
        (paper(0.0, shadow=True), "The paper has a shadow or something on it"),
        (png(np.full((600, 450, 3), 200, np.uint8)), "The photograph of the paper has another shape"),
    ],
    ids=["a shadow", "another set-up"],
)
def test_a_paper_that_cannot_be_used_says_so_and_the_reading_goes_on(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, sheet: bytes, sentence: str
) -> None:
    more = {"more_way": "paper", "paper": {"photo": "@sheet", "name": "sheet.png"}}
    app = target_page(monkeypatch, tmp_path, bench(0.3), more, sheet=sheet)
    assert sentence in said_on(app) and "The reading is made without it." in said_on(app)
    without = saved(app, tmp_path)
    alone = saved(target_page(monkeypatch, tmp_path, bench(0.3)), tmp_path)
    assert np.array_equal(without.lab, alone.lab)


def test_paper_for_a_picture_without_a_card_is_said_to_need_one(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    more = {"more_way": "paper", "paper": {"photo": "@sheet", "name": "sheet.png"}, "card": {"way": "none"}}
    app = target_page(monkeypatch, tmp_path, bench(), more, sheet=paper(0.0))
    assert "Lay a card in the picture" in said_on(app) and not app.exception


LAMPS = {"second": with_lamp((480, 380)), "third": with_lamp((330, 370))}


def frames_of(*names: str) -> dict[str, Any]:
    return {"more_way": "lamp", "frames": [{"photo": f"@{name}", "name": f"{name}.png"} for name in names]}


def test_frames_take_the_glare_out_and_are_read_as_the_library_does(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    first = with_lamp((340, 240))
    app = target_page(monkeypatch, tmp_path, first, frames_of("second", "third"), **LAMPS)
    assert "Read from 3 photographs: " in said_on(app)
    photos = [open_photo(data) for data in (first, *LAMPS.values())]
    cards = [find_card(photos[0], corners=CARD), *(find_card(photo, kind="grey card") for photo in photos[1:])]
    ways = [calibrate(photo, card) for photo, card in zip(photos, cards, strict=True)]
    wanted = read_frames(photos, ways, MARK)
    reading = saved(app, tmp_path)
    assert np.allclose(reading.lab, wanted.lab) and np.allclose(reading.covariance, wanted.covariance)
    assert float(delta_e_2000(reading.lab, BROWN)) < 1.0


def test_a_frame_that_shows_another_plate_is_left_out_and_the_others_are_read(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    wrong = bench(plate=(62.0, -18.0, 6.0), seed=9)
    fields = frames_of("second", "wrong")
    app = target_page(monkeypatch, tmp_path, with_lamp((340, 240)), fields, wrong=wrong, **LAMPS)
    said = said_on(app)
    assert "Photograph 3 does not match the first photograph" in said and "is made without it" in said
    assert "Read from 2 photographs: " in said
    taken_out = next(button for button in app.button if button.label == "Remove 3")
    taken_out.click().run()
    assert "does not match" not in said_on(app)
    with Studio.open(tmp_path / "studio") as studio:
        assert [frame["name"] for frame in (studio.draft("target") or {})["frames"]] == ["second.png"]


def test_another_photograph_leaves_nothing_of_what_was_brought_to_the_first(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    more = {**frames_of("second"), "paper": {"photo": "@second", "name": "x"}, "second": [], "profile": "none"}
    app = target_page(monkeypatch, tmp_path, with_lamp((340, 240)), more, **LAMPS)
    with Studio.open(tmp_path / "studio") as studio:
        assert set(studio.draft("target") or {}) <= {*PHOTOGRAPH_FIELDS}
    app.button(key="target.another").click().run()
    with Studio.open(tmp_path / "studio") as studio:
        assert set(studio.draft("target") or {}).isdisjoint(PHOTOGRAPH_FIELDS)


def typed_page(monkeypatch: pytest.MonkeyPatch, folder: Path, **fields: Any) -> AppTest:
    monkeypatch.setenv("MATCHER_STUDIO", str(folder / "studio"))
    with Studio.open(folder / "studio") as studio:
        studio.save_draft("target", {"way": "typed", **fields})
    return opened("screens/target.py")


def test_a_munsell_notation_becomes_a_target_with_the_eyes_uncertainty(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    app = typed_page(monkeypatch, tmp_path, typed_way="munsell", munsell="5YR 3/4")
    assert "From 5YR 3/4, illuminant C and the 2° observer, converted to D50." in said_on(app)
    reading, wanted = saved(app, tmp_path), munsell_reading("5YR 3/4")
    assert np.allclose(reading.lab, wanted.lab) and np.allclose(reading.covariance, wanted.covariance)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"typed_way": "munsell", "munsell": "5YX 3/4"}, "Write the Munsell notation as hue value/chroma"),
        ({"lab_l": 138.0, "lab_a": 14.0, "lab_b": 22.0}, "L*"),
    ],
    ids=["no notation", "lighter than white"],
)
def test_what_cannot_be_a_colour_gets_one_sentence_and_stays_typed(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, fields: dict[str, Any], sentence: str
) -> None:
    app = typed_page(monkeypatch, tmp_path, **fields)
    assert "pm-wrong" in said_on(app) and sentence in said_on(app)
    assert not [button for button in app.button if button.key == "target.save"]
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.draft("target") == {"way": "typed", **fields}


def test_figures_for_another_light_are_converted_and_say_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    figures = {"lab_l": 36.2, "lab_a": 14.8, "lab_b": 23.1}
    app = typed_page(monkeypatch, tmp_path, **figures, lab_light="D65", lab_sigma=0.5)
    assert "The values were measured for D65 and 2°, and converted to D50 and 2°" in said_on(app)
    usual = saved(typed_page(monkeypatch, tmp_path, **figures), tmp_path)
    assert np.allclose(usual.lab, [36.2, 14.8, 23.1])


def test_a_kept_file_lists_its_colours_and_the_chosen_one_is_taken(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Studio.open(tmp_path / "studio") as studio:
        kept = {"name": "cards.txt", "data": base64.b64encode(CGATS).decode()}
        studio.save_draft("target file 1", kept)
    app = typed_page(monkeypatch, tmp_path, typed_way="file", file="target file 1")
    listed = next(box for box in app.selectbox if box.label == f"Colour in {literal('cards.txt')}")
    assert [name.split(":")[0] for name in listed.options] == ["door left", "lintel"]
    listed.set_value(1).run()
    assert "lintel, given as CIELAB, D65, 2 degrees." in said_on(app)
    assert abs(saved(app, tmp_path).lab[0] - 30.5) < 1.0
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.draft("target file 1") is None, "it went with the target"
    again = typed_page(monkeypatch, tmp_path, typed_way="file")
    assert not [box for box in again.selectbox if box.label.startswith("Colour in")], "another target, another file"


def test_an_instruments_file_is_listed_and_a_wrong_one_gets_a_sentence(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    app = opened("screens/target.py")
    for label, way in (("Where does the colour come from?", "typed"), ("How is the colour given?", "file")):
        next(group for group in app.get("button_group") if group.label == label).set_value(way).run()
    files: list[Any] = list(app.get("file_uploader"))
    files[0].set_value(("list.txt", b"nothing of use", "text/plain")).run()
    assert re.search(r'role="alert">list\.txt cannot be used\.', said_on(app))
    files = list(app.get("file_uploader"))
    files[0].set_value(("cards.txt", CGATS, "text/plain")).run()
    listed = "door left, given as CIELAB, D65, 2 degrees."
    assert listed in said_on(app)
    again = opened("screens/target.py")
    assert listed in said_on(again), "after a reload too"
    assert {term.name for term in saved(again, tmp_path).budget} == {"instrument", "change of light"}


Visit = Callable[..., Visitor]
Serve = Callable[[Path], Served]


def tapped(visitor: Visitor, picture: int, corners: Any) -> None:
    """Tap a card's corners, a little inside, on one of the pictures of the page."""
    stage = visitor.page.locator(".stage").nth(picture)
    stage.locator("img.picture").wait_for()
    stage.scroll_into_view_if_needed()
    visitor.settle()
    middle = np.mean(corners, axis=0)
    for corner in corners:
        Bench(visitor, stage, (800, 600)).tap(tuple(corner + 0.03 * (middle - corner)))


def unfold(visitor: Visitor, label: str) -> None:
    visitor.page.locator("summary").filter(has_text=label).click()
    visitor.settle()


def fits_its_width(visitor: Visitor) -> bool:
    wide: int = visitor.page.locator("[data-testid=stMain]").evaluate("e => e.scrollWidth - e.clientWidth")
    return wide <= 0


def test_frames_are_uploaded_together_survive_a_reload_and_stay_with_the_reading(
    serve: Serve, visit: Visit, tmp_path: Path
) -> None:
    served = serve(half_done(tmp_path, with_lamp((340, 240))))
    visitor = visit(served)
    visitor.open("target")
    unfold(visitor, "Improve accuracy")
    visitor.press("Lamp moved", role="radio")
    files = [{"name": f"{name}.png", "mimeType": "image/png", "buffer": data} for name, data in LAMPS.items()]
    files.append({"name": "no.png", "mimeType": "image/png", "buffer": b"no picture"})
    visitor.page.locator("[data-testid=stFileUploader] input[type=file]").first.set_input_files(files)
    visitor.sees(re.compile("^Read from 3 photographs: "))
    visitor.settle()
    assert "no.png" in visitor.page.get_by_role("alert").first.inner_text()
    visitor.page.reload()
    visitor.sees(re.compile("^Read from 3 photographs: "))
    visitor.shot("reading-frames")
    visitor.press("Remove 3")
    visitor.sees(re.compile("^Read from 2 photographs: "))
    visitor.press("Save and rank the plates")
    with served.studio() as studio:
        reading = studio.targets()[-1].reading
    assert "lamp positions" in {term.name for term in reading.budget}


def test_on_a_phone_budget_and_mottle_unfold_and_a_second_card_is_marked_by_finger(
    serve: Serve, visit: Visit, tmp_path: Path
) -> None:
    visitor = visit(serve(half_done(tmp_path, bench(TWO_TO_ONE))), phone=True)
    visitor.open("target")
    unfold(visitor, "What the ± is made of")
    bars = visitor.page.locator(".pm-parts > li > i > i")
    widths = [bar.bounding_box()["width"] for bar in bars.all()]
    assert len(widths) >= 3 and widths[0] == max(widths)
    assert visitor.page.locator(".pm-legend").count() == 0, "the palette is not worked out before it is asked for"
    unfold(visitor, "Lights, darks and mottle")
    visitor.sees(re.compile("(mottle is strongest in spots|no mottle to speak of)"))
    assert visitor.page.locator(".pm-legend li").count() >= 1
    assert fits_its_width(visitor)
    visitor.shot("reading-unfolded")
    unfold(visitor, "Improve accuracy")
    visitor.press("Second card", role="radio")
    tapped(visitor, 1, SECOND)
    visitor.sees(re.compile("^Uneven light corrected by the second card"))
    assert fits_its_width(visitor)
    visitor.shot("reading-second-card")


BLACK = ("wavelength,R\n" + "".join(f"{at},0.{70 + at // 10 % 5}\n" for at in range(380, 731, 10))).encode()
ANGLES = b"Name,15\xb0 L*,15\xb0 a*,15\xb0 b*,25\xb0 L*,25\xb0 a*,25\xb0 b*\nplate,48,12,20,40,13,21\n"


def test_what_an_instruments_file_leaves_open_is_asked(serve: Serve, visit: Visit, tmp_path: Path) -> None:
    """A black in percent could be a white in parts of one; of several angles and lights the usual one is taken."""
    Studio.open(tmp_path / "studio").close()
    served = serve(tmp_path / "studio")
    visitor = visit(served)
    visitor.open("target")
    visitor.press("Instrument or Munsell", role="radio")
    visitor.press("Instrument's file", role="radio")
    visitor.upload({"name": "black.csv", "mimeType": "text/plain", "buffer": BLACK})
    visitor.sees("A perfect white in this file is")
    visitor.shot("reading-file-white")
    assert visitor.page.get_by_role("button", name="Save and rank the plates").count() == 0
    visitor.page.get_by_text("100 (sample 1 has L* 7)", exact=True).click()
    visitor.settle()
    visitor.sees("sample 1, given as spectrum, 380 to 730 nm.")
    visitor.page.reload()
    visitor.sees("sample 1, given as spectrum, 380 to 730 nm.")
    visitor.press("Use another file")
    visitor.upload({"name": "xyz.csv", "mimeType": "text/plain", "buffer": b"Name,X,Y,Z,Observer\nplate,12,11,6,2\n"})
    visitor.sees("xyz.csv leaves a choice to you. It does not say what light its XYZ are for")
    visitor.shot("reading-file-light")
    visitor.page.get_by_role("combobox", name="Light of its figures").click()
    visitor.page.get_by_role("option", name="D65", exact=True).click()
    visitor.sees("plate, given as XYZ, D65, 2 degrees.")
    visitor.press("Use another file")
    visitor.upload({"name": "angles.csv", "mimeType": "text/plain", "buffer": ANGLES})
    visitor.sees("plate, given as CIELAB, light not stated, observer not stated.")
    visitor.shot("reading-file-choices")
    for label, option in (("Angle", "15° from the mirror direction"), ("Light of its figures", "D65")):
        visitor.page.get_by_role("combobox", name=re.compile(label)).click()
        visitor.page.get_by_role("option", name=option, exact=True).click()
        visitor.settle()
    visitor.sees("plate, given as CIELAB, D65, observer not stated.")
    phone = visit(served, phone=True)
    phone.open("target")
    phone.sees("plate, given as CIELAB, D65, observer not stated.")
    assert fits_its_width(phone)
    phone.shot("reading-file-choices-phone")
    visitor.press("Save and rank the plates")
    with served.studio() as studio:
        assert studio.targets()[-1].reading.lab[0] == pytest.approx(48, abs=0.6)
