"""What is typed is shown as text: nothing that a name, a note or a file says becomes a picture, a link or a heading."""

from __future__ import annotations

import ast
import base64
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from matcher.bench.work import Piece
from matcher.demo import two_finishes
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.studio import Studio
from matcher.suggest.cross_validation import Region, in_words
from matcher.trials.facts import facts_of
from matcher.trials.trial import Target, Trial
from tests.plates import a_profile
from ui.recipe.recipe_form import fields_of
from ui.show.literal import literal, literal_in_plot
from ui.show.trust_plots import expected_gain_plot

UI = Path(__file__).parents[1] / "ui"
READ_AS_MARKDOWN = {
    "badge", "button", "caption", "camera_input", "checkbox", "chat_message", "color_picker", "date_input",
    "download_button", "error", "expander", "feedback", "file_uploader", "form_submit_button", "header", "info",
    "latex", "link_button", "markdown", "metric", "multiselect", "number_input", "page_link", "pills", "popover",
    "progress", "radio", "segmented_control", "select_slider", "selectbox", "slider", "spinner", "status", "subheader",
    "success", "tabs", "text_area", "text_input", "time_input", "title", "toast", "toggle", "warning", "write",
}  # fmt: skip
OPTIONS_TOO = {"pills", "radio", "segmented_control"}
NUMBERS_IN_WORDS = {"len", "counted", "agreeing"}
LABELS = {"label", "help", "text", "body"}


@pytest.mark.parametrize(
    ("typed", "label"),
    [
        ("ferric nitrate", "ferric nitrate"),
        ("10% in water", "10% in water"),
        ("![i](http://host/x)", r"\!\[i\]\(http\:" + "\u2060" + r"//host/x\)"),
        (" 1. one\n\n# two ", r"1\. one \# two"),
        ("2\u00a0in\u00a010 \t by now", "2\u00a0in\u00a010 by now"),
        (":material/delete:", r"\:" + "\u2060" + r"material/delete\:"),
    ],
)
def test_a_label_keeps_every_sign(typed: str, label: str) -> None:
    assert literal(typed) == label


def test_a_plot_makes_no_link_of_a_name() -> None:
    assert literal_in_plot('<a href="http://host/x">x</a>') == '&lt;a href="http://host/x"&gt;x&lt;/a&gt;'


def test_a_chemical_whose_name_says_over_stays_on_its_own_line_of_the_plot() -> None:
    rows = Region(in_words(("salt over <b>ice</b>", "wax over salt")), 1, 2.0, 0.5)
    figures: Any = SimpleNamespace(regions=[rows])
    assert expected_gain_plot(figures).data[0].y == ("wax over salt<br>over salt over &lt;b&gt;ice&lt;/b&gt;, 1 plate",)


def test_every_label_on_the_page_is_ours_or_literal() -> None:
    """A label is a constant, or what varies in it is a figure with a format that only figures have, or is literal.

    ``label`` names words of ours that a function hands on.
    """
    assert [place for file in sorted(UI.rglob("*.py")) for place in _unguarded(file)] == []


def _unguarded(file: Path) -> Iterator[str]:
    for call in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if not isinstance(call, ast.Call) or not isinstance(call.func, ast.Attribute):
            continue
        kind, keywords = call.func.attr, {word.arg: word.value for word in call.keywords}
        if kind not in READ_AS_MARKDOWN or ast.unparse(call.func.value) == "look":  # which makes HTML
            continue
        labels = [keywords[name] for name in LABELS & keywords.keys()]
        if call.args and kind != "page_link":
            labels.append(call.args[0])
        place = f"{file.relative_to(UI)}:{call.lineno}: {kind}"
        if not all(_is_safe(label) for label in labels):
            yield place
        if kind in OPTIONS_TOO and not _says_safely(keywords.get("format_func")):
            yield f"{place}, its options"


