"""The tables of a studio's log, as SQLAlchemy declarative classes; units are in the column names.

`database` creates and opens them, `log` and its neighbours fill and read them. A change here needs a new file in
`migrations/versions/`, and HEAD names the newest.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy import (
    JSON,
    CheckConstraint,
    DateTime,
    Double,
    ForeignKey,
    Index,
    MetaData,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from matcher.errors import StudioError

HEAD = "r0012"

_NAMES = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


_ASIDE = sa.text("set_aside_reason IS NOT NULL")


class Utc(TypeDecorator[datetime]):
    """A moment, kept in UTC: SQLite has no time zones, so the naive value there is UTC."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Table(DeclarativeBase):
    """What every table shares: the constraint names, so that a migration can name what it changes."""

    metadata = MetaData(naming_convention=_NAMES)
    type_annotation_map = {float: Double, datetime: Utc, dict[str, Any]: JSON, str: Text}  # noqa: RUF012


class StudioRow(Table):
    """The one row about the studio itself. ``trials_revision`` grows with every change to the trials.

    moved_to: where it was moved; nothing is written here since. None where it still is.
    """

    __tablename__ = "studio"
    __table_args__ = (CheckConstraint("id = 1", name="one_row"),)
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    uid: Mapped[str] = mapped_column(String(64))
    title: Mapped[str]
    is_demo: Mapped[bool]
    made_at: Mapped[datetime]
    trials_revision: Mapped[int]
    moved_to: Mapped[str | None]


class PhotoRow(Table):
    """A kept photograph. chunk_count: into how many pieces its bytes are cut in this database, 0 where they lie in a
    folder."""

    __tablename__ = "photos"
    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    suffix: Mapped[str] = mapped_column(String(8))
    name: Mapped[str]
    size_bytes: Mapped[int]
    kept_at: Mapped[datetime]
    chunk_count: Mapped[int] = mapped_column(server_default="0", default=0)


