"""Stock solutions: what "half strength" is half of. A new stock has a label of its own, so old trials keep theirs."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.dates import in_utc, moment
from matcher.errors import RecipeError, StudioError
from matcher.recipe.names import same
from matcher.recipe.recipe import Coat, Undercoat
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import StockRow
from matcher.trials.log import note

Layer = TypeVar("Layer", Coat, Undercoat)


@dataclass(frozen=True)
class Stock:
    """A stock solution. label: names it in recipes, used once. grams_per_litre: of the chemical as it is weighed."""

    label: str
    chemical: str
    grams_per_litre: float
    lot: str = ""
    made_at: datetime = field(default_factory=lambda: datetime.now(UTC))
    notes: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Stock.from_dict`` takes them back."""
        return {**vars(self), "made_at": in_utc(self.made_at).isoformat()}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> Stock:
        """Take back what ``as_dict`` gave. Raises StudioError."""
        try:
            return cls(**{**data, "made_at": moment(data["made_at"])})
        except (KeyError, TypeError) as error:
            raise StudioError(f"Check the stock's fields against an exported stock: {error!r}.") from error


class StockShelf:
    """The stock solutions of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def stocks(self) -> list[Stock]:
        """Return all stocks ever made, the oldest first."""
        return sorted(self.database.load("stock", load_stocks), key=lambda stock: (stock.made_at, stock.label))

    def stock(self, label: str | None) -> Stock:
        """Return the stock of that label. Raises StudioError when there is none."""
        if label is None:
            raise StudioError("Name the stock that the recipe was mixed from: it names none.")
        found = next((stock for stock in self.stocks() if stock.label == label), None)
        if found is None:
            raise StudioError(f"There is no stock labelled {label!r} in this studio: list the stocks to see them.")
        return found

    def save(self, stock: Stock, who: str = "") -> Stock:
        """Keep a stock. Raises StudioError when its label names another one already: old trials rely on that."""
        with self.database.writing() as session:
            return save_in(session, stock, who)


def load_stocks(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[Stock]:
    query = sa.select(StockRow).order_by(StockRow.made_at, StockRow.label)
    found = session.scalars(query if which is None else query.where(which))
    return [_stock_of(row) for row in found]


def save_in(session: Session, stock: Stock, who: str = "") -> Stock:
    """Keep ``stock`` within an open transaction; the very same one again changes nothing."""
    kept = Stock(
        label=checked.line(stock.label, "stock's label", required=True),
        chemical=checked.line(stock.chemical, "stock's chemical", required=True),
        grams_per_litre=checked.number(stock.grams_per_litre, "stock's strength", 0.001, 5000.0, " g/L"),
        lot=checked.line(stock.lot, "lot"),
        made_at=checked.when(stock.made_at),
        notes=checked.storable(stock.notes, "notes"),
    )
    row = session.get(StockRow, kept.label)
    if row is None:
        session.add(StockRow(**vars(kept)))
        session.flush()
        note(session, "saved", "stock", kept.label, f"{kept.chemical}, {kept.grams_per_litre:g} g/L", who)
        return kept
    before = _stock_of(row)
    if not same_solution(before, kept):
        raise StudioError(
            f"Give the new stock a label of its own: {kept.label!r} is {row.chemical}, {row.grams_per_litre:g} g/L, "
            "and earlier plates rely on that."
        )
    return before


def same_solution(one: Stock, other: Stock) -> bool:
    """Tell whether two stocks are the same bottle: chemical, strength and lot; notes and date may differ."""
    alike = (one.grams_per_litre, one.lot) == (other.grams_per_litre, other.lot)
    return alike and same(one.chemical, other.chemical)


def _stock_of(row: StockRow) -> Stock:
    return Stock(row.label, row.chemical, row.grams_per_litre, row.lot, row.made_at, row.notes)


def equivalent_strength(layer: Layer, own: Stock, other: Stock) -> Layer:
    """Return ``layer`` as it must be mixed from ``other`` to go on as it did from ``own``.

    Equal grams per litre on the metal: strength × own g/L = new strength × other g/L. Raises RecipeError when the
    stocks are of different chemicals, or ``other`` is too weak.
    """
    if not same(own.chemical, other.chemical):
        raise RecipeError(f"Choose a stock of {own.chemical}: {other.label} is {other.chemical}.")
    wanted = layer.strength * own.grams_per_litre
    strength = wanted / other.grams_per_litre
    if strength > 1.0 + 1e-12:
        raise RecipeError(
            f"Use a stronger stock than {other.label}: {wanted:.4g} g/L is needed and it holds "
            f"{other.grams_per_litre:.4g}."
        )
    return replace(layer, strength=min(strength, 1.0), stock=other.label)
