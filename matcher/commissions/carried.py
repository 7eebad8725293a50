"""What an export carries of commissions: tables whose rows name one another by uid, in the order of who names whom."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from matcher.commissions.commission import KINDS
from matcher.commissions.fields import AREA, COMMISSION, DELIVERY, CommissionField
from matcher.commissions.sign_off import check_body
from matcher.errors import StudioError
from matcher.storage.carried import CarriedTable
from matcher.storage.schema import AreaRow, CastRow, CommissionRow, DeliveryRow, JournalRow, SignOffRow
from matcher.words import listed


def _as_typed(fields: tuple[CommissionField, ...], columns: Mapping[str, Any]) -> None:
    for field in fields:
        field.kept(field.taken(columns[field.column]))


def _journal_kind(columns: Mapping[str, Any]) -> None:
    if columns["kind"] not in KINDS:
        raise StudioError(f"A line of a journal is {listed(KINDS, 'or')}: {columns['kind']!r} is none of these.")


CARRIED = (
    CarriedTable("commissions", "commission", CommissionRow, lambda columns: _as_typed(COMMISSION, columns)),
    CarriedTable("areas", "area", AreaRow, lambda columns: _as_typed(AREA, columns), place_within="commission_id"),
    CarriedTable(
        "sign_offs",
        "sign-off",
        SignOffRow,
        lambda columns: check_body(columns["body"]),
        later=("withdrawn_at", "withdrawn_reason"),
    ),
    CarriedTable("casts", "cast plate", CastRow),
    CarriedTable(
        "deliveries",
        "delivery",
        DeliveryRow,
        lambda columns: _as_typed(DELIVERY, columns),
        later=("taken_back_at", "taken_back_by"),
    ),
    CarriedTable("journal", "journal line", JournalRow, _journal_kind),
)