class PhotoChunkRow(Table):
    """A piece of a photograph's bytes, where a server's database keeps them for all benches; positions from 0."""

    __tablename__ = "photo_chunks"
    sha256: Mapped[str] = mapped_column(ForeignKey("photos.sha256"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    data: Mapped[bytes]


@sa.event.listens_for(PhotoChunkRow.__table__, "after_create")
def _leave_pieces_as_they_are(_table: object, connection: sa.Connection, **_: object) -> None:
    """Tell a server not to try to pack every piece: photographs hardly pack."""
    if connection.dialect.name == "postgresql":
        connection.execute(sa.text("ALTER TABLE photo_chunks ALTER COLUMN data SET STORAGE EXTERNAL"))


class StockRow(Table):
    """A stock solution. Its label is how a coat names it, so a label is used once and never changed."""

    __tablename__ = "stocks"
    __table_args__ = (CheckConstraint("grams_per_litre > 0", name="strength"),)
    label: Mapped[str] = mapped_column(String(200), primary_key=True)
    chemical: Mapped[str]
    grams_per_litre: Mapped[float]
    lot: Mapped[str]
    made_at: Mapped[datetime]
    notes: Mapped[str]
    formula: Mapped[str] = mapped_column(server_default="")
    made_by: Mapped[str] = mapped_column(server_default="")
    kept_where: Mapped[str] = mapped_column(server_default="")
    volume_ml: Mapped[float | None]
    opened_at: Mapped[datetime | None]
    used_up_at: Mapped[datetime | None]


class SolutionUseRow(Table):
    """How much of a solution went on a surface: ``millilitres`` at ``strength_of_stock``, in so many passes."""

    __tablename__ = "solution_uses"
    __table_args__ = (
        CheckConstraint("millilitres > 0", name="millilitres"),
        CheckConstraint("strength_of_stock > 0 AND strength_of_stock <= 1", name="strength"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    at: Mapped[datetime]
    who: Mapped[str]
    stock: Mapped[str] = mapped_column(ForeignKey("stocks.label"), index=True)
    strength_of_stock: Mapped[float]
    millilitres: Mapped[float]
    area_cm2: Mapped[float | None]
    passes: Mapped[int | None]
    application: Mapped[str]
    trial_id: Mapped[int | None] = mapped_column(ForeignKey("trials.id"))
    notes: Mapped[str]


class TableColumnsRow(Table):
    """What the columns of a studio's own table mean, as a person said it once; found again by the heading."""

    __tablename__ = "table_columns"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    body: Mapped[dict[str, Any]]


class TargetRow(Table):
    __tablename__ = "targets"
    __table_args__ = (CheckConstraint("tolerance_delta_e00 > 0", name="tolerance"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    name: Mapped[str]
    tolerance_delta_e00: Mapped[float]
    photo_sha256: Mapped[str | None] = mapped_column(ForeignKey("photos.sha256"))
    notes: Mapped[str]
    made_at: Mapped[datetime]
    set_aside_reason: Mapped[str | None]


class TrialRow(Table):
    """A trial, with the parts of its recipe that occur once; the coats are rows of their own."""

    __tablename__ = "trials"
    __table_args__ = (
        CheckConstraint("undercoat_strength_of_stock > 0 AND undercoat_strength_of_stock <= 1", name="undercoat"),
        CheckConstraint("undercoat_burnish >= 0 AND undercoat_burnish <= 1", name="burnish"),
        Index("ix_trials_made_at", "made_at", "id"),
        Index("ix_trials_alloy", "alloy"),
        Index("ix_trials_set_aside", "id", postgresql_where=_ASIDE, sqlite_where=_ASIDE),
        Index("ix_trials_made_by", "made_by"),
        Index("ix_trials_seal_kind", "seal_kind"),
        Index("ix_trials_undercoat_chemical", "undercoat_chemical"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    made_at: Mapped[datetime]
    made_by: Mapped[str]
    piece: Mapped[str]
    ambient_temp_c: Mapped[float | None]
    ambient_humidity_percent: Mapped[float | None]
    alloy: Mapped[str]
    surface: Mapped[str]
    undercoat_chemical: Mapped[str | None]
    undercoat_strength_of_stock: Mapped[float | None]
    undercoat_burnish: Mapped[float | None]
    undercoat_stock: Mapped[str | None] = mapped_column(ForeignKey("stocks.label"))
    seal_kind: Mapped[str | None]
    seal_coats: Mapped[int | None]
    seal_first_coat_hot: Mapped[bool | None]
    notes: Mapped[str]
    target_id: Mapped[int | None] = mapped_column(ForeignKey("targets.id"), index=True)
    set_aside_reason: Mapped[str | None]
    logged_at: Mapped[datetime]


class CoatRow(Table):
    __tablename__ = "coats"
    __table_args__ = (
        CheckConstraint("strength_of_stock > 0 AND strength_of_stock <= 1", name="strength"),
        CheckConstraint("passes >= 1", name="passes"),
        Index("ix_coats_chemical", "chemical"),
    )
    trial_id: Mapped[int] = mapped_column(ForeignKey("trials.id"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    chemical: Mapped[str]
    strength_of_stock: Mapped[float | None]
    passes: Mapped[int | None]
    surface_temp_c: Mapped[float | None]
    application: Mapped[str]
    stock: Mapped[str | None] = mapped_column(ForeignKey("stocks.label"))


class ReadingRow(Table):
    """One reading of a trial (at a stage) or of a target. CIELAB is under D50, 2 degrees; ``whole`` is all of it."""

    __tablename__ = "readings"
    __table_args__ = (
        CheckConstraint("(trial_id IS NULL) <> (target_id IS NULL)", name="of_one_thing"),
        UniqueConstraint("trial_id", "position"),
        UniqueConstraint("target_id"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    trial_id: Mapped[int | None] = mapped_column(ForeignKey("trials.id"))
    target_id: Mapped[int | None] = mapped_column(ForeignKey("targets.id"))
    position: Mapped[int]
    stage: Mapped[str]
    lab_l: Mapped[float]
    lab_a: Mapped[float]
    lab_b: Mapped[float]
    variance_l: Mapped[float]
    variance_a: Mapped[float]
    variance_b: Mapped[float]
    covariance_la: Mapped[float]
    covariance_lb: Mapped[float]
    covariance_ab: Mapped[float]
    source: Mapped[str]
    photo_sha256: Mapped[str | None] = mapped_column(String(64))
    whole: Mapped[dict[str, Any]]


class PlateColourRow(Table):
    """A plate's colour, that of its finished reading, as it is searched by: narrow, so that a million are soon read.

    lab: CIELAB under D50. near: its ``colour.difference.near_uniform`` coordinates, by which PostgreSQL finds what is
    near (`ranking.in_log`). shade: its ``colour.words_for_colours.shade_place``, by which a long log is laid out. A
    change of either function needs a migration that writes them anew.
    """

    __tablename__ = "plate_colours"
    __table_args__ = (Index("ix_plate_colours_shade", "shade", "lab_l", "trial_id"),)
    trial_id: Mapped[int] = mapped_column(ForeignKey("trials.id"), primary_key=True, autoincrement=False)
    lab_l: Mapped[float]
    lab_a: Mapped[float]
    lab_b: Mapped[float]
    near_l: Mapped[float]
    near_a: Mapped[float]
    near_b: Mapped[float]
    shade: Mapped[int] = mapped_column(server_default="0")


class EarlierReadingRow(Table):
    """A reading as it stood before its photograph was read again: of a target, or of a trial at a stage."""

    __tablename__ = "earlier_readings"
    __table_args__ = (CheckConstraint("(trial_id IS NULL) <> (target_id IS NULL)", name="of_one_thing"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    trial_id: Mapped[int | None] = mapped_column(ForeignKey("trials.id"), index=True)
    target_id: Mapped[int | None] = mapped_column(ForeignKey("targets.id"), index=True)
    stage: Mapped[str]
    replaced_at: Mapped[datetime]
    who: Mapped[str]
    why: Mapped[str]
    whole: Mapped[dict[str, Any]]


class CommissionRow(Table):
    """A client's commission: one piece in so many casts. What stands of it follows from what has happened."""

    __tablename__ = "commissions"
    __table_args__ = (
        CheckConstraint("casts >= 1", name="casts"),
        CheckConstraint("tolerance_delta_e00 > 0", name="tolerance"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    title: Mapped[str]
    client: Mapped[str]
    alloy: Mapped[str]
    size: Mapped[str]
    area_cm2: Mapped[float | None]
    casts: Mapped[int]
    due_on: Mapped[str | None] = mapped_column(String(10))
    tolerance_delta_e00: Mapped[float]
    notes: Mapped[str]
    made_at: Mapped[datetime]
    made_by: Mapped[str]
    set_aside_reason: Mapped[str | None]


class AreaRow(Table):
    """An area of a commission's piece (head, drapery, base) with its own target, None until there is one.

    ``repairs_uid``: of the area of an earlier commission that is repaired, which may lie in another studio.
    """

    __tablename__ = "areas"
    __table_args__ = (UniqueConstraint("commission_id", "position"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    commission_id: Mapped[int] = mapped_column(ForeignKey("commissions.id"))
    position: Mapped[int]
    name: Mapped[str]
    area_cm2: Mapped[float | None]
    target_id: Mapped[int | None] = mapped_column(ForeignKey("targets.id"), index=True)
    repairs_uid: Mapped[str | None] = mapped_column(String(64))
    set_aside_reason: Mapped[str | None]


class SignOffRow(Table):
    """What a client or sculptor signed: this plate for this area; ``body`` holds all of it as it stood then."""

    __tablename__ = "sign_offs"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    at: Mapped[datetime]
    who: Mapped[str]
    area_id: Mapped[int] = mapped_column(ForeignKey("areas.id"), index=True)
    target_id: Mapped[int] = mapped_column(ForeignKey("targets.id"), index=True)
    trial_id: Mapped[int] = mapped_column(ForeignKey("trials.id"), index=True)
    signed_by: Mapped[str]
    light: Mapped[str]
    body: Mapped[dict[str, Any]]
    withdrawn_at: Mapped[datetime | None]
    withdrawn_reason: Mapped[str | None]


class CastRow(Table):
    """A trial that is no sample plate but an area of a cast of the edition; casts are numbered from 1."""

    __tablename__ = "casts"
    __table_args__ = (CheckConstraint("number >= 1", name="number"),)
    trial_id: Mapped[int] = mapped_column(ForeignKey("trials.id"), primary_key=True)
    area_id: Mapped[int] = mapped_column(ForeignKey("areas.id"), index=True)
    number: Mapped[int]


class DeliveryRow(Table):
    """A cast that was delivered: on a day, as 2026-03-31, to somebody or to "". taken_back_at: noted in error."""

    __tablename__ = "deliveries"
    __table_args__ = (CheckConstraint("number >= 1", name="number"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    commission_id: Mapped[int] = mapped_column(ForeignKey("commissions.id"), index=True)
    number: Mapped[int]
    delivered_on: Mapped[str] = mapped_column(String(10))
    delivered_to: Mapped[str]
    at: Mapped[datetime]
    who: Mapped[str]
    taken_back_at: Mapped[datetime | None]
    taken_back_by: Mapped[str | None]


class JournalRow(Table):
    """A line that a person wrote about a commission: a note, a decision, what to hand over. kind says which."""

    __tablename__ = "journal"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    at: Mapped[datetime]
    who: Mapped[str]
    commission_id: Mapped[int] = mapped_column(ForeignKey("commissions.id"), index=True)
    area_id: Mapped[int | None] = mapped_column(ForeignKey("areas.id"))
    kind: Mapped[str] = mapped_column(String(20))
    text: Mapped[str]
    photo_sha256: Mapped[str | None] = mapped_column(ForeignKey("photos.sha256"))


class TagChangeRow(Table):
    """A line of what was said of tags: from ``at`` on a tag is "given" to a plate, or "taken" from it.

    Lines are only ever added; who carries which tag when follows from all of them in the order of their moments.
    """

    __tablename__ = "tag_changes"
    __table_args__ = (
        CheckConstraint("what IN ('given', 'taken')", name="what"),
        CheckConstraint("at <= noted_at", name="not_ahead"),
        Index("ix_tag_changes_tag", "tag", "at"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    what: Mapped[str] = mapped_column(String(10))
    tag: Mapped[str] = mapped_column(String(40))
    trial_id: Mapped[int] = mapped_column(ForeignKey("trials.id"), index=True)
    at: Mapped[datetime]
    noted_at: Mapped[datetime]
    who: Mapped[str]
    why: Mapped[str]


class FinishOutlineRow(Table):
    """Where on a plate its finish is read, in the coordinates of the tag that it carried; ``body``: "points"."""

    __tablename__ = "finish_outlines"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    trial_id: Mapped[int] = mapped_column(ForeignKey("trials.id"), index=True)
    tag: Mapped[str] = mapped_column(String(40))
    noted_at: Mapped[datetime]
    who: Mapped[str]
    body: Mapped[dict[str, Any]]


class SightingRow(Table):
    """A tag seen in one photograph. trial_id: of the plate that carried it then, None where nobody knows.

    place: its "corners" and the plate's "outline" in pixels. whole: the finish as read there without help of its own
    reference, None where it could not be read. left_out_code: "" when it served as a reference, else why not.
    replaced_at: when the photograph was read again, and another sighting took the place of this one.
    """

    __tablename__ = "sightings"
    __table_args__ = (
        CheckConstraint("seen_at <= noted_at", name="not_ahead"),
        Index("ix_sightings_trial_id", "trial_id", "seen_at"),
        Index("ix_sightings_tag", "tag", "seen_at"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    seen_at: Mapped[datetime]
    noted_at: Mapped[datetime]
    photo_sha256: Mapped[str | None] = mapped_column(ForeignKey("photos.sha256"), index=True)
    tag: Mapped[str] = mapped_column(String(40))
    trial_id: Mapped[int | None] = mapped_column(ForeignKey("trials.id"))
    place: Mapped[dict[str, Any]]
    whole: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    left_out_code: Mapped[str] = mapped_column(String(40))
    left_out_message: Mapped[str]
    replaced_at: Mapped[datetime | None]


class TrialPhotoRow(Table):
    __tablename__ = "trial_photos"
    trial_id: Mapped[int] = mapped_column(ForeignKey("trials.id"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    sha256: Mapped[str] = mapped_column(ForeignKey("photos.sha256"), index=True)


class HistoryRow(Table):
    """One line for each change: who, when, what, and to which thing ("trial 12")."""

    __tablename__ = "history"
    __table_args__ = (Index("ix_history_subject", "kind", "subject"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime]
    who: Mapped[str]
    what: Mapped[str]
    kind: Mapped[str] = mapped_column(String(20))
    subject: Mapped[str] = mapped_column(String(200))
    detail: Mapped[str]


class DraftRow(Table):
    """A form as far as it was filled in, so that a reload or a crash loses nothing typed."""

    __tablename__ = "drafts"
    form: Mapped[str] = mapped_column(String(200), primary_key=True)
    body: Mapped[dict[str, Any]]
    saved_at: Mapped[datetime]


class OwnCardRow(Table):
    """A card that the studio has measured itself; its patches' colours are rows of their own."""

    __tablename__ = "own_cards"
    name: Mapped[str] = mapped_column(String(200), primary_key=True)
    kind: Mapped[str]
    tolerance_delta_e00: Mapped[float]
    measured_at: Mapped[datetime]


class OwnCardPatchRow(Table):
    __tablename__ = "own_card_patches"
    card_name: Mapped[str] = mapped_column(ForeignKey("own_cards.name"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    lab_l: Mapped[float]
    lab_a: Mapped[float]
    lab_b: Mapped[float]


class CameraProfileRow(Table):
    """How a camera sees under one light, as learnt from a chart; the body is the profile's own plain JSON."""

    __tablename__ = "camera_profiles"
    name: Mapped[str] = mapped_column(String(200), primary_key=True)
    body: Mapped[dict[str, Any]]
    saved_at: Mapped[datetime]


class PersonRow(Table):
    """Somebody who may sign in to the studio. ``key`` is the name as it is compared, free again once they have left.

    passphrase: an Argon2id hash, "" before one was chosen. openid: issuer and subject of who signs in by OpenID,
    or "expected" and an address until they have.
    """

    __tablename__ = "people"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    name: Mapped[str]
    key: Mapped[str | None] = mapped_column(String(200), unique=True)
    role: Mapped[str] = mapped_column(String(20))
    passphrase: Mapped[str]
    openid: Mapped[str | None] = mapped_column(String(500), unique=True)
    made_at: Mapped[datetime]
    left_at: Mapped[datetime | None]


class DeviceRow(Table):
    """A browser that is signed in as a person. What it shows to prove it is kept as its SHA-256 alone."""

    __tablename__ = "devices"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(64), unique=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("people.id"), index=True)
    secret_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    name: Mapped[str]
    how: Mapped[str] = mapped_column(String(20))
    made_at: Mapped[datetime]
    seen_at: Mapped[datetime]
    signed_out_at: Mapped[datetime | None]


class SignInCodeRow(Table):
    """A code that signs a device in once, as a person, or as the first owner where person_id is None."""

    __tablename__ = "sign_in_codes"
    id: Mapped[int] = mapped_column(primary_key=True)
    code_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("people.id"))
    made_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    used_at: Mapped[datetime | None]


class SignInAttemptRow(Table):
    """An attempt to sign in that has not succeeded: by which name ("" with a code), from which address."""

    __tablename__ = "sign_in_attempts"
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(index=True)
    how: Mapped[str] = mapped_column(String(20))
    name: Mapped[str] = mapped_column(String(200))
    address: Mapped[str] = mapped_column(String(100))


def schema_version(connection: sa.Connection, name: str) -> str | None:
    """Return the schema's revision, None when there are no tables yet. Raises StudioError for others' tables."""
    tables = set(sa.inspect(connection).get_table_names())
    if "alembic_version" in tables and "trials" in tables:
        return connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar_one_or_none() or ""
    if tables:
        raise StudioError(f"The database {name} holds other tables and no studio: name an empty one.")
    return None
