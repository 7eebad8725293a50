"""The studio's camera-and-light profiles: kept by name as plain JSON, retired when they no longer hold, never deleted.

``calibration.profile_from_chart`` makes profiles, ``calibration.profile`` chooses among them.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.calibration.profile import CameraProfile
from matcher.dates import ISO, shown
from matcher.errors import CardError, Misfit, StudioError
from matcher.files import read_whole, whole_file
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import CameraProfileRow
from matcher.trials.log import note

MAX_FILE_BYTES = 4_000_000
REPLACED = "replaced by a newer one of its name"


class ProfileShelf:
    """The camera profiles of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def profiles(self, include_retired: bool = False) -> list[CameraProfile]:
        """Return the profiles by name; those retired only when asked for. Raises StudioError for a damaged one."""
        bodies = self.database.load("camera profile", load_bodies)
        return [_profile(name, body) for name, body in bodies if include_retired or body.get("retired") is None]

    def profile(self, name: str) -> CameraProfile:
        """Return one profile, retired or not. Raises StudioError when there is none of that name."""
        with self.database.reading() as session:
            return _one(session, name)

    def save(self, profile: CameraProfile, who: str = "") -> CameraProfile:
        """Keep a profile and return it; an older one of its name is retired under its date. Raises StudioError."""
        with self.database.writing() as session:
            return _save_in(session, profile, who)

    def take_in(self, profile: CameraProfile, who: str = "") -> CameraProfile:
        """Keep a profile from elsewhere. Raises StudioError when it is here already, under whatever name."""
        with self.database.writing() as session:
            own = _content(_plain(profile))
            for name, body in load_profiles(session).items():
                if _content(body) == own:
                    retired = ", retired: take it back instead" if body.get("retired") is not None else ""
                    raise StudioError(f"The profile {profile.name!r} is here already, as {name!r}{retired}.")
            return _save_in(session, profile, who)

    def rename(self, old: str, new: str, who: str = "") -> CameraProfile:
        """Give a profile another name. Raises StudioError when there is none, or the name is taken."""
        with self.database.writing() as session:
            profile = _one(session, old).renamed(_name(new))
            if profile.name == _name(old):
                return profile
            _refuse_taken(session, profile.name)
            _drop(session, old)
            save_profile_in(session, profile.name, profile.as_dict(), who, f"renamed from {_name(old)}")
            return profile

    def retire(self, name: str, reason: str, who: str = "") -> CameraProfile:
        """Let a profile be chosen no more: the lamp was changed, say. Raises StudioError."""
        return self._mark(name, checked.line(reason, "reason for retiring it", required=True), None, who)

    def take_back(self, name: str, who: str = "", seen: str | None = None) -> CameraProfile:
        """Let a retired profile be chosen again. seen: the reason that was seen. Raises StudioError."""
        return self._mark(name, None, seen, who)

    def _mark(self, name: str, reason: str | None, seen: str | None, who: str) -> CameraProfile:
        with self.database.writing() as session:
            row = _row(session, name)
            retired = row.body.get("retired")  # of the plain JSON: one that cannot be read can be retired too
            if checked.is_marked_anew(retired, reason, seen, f"the profile {row.name}", "retired"):
                what = "taken back" if reason is None else "retired"
                save_profile_in(session, row.name, {**row.body, "retired": reason}, who, what, reason or "")
        return self.profile(name)


def write_profile(profile: CameraProfile, path: Path, overwrite: bool = False) -> None:
    """Write a profile to a file of plain JSON; what is there is kept unless ``overwrite``. Raises StudioError."""
    with whole_file(path, overwrite) as temporary:
        temporary.write_text(profile.to_json(), encoding="utf-8")


def read_profile(path: Path) -> CameraProfile:
    """Read a profile that was exported. Raises StudioError, or CardError for what is no profile."""
    try:
        return CameraProfile.from_json(read_whole(path, MAX_FILE_BYTES))
    except Misfit as misfit:
        raise StudioError(f"The profile {path} {misfit}.") from misfit


