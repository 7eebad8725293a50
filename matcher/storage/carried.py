"""Tables that an export carries row by row: written out, checked, and merged into another studio by uid.

Numbers differ between studios, so a row names others by their uids ("trial_uid" for the column ``trial_id``): which
ones its foreign keys tell. What is here already stays as it is here, but for what can only happen to it later, and for
what may be said again and again (set aside, taken back): there whatever was said last stands.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.dates import in_utc, moment
from matcher.errors import MatcherError, StudioError
from matcher.storage import checked
from matcher.storage.damaged import Damaged, readable_in_portions
from matcher.storage.schema import HistoryRow, PhotoRow, StockRow, Table, Utc

MAX_WHOLE = 2**31 - 1
Plain = dict[str, Any]


def _nothing(_: Mapping[str, Any]) -> None:
    return None


def _nothing_against(_session: Session, _number: int, _said: Mapping[str, Any]) -> None:
    return None


def _nothing_to_settle(_session: Session, _here: Sequence[Plain], _new: Sequence[Plain]) -> tuple[str, ...]:
    return ()


@dataclass(frozen=True)
class CarriedTable:
    """A table that an export carries.

    name: of its list in `studio.json`. kind: of one of its rows, as errors, damage and history call it. row: its class.
    check: raises a MatcherError for columns that say what may not be kept. place_within: the column of what a row has
    a "position" in, of its own. one_of: columns of which one must name something. settle: called with the rows that
    were here and those that are new, once these are merged, to set right what follows; returns what a person should be
    told. later: columns that are empty until something happens to a row, once (it is withdrawn), and are taken over
    where it has happened in the file and not here. said_last: columns that may be said again and again, each with what
    its lines of history say; whatever was said last stands, by those lines. may_say: called with a row's number and the
    columns that it would take over so; raises a MatcherError where what is here speaks against it, and it stays.
    """

    name: str
    kind: str
    row: type[Table]
    check: Callable[[Mapping[str, Any]], None] = _nothing
    place_within: str | None = None
    one_of: tuple[str, ...] = ()
    settle: Callable[[Session, Sequence[Plain], Sequence[Plain]], tuple[str, ...]] = _nothing_to_settle
    later: tuple[str, ...] = ()
    said_last: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    may_say: Callable[[Session, int, Mapping[str, Any]], None] = _nothing_against

    @property
    def columns(self) -> sa.ColumnCollection[str, sa.Column[Any]]:
        table = self.row.__table__
        assert isinstance(table, sa.Table)
        return table.columns

    def key_of(self, plain: Mapping[str, Any]) -> str:
        """Return what names a row in every studio: its uid, or that of what it belongs to."""
        if "uid" in self.columns:
            return str(plain["uid"])
        (key,) = [column.name for column in self.columns if column.primary_key]
        return str(plain[_written_as(self.columns[key])])


@dataclass(frozen=True)
class Merged:
    """What came of one table. new: numbers here by uids. differing: keys of rows that say something else here.

    caught_up: numbers here by uids of those to which something happened in the file. left_out: keys of rows that name
    what is not there. told: what a person should know of it, each one sentence.
    """

    kind: str
    new: Mapping[str, int | None] = field(default_factory=dict)
    differing: tuple[str, ...] = ()
    caught_up: Mapping[str, int] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()
    told: tuple[str, ...] = ()


def written(session: Session, table: CarriedTable, damaged: list[Damaged]) -> list[Plain]:
    """Return a table's rows as plain JSON types; ``damaged`` takes those that cannot be read."""
    uids = _uids(session, table)

    def load(session: Session, which: sa.ColumnElement[bool] | None) -> list[Plain]:
        query = sa.select(*table.columns)
        found = session.execute(query if which is None else query.where(which)).mappings()
        return [taken(table, _plain_row(table, dict(row), uids)) for row in found]

    return list(readable_in_portions(session, table.kind, load, damaged))


def taken(table: CarriedTable, item: Mapping[str, Any]) -> Plain:
    """Return a row of a `studio.json`, checked, as plain JSON types.

    Raises a MatcherError, or KeyError, TypeError or ValueError for what is no such row.
    """
    plain: Plain = {}
    for column in table.columns:
        if name := _written_as(column):
            plain[name] = _checked(column, name, item.get(name) if column.nullable else item[name])
    if "uid" in plain:
        plain["uid"] = checked.line(plain["uid"], "uid", required=True, longest=64)
    table.check({name: plain.get(name) for name in table.columns.keys()})  # noqa: SIM118 - a collection of columns
    return plain


