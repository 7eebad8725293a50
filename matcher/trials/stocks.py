"""Bottles of stock solution, what "half strength" is half of, and what was used of them.

A bottle's label is how a recipe names it, so a new stock has a label of its own and old recipes keep theirs.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.orm import Session

from matcher.dates import in_utc, local, moment, now
from matcher.errors import RecipeError, StudioError
from matcher.hands import Work, signed
from matcher.recipe.names import same
from matcher.recipe.quantities import form_factor, molar_mass_g_per_mol
from matcher.recipe.recipe import Coat, Undercoat
from matcher.storage import checked
from matcher.storage.database import Database
from matcher.storage.schema import SolutionUseRow, StockRow, TrialRow
from matcher.trials.log import note, row_number

Layer = TypeVar("Layer", bound=Coat | Undercoat)

MOST_ML = 1_000_000.0
MOST_CM2 = 1e7
_SAME_STRENGTH = 1e-6
"""Strengths that differ by less than this share are one: figures that went through a file or a form."""


@dataclass(frozen=True)
class Stock:
    """A bottle of stock solution.

    Attributes
    ----------
    label : str
        Names it in recipes; used once, never changed.
    chemical : str
        As recipes say it.
    grams_per_litre : float
        Of the chemical as it is weighed, that is of ``formula``.
    lot : str
        Of the salt, as its maker names it.
    made_at : datetime
        When the solution was made.
    notes : str
        Anything else.
    formula : str
        Of what was weighed, with its water ("Fe(NO3)3·9H2O"); "" when nobody noted it.
    made_by, kept_where : str
        Who made it; where it stands.
    volume_ml : float or None
        How much was made.
    opened_at, used_up_at : datetime or None
        When it was opened, and when it was empty or thrown away; None while it is not.
    """

    label: str
    chemical: str
    grams_per_litre: float
    lot: str = ""
    made_at: datetime = field(default_factory=lambda: datetime.now(UTC))
    notes: str = ""
    formula: str = ""
    made_by: str = ""
    kept_where: str = ""
    volume_ml: float | None = None
    opened_at: datetime | None = None
    used_up_at: datetime | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``Stock.from_dict`` takes them back."""
        moments = {name: _iso(getattr(self, name)) for name in _MOMENTS}
        return {**vars(self), **moments}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> Stock:
        """Take back what ``as_dict`` gave, of an earlier version too. Raises StudioError."""
        try:
            given = {name: moment(data[name]) for name in _MOMENTS if data.get(name) is not None}
            return cls(**{**data, **given, "made_at": moment(data["made_at"])})
        except (KeyError, TypeError) as error:
            raise StudioError(f"Check the stock's fields against an exported stock: {error!r}.") from error


_MOMENTS = ("made_at", "opened_at", "used_up_at")