def _is_safe(label: ast.expr) -> bool:
    if isinstance(label, ast.IfExp):
        return _is_safe(label.body) and _is_safe(label.orelse)
    if isinstance(label, ast.JoinedStr):
        return all(_is_safe(part) for part in label.values)
    if isinstance(label, ast.FormattedValue):
        return (
            _is_literal(label.value)
            or _is_ours(label.value)
            or _is_figure(label.format_spec)
            or _is_number(label.value)
        )
    return isinstance(label, ast.Constant) or _is_literal(label) or _is_ours(label)


def _is_figure(spec: ast.expr | None) -> bool:
    """Tell whether a format raises for text: d, g, .1f, .0%."""
    parts = spec.values if isinstance(spec, ast.JoinedStr) else []
    return len(parts) == 1 and isinstance(parts[0], ast.Constant) and str(parts[0].value)[-1:] in "dfg%"


def _is_literal(value: ast.expr) -> bool:
    return isinstance(value, ast.Call) and isinstance(value.func, ast.Name) and value.func.id == "literal"


def _is_number(value: ast.expr) -> bool:
    """Tell whether it is a count, or the number of something in the log."""
    counted = isinstance(value, ast.Call) and isinstance(value.func, ast.Name) and value.func.id in NUMBERS_IN_WORDS
    return counted or (isinstance(value, ast.Attribute) and value.attr == "id")


def _is_ours(value: ast.expr) -> bool:
    return isinstance(value, ast.Name) and (value.id.isupper() or value.id == "label")


def _says_safely(words: ast.expr | None) -> bool:
    """Tell whether options are shown by a table of ours, or literally."""
    if isinstance(words, ast.Lambda):
        return _is_safe(words.body)
    if isinstance(words, ast.Attribute):
        return words.attr == "__getitem__" and _is_ours(words.value)
    return isinstance(words, ast.Name) and words.id == "literal"


# In Chromium

HOSTILE = (
    "![i](http://foreign.invalid/x) [a](http://foreign.invalid) <img src=//foreign.invalid/y> **loudly** $x^2$ "
    ":red[redly] :material/delete: www.foreign.invalid -> `codely`"
)
"""A line of 190 characters at most, whatever stands before it."""
MADE_OF_IT = """() => {
  const words = ["loudly", "redly", "codely", "headly", "i", "a", "x"];
  const made = [...document.querySelectorAll("strong, em, code, h1, h2, h3, h4, span, a")]
    .filter((element) => words.includes(element.textContent.trim()));
  const foreign = [...document.querySelectorAll("[src], [href]")]
    .filter((element) => /foreign/.test(element.getAttribute("src") + element.getAttribute("href")));
  const drawn = [...document.querySelectorAll(".katex, [aria-label='delete icon']")];
  return [...made, ...foreign, ...drawn].map((element) => element.outerHTML.slice(0, 200));
}"""
UNFOLD_ALL = """() => {
  const folded = [...document.querySelectorAll("[data-testid=stExpander] details:not([open]) > summary")];
  folded.forEach((summary) => summary.click());
  return folded.length;
}"""


def named(what: str) -> str:
    return f"{what} {HOSTILE}"


