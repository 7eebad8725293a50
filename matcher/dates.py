"""Dates and times as people give them, and as they are kept: in UTC."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from matcher.errors import StudioError


def now() -> datetime:
    return datetime.now(UTC)


def in_utc(when: datetime) -> datetime:
    """Return ``when`` in UTC; a time without a zone is taken as this machine's local time."""
    return when.astimezone(UTC)


def moment(text: str | datetime) -> datetime:
    """Return an ISO 8601 date or time as a UTC datetime. Raises StudioError."""
    try:
        when = text if isinstance(text, datetime) else datetime.fromisoformat(text.strip())
        return in_utc(when)
    except (ValueError, AttributeError, TypeError, OverflowError, OSError) as error:
        raise StudioError(f"Give the date as 2025-03-31 or 2025-03-31T14:30: {text!r} is not one.") from error


def moment_made(text: str) -> datetime:
    """Return when a plate was made, given as an ISO 8601 date or time that has been. Raises StudioError."""
    made_at = moment(text)
    if made_at > now() + timedelta(days=1):  # a day's grace: dates are those of the studio's own clock
        raise StudioError(f"Give a day that has been: {text} is yet to come.")
    return made_at


def on_day(made_at: datetime, text: str) -> datetime:
    """Return a moment, in UTC, moved to the day given as 2025-03-31, which has been. Raises StudioError."""
    try:
        wanted = date.fromisoformat(text.strip())
    except ValueError as error:
        raise StudioError(f"Give the day as 2025-03-31: {text!r} is not one.") from error
    moment_made(wanted.isoformat())
    return in_utc(made_at).replace(year=wanted.year, month=wanted.month, day=wanted.day)
