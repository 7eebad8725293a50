"""Rows that can't be read, a byte of their JSON changed: found among the others, named, and kept as they are.

A damaged row must not keep the rest from being read, least of all when a backup is made.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy import exc
from sqlalchemy.orm import InstrumentedAttribute, Session

from matcher.errors import MatcherError
from matcher.storage.schema import (
    AreaRow,
    CameraProfileRow,
    CastRow,
    CoatRow,
    CommissionRow,
    DeliveryRow,
    DraftRow,
    EarlierReadingRow,
    FinishOutlineRow,
    HistoryRow,
    JournalRow,
    OwnCardPatchRow,
    OwnCardRow,
    ReadingRow,
    SightingRow,
    SignOffRow,
    SolutionUseRow,
    StockRow,
    TableColumnsRow,
    TagChangeRow,
    TargetRow,
    TrialPhotoRow,
    TrialRow,
)

T = TypeVar("T")
Which = sa.ColumnElement[bool] | None

_KEYS: Mapping[str, Sequence[InstrumentedAttribute[Any]]] = {
    "plate": (TrialRow.id, CoatRow.trial_id, ReadingRow.trial_id, TrialPhotoRow.trial_id),
    "target": (TargetRow.id, ReadingRow.target_id),
    "stock": (StockRow.label,),
    "card": (OwnCardRow.name, OwnCardPatchRow.card_name),
    "camera profile": (CameraProfileRow.name,),
    "line of history": (HistoryRow.id,),
    "commission": (CommissionRow.id, AreaRow.commission_id, DeliveryRow.commission_id),
    "area": (AreaRow.id,),
    "journal line": (JournalRow.id,),
    "sign-off": (SignOffRow.id,),
    "cast plate": (CastRow.trial_id,),
    "delivery": (DeliveryRow.id,),
    "earlier reading": (EarlierReadingRow.id,),
    "solution use": (SolutionUseRow.id,),
    "column mapping": (TableColumnsRow.id,),
    "line about a tag": (TagChangeRow.id,),
    "outline by a tag": (FinishOutlineRow.id,),
    "sighting": (SightingRow.id,),
    "half-typed form": (DraftRow.form,),
    "piece on the bench": (DraftRow.form,),
}
"""What names a thing of each kind: first in its own table, then in those that belong to it."""

_SHOWN = 5
_PORTION = 500
_NOT_UNDERSTOOD = (ValueError, LookupError, TypeError, AttributeError, RecursionError, OverflowError, MatcherError)
"""What reading a row raises when a number, a date or a piece of JSON in it is not what it should be."""


@dataclass(frozen=True)
class Damaged:
    """A thing in the log that can't be read. kind: "plate", "target", …; key: its number or name."""

    kind: str
    key: int | str


def in_words(damaged: Sequence[Damaged]) -> str:
    """Say in one sentence what can't be read and what to do; "" when all can be."""
    if not damaged:
        return ""
    shown = ", ".join(f"{one.kind} {one.key}" for one in damaged[:_SHOWN])
    more = f" and {len(damaged) - _SHOWN} more" if len(damaged) > _SHOWN else ""
    verb = "is" if len(damaged) == 1 else "are"
    return (
        f"Restore what can't be read from an older backup: {shown}{more} {verb} damaged in the log and left out, "
        "and every export and backup carries that along as it stands."
    )


def load_readable(
    session: Session, kind: str, load: Callable[[Session, Which], list[T]], which: Which = None
) -> tuple[list[T], tuple[Damaged, ...]]:
    """Return what ``load`` can read of the things of a kind for which ``which`` holds, and those it cannot.

    load: returns, for a session and a condition on the kind's own table, the things in the order of their keys or
    another. All are loaded at once; only when that fails are the damaged ones looked for, by halves.
    """
    key = _KEYS[kind][0]
    try:
        return load(session, which), ()
    except Exception as error:
        if not _is_damage(error):
            raise
    chosen = sa.select(key).order_by(key)
    keys = list(session.scalars(chosen if which is None else chosen.where(which)))

    def portion(keys: list[Any]) -> tuple[list[T], list[Any]]:
        if not keys:
            return [], []
        these = key.between(keys[0], keys[-1])
        try:
            return load(session, these if which is None else sa.and_(these, which)), []
        except Exception as error:
            if not _is_damage(error):
                raise
        if len(keys) == 1:
            return [], keys
        middle = len(keys) // 2
        (one, lost), (other, lost_too) = portion(keys[:middle]), portion(keys[middle:])
        return one + other, lost + lost_too

    readable, lost = portion(keys)
    return readable, tuple(Damaged(kind, each) for each in lost)


def readable_in_portions(
    session: Session, kind: str, load: Callable[[Session, Which], list[T]], lost: list[Damaged]
) -> Iterator[T]:
    """Yield what ``load`` can read of all things of a kind, in the order of their keys; ``lost`` takes the others.

    Only a portion of them is in memory at a time.
    """
    key = _KEYS[kind][0]
    keys = list(session.scalars(sa.select(key).order_by(key)))
    for start in range(0, len(keys), _PORTION):
        some = keys[start : start + _PORTION]
        found, damaged = load_readable(session, kind, load, key.between(some[0], some[-1]))
        lost.extend(damaged)
        yield from found
        session.expunge_all()


def as_kept(session: Session, damaged: Damaged) -> dict[str, Any]:
    """Return a damaged thing as plain JSON: the rows of its tables, each cell's text, or its bytes in hexadecimal."""
    rows = {
        key.class_.__tablename__: _raw_rows(session, key.class_.__table__, key == damaged.key)
        for key in _KEYS[damaged.kind]
    }
    return {"kind": damaged.kind, "key": damaged.key, "rows": rows}


def _raw_rows(session: Session, table: sa.Table, where: sa.ColumnElement[bool]) -> list[dict[str, Any]]:
    # As bytes where the file keeps bytes: a driver that decodes text would stumble over what is wrong with it.
    raw = sa.LargeBinary if session.connection().dialect.name == "sqlite" else sa.Text
    cells = [sa.cast(column, raw).label(column.name) for column in table.columns]
    found = session.execute(sa.select(*cells).where(where)).mappings()
    return [{name: _plain(value) for name, value in row.items()} for row in found]


def _plain(value: bytes | str | None) -> Any:
    if not isinstance(value, bytes):
        return value
    try:
        return value.decode()
    except UnicodeDecodeError:
        return {"hex": value.hex()}


def _is_damage(error: Exception) -> bool:
    """Tell a row that can't be understood from a database that can't be reached, or is busy."""
    if isinstance(error, exc.DBAPIError):
        return "decode to utf-8" in str(error.orig).lower()
    if isinstance(error, exc.SQLAlchemyError):
        return False
    return isinstance(error, _NOT_UNDERSTOOD)
