"""What may be stored: text, numbers and plain JSON, checked before they reach a row."""

from __future__ import annotations

import json
import math
from datetime import datetime
from typing import Any
from uuid import uuid4

from matcher.dates import in_utc
from matcher.errors import StudioError
from matcher.words import capital

MAX_LINE = 200


MAX_NOTES = 20_000


MAX_JSON_CHARACTERS = 4_000_000


def line(value: object, what: str, required: bool = False, longest: int = MAX_LINE) -> str:
    """Return one line of text as it is kept, single-spaced. Raises StudioError."""
    text = " ".join(storable(value, what).split())
    if required and not text:
        raise StudioError(f"Give the {what}: it is empty.")
    if len(text) > longest:
        raise StudioError(f"Shorten the {what} to {longest} characters: it has {len(text)}.")
    return text


def file_name(value: str) -> str:
    """Return a file's name as it is kept for people to know it by: no name is too long or too odd to keep its file."""
    return line(value[-MAX_LINE:], "file's name")


def storable(value: object, what: str, longest: int = MAX_NOTES) -> str:
    """Return text without what no database keeps (NUL, lone surrogates). Raises StudioError."""
    if not isinstance(value, str):
        raise StudioError(f"Give the {what} as text: {value!r} is not.")
    if len(value) > longest:
        raise StudioError(f"Shorten the {what} to {longest} characters: it has {len(value)}.")
    return value.replace("\0", "").encode("utf-8", "replace").decode("utf-8")


def number(value: object, what: str, low: float, high: float, unit: str = "") -> float:
    """Return a finite number from ``low`` to ``high``. Raises StudioError."""
    try:
        result = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        result = math.nan
    if isinstance(value, bool) or not low <= result <= high:
        raise StudioError(f"Give the {what} as a number from {low:g} to {high:g}{unit}: {value!r} is not one.")
    return result


def new_uid() -> str:
    return uuid4().hex


def uid_of(value: object) -> str:
    """Return a uid as it is kept; None gives a new one. Raises StudioError."""
    if value is None:
        return new_uid()
    return line(value, "uid", required=True, longest=64)


def reason(text: str | None) -> str | None:
    """Return the reason for setting something aside as it is kept; None is "not set aside". Raises StudioError."""
    return None if text is None else line(text, "reason for setting it aside", required=True)


def is_marked_anew(now: str | None, wanted: str | None, seen: str | None, thing: str, done: str = "set aside") -> bool:
    """Tell whether the reason for which a thing is set aside changes; None is "not set aside".

    seen: the reason that the person saw who takes it back, None where nobody says. Raises StudioError when another
    person has set it aside meanwhile: their reason is not lost by ours.
    """
    if now == wanted:
        return False
    if now is not None and wanted is not None:
        raise StudioError(
            f"{capital(thing)} is {done} already ({now}): look at it again, and take it back "
            "first if another reason holds."
        )
    if now is not None and seen is not None and seen != now:
        raise StudioError(f"Look at {thing} again first: it was {done} anew meanwhile ({now}).")
    return True


def when(value: datetime) -> datetime:
    """Return a moment in UTC. Raises StudioError."""
    if not isinstance(value, datetime):
        raise StudioError(f"Give the date as a datetime: {value!r} is not one.")
    try:
        return in_utc(value)
    except (OverflowError, OSError, ValueError) as error:
        raise StudioError(f"Give a date of this age: {value!r} is not one.") from error


def plain_json(body: object, what: str) -> dict[str, Any]:
    """Return a dictionary as plain JSON types. Raises StudioError when it holds other things or is too long."""
    if not isinstance(body, dict):
        raise StudioError(f"Keep a {what} as one dictionary: {type(body).__name__} is another thing.")
    try:
        text = json.dumps(body, allow_nan=False)
    except (TypeError, ValueError, RecursionError) as error:
        raise StudioError(f"Keep only text, finite numbers, lists and dictionaries in a {what}: {error}.") from error
    if len(text) > MAX_JSON_CHARACTERS:
        raise StudioError(f"Shorten the {what} to {MAX_JSON_CHARACTERS} characters: it has {len(text)}.")
    plain: dict[str, Any] = _storable_json(json.loads(text))
    return plain


def _storable_json(value: Any) -> Any:
    if isinstance(value, str):
        return storable(value, "text", MAX_JSON_CHARACTERS)
    if isinstance(value, list):
        return [_storable_json(item) for item in value]
    if isinstance(value, dict):
        return {_storable_json(name): _storable_json(item) for name, item in value.items()}
    return value
