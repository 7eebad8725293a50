"""Numbers as people type them and as files hold them: with a decimal point or comma, and finite."""

from __future__ import annotations

import re

_NUMBER = re.compile(r"[+-]?(?:\d{1,12}(?:[.,]\d{0,40})?|[.,]\d{1,40})(?:[eE][+-]?\d{1,3})?")
_LARGEST = 1e300
_WHOLE = re.compile(r"[+-]?\d{1,9}")


def number(text: str, comma: bool = True) -> float | None:
    """Return the finite number that is typed, None when it is none; comma: whether 0,5 is one half."""
    plain = text.strip().replace("−", "-")
    if not _NUMBER.fullmatch(plain) or (not comma and "," in plain):
        return None
    value = float(plain.replace(",", "."))
    return value if abs(value) < _LARGEST else None


def numbers(text: str) -> tuple[float, ...] | None:
    """Return numbers with commas between them ("38.2,14,22.5"), None when one of them is none."""
    found = [number(part, comma=False) for part in text.split(",")]
    known = tuple(value for value in found if value is not None)
    return known if len(known) == len(found) else None


def whole_number(text: str) -> int | None:
    """Return the whole number that is typed, None when it is none or over nine digits."""
    plain = text.strip().replace("−", "-")
    return int(plain) if _WHOLE.fullmatch(plain) else None


def points(text: str) -> tuple[tuple[float, float], ...] | None:
    """Return points with spaces between them ("120,80 400,80"), None when one of them is none."""
    found = [numbers(part) for part in text.split()]
    known = tuple((pair[0], pair[1]) for pair in found if pair is not None and len(pair) == 2)
    return known if len(known) == len(found) else None