def merge(
    session: Session, table: CarriedTable, items: Sequence[Plain], labels: Mapping[str | None, str | None]
) -> Merged:
    """Add the rows whose uids are not here, and what happened later to those that are, within an open transaction.

    labels: how stocks that the file names are labelled here, None for one that stays out.
    """
    here = {table.key_of(plain): plain for plain in written(session, table, [])}
    there = _keys_here(session, table)  # the damaged ones too
    numbers = {name: {uid: number for number, uid in known.items()} for name, known in _uids(session, table).items()}
    new: dict[str, int | None] = {}
    caught_up: dict[str, int] = {}
    differing, left_out = [], []
    for plain in items:
        key = table.key_of(plain)
        if key in there:
            if key in here:
                ours, theirs = (_content(table, each) for each in (here[key], _relabelled(table, plain, labels)))
                news = _what_happened_later(table, ours, theirs)
                if news:
                    caught_up[key] = _caught_up(session, table, key, news)
                elif news is None:
                    differing.append(key)
            continue
        row = _row(session, table, _relabelled(table, plain, labels), numbers)
        if row is None:
            left_out.append(key)
            continue
        there.add(key)
        new[key] = _inserted(session, table, row)
    added = [plain for plain in items if table.key_of(plain) in new]
    told = table.settle(session, list(here.values()), added) if added else ()
    return Merged(table.kind, new, tuple(differing), caught_up, tuple(left_out), told)


def take_over_last_said(
    session: Session, table: CarriedTable, items: Sequence[Plain], history: Sequence[Mapping[str, Any]], merged: Merged
) -> Merged:
    """Let the rows that were here say what was said of them last, once all tables are merged: what else came may speak
    against it.

    history: the file's lines, which name their subjects by uid. merged: what came of the table so far, to be added to.
    """
    if not table.said_last:
        return merged
    here = {table.key_of(plain): plain for plain in written(session, table, [])}
    lines = _said_of(table, history)
    caught_up, differing, told = dict(merged.caught_up), list(merged.differing), list(merged.told)
    for plain in items:
        key = table.key_of(plain)
        if key not in here or key in merged.new:
            continue
        try:
            said, unclear = _said_last(session, table, key, here[key], plain, lines.get(key, []))
        except MatcherError as error:
            told.append(f"What was said last of the {table.kind} {plain.get('name') or key} stays out. {error}")
            continue
        if said:
            caught_up[key] = _caught_up(session, table, key, said)
        if unclear and key not in differing:
            differing.append(key)
    return replace(merged, caught_up=caught_up, differing=tuple(differing), told=tuple(told))


def uids_of(session: Session, table: CarriedTable) -> dict[int, str]:
    """Return the uids of a table's rows by their numbers, as lines of history name them."""
    if "uid" not in table.columns:
        return {}
    found = session.execute(sa.select(table.columns["id"], table.columns["uid"]))
    return {row.id: row.uid for row in found}


def _linked(column: sa.Column[Any]) -> sa.Table | None:
    """Return the table whose rows a column names by their numbers, or None."""
    for key in column.foreign_keys:
        if "uid" in key.column.table.columns and key.column.name == "id":
            return key.column.table
    return None


def _names(column: sa.Column[Any], row: type[Table]) -> bool:
    """Tell whether a column names a row of another table by that table's own key."""
    return any(key.column.table is row.__table__ for key in column.foreign_keys)


def _written_as(column: sa.Column[Any]) -> str:
    """Return a column's name in the file: "trial_uid" for ``trial_id``, "" for its own number."""
    if column.name == "id":
        return ""
    return column.name.removesuffix("_id") + "_uid" if _linked(column) is not None else column.name


def _uids(session: Session, table: CarriedTable) -> dict[str, dict[int, str]]:
    """Return, for each column that links, the uids of what it links to by their numbers."""
    found: dict[str, dict[int, str]] = {}
    for column in table.columns:
        other = _linked(column)
        if other is not None:
            rows = session.execute(sa.select(other.columns["id"], other.columns["uid"]))
            found[column.name] = {row.id: row.uid for row in rows}
    return found


def _plain_row(table: CarriedTable, row: Mapping[str, Any], uids: Mapping[str, Mapping[int, str]]) -> Plain:
    plain: Plain = {}
    for column in table.columns:
        value = row[column.name]
        if column.name in uids:
            value = None if value is None else uids[column.name][value]
        elif isinstance(value, datetime):
            value = in_utc(value).isoformat()
        if name := _written_as(column):
            plain[name] = value
    return plain


def _checked(column: sa.Column[Any], name: str, value: Any) -> Any:
    """Return one value as plain JSON, as its column may keep it."""
    if value is None:
        if not column.nullable:
            raise ValueError(f"{name} is missing")
        return None
    if _linked(column) is not None:
        return checked.line(value, name, required=True, longest=64)
    kind = column.type
    if isinstance(kind, Utc):
        return moment(value).isoformat()
    if isinstance(kind, sa.JSON):
        return checked.plain_json(value, name)
    if isinstance(kind, sa.Integer):
        if isinstance(value, bool) or not isinstance(value, int) or not -MAX_WHOLE <= value <= MAX_WHOLE:
            raise ValueError(f"{name} is no whole number")
        return value
    if isinstance(kind, sa.Float):
        return checked.number(value, name, -1e300, 1e300)
    return checked.storable(value, name, getattr(kind, "length", None) or checked.MAX_NOTES)


def _content(table: CarriedTable, plain: Plain) -> Plain:
    """Return what a row says, its place apart: one whose place was taken went behind the others."""
    return plain if table.place_within is None else {name: plain[name] for name in plain if name != "position"}


