"""The family of errors that this package raises, and the caveats that travel with a result.

Every message is one sentence that tells the person what to do next.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

LONGEST_NAME = 80
LONGEST_WORD = 120
LONGEST_SENTENCE = 300
_QUOTED = re.compile(r"""(?<!\w)(['"])(.*?)\1(?!\w)""")


class MatcherError(Exception):
    """Anything that a person can put right; the message says how. longest: characters that a person is shown of it."""

    longest = LONGEST_SENTENCE


class PhotoError(MatcherError):
    """The file cannot be read as a photograph."""


class CardError(MatcherError):
    """No reference card was found, or its definition or corners cannot be used."""


class ReadingError(MatcherError):
    """The marked region gives no usable colour."""


class RecipeError(MatcherError):
    """A recipe, or a quantity in it, is not valid."""


class StudioError(MatcherError):
    """The studio's log cannot be opened, read or written as asked."""


class UnavailableError(StudioError):
    """The studio could not do it just now, or not here; what is asked again later, or elsewhere, may be done."""


class TagError(MatcherError):
    """What was typed is not a tag's code, or tags cannot be printed as asked."""


class SuggestionError(MatcherError):
    """Nothing can be ranked or proposed from what is logged."""


class InstrumentFileError(MatcherError):
    """An instrument's file, or a colour given in notation, cannot be read as CIELAB under D50."""


def sentence_of(error: MatcherError) -> str:
    """Return an error's message as a person is told it: one line, with whatever it echoes shortened."""
    plain = "".join(
        letter if letter.isprintable() or letter.isspace() else "\N{REPLACEMENT CHARACTER}" for letter in str(error)
    )
    line = _QUOTED.sub(
        lambda found: f"{found[1]}{_shortened(found[2], LONGEST_WORD)}{found[1]}", " ".join(plain.split())
    )
    return _shortened(" ".join(_shortened(word, LONGEST_WORD) for word in line.split(" ")), error.longest)


def _shortened(text: str, most: int) -> str:
    """Leave out the middle of what is too long: a path is known by its end, a sentence by both ends."""
    half = (most - 1) // 2
    return text if len(text) <= most else f"{text[:half]}…{text[-half:]}"


def fault_in_words(error: BaseException) -> str:
    """Say what is wrong with plain data that could not be read, as a clause: "light is missing"."""
    if isinstance(error, KeyError) and error.args:
        return f"{error.args[0]} is missing"
    if isinstance(error, MatcherError | Misfit):
        return " ".join(str(error).split()).rstrip(".")[:160]
    return "something in it is not what it should be"


def file_in_words(name: str) -> str:
    """Return a file's name as a message says it: its end where it is long, and only what can be printed."""
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in name[-LONGEST_NAME:])


class Misfit(ValueError):
    """Plain data of the right shape that cannot be what it says; the message is a clause."""


@dataclass(frozen=True)
class Caveat:
    """A reason to trust a reading less: a stable code and a plain sentence."""

    code: str
    message: str

    def as_dict(self) -> dict[str, str]:
        return {"code": self.code, "message": self.message}
