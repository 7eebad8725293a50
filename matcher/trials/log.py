"""The log of trials: recorded whole or not at all, never deleted, every change with a line of history.

Between `database` below it and `matcher.studio` above it. Loading takes four queries however many trials there are.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.errors import StudioError
from matcher.hands import Work, signed
from matcher.recipe.names import same
from matcher.storage import checked
from matcher.storage.damaged import in_words, load_readable
from matcher.storage.database import Database
from matcher.storage.photos import KeptPhoto, note_photo_in
from matcher.storage.schema import (
    CoatRow,
    HistoryRow,
    PhotoRow,
    PlateColourRow,
    ReadingRow,
    StockRow,
    StudioRow,
    TargetRow,
    TrialPhotoRow,
    TrialRow,
)
from matcher.trials import rows
from matcher.trials.trial import Checked, StageReading, Trial

MAX_ID = 2**31 - 1
CHANGED = "changed"
"""What the history calls a change of what was typed, a plate's apart; its detail is JSON: "was" and "now", the columns
that differ."""


CHECKED, DOUBTED = "checked: it is right", "doubted again"
CORRECTED, READ_AGAIN = "corrected", "read again"
"""What the history calls it that a plate is right, that this was taken back, and that something else is logged of it.
A correction's detail is JSON: "was", "now", and "changed", the lines for a person."""


@dataclass(frozen=True)
class Change:
    """One line of history. kind: "trial", "target", "stock", … subject: its number or name."""

    at: datetime
    who: str
    what: str
    kind: str
    subject: str
    detail: str = ""