def _what_happened_later(table: CarriedTable, here: Plain, there: Plain) -> Plain | None:
    """Return what the file knows to have happened to a row and this studio does not; empty where they agree or this
    studio knows more, None where they say different things."""

    def as_begun(plain: Plain) -> Plain:
        return {name: value for name, value in plain.items() if name not in (*table.later, *table.said_last)}

    ours, theirs = ({name: plain[name] for name in table.later} for plain in (here, there))
    if as_begun(here) != as_begun(there):
        return None
    if theirs == ours or all(value is None for value in theirs.values()):
        return {}
    return theirs if all(value is None for value in ours.values()) else None


def _said_of(table: CarriedTable, lines: Iterable[Mapping[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    """Return the lines of history that say something of columns of ``said_last``, by what they are of."""
    words = {word for each in table.said_last.values() for word in each}
    found: dict[str, list[dict[str, Any]]] = {}
    for line in lines if words else ():
        if line["kind"] == table.kind and line["what"] in words:
            found.setdefault(line["subject"], []).append(dict(line))
    return found


def _said_last(
    session: Session, table: CarriedTable, key: str, here: Plain, there: Plain, lines: list[dict[str, Any]]
) -> tuple[Plain, bool]:
    """Return the columns in which the file said something of a row later than this studio, and whether there are any
    of which nobody can tell.

    What was said in either studio is then in this one's history. Raises a MatcherError where what is here speaks
    against it: then nothing is changed.
    """
    if not table.said_last:
        return {}, False
    number = session.scalars(sa.select(table.columns["id"]).where(table.columns["uid"] == key)).one()
    ours = (HistoryRow.kind == table.kind) & (HistoryRow.subject == str(number))
    kept = session.scalars(sa.select(HistoryRow).where(ours)).all()
    taken_over: Plain = {}
    unclear = False
    for name, words in table.said_last.items():
        if here[name] == there[name]:
            continue
        when_here = max((in_utc(row.at) for row in kept if row.what in words), default=None)
        when_there = max((in_utc(line["at"]) for line in lines if line["what"] in words), default=None)
        if when_there is not None and (when_here is None or when_there > when_here):
            taken_over[name] = there[name]
        unclear = unclear or when_here is when_there is None
    if taken_over:
        table.may_say(session, number, taken_over)
    known = {(in_utc(row.at), row.who, row.what, row.detail) for row in kept}
    news = [
        {**line, "subject": str(number)}
        for line in lines
        if (in_utc(line["at"]), line["who"], line["what"], line["detail"]) not in known
    ]
    if news:
        session.execute(sa.insert(HistoryRow), news)
    return taken_over, unclear


def _caught_up(session: Session, table: CarriedTable, key: str, news: Plain) -> int:
    """Write what happened to the row of this uid; return its number."""
    columns = table.columns
    values = {name: moment(value) if isinstance(columns[name].type, Utc) else value for name, value in news.items()}
    changed = sa.update(table.row).where(columns["uid"] == key).values(**values).returning(columns["id"])
    return session.scalars(changed).one()


def _relabelled(table: CarriedTable, plain: Plain, labels: Mapping[str | None, str | None]) -> Plain:
    stocks = [column.name for column in table.columns if _names(column, StockRow)]
    return {**plain, **{name: labels.get(plain[name], plain[name]) for name in stocks}}


def _row(
    session: Session, table: CarriedTable, plain: Plain, numbers: Mapping[str, Mapping[str, int]]
) -> dict[str, Any] | None:
    """Return the columns of a row as they are kept here; None when it must name something and that is not here."""
    row: dict[str, Any] = {}
    for column in table.columns:
        name = _written_as(column)
        if not name:
            continue
        value = plain[name]
        if _linked(column) is not None:
            value = numbers[column.name].get(value)
        elif isinstance(column.type, Utc) and value is not None:
            value = moment(value)
        elif _names(column, PhotoRow) and value is not None and session.get(PhotoRow, value) is None:
            raise StudioError(f"Keep the photograph first: {value[:12]}… is not in the studio.")
        if value is None and not column.nullable:
            return None
        row[column.name] = value
    named = not table.one_of or any(row[name] is not None for name in table.one_of)
    return row if named else None


def _keys_here(session: Session, table: CarriedTable) -> set[str]:
    if "uid" in table.columns:
        return set(session.scalars(sa.select(table.columns["uid"])))
    (column,) = [each for each in table.columns if each.primary_key]
    uids = _uids(session, table)[column.name]
    return {uids[number] for number in session.scalars(sa.select(column))}


def _inserted(session: Session, table: CarriedTable, row: dict[str, Any]) -> int | None:
    """Add one row; one whose place is taken goes behind the others. Return its number, where it has one."""
    if table.place_within is not None:
        within = table.columns[table.place_within] == row[table.place_within]
        places: Iterable[int] = session.scalars(sa.select(table.columns["position"]).where(within)).all()
        if row["position"] in places:
            row = {**row, "position": max(places) + 1}
    if "id" in table.columns:
        return session.scalars(sa.insert(table.row).returning(table.columns["id"]), [row]).one()
    session.execute(sa.insert(table.row), [row])
    return None
