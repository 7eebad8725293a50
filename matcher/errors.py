"""The family of errors that this package raises, and the caveats that travel with a result.

Every message is one sentence that tells the person what to do next.
"""

from __future__ import annotations

from dataclasses import dataclass


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


@dataclass(frozen=True)
class Caveat:
    """A reason to trust a reading less: a stable code and a plain sentence."""

    code: str
    message: str

    def as_dict(self) -> dict[str, str]:
        return {"code": self.code, "message": self.message}
