"""Dates and times: as people type and read them, in this machine's local time, and as they are kept, in UTC.

The one place where the two meet. What was typed is what is shown; a day typed without a time is that day.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from matcher.errors import StudioError

LONG, SHORT, ISO = "%d %B %Y", "%d %b %Y", "%Y-%m-%d"
TO_THE_MINUTE = "%d %B %Y, %H:%M"
"""A day as pages show it, in full and in few characters, and as it is typed; and with its time."""
SOON_DAYS = 45
"""A change that began within so many days of the logging is said to have begun with it."""
_STAMP = "%Y%m%dT%H%M%SZ"
_MIDDAY = time(12)
"""A day without a time is kept as its midday here, so that it is the same day on clocks up to 11 hours away."""


def now() -> datetime:
    return datetime.now(UTC)


def in_utc(when: datetime) -> datetime:
    """Return ``when`` in UTC; a time without a zone is taken as this machine's local time."""
    return when.astimezone(UTC)


def local(when: datetime) -> datetime:
    """Return ``when`` in this machine's local time; at the ends of the calendar, where there is none, in UTC."""
    try:
        return when.astimezone()
    except (OverflowError, OSError, ValueError):
        return when


def shown(when: datetime, form: str = LONG) -> str:
    """Say a moment's day, or with another ``form`` its time, in this machine's local time.

    A day of the month has no zero before it, as ``day_shown`` says it.
    """
    said = local(when).strftime(form)
    return said.removeprefix("0") if form.startswith("%d ") else said


def change_began(since: datetime | None, logged_at: datetime) -> str:
    """Say since about when a logged plate changes; "" where nothing tells."""
    if since is None:
        return ""
    return "since it was logged" if (since - logged_at).days < SOON_DAYS else f"since about {shown(since, '%B %Y')}"


def year_span(year: int) -> tuple[datetime, datetime]:
    """Return when a year begins and ends on this machine's clock, in UTC. Raises ValueError outside the calendar."""
    try:
        return in_utc(datetime(year, 1, 1)), in_utc(datetime(year + 1, 1, 1))
    except (OverflowError, OSError) as error:
        raise ValueError(f"The calendar has no whole year {year}.") from error


def day_shown(day: date, with_year: bool = True) -> str:
    """Say a day of the calendar, which is the same day on every clock.

    >>> day_shown(date(2027, 5, 4)), day_shown(date(2027, 5, 4), with_year=False)
    ('4 May 2027', '4 May')
    """
    return f"{day.day} {day.strftime('%B %Y' if with_year else '%B')}"


def stamp(when: datetime) -> str:
    """Return a moment as a file's name holds it, to the second.

    >>> stamp(datetime(2027, 5, 4, 6, 30, tzinfo=UTC))
    '20270504T063000Z'
    """
    return in_utc(when).strftime(_STAMP)


def stamped(text: str) -> datetime:
    """Return the moment of a stamp. Raises ValueError for what is none."""
    return datetime.strptime(text, _STAMP).replace(tzinfo=UTC)


def moment(text: str | datetime) -> datetime:
    """Return an ISO 8601 date or time as a UTC datetime; without a zone it is local. Raises StudioError."""
    try:
        return in_utc(text if isinstance(text, datetime) else _typed(text.strip()))
    except (ValueError, AttributeError, TypeError, OverflowError, OSError) as error:
        raise StudioError(f"Give the date as 2025-03-31 or 2025-03-31T14:30: {text!r} is not one.") from error


def moment_made(text: str) -> datetime:
    """Return when a plate was made, given as an ISO 8601 date or time that has been. Raises StudioError."""
    made_at = moment(text)
    if made_at > now() + timedelta(days=1):  # a day's grace: dates are those of the studio's own clock
        raise StudioError(f"Give a day that has been: {text} is yet to come.")
    return made_at


def made_on(text: str) -> datetime:
    """Return when something was made, by the day as it is typed: now for today or nothing. Raises StudioError."""
    return now() if text.strip() in ("", shown(now(), ISO)) else moment_made(text)


def on_day(made_at: datetime, text: str) -> datetime:
    """Return a moment, in UTC, moved to the day given as 2025-03-31, which has been. Raises StudioError."""
    try:
        wanted = date.fromisoformat(text.strip())
    except ValueError as error:
        raise StudioError(f"Give the day as 2025-03-31: {text!r} is not one.") from error
    moment_made(wanted.isoformat())
    return moment(datetime.combine(wanted, local(made_at).time()))


def _typed(text: str) -> datetime:
    """Return a date or time as it is typed, without a zone where it names none."""
    try:
        return datetime.combine(date.fromisoformat(text), _MIDDAY)
    except ValueError:
        return datetime.fromisoformat(text)
