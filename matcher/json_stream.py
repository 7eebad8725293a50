"""A large JSON document written and read piece by piece, so that memory holds one piece of its long lists at a time."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from itertools import chain, islice
from typing import Any, TextIO, TypeVar

T = TypeVar("T")
Member = tuple[str, Any]

_CHUNK_CHARACTERS = 1_000_000
_OF_NUMBERS = frozenset("0123456789.eE+-")
MAX_PIECE_CHARACTERS = 64_000_000
"""Of one item of a long list, or of any other member as a whole."""


class Lazily(list[T]):
    """A list for the JSON encoder, made while it is written; it can be gone through once."""

    def __init__(self, make: Callable[[], Iterable[T]]) -> None:
        super().__init__()
        self._make = make
        self._begun: Iterator[T] | None = None

    def __bool__(self) -> bool:
        items = iter(self._make())
        first = list(islice(items, 1))
        self._begun = chain(first, items)
        return bool(first)

    def __iter__(self) -> Iterator[T]:
        return iter(self._make()) if self._begun is None else self._begun


def members(stream: TextIO) -> Iterator[Member]:
    """Yield the names and values of a JSON object; a list comes as an iterator, to be used up before the next name.

    Raises ValueError (a JSONDecodeError with the place in the present piece) for what is not JSON.
    """
    text = _Text(stream)
    if not text.next_is("{"):
        text.value()  # JSON, but nothing that has members
        text.end()
        return
    text.take("{")
    if text.next_is("}"):
        text.take("}")
    else:
        while True:
            name = text.value()
            if not isinstance(name, str):
                raise ValueError("a name in it is not text")
            text.take(":")
            if text.next_is("["):
                items = _items(text)
                yield name, items
                for _ in items:
                    pass  # whatever was not used up
            else:
                yield name, text.value()
            if not text.next_is(","):
                break
            text.take(",")
        text.take("}")
    text.end()


def _items(text: _Text) -> Iterator[Any]:
    text.take("[")
    if text.next_is("]"):
        text.take("]")
        return
    while True:
        yield text.value()
        if not text.next_is(","):
            break
        text.take(",")
    text.take("]")


class _Text:
    """JSON text of which only the piece at hand is in memory."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._decoder = json.JSONDecoder()
        self._piece = ""
        self._at = 0
        self._ended = False

    def value(self) -> Any:
        """Take the next value as a whole."""
        self._skip_blanks()
        while True:
            try:
                value, end = self._decoder.raw_decode(self._piece, self._at)
                cut = end == len(self._piece) or self._piece[end] in _OF_NUMBERS  # "10" may go on: "10.5", "10e5"
                if self._ended or not cut:
                    self._at = end
                    return value
            except json.JSONDecodeError:
                if self._ended:
                    raise
            self._more()

    def next_is(self, sign: str) -> bool:
        self._skip_blanks()
        return self._piece[self._at : self._at + 1] == sign

    def take(self, sign: str) -> None:
        if not self.next_is(sign):
            raise json.JSONDecodeError(f"Expecting {sign!r}", self._piece, self._at)
        self._at += 1

    def end(self) -> None:
        """Raise ValueError when anything but blanks is left."""
        self._skip_blanks()
        if self._at < len(self._piece):
            raise json.JSONDecodeError("Extra data", self._piece, self._at)

    def _skip_blanks(self) -> None:
        while True:
            while self._at < len(self._piece) and self._piece[self._at] in " \t\n\r":
                self._at += 1
            if self._at < len(self._piece) or self._ended:
                return
            self._more()

    def _more(self) -> None:
        """Read on: as much again as is held, so that a long value is tried few times."""
        rest = self._piece[self._at :]
        if len(rest) > MAX_PIECE_CHARACTERS:
            raise ValueError(f"a part of it is over {MAX_PIECE_CHARACTERS} characters long")
        read = self._stream.read(max(_CHUNK_CHARACTERS, len(rest)))
        self._ended = not read
        self._piece, self._at = rest + read, 0