class TrialLog:
    """The trials of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def trials(self, include_set_aside: bool = False) -> list[Trial]:
        """Return the trials, oldest first; those set aside only when asked for."""
        which = None if include_set_aside else TrialRow.set_aside_reason.is_(None)
        return self.database.load("plate", load_trials, which)

    def some(self, numbers: Sequence[int]) -> list[Trial]:
        """Return trials by their numbers, set aside or not, in this order; those that can't be read are left out."""
        known = [number for number in numbers if row_number(number)]
        loaded = self.database.load("plate", load_trials, TrialRow.id.in_(known), some=True)
        found = {trial.id: trial for trial in loaded}
        return [found[number] for number in numbers if number in found]

    def count(self, include_set_aside: bool = False) -> int:
        """Return how many trials count, without reading them; those set aside only when asked for."""
        with self.database.reading() as session:
            every = session.scalar(sa.select(sa.func.count()).select_from(TrialRow)) or 0
            if include_set_aside:
                return every
            aside = sa.select(sa.func.count()).where(TrialRow.set_aside_reason.is_not(None))
            return every - (session.scalar(aside) or 0)

    def newest(self, count: int) -> list[Trial]:
        """Return the ``count`` trials that count and were logged last, the newest first."""
        latest = sa.select(TrialRow.id).where(TrialRow.set_aside_reason.is_(None)).order_by(TrialRow.id.desc())
        with self.database.reading() as session:
            numbers = list(session.scalars(latest.limit(count)))
        return self.some(numbers)

    def last_for(self, target_id: int) -> int | None:
        """Return the number of the trial that counts and was logged last for a target, None where there is none."""
        of_it = (TrialRow.target_id == target_id) & TrialRow.set_aside_reason.is_(None)
        with self.database.reading() as session:
            return session.scalar(sa.select(sa.func.max(TrialRow.id)).where(of_it))

    def for_target(self, target_id: int | None) -> list[Trial]:
        """Return the trials that count and were made for a target, or for none."""
        which = (TrialRow.target_id == target_id) & TrialRow.set_aside_reason.is_(None)
        return self.database.load("plate", load_trials, which, some=True)

    def of_uids(self, uids: Sequence[str]) -> list[Trial]:
        """Return the trials of these uids that are logged and can be read."""
        portions = [uids[start : start + 500] for start in range(0, len(uids), 500)]
        return [
            trial
            for some in portions
            for trial in self.database.load("plate", load_trials, TrialRow.uid.in_(some), some=True)
        ]

    def trial(self, trial_id: int) -> Trial:
        """Return one trial, set aside or not. Raises StudioError when there is none of that number."""
        with self.database.reading() as session:
            return one_trial(session, trial_id)

    def record(self, trial: Trial, who: str = "") -> Trial:
        """Keep a trial and return it as logged, with its number. Recording the same one twice keeps it once.

        Raises StudioError when a photograph, stock or target that it names is not in the studio, or when its uid
        is already logged with other content.
        """
        return self.record_all([trial], who)[0]

    def record_all(self, trials: Iterable[Trial], who: str = "") -> list[Trial]:
        """Keep several trials in one transaction: all of them, or none when one cannot be kept."""
        with self.database.writing(Work.NOTE) as session:
            return record_in(session, list(trials), who)

    def set_aside(self, trial_id: int, reason: str, who: str = "") -> Trial:
        """Take a trial out of the suggestions, with the reason. Nothing of it is deleted. Raises StudioError."""
        text = checked.line(reason, "reason for setting it aside", required=True)
        return self._mark(trial_id, text, None, who)

    def take_back(self, trial_id: int, who: str = "", seen: str | None = None) -> Trial:
        """Let a trial that was set aside count again. seen: the reason that was seen. Raises StudioError."""
        return self._mark(trial_id, None, seen, who)

    def check_right(self, trial_id: int, who: str = "", seen: Trial | None = None) -> Trial:
        """Note that somebody checked a plate and says that it is right: from then on it counts in full.

        It holds of what is logged now: a plate that is corrected or read again since is to be checked anew. seen: the
        plate as it was seen. Raises StudioError when it was changed meanwhile, or there is none.
        """
        with self.database.writing() as session:
            trial = one_trial(session, trial_id)
            if seen is not None and not same_content(trial, seen):
                raise StudioError(f"Look at plate {trial_id} again first: what is logged of it was changed meanwhile.")
            if trial_id in checked_in(session, [trial_id]):
                return trial
            return _changed(session, trial_id, CHECKED, "", who)

    def doubt_again(self, trial_id: int, who: str = "") -> Trial:
        """Take back that a plate is right; one of which nobody says so stays as it is. Raises StudioError."""
        with self.database.writing() as session:
            trial = one_trial(session, trial_id)
            if trial_id not in checked_in(session, [trial_id]):
                return trial
            return _changed(session, trial_id, DOUBTED, "", who)

    def checked(self, numbers: Sequence[int]) -> dict[int, Checked]:
        """Return by whom and when those of some plates were checked that are right, by their numbers."""
        with self.database.reading() as session:
            return checked_in(session, numbers)

    def add_stage(self, trial_id: int, step: StageReading, who: str = "") -> Trial:
        """Add a reading taken later ("waxed", "after a year outdoors") to a trial. Raises StudioError."""
        with self.database.writing(Work.NOTE) as session:
            at = 1 + len(one_trial(session, trial_id).stages)
            values = rows.reading_values(step.reading, step.stage, at, trial_id=trial_id)
            session.execute(sa.insert(ReadingRow), [values])
            return _changed(session, trial_id, "reading added", step.stage, who)

    def add_photo(self, trial_id: int, sha256: str, who: str = "") -> Trial:
        """Add a kept photograph to a trial; one that it has already changes nothing. Raises StudioError."""
        with self.database.writing(Work.NOTE) as session:
            trial = one_trial(session, trial_id)
            if sha256 in trial.photos:
                return trial
            _check_photos(session, {sha256})
            link = {"trial_id": trial_id, "position": len(trial.photos), "sha256": sha256}
            session.execute(sa.insert(TrialPhotoRow), [link])
            return _changed(session, trial_id, "photograph added", sha256, who)

    def note_photos(self, kept: Iterable[tuple[KeptPhoto, str]]) -> None:
        """Note photographs that the store has kept, with their files' names, so that trials may name them."""
        with self.database.writing(Work.NOTE) as session:
            for photo, name in kept:
                note_photo_in(session, photo, name)

    def photo_kept_at(self, sha256: str) -> datetime | None:
        """Return when a photograph was first kept here, None for one that is not."""
        with self.database.reading() as session:
            return session.scalar(sa.select(PhotoRow.kept_at).where(PhotoRow.sha256 == sha256))

    def history(self, kind: str | None = None, subject: object = None) -> list[Change]:
        """Return the changes, oldest first: of everything, of one kind, or of one thing ("trial", 12)."""
        which: sa.ColumnElement[bool] = sa.true()
        if kind is not None:
            which &= HistoryRow.kind == kind
        if subject is not None:
            which &= HistoryRow.subject == str(subject)
        lines = self.database.load("line of history", load_history, which)
        return [
            Change(row.at, row.who, row.what, row.kind, row.subject, row.detail)
            for row in sorted(lines, key=lambda row: (row.at, row.id))
        ]

    def revision(self) -> int:
        """Return a number that grows with every change to the trials, by this process or another."""
        with self.database.reading() as session:
            return session.scalars(sa.select(StudioRow.trials_revision)).one()

    def _mark(self, trial_id: int, reason: str | None, seen: str | None, who: str) -> Trial:
        with self.database.writing() as session:
            row = session.get(TrialRow, row_number(trial_id))
            if row is None:
                raise _no_trial(trial_id)
            if not checked.is_marked_anew(row.set_aside_reason, reason, seen, f"plate {trial_id}"):
                return one_trial(session, trial_id)
            session.execute(sa.update(TrialRow).where(TrialRow.id == trial_id).values(set_aside_reason=reason))
            what = "taken back" if reason is None else "set aside"
            return _changed(session, trial_id, what, reason or "", who)