def hostile_studio(folder: Path) -> Path:
    """Make an invented studio in which whatever can be typed is hostile."""
    rng = np.random.default_rng(1)
    coat = Coat(named("salt"), 0.5, 6, 105.0, named("spray"))
    start = Recipe(named("metal"), Undercoat(named("liver"), 0.5, 0.25), (coat,), surface=named("skin"))
    with Studio.open(folder) as studio:
        studio.title = named("studio")
        studio.save_stock(named("bottle"), named("salt"), 100.0)
        studio.save_card(named("card"), "grey card", (49.5, 0, 0))
        studio.save_profile(replace(a_profile(named("profile")), light=named("light")))
        studio.retire_profile(studio.save_profile(a_profile(named("old"), red=1.5)).name, named("lamp"))
        target = studio.save_target(
            Target(named("# headly"), Reading(lab=np.array([36.0, 14, 22]), source=named("source")))
        )
        told: dict[str, Any] = {"made_by": named("maker"), "piece": named("piece"), "notes": named("notes")}
        for passes in range(1, 10):
            chemical = named("acid") if passes == 2 else coat.chemical
            recipe = replace(start, coats=(replace(coat, passes=passes, chemical=chemical),))
            lab = np.array([50.0 - 2 * passes, 10 + passes, 25 - passes / 2]) + rng.normal(0, 0.3, 3)
            trial = studio.record(Trial(recipe, Reading(lab=lab), target_id=target.id, **told))
        now = facts_of(trial)
        studio.correct(trial.id or 0, replace(now, notes=named("corrected")), instead_of=now, who=named("corrector"))
        studio.set_aside(1, named("reason"))
        photo = studio.keep_photo(two_finishes(), f"{named('file').replace('/', '')}.jpg")
        studio.save_draft("target", {"photo": photo, "photo_name": named("file")})
        studio.save_draft(f"limits {target.id}", {"excluded": [named("acid")], "alloy": named("metal")})
        studio.save_draft("repeats", {"photos": [{"sha256": photo, "name": named("file")}]})
        kept = base64.b64encode(b"name,L,a,b\n" + named("sample").encode() + b",36,14,22\n").decode()
        studio.save_draft("plate file", {"name": f"{named('list')}.csv", "data": kept})
        typed = {"way": "typed", "typed_way": "file", "file": "plate file", "from_plate": named("plate")}
        studio.save_draft("plate", {**fields_of(recipe), **typed, "target_id": target.id})
        for number, mark in enumerate(("", named("mark"), named("other"))):
            known: dict[str, Any] = {"source": named("source"), "target_id": target.id, "run": named("run")}
            studio.shelf.put(Piece(f"p{number}", recipe, mark, counts=(1, 1, 1, 2), at=3, **known))
        studio.save_draft("plate 0123456789ab", {**fields_of(recipe), "piece": named("half"), "target_id": target.id})
        studio.save_draft("bench", {"offered": start.as_dict(), "source": named("source")})
    return folder


def test_hostile_names_are_text_on_every_page(serve: Any, visit: Any, tmp_path: Path) -> None:
    person = visit(serve(hostile_studio(tmp_path / "hostile")))
    unseen = []
    for place, shows in (
        ("", ["studio"]),
        ("target", ["studio"]),
        ("suggestions", ["salt", "metal", "acid", "# headly"]),
        ("bench", ["mark", "other", "source"]),
        ("bench?piece=p1", ["mark", "other", "salt", "liver", "spray"]),
        ("bench?piece=new", ["salt", "liver", "metal", "mark"]),
        ("record?form=plate", ["plate", "list", "half"]),
        ("log?view=list", ["maker", "piece", "salt"]),
        ("log?order=newest", ["studio"]),
        ("log?plate=9", ["corrected", "corrector", "spray"]),
        ("log?plate=1", ["reason"]),
        ("camera", ["profile", "light", "old", "lamp"]),
        ("compare", ["studio"]),
        ("repeats", ["file"]),
        ("trust", ["salt", "liver"]),
        ("first-plates", ["metal", "salt", "liver"]),
        ("how-to-photograph", ["studio"]),
    ):
        person.open(place)
        while person.page.evaluate(UNFOLD_ALL):
            person.settle()
        assert person.page.evaluate(MADE_OF_IT) == [], place
        seen = " ".join(person.page.locator("[data-testid=stApp]").inner_text().replace("\u2060", "").split())
        unseen += [f"{place}: {what}" for what in shows if named(what).casefold() not in seen.casefold()]
        assert not person.page.locator("[data-testid=stException], details pre").count(), place
    assert unseen == [], unseen
    assert person.foreign == []