@dataclass(frozen=True)
class SolutionUse:
    """How much of a solution went on a surface, or away.

    Attributes
    ----------
    stock : str
        Label of the bottle.
    strength : float
        At which it was used, as a fraction of that stock.
    millilitres : float
        Of the solution as it was used.
    area_cm2 : float or None
        Of the surface; None when nobody noted it.
    passes : int or None
        Laid with it.
    application : str
        How it was laid on.
    trial_id : int or None
        The plate.
    at : datetime
        When.
    who, notes : str
        Who noted it; anything else.
    uid : str or None
        The same in every studio; None until it is kept.
    """

    stock: str
    strength: float
    millilitres: float
    area_cm2: float | None = None
    passes: int | None = None
    application: str = ""
    trial_id: int | None = None
    at: datetime = field(default_factory=lambda: datetime.now(UTC))
    who: str = ""
    notes: str = ""
    uid: str | None = None

    @property
    def stock_ml(self) -> float:
        """How much of the bottle is in it, in ml."""
        return self.millilitres * self.strength

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types; ``SolutionUse.from_dict`` takes them back."""
        return {**vars(self), "at": _iso(self.at)}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> SolutionUse:
        """Take back what ``as_dict`` gave. Raises StudioError."""
        try:
            return cls(**{**data, "at": moment(data["at"])})
        except (KeyError, TypeError) as error:
            raise StudioError(f"Check the use's fields against an exported one: {error!r}.") from error


class StockShelf:
    """The bottles of stock solution of one studio."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def stocks(self) -> list[Stock]:
        """Return all bottles ever made, the oldest first."""
        return sorted(self.database.load("stock", load_stocks), key=lambda stock: (stock.made_at, stock.label))

    def stock(self, label: str | None) -> Stock:
        """Return the bottle of that label. Raises StudioError when there is none."""
        if label is None:
            raise StudioError("Name the stock that the recipe was mixed from: it names none.")
        return labelled(self.stocks(), label)

    def save(self, stock: Stock, who: str = "") -> Stock:
        """Keep a stock. Raises StudioError when its label names another one already: old trials rely on that."""
        with self.database.writing(Work.NOTE) as session:
            return save_in(session, stock, who)

    def change(self, label: str, who: str = "", seen: Stock | None = None, **changed: Any) -> Stock:
        """Note what became of a bottle, with history: ``opened_at``, ``used_up_at``, ``kept_where``, ``volume_ml``,
        ``notes``; and ``formula`` where none was noted. What recipes rely on stays.

        seen: the bottle as it was seen. Raises StudioError, also when another person has changed that meanwhile.
        """
        with self.database.writing() as session:
            row = _row_of(session, label)
            before = _stock_of(row)
            if fixed := set(changed) - _CHANGES or ({"formula"} & set(changed) if before.formula else set()):
                raise StudioError(
                    f"Make a new bottle instead: the {_in_words(sorted(fixed)[0])} of {label!r} is what plates rely on."
                )
            after = _checked(replace(before, **changed))
            for name in changed if seen is not None else ():
                if getattr(before, name) not in (getattr(seen, name), getattr(after, name)):
                    raise StudioError(
                        f"Look at the bottle {label!r} again before you change it: its {_in_words(name)} was changed "
                        f"meanwhile, to {_said(getattr(before, name)) or 'none'}."
                    )
            lines = [
                (_DONE[name][getattr(after, name) is None], _said(getattr(after, name)))
                for name in changed
                if getattr(after, name) != getattr(before, name)
            ]
            for name in changed:
                setattr(row, name, getattr(after, name))
            for what, detail in lines:
                note(session, what, "stock", row.label, detail, who)
            return after

    def uses(self) -> list[SolutionUse]:
        """Return all that was noted as used, the oldest first."""
        return self.database.load("solution use", load_uses)

    def note_use(self, use: SolutionUse) -> SolutionUse:
        """Note what was used of a bottle and return it as kept. Raises StudioError."""
        with self.database.writing(Work.NOTE) as session:
            return note_use_in(session, use)

    def take_back_use(self, uid: str, who: str = "") -> None:
        """Take back a use that was noted in error; its history keeps it. Raises StudioError."""
        with self.database.writing() as session:
            named = checked.line(uid, "uid of the use")
            row = session.scalars(sa.select(SolutionUseRow).where(SolutionUseRow.uid == named)).one_or_none()
            if row is None:
                raise StudioError("That use is not noted any more: it was taken back on another screen.")
            note(session, "use taken back", "stock", row.stock, json.dumps(_use_of(row).as_dict()), who)
            session.delete(row)


def labelled(stocks: Sequence[Stock], label: str) -> Stock:
    """Return the bottle of that label among some. Raises StudioError."""
    found = next((stock for stock in stocks if stock.label == label), None)
    if found is None:
        raise _no_stock(label)
    return found


