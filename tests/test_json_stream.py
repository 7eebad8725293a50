"""A large JSON document is read and written piece by piece, and is the same document as when done at once."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher import json_stream
from matcher.json_stream import Lazily, members
from tests.example_counts import examples

values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=9),
    lambda some: st.lists(some, max_size=4) | st.dictionaries(st.text(max_size=5), some, max_size=4),
    max_leaves=12,
)


class Slowly(io.StringIO):
    """A stream that gives a few characters at a time, so that every value is cut somewhere."""

    def read(self, size: int | None = -1) -> str:
        return super().read(min(3, size or 3))


def read(text: str) -> dict[str, Any]:
    return {name: list(value) if isinstance(value, Iterator) else value for name, value in members(Slowly(text))}


@examples(150)
@given(document=st.dictionaries(st.text(max_size=6), values, max_size=5), indent=st.sampled_from([None, 1]))
def test_any_object_is_read_as_the_standard_library_reads_it(document: dict[str, Any], indent: int | None) -> None:
    text = json.dumps(document, indent=indent)
    assert read(f" {text}\n") == json.loads(text)
    lazy = {
        name: Lazily(lambda value=value: value) if isinstance(value, list) else value  # type: ignore[misc]
        for name, value in document.items()
    }
    assert "".join(json.JSONEncoder(indent=1).iterencode(lazy)) == json.dumps(document, indent=1)


@examples(150)
@given(document=st.dictionaries(st.text(max_size=6), values, min_size=1, max_size=3), at=st.integers(0, 200))
def test_a_document_cut_short_or_with_more_behind_it_is_refused(document: dict[str, Any], at: int) -> None:
    text = json.dumps(document)
    with pytest.raises(ValueError, match=r"\S"):
        read(text[: at % len(text)])
    with pytest.raises(ValueError, match="Extra data"):
        read(text + " x")


def test_a_list_that_is_left_half_way_is_passed_over() -> None:
    found = members(Slowly('{"many": [1, 2, 3], "one": 4}'))
    name, many = next(found)
    assert (name, next(many)) == ("many", 1)
    assert next(found) == ("one", 4)


def test_a_piece_without_end_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(json_stream, "MAX_PIECE_CHARACTERS", 100)
    with pytest.raises(ValueError, match="over 100 characters"):
        read('{"one": "' + "x" * 500 + '"}')
