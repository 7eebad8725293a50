"""Labels for bottles: all that must be on them is, whatever is typed, and none runs over its neighbour."""

from __future__ import annotations

import re
import subprocess
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from matcher.bench.mixing import mix_recipe
from matcher.errors import StudioError
from matcher.recipe.hazards import USUAL_FEW, shipped_hazards
from matcher.recipe.recipe import Coat, Recipe
from matcher.sheets.bottle_labels import GAP_MM, LABEL_MM, bottle_labels, label_of_mix, label_of_stock
from matcher.sheets.paper import LETTER, MARGIN_MM
from matcher.trials.stocks import Stock
from tests.plates import MADE_AT
from tests.test_paper import as_printed
from tests.test_sheets import DOTS_PER_MM, needs_poppler, rendered

FE = Stock("Fe 12", "ferric nitrate", 400.0, "A7", MADE_AT, "", "Fe(NO3)3·9H2O", "Ana Čapek", "", 1000.0)


@needs_poppler
def test_a_label_says_what_is_in_the_bottle_how_strong_since_when_by_whom_and_its_hazards(tmp_path) -> None:
    words = " ".join(as_printed(bottle_labels([label_of_stock(FE)], "Invented studio"), tmp_path).split())
    for part in (
        "Fe 12", "WARNING", "Ferric nitrate, stock solution", "400 g/L of Fe(NO3)3·9H2O, 1,000 ml, lot A7",
        "Made 31 March 2025 by Ana Čapek", "H290 May be corrosive to metals.", "H319 Causes serious eye irritation.",
        "P280 Wear protective gloves", "Invented studio", "safety data sheet decides", "from memory",
    ):  # fmt: skip
        assert part in words


@needs_poppler
@pytest.mark.parametrize("chemical", [*sorted(shipped_hazards().chemicals), "grandfather's secret"])
def test_every_hazard_of_every_chemical_is_on_its_label_whatever_else_gives_way(chemical: str, tmp_path) -> None:
    long = replace(FE, label="Long " * 30, chemical=chemical, grams_per_litre=900.0, lot="l" * 150, made_by="m" * 150)
    for stock in (replace(FE, chemical=chemical, grams_per_litre=900.0), long):
        label = label_of_stock(stock)
        words = "".join(as_printed(bottle_labels([label], "Invented studio"), tmp_path).split())
        if stock is not long:
            for statement in label.hazards.statements:
                assert f"{statement.code}{statement.text}".replace(" ", "") in words
        assert label.hazards.signal.upper() in words
        if not label.hazards.known:
            assert "Nothingisknownhere" in words


@needs_poppler
def test_labels_of_one_page_are_printed_in_one_size_with_all_their_cautions(tmp_path) -> None:
    short = replace(FE, chemical="sodium chloride", grams_per_litre=20.0)
    stocks = [short, replace(FE, chemical="cupric nitrate", grams_per_litre=200.0), *[short] * 6, short]
    labels = [label_of_stock(stock) for stock in stocks]
    (tmp_path / "labels.pdf").write_bytes(bottle_labels(labels, "Invented studio"))
    subprocess.run(["pdftotext", "-bbox", "labels.pdf", "words.html"], cwd=tmp_path, check=True)
    first, second = (tmp_path / "words.html").read_text(encoding="utf-8").split("<page ")[1:]
    sizes, alone = (
        [round(float(low) - float(top), 2) for top, low in re.findall(r'yMin="(.*?)" .*? yMax="(.*?)">Made<', page)]
        for page in (first, second)
    )
    assert len(sizes) == 8 and len(set(sizes)) == 1
    assert alone[0] > sizes[0], "a page without long cautions is printed larger"
    for words in [*labels[1].hazards.statements, *labels[1].hazards.precautions[:USUAL_FEW]]:
        assert f">{words.code}<" in first


@needs_poppler
def test_nothing_is_printed_between_the_labels(tmp_path) -> None:
    long = replace(FE, label="x" * 190, chemical="ammonium sulphide", lot="l" * 190, made_by="m" * 190)
    page = rendered(bottle_labels([label_of_stock(long)] * 8), tmp_path)
    left = MARGIN_MM + LABEL_MM[0]
    between = page[:, round((left + 0.5) * DOTS_PER_MM) : round((left + GAP_MM - 0.5) * DOTS_PER_MM)]
    body = between[round(40 * DOTS_PER_MM) : round(250 * DOTS_PER_MM)]
    assert np.all(body > 250)


@needs_poppler
def test_eight_labels_fit_on_either_paper(tmp_path) -> None:
    for paper in ({}, {"paper": LETTER}):
        pages = as_printed(bottle_labels([label_of_stock(FE)] * 8, "", **paper), tmp_path).split("\f")[:-1]
        assert len(pages) == 1
        pages = as_printed(bottle_labels([label_of_stock(FE)] * 9, "", **paper), tmp_path).split("\f")[:-1]
        assert len(pages) == 2


@needs_poppler
def test_what_was_mixed_is_labelled_by_the_strength_that_was_truly_poured(tmp_path) -> None:
    recipe = Recipe("bronze", None, (Coat("ferric nitrate", 0.3, 6, 105.0, stock="Fe 12"),))
    (mix,) = mix_recipe(recipe, 100.0, [FE], [], MADE_AT + timedelta(days=1)).layers
    words = " ".join(as_printed(bottle_labels([label_of_mix(mix, MADE_AT, "Bo")]), tmp_path).split())
    assert mix.measured is not None
    assert f"{mix.measured.strength:.3g} of stock Fe 12" in words and "Mixed 31 March 2025 by Bo, for coat 1" in words
    with pytest.raises(StudioError, match="nothing to label yet"):
        label_of_mix(mix_recipe(recipe, 100.0, [], [], MADE_AT).layers[0], MADE_AT)


def test_no_labels_and_too_many_get_a_sentence() -> None:
    with pytest.raises(StudioError, match="Make a bottle first"):
        bottle_labels([])
    with pytest.raises(StudioError, match="at most 200"):
        bottle_labels([label_of_stock(FE)] * 201)


def test_initials_that_end_in_a_full_stop_are_followed_by_no_second_one() -> None:
    for maker in ("T.R.", "Ann"):
        (made,) = [line for line in label_of_stock(replace(FE, made_by=maker)).lines if line.startswith("Made ")]
        assert f" by {maker.removesuffix('.')}. Opened" in made and ".." not in made