def left_ml(stock: Stock, uses: Sequence[SolutionUse]) -> float | None:
    """Return about how much is left of a bottle, from what was noted; None when nobody noted how much it held."""
    if stock.used_up_at is not None:
        return 0.0
    if stock.volume_ml is None:
        return None
    return max(0.0, stock.volume_ml - sum(use.stock_ml for use in uses if use.stock == stock.label))


def load_stocks(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[Stock]:
    query = sa.select(StockRow).order_by(StockRow.made_at, StockRow.label)
    found = session.scalars(query if which is None else query.where(which))
    return [_stock_of(row) for row in found]


def load_uses(session: Session, which: sa.ColumnElement[bool] | None = None) -> list[SolutionUse]:
    query = sa.select(SolutionUseRow).order_by(SolutionUseRow.at, SolutionUseRow.id)
    found = session.scalars(query if which is None else query.where(which))
    return [_use_of(row) for row in found]


def save_in(session: Session, stock: Stock, who: str = "") -> Stock:
    """Keep ``stock`` within an open transaction; the very same one again changes nothing."""
    kept = _checked(stock)
    row = session.get(StockRow, kept.label)
    if row is None:
        session.add(StockRow(**vars(kept)))
        session.flush()
        note(
            session, "saved", "stock", kept.label, f"{kept.chemical}, {kept.grams_per_litre:g} g/L", who or kept.made_by
        )
        return kept
    before = _stock_of(row)
    if not same_solution(before, kept):
        raise StudioError(
            f"Give the new stock a label of its own: {kept.label!r} is {row.chemical}, {row.grams_per_litre:g} g/L, "
            "and earlier plates rely on that."
        )
    return before


def changes_in(lines: Iterable[tuple[str, datetime]]) -> dict[str, datetime]:
    """Return when what became of a bottle was last noted, by name, from its lines of history: what, and when."""
    last: dict[str, datetime] = {}
    for what, at in lines:
        name = _NOTED.get(what)
        if name is not None:
            last[name] = max(at, last.get(name, at))
    return last


def catch_up_in(
    session: Session,
    label: str,
    theirs: Stock,
    noted_here: Mapping[str, datetime],
    noted_there: Mapping[str, datetime],
    who: str = "",
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Let a bottle say what became of it in another studio, where that was noted later than what it says here.

    noted_here, noted_there: as ``changes_in`` gives it. Returns the names of what was taken over, and of what differs
    and stays, because nobody can tell which is later. Raises StudioError where both do not go together.
    """
    row = _row_of(session, label)
    ours = _stock_of(row)
    taken, differing = [], []
    for name in sorted(_CHANGES):
        here, there = getattr(ours, name), getattr(theirs, name)
        when_here, when_there = noted_here.get(name), noted_there.get(name)
        if here == there or (when_here is not None and (when_there is None or when_there <= when_here)):
            continue
        if when_there is None and there in (None, ""):
            continue
        if when_there is not None or here in (None, ""):
            taken.append(name)
        else:
            differing.append(name)
    after = _checked(replace(ours, **{name: getattr(theirs, name) for name in taken}))
    for name in taken:
        setattr(row, name, getattr(after, name))
        if name not in noted_there:
            what = _DONE[name][getattr(after, name) is None]
            note(session, what, "stock", label, _said(getattr(after, name)), who)
    session.flush()
    return tuple(taken), tuple(differing)


def note_use_in(session: Session, use: SolutionUse) -> SolutionUse:
    """Note a use within an open transaction; one of a uid that is noted already is noted once."""
    kept = replace(
        use,
        stock=checked.line(use.stock, "label of the bottle", required=True),
        strength=checked.number(use.strength, "strength", 1e-6, 1.0, " of stock"),
        millilitres=checked.number(use.millilitres, "amount used", 0.01, MOST_ML, " ml"),
        area_cm2=None if use.area_cm2 is None else checked.number(use.area_cm2, "area", 0.01, MOST_CM2, " cm²"),
        passes=None if use.passes is None else _whole(use.passes, "number of passes", 1, 1000),
        application=checked.line(use.application, "way of application"),
        at=checked.when(use.at),
        who=checked.line(signed(use.who), "name of who noted it"),
        notes=checked.storable(use.notes, "notes"),
        uid=checked.uid_of(use.uid),
    )
    there = session.scalars(sa.select(SolutionUseRow).where(SolutionUseRow.uid == kept.uid)).one_or_none()
    if there is not None:
        return _use_of(there)
    _row_of(session, kept.stock)
    if kept.trial_id is not None and session.get(TrialRow, row_number(kept.trial_id)) is None:
        raise StudioError(f"There is no plate {kept.trial_id} in this studio: list the plates to see their numbers.")
    values = vars(kept) | {"strength_of_stock": kept.strength}
    session.add(SolutionUseRow(**{name: value for name, value in values.items() if name != "strength"}))
    session.flush()
    note(session, "used", "stock", kept.stock, f"{kept.millilitres:g} ml at {kept.strength:g} of stock", kept.who)
    return kept


def _row_of(session: Session, label: str) -> StockRow:
    """Return a bottle's row. Raises StudioError when there is none of that label."""
    row = session.get(StockRow, checked.line(label, "label of the bottle", required=True))
    if row is None:
        raise _no_stock(label)
    return row


def same_solution(one: Stock, other: Stock) -> bool:
    """Tell whether two stocks are the same bottle: chemical, strength and lot, and what was weighed where both say it.

    What became of it may differ, and its notes and date.
    """
    alike = (one.grams_per_litre, one.lot) == (other.grams_per_litre, other.lot)
    formulas = {_plain(stock.formula) for stock in (one, other)} - {""}
    return alike and len(formulas) < 2 and same(one.chemical, other.chemical)


def _checked(stock: Stock) -> Stock:
    """Return a bottle as it may be kept. Raises StudioError."""
    kept = Stock(
        label=checked.line(stock.label, "stock's label", required=True),
        chemical=checked.line(stock.chemical, "stock's chemical", required=True),
        grams_per_litre=checked.number(stock.grams_per_litre, "stock's strength", 0.001, 5000.0, " g/L"),
        lot=checked.line(stock.lot, "lot"),
        made_at=checked.when(stock.made_at),
        notes=checked.storable(stock.notes, "notes"),
        formula=_formula(checked.line(stock.formula, "formula")),
        made_by=checked.line(stock.made_by, "name of who made it"),
        kept_where=checked.line(stock.kept_where, "place where it stands"),
        volume_ml=None if stock.volume_ml is None else checked.number(stock.volume_ml, "volume", 0.1, MOST_ML, " ml"),
        opened_at=None if stock.opened_at is None else checked.when(stock.opened_at),
        used_up_at=None if stock.used_up_at is None else checked.when(stock.used_up_at),
    )
    _check_order(kept)
    return kept


def _check_order(stock: Stock) -> None:
    """Raise StudioError for a bottle that is opened or empty before it is made, or in time to come."""
    named = (("made", stock.made_at), ("opened", stock.opened_at), ("used up", stock.used_up_at))
    said = [(word, when) for word, when in named if when is not None]
    for word, when in said:
        if when > now() + timedelta(days=1):  # a day's grace, as for plates
            raise StudioError(f"Give a day that has been: the bottle can't have been {word} in time to come.")
    for (earlier, before), (later, after) in pairwise(said):
        if local(after).date() < local(before).date():
            raise StudioError(f"Check the dates: the bottle was {later} before it was {earlier}.")


def _formula(text: str) -> str:
    """Return a formula as it is kept: with "·" before its water. Raises StudioError."""
    if not text:
        return ""
    try:
        molar_mass_g_per_mol(text)
    except RecipeError as error:
        raise StudioError(str(error)) from error
    return _plain(text)


def _plain(formula: str) -> str:
    return formula.replace(" ", "").replace(".", "·").replace("*", "·")


def _whole(value: object, what: str, low: int, high: int) -> int:
    number = checked.number(value, what, low, high)
    if number != int(number):
        raise StudioError(f"Give the {what} as a whole number: {value!r} is not one.")
    return int(number)


def _stock_of(row: StockRow) -> Stock:
    return Stock(**{name: getattr(row, name) for name in Stock.__dataclass_fields__})


def _use_of(row: SolutionUseRow) -> SolutionUse:
    values = {name: getattr(row, name) for name in SolutionUse.__dataclass_fields__ if name != "strength"}
    return SolutionUse(strength=row.strength_of_stock, **values)


def _no_stock(label: str) -> StudioError:
    return StudioError(f"There is no stock labelled {label!r} in this studio: list the stocks to see them.")


def _iso(when: datetime | None) -> str | None:
    return None if when is None else in_utc(when).isoformat()


_CHANGES = {"opened_at", "used_up_at", "kept_where", "volume_ml", "notes", "formula"}
_DONE = {
    "opened_at": ("opened", "not opened after all"),
    "used_up_at": ("used up", "not used up after all"),
    "kept_where": ("put elsewhere", ""),
    "volume_ml": ("volume noted", "volume taken out"),
    "notes": ("notes changed", ""),
    "formula": ("formula noted", ""),
}
"""What may become of a bottle, and how its history says it."""
_NOTED = {what: name for name, whats in _DONE.items() for what in whats if what}


def _in_words(name: str) -> str:
    said = {
        "grams_per_litre": "strength",
        "kept_where": "place",
        "volume_ml": "volume",
        "opened_at": "day of opening",
        "used_up_at": "last day",
    }
    return said.get(name, name.replace("_", " "))


def _said(value: object) -> str:
    if value is None:
        return ""
    return value.isoformat() if isinstance(value, datetime) else str(value)


@dataclass(frozen=True)
class Converted:
    """A coat or undercoat as it is mixed from another bottle.

    layer: with its new strength and bottle. before: the strength that it had. grams_per_litre: on the metal, of the
    new bottle's salt. forms_known: whether both bottles say what was weighed; else their salts are taken to be alike.
    """

    layer: Coat | Undercoat
    before: float
    grams_per_litre: float
    forms_known: bool

    @property
    def changed(self) -> bool:
        return abs(self.layer.strength - self.before) > _SAME_STRENGTH


def equivalent_strength(layer: Layer, own: Stock, other: Stock) -> Layer:
    """Return ``layer`` as it must be mixed from ``other`` to go on as it did from ``own``.

    Equal amounts of the chemical on the metal: strength × own g/L = new strength × other g/L, each divided by the
    molar mass of what was weighed where both bottles say it. Raises RecipeError when the stocks are of different
    chemicals, or ``other`` is too weak.
    """
    if not same(own.chemical, other.chemical):
        raise RecipeError(f"Choose a stock of {own.chemical}: {other.label} is {other.chemical}.")
    wanted = layer.strength * own.grams_per_litre * _as_weighed(own, other)
    strength = wanted / other.grams_per_litre
    if strength > 1.0 + 1e-12:
        raise RecipeError(
            f"Use a stronger stock than {other.label}: {wanted:.4g} g/L is needed and it holds "
            f"{other.grams_per_litre:.4g}."
        )
    return replace(layer, strength=min(strength, 1.0), stock=other.label)


def converted(layer: Layer, own: Stock, other: Stock) -> Converted:
    """Return ``layer`` mixed from another bottle, with what there is to say of it. Raises RecipeError."""
    made = equivalent_strength(layer, own, other)
    known = bool(own.formula and other.formula)
    return Converted(made, layer.strength, made.strength * other.grams_per_litre, known)


def _as_weighed(own: Stock, other: Stock) -> float:
    """Return the grams of one bottle's salt that hold as much as a gram of the other's. Raises RecipeError."""
    return form_factor(own.formula, other.formula) if own.formula and other.formula else 1.0
