"""The invented foundry's bottles of stock solution: which plates were made from which, and what was noted as used.

Liver of sulphur and ammonium sulphide are mixed fresh there and kept in no bottle, but for one that stood too long.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.trials.stocks import SolutionUse, Stock
from tests.demo_making.ledger import Entry
from tests.demo_making.pictures import generator_for

CABINET, DARK, HOOD = "nitrate cabinet", "dark cupboard", "under the hood"
PLATE_CM2 = 100.0
ML_PER_M2 = {"fine mist": 54.0, "stippled brush": 92.0}
"""What this invented hand puts on in one pass."""
SPREAD = 0.16
NOTED_FROM = 80
"""The plate from which on they noted what they used."""


def _day(text: str, hour: int = 8) -> datetime:
    return datetime.fromisoformat(text).replace(hour=hour, tzinfo=UTC)


BOTTLES = (
    Stock("Fe 1", "ferric nitrate", 400.0, "F-2211", _day("2023-03-06"), "", "Fe(NO3)3·9H2O", "T.R.", CABINET, 2000.0,
          _day("2023-03-07", 7), _day("2023-12-19", 15)),
    Stock("Fe 2", "ferric nitrate", 400.0, "F-2309", _day("2024-01-15"), "", "Fe(NO3)3·9H2O", "T.R.", CABINET, 700.0,
          _day("2024-01-16", 6)),
    Stock("Fe 3", "ferric nitrate", 380.0, "F-2411", _day("2025-02-10"),
          "Weaker than Fe 2: the last of the salt.", "Fe(NO3)3·9H2O", "K.O.", CABINET, 1000.0),
    Stock("Cu 1", "cupric nitrate", 250.0, "C-0523", _day("2023-05-15"), "", "Cu(NO3)2·3H2O", "B.N.", CABINET, 1000.0,
          _day("2023-05-16", 7)),
    Stock("CuS 1", "cupric sulphate", 180.0, "S-1122", _day("2023-03-20", 6), "", "CuSO4·5H2O", "K.O.",
          "shelf by the sink", 1000.0, _day("2023-03-20", 7)),
    Stock("Bi 1", "bismuth nitrate", 100.0, "B-0623", _day("2023-06-19"), "In dilute acid: never into water alone.",
          "Bi(NO3)3·5H2O", "T.R.", CABINET, 250.0, _day("2023-06-20", 7)),
    Stock("Ag 1", "silver nitrate", 50.0, "A-0723", _day("2023-07-03"), "", "AgNO3", "T.R.", DARK, 100.0,
          _day("2023-07-04", 7)),
    Stock("LS 9", "liver of sulphur", 25.0, "", _day("2025-02-10", 9), "What was left of plate 103.", "", "B.N.", HOOD,
          200.0, _day("2025-02-11", 7)),
)  # fmt: skip
"""The oldest first; one used up, one nearly, one unopened, one that stood too long."""


@dataclass(frozen=True)
class Larger:
    """A piece that is no plate. ml: of the solution as it was used."""

    stock: str
    on: str
    who: str
    strength: float
    area_cm2: float
    passes: int
    notes: str


LARGER = (
    Larger("Fe 2", "2024-07-09", "T.R.", 0.5, 9800.0, 9, "weathervane (invented), both sides"),
    Larger("Fe 2", "2024-08-20", "K.O.", 0.55, 7600.0, 11, "two door plates (invented)"),
    Larger("Fe 2", "2024-11-12", "T.R.", 0.5, 5200.0, 8, "trial casting of a heron's wing (invented)"),
    Larger("Cu 1", "2024-03-14", "B.N.", 0.5, 3000.0, 6, "basin rim, sample (invented)"),
)


def from_bottles(entry: Entry) -> Recipe:
    """Return a plate's recipe with the bottles that its layers were mixed from, where there was one."""
    recipe = entry.recipe
    under = recipe.undercoat
    return replace(
        recipe,
        undercoat=None if under is None else replace(under, stock=_bottle_for(under, entry.made_at)),
        coats=tuple(replace(coat, stock=_bottle_for(coat, entry.made_at)) for coat in recipe.coats),
    )


def _bottle_for(layer: Coat | Undercoat, at: datetime) -> str | None:
    there = [
        bottle.label
        for bottle in BOTTLES
        if bottle.chemical == layer.chemical
        and bottle.opened_at is not None
        and bottle.opened_at <= at
        and (bottle.used_up_at is None or at <= bottle.used_up_at)
    ]
    return there[-1] if there else None


def uses(book: Sequence[Entry], seed: int) -> list[SolutionUse]:
    """Return what was noted as used, the plates' by their numbers in the book."""
    noted = [
        _use(generator_for(seed, f"use {entry.number} {at}"), coat, entry, at)
        for entry in book
        if entry.number >= NOTED_FROM
        for at, coat in enumerate(from_bottles(entry).coats)
        if coat.stock is not None
    ]
    for at, one in enumerate(LARGER):
        spread = generator_for(seed, f"larger {at}").normal(0, SPREAD)
        noted.append(
            SolutionUse(
                one.stock, one.strength, _ml(one.area_cm2, one.passes, "fine mist", spread), one.area_cm2, one.passes,
                "fine mist", None, _day(one.on, 15), one.who, one.notes, f"demo-use-larger-{at}",
            )
        )  # fmt: skip
    return sorted(noted, key=lambda use: use.at)


def _use(rng: np.random.Generator, coat: Coat, entry: Entry, at: int) -> SolutionUse:
    assert coat.passes is not None and coat.strength is not None and coat.stock is not None
    millilitres = _ml(PLATE_CM2, coat.passes, coat.application, rng.normal(0, SPREAD))
    return SolutionUse(
        coat.stock, coat.strength, millilitres, PLATE_CM2, coat.passes, coat.application, entry.number, entry.made_at,
        entry.made_by, "", f"demo-use-{entry.number:03}-{at}",
    )  # fmt: skip


def _ml(area_cm2: float, passes: int, application: str, spread: float) -> float:
    return round(area_cm2 / 1e4 * passes * ML_PER_M2[application] * float(np.exp(spread)), 1)


def shelf_document(book: Sequence[Entry], seed: int) -> Mapping[str, Any]:
    """Return bottles and uses as the studio's log ships them; of a use's plate its number in the book."""
    return {
        "bottles": [bottle.as_dict() for bottle in BOTTLES],
        "uses": [
            {name: value for name, value in use.as_dict().items() if name != "trial_id"} | {"plate": use.trial_id}
            for use in uses(book, seed)
        ],
    }
