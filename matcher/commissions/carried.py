"""What an export carries of commissions: tables whose rows name one another by uid, in the order of who names whom."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.commissions.commission import KINDS
from matcher.commissions.fields import AREA, COMMISSION, DELIVERY, CommissionField
from matcher.commissions.sign_off import check_body
from matcher.commissions.store import may_be_marked, take_back_if_wanted
from matcher.errors import StudioError
from matcher.storage.carried import CarriedTable, Plain
from matcher.storage.schema import AreaRow, CastRow, CommissionRow, DeliveryRow, JournalRow, SignOffRow
from matcher.words import listed


def _as_typed(fields: tuple[CommissionField, ...], columns: Mapping[str, Any]) -> None:
    for field in fields:
        field.kept(field.taken(columns[field.column]))


def _journal_kind(columns: Mapping[str, Any]) -> None:
    if columns["kind"] not in KINDS:
        raise StudioError(f"A line of a journal is {listed(KINDS, 'or')}: {columns['kind']!r} is none of these.")


def _still_wanted(session: Session, _here: Sequence[Plain], new: Sequence[Plain]) -> tuple[str, ...]:
    """Take back the areas that were set aside here while they were signed off, or done on a cast, in the file."""
    numbers = session.scalars(sa.select(AreaRow.id).where(AreaRow.uid.in_([row["area_uid"] for row in new])))
    return tuple(line for line in (take_back_if_wanted(session, number) for number in numbers.all()) if line)


ASIDE = {"set_aside_reason": ("set aside", "taken back")}
CARRIED = (
    CarriedTable(
        "commissions", "commission", CommissionRow, lambda columns: _as_typed(COMMISSION, columns), said_last=ASIDE
    ),
    CarriedTable(
        "areas",
        "area",
        AreaRow,
        lambda columns: _as_typed(AREA, columns),
        place_within="commission_id",
        said_last=ASIDE,
        may_say=lambda session, number, said: may_be_marked(session, number, said["set_aside_reason"]),
    ),
    CarriedTable(
        "sign_offs",
        "sign-off",
        SignOffRow,
        lambda columns: check_body(columns["body"]),
        later=("withdrawn_at", "withdrawn_reason"),
        settle=_still_wanted,
    ),
    CarriedTable("casts", "cast plate", CastRow, settle=_still_wanted),
    CarriedTable(
        "deliveries",
        "delivery",
        DeliveryRow,
        lambda columns: _as_typed(DELIVERY, columns),
        later=("taken_back_at", "taken_back_by"),
    ),
    CarriedTable("journal", "journal line", JournalRow, _journal_kind),
)
