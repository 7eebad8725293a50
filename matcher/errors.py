"""The family of errors that this package raises, and the caveats that travel with a result.

Every message is one sentence that tells the person what to do next.
"""

from __future__ import annotations

from dataclasses import dataclass

LONGEST_NAME = 80


class MatcherError(Exception):
    """Anything that a person can put right; the message says how."""


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


class SuggestionError(MatcherError):
    """Nothing can be ranked or proposed from what is logged."""


class InstrumentFileError(MatcherError):
    """An instrument's file, or a colour given in notation, cannot be read as CIELAB under D50."""


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