def load_profiles(session: Session) -> dict[str, dict[str, Any]]:
    """Return the profiles' plain JSON by name."""
    return dict(load_bodies(session))


def load_bodies(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[tuple[str, dict[str, Any]]]:
    query = sa.select(CameraProfileRow).order_by(CameraProfileRow.name)
    found = session.scalars(query if which is None else query.where(which))
    return [(row.name, dict(row.body)) for row in found]


def checked_body(name: str, body: Any) -> dict[str, Any]:
    """Return a profile's plain JSON from elsewhere, under its name here. Raises StudioError."""
    try:
        return CameraProfile.from_dict(checked.plain_json(body, "camera profile")).renamed(_name(name)).as_dict()
    except CardError as error:
        raise StudioError(f"The camera profile {name[:40]!r} in this file: {error}") from error


def _save_in(session: Session, profile: CameraProfile, who: str) -> CameraProfile:
    older = session.get(CameraProfileRow, _name(profile.name))
    if older is not None and older.body != _plain(profile):
        _make_way(session, _profile(older.name, older.body), who)
    save_profile_in(session, profile.name, profile.as_dict(), who)
    return _one(session, profile.name)


def save_profile_in(
    session: Session, name: str, body: dict[str, Any], who: str = "", what: str = "saved", detail: str = ""
) -> None:
    """Keep a profile within an open transaction; the very same one again changes nothing."""
    name, plain = _name(name), checked.plain_json(body, "camera profile")
    old = session.get(CameraProfileRow, name)
    if old is not None and old.body == plain:
        return
    session.merge(CameraProfileRow(name=name, body=plain, saved_at=datetime.now(UTC)))
    session.flush()
    note(session, what, "camera profile", name, detail, who)


def _make_way(session: Session, older: CameraProfile, who: str) -> None:
    """Retire the profile that has the name of a new one, under its own name and date: readings were made with it."""
    stem = f"{older.name}, {shown(older.made_at, ISO)}"
    names = [stem, *(f"{stem} ({number})" for number in range(2, 1000))]
    free = next((name for name in names if session.get(CameraProfileRow, _name(name)) is None), None)
    if free is None:
        raise StudioError(f"Choose another name: there are too many profiles named {stem!r}.")
    kept = replace(older.renamed(free), retired=older.retired or REPLACED)
    save_profile_in(session, kept.name, kept.as_dict(), who, "retired", kept.retired or "")


def _refuse_taken(session: Session, name: str) -> None:
    if session.get(CameraProfileRow, name) is not None:
        raise StudioError(f"Choose another name: there is a profile named {name!r} already.")


def _drop(session: Session, name: str) -> None:
    session.execute(sa.delete(CameraProfileRow).where(CameraProfileRow.name == _name(name)))


def _one(session: Session, name: str) -> CameraProfile:
    row = _row(session, name)
    return _profile(row.name, row.body)


def _row(session: Session, name: str) -> CameraProfileRow:
    row = session.get(CameraProfileRow, _name(name))
    if row is None:
        raise StudioError(f"There is no camera profile named {name!r} in this studio: list them to see their names.")
    return row


def _profile(name: str, body: dict[str, Any]) -> CameraProfile:
    try:
        return CameraProfile.from_dict(body)
    except CardError as error:
        raise StudioError(f"Retire the camera profile {name!r}, which cannot be used. {error}") from error


def _content(body: dict[str, Any]) -> dict[str, Any]:
    """Return what makes a profile the one that it is: all but its name and whether it is retired."""
    return {key: value for key, value in body.items() if key not in ("name", "retired")}


def _plain(profile: CameraProfile) -> dict[str, Any]:
    return checked.plain_json(profile.as_dict(), "camera profile")


def _name(name: str) -> str:
    return checked.line(name, "profile's name", required=True)
