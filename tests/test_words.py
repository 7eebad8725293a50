"""Figures in sentences are said one way: a share as "25 %", a count with its noun in the right number."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.words import agreeing, capital, counted, listed, percent

ROOT = Path(__file__).parents[1]
SOURCES = [file for top in ("matcher", "ui") for file in sorted((ROOT / top).rglob("*.py"))]
NOUNS = "pass|plate|trial|reading|photograph|recipe|target|coat|colour|card|stock|row|sample"
ADJECTIVES = "(?:new |more |logged |measured |predicted |invented )?"


@given(st.floats(0, 1))
def test_a_share_is_said_in_hundredths_with_a_space(share: float) -> None:
    said = percent(share)
    assert re.fullmatch(r"\d{1,3} %", said)
    assert abs(float(said[:-2]) / 100 - share) <= 0.005 + 1e-9


@pytest.mark.parametrize(
    ("count", "noun", "said"),
    [
        (0, "pass", "0 passes"),
        (1, "pass", "1 pass"),
        (2, "more pass", "2 more passes"),
        (1, "new plate", "1 new plate"),
        (1200, "recipe", "1,200 recipes"),
        (2, "batch", "2 batches"),
    ],
)
def test_a_count_has_its_noun_in_the_right_number(count: int, noun: str, said: str) -> None:
    assert counted(count, noun) == said


def test_verbs_and_lists_agree() -> None:
    assert (agreeing(1), agreeing(0), agreeing(2, "was", "were")) == ("is", "are", "were")
    assert [listed(names) for names in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]


@pytest.mark.parametrize("file", SOURCES, ids=lambda file: str(file.relative_to(ROOT)))
def test_no_sentence_formats_a_share_or_a_count_by_itself(file: Path) -> None:
    """What f-strings would say wrongly: "25%", and "1 plates" of a number that may be 1 (constants are not)."""
    if file.name == "words.py" and file.parent.name == "matcher":
        return
    text = file.read_text(encoding="utf-8")
    assert not re.findall(r"\{[^{}]*:\.\d%\}", text)
    assert not re.findall(r"\{100 \* [^{}]*\} %", text)
    plurals = re.findall(rf"\{{([^{{}}]+)\}} {ADJECTIVES}((?:{NOUNS})(?:s|es))\b", text)
    assert [(value, noun) for value, noun in plurals if not value.isupper()] == []
    assert not re.findall(r"'' if [^{}]* == 1 else '(?:s|es)'", text)


def test_nobody_begins_a_sentence_by_hand() -> None:
    """``str.capitalize`` makes "NaOH" "Naoh"; one function begins what is said, and leaves the rest as it is."""
    assert capital("NaOH, half strength") == "NaOH, half strength" and capital("") == ""
    by_hand = re.compile(r"\.capitalize\(\)|\[:1\]\.upper\(\)")
    found = [
        f"{file.relative_to(ROOT)}: {line.strip()}"
        for file in SOURCES
        for line in file.read_text(encoding="utf-8").splitlines()
        if by_hand.search(line) and file != ROOT / "matcher" / "words.py"
    ]
    assert found == []