def checked_in(session: Session, numbers: Sequence[int]) -> dict[int, Checked]:
    """Return those of some plates that are right, as the history tells: checked, and neither doubted nor changed since.

    Asked for by number, in portions, since a long log has a far longer history.
    """
    found: dict[int, Checked] = {}
    told = (CHECKED, DOUBTED, CORRECTED, READ_AGAIN)
    columns = sa.select(HistoryRow.subject, HistoryRow.what, HistoryRow.at, HistoryRow.who)
    for start in range(0, len(numbers), 500):
        subjects = [str(number) for number in numbers[start : start + 500]]
        which = (HistoryRow.kind == "trial") & HistoryRow.subject.in_(subjects) & HistoryRow.what.in_(told)
        for subject, what, at, who in session.execute(columns.where(which).order_by(HistoryRow.at, HistoryRow.id)):
            if what == CHECKED:
                found[int(subject)] = Checked(at, who)
            else:
                found.pop(int(subject), None)
    return found


def note(session: Session, what: str, kind: str, subject: object, detail: str = "", who: str = "") -> None:
    """Write one line of history, in the transaction of the change itself."""
    session.execute(sa.insert(HistoryRow), [_history_line(what, kind, subject, detail, who)])


def note_change(
    session: Session, kind: str, subject: object, was: Mapping[str, Any], now: Mapping[str, Any], who: str = ""
) -> None:
    """Write the line of history of a change of what was typed: the columns that differ, as they were and are."""
    differ = [column for column in was if was[column] != now[column]]
    detail = {"was": {name: was[name] for name in differ}, "now": {name: now[name] for name in differ}}
    note(session, CHANGED, kind, subject, json.dumps(detail, ensure_ascii=False), who)


def load_history(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[HistoryRow]:
    """Return the lines of history for which ``which`` holds, the oldest first."""
    query = sa.select(HistoryRow).order_by(HistoryRow.at, HistoryRow.id)
    return list(session.scalars(query if which is None else query.where(which)))


def load_trials(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[Trial]:
    """Return the trials for which ``which`` holds, in the order of their numbers."""
    chosen = sa.select(TrialRow.id) if which is None else sa.select(TrialRow.id).where(which)
    trials = _mappings(session, sa.select(TrialRow.__table__).where(TrialRow.id.in_(chosen)).order_by(TrialRow.id))
    coats, readings, photos = (
        _by_trial(_mappings(session, query.order_by(sa.text("trial_id"), sa.text("position"))))
        for query in (
            sa.select(CoatRow.__table__).where(CoatRow.trial_id.in_(chosen)),
            sa.select(ReadingRow.trial_id, ReadingRow.position, ReadingRow.stage, ReadingRow.whole).where(
                ReadingRow.trial_id.in_(chosen)
            ),
            sa.select(TrialPhotoRow.__table__).where(TrialPhotoRow.trial_id.in_(chosen)),
        )
    )
    return [
        rows.trial_of(row, coats[row["id"]], readings[row["id"]], [photo["sha256"] for photo in photos[row["id"]]])
        for row in trials
    ]


def one_trial(session: Session, trial_id: int) -> Trial:
    found = _unharmed(session, TrialRow.id == row_number(trial_id))
    if not found:
        raise _no_trial(trial_id)
    return found[0]


def _unharmed(session: Session, which: sa.ColumnElement[bool]) -> list[Trial]:
    """Return the trials for which ``which`` holds. Raises StudioError when one of them can't be read."""
    found, damaged = load_readable(session, "plate", load_trials, which)
    if damaged:
        raise StudioError(in_words(damaged))
    return found


def record_in(session: Session, trials: Sequence[Trial], who: str = "", what: str = "recorded") -> list[Trial]:
    """Keep ``trials`` within an open transaction; those logged before (same uid, same content) are kept once."""
    values = [rows.trial_values(trial) for trial in trials]
    check_what_they_name(session, trials)
    uids = [value["uid"] for value in values]
    logged = by_uid(session, uids)
    fresh: dict[str, tuple[Trial, dict[str, Any]]] = {}
    for trial, value in zip(trials, values, strict=True):
        earlier = logged.get(value["uid"]) or (fresh[value["uid"]][0] if value["uid"] in fresh else None)
        if earlier is None:
            fresh[value["uid"]] = (trial, value)
        elif not same_content(trial, earlier):
            raise StudioError(
                f"Give the changed trial a uid of its own, or correct the logged one: {value['uid']!r} is logged with "
                "other content, and that stays as it is."
            )
    if fresh:
        _insert(session, [trial for trial, _ in fresh.values()], [value for _, value in fresh.values()], who, what)
        logged = by_uid(session, uids)
    return [logged[uid] for uid in uids]


def by_uid(session: Session, uids: Sequence[str]) -> dict[str, Trial]:
    """Return the logged trials of these uids, asked for in portions that every database takes as parameters."""
    portions = [uids[start : start + 500] for start in range(0, len(uids), 500)]
    found = [trial for portion in portions for trial in _unharmed(session, TrialRow.uid.in_(portion))]
    return {str(trial.uid): trial for trial in found}


def logged_uids(session: Session, uids: Sequence[str]) -> set[str]:
    """Return those of ``uids`` that are logged."""
    portions = [uids[start : start + 500] for start in range(0, len(uids), 500)]
    return {uid for some in portions for uid in session.scalars(sa.select(TrialRow.uid).where(TrialRow.uid.in_(some)))}


def same_content(one: Trial, other: Trial) -> bool:
    """Tell whether two trials say the same of a plate, whatever their numbers in the log and whether set aside."""
    loose: dict[str, Any] = {"id": None, "uid": None, "target_id": None, "set_aside": None}
    return replace(one, **loose).as_dict() == replace(other, **loose).as_dict()


def touch(session: Session) -> None:
    """Count up the revision, so that whoever holds suggestions made from the trials learns of the change."""
    session.execute(sa.update(StudioRow).values(trials_revision=StudioRow.trials_revision + 1))


def _insert(session: Session, trials: Sequence[Trial], values: list[dict[str, Any]], who: str, what: str) -> None:
    returning = sa.insert(TrialRow).returning(TrialRow.id, sort_by_parameter_order=True)
    ids = list(session.scalars(returning, values))
    pairs = list(zip(ids, trials, strict=True))
    _insert_all(session, CoatRow, [row for at, trial in pairs for row in rows.coat_values(at, trial.recipe)])
    _insert_all(session, ReadingRow, [row for at, trial in pairs for row in rows.trial_readings(at, trial)])
    _insert_all(session, PlateColourRow, [rows.colour_values(at, trial.reading) for at, trial in pairs])
    links = [
        {"trial_id": at, "position": position, "sha256": sha256}
        for at, trial in pairs
        for position, sha256 in enumerate(trial.photos)
    ]
    _insert_all(session, TrialPhotoRow, links)
    lines = [_history_line(what, "trial", at, "", who or trial.made_by) for at, trial in pairs]
    _insert_all(session, HistoryRow, lines)
    touch(session)


def _insert_all(session: Session, table: type[Any], values: list[dict[str, Any]]) -> None:
    if values:
        session.execute(sa.insert(table), values)


def check_what_they_name(session: Session, trials: Sequence[Trial]) -> None:
    """Raise StudioError when a photograph, target or stock that a trial names is not in the studio."""
    _check_photos(session, {sha256 for trial in trials for sha256 in trial.photos})
    targets = {trial.target_id for trial in trials} - {None}
    if targets:
        known = set(session.scalars(sa.select(TargetRow.id)))
        for target_id in targets - known:
            raise StudioError(f"Save the target first, or leave it out: there is no target {target_id}.")
    layers = [layer for trial in trials for layer in (trial.recipe.undercoat, *trial.recipe.coats) if layer]
    if any(layer.stock is not None for layer in layers):
        stocks = {row.label: row.chemical for row in session.scalars(sa.select(StockRow))}
        for layer in layers:
            if layer.stock is not None and layer.stock not in stocks:
                raise StudioError(f"Save the stock first, or leave it out: there is no stock labelled {layer.stock!r}.")
            if layer.stock is not None and not same(stocks[layer.stock], layer.chemical):
                raise StudioError(
                    f"Check the stock {layer.stock!r}: it holds {stocks[layer.stock]}, and the recipe says "
                    f"{layer.chemical}."
                )


def _check_photos(session: Session, wanted: set[str]) -> None:
    if not wanted:
        return
    known = set(session.scalars(sa.select(PhotoRow.sha256)))
    for sha256 in sorted(map(str, wanted - known)):
        raise StudioError(f"Keep the photograph first: {sha256[:12]}… is not in the studio.")


def _changed(session: Session, trial_id: int, what: str, detail: str, who: str) -> Trial:
    note(session, what, "trial", trial_id, detail, who)
    touch(session)
    return one_trial(session, trial_id)


def _history_line(what: str, kind: str, subject: object, detail: str, who: str) -> dict[str, Any]:
    return {
        "at": datetime.now(UTC),
        "who": checked.line(signed(who), "name of who does it"),
        "what": what,
        "kind": kind,
        "subject": str(subject),
        "detail": detail,
    }


def _mappings(session: Session, query: sa.Select[Any]) -> Sequence[sa.RowMapping]:
    return session.execute(query).mappings().all()


def _by_trial(found: Iterable[sa.RowMapping]) -> defaultdict[int, list[sa.RowMapping]]:
    grouped: defaultdict[int, list[sa.RowMapping]] = defaultdict(list)
    for row in found:
        grouped[row["trial_id"]].append(row)
    return grouped


def row_number(number: object) -> int:
    """Return a trial's number as a query may take it; 0, which no trial has, for what is none."""
    return number if isinstance(number, int) and 0 < number <= MAX_ID else 0


def _no_trial(trial_id: object) -> StudioError:
    return StudioError(f"There is no plate {trial_id} in this studio: list the plates to see their numbers.")
