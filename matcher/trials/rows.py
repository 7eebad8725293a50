"""Between the values that flow (Trial, Target, Reading) and the rows that are kept: plain conversions, no queries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from matcher.errors import StudioError
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.storage.checked import line, number, plain_json, reason, storable, uid_of, when
from matcher.trials.trial import FINISHED, StageReading, Target, Trial

Row = Mapping[str, Any] | sa.RowMapping

AMBIENT_TEMP_RANGE_C = (-60.0, 80.0)


def trial_values(trial: Trial) -> dict[str, Any]:
    """Return the columns of the trial's own row. Raises StudioError for what cannot be kept."""
    if not isinstance(trial, Trial) or not isinstance(trial.recipe, Recipe) or not isinstance(trial.reading, Reading):
        raise StudioError("Give a Trial with a Recipe and a Reading.")
    recipe, under, seal = trial.recipe, trial.recipe.undercoat, trial.recipe.seal
    return {
        "uid": uid_of(trial.uid),
        "made_at": when(trial.made_at),
        "made_by": line(trial.made_by, "maker's name"),
        "piece": line(trial.piece, "name of the piece"),
        "ambient_temp_c": _ambient(trial.ambient_temp_c, "air temperature", *AMBIENT_TEMP_RANGE_C, " °C"),
        "ambient_humidity_percent": _ambient(trial.ambient_humidity_percent, "humidity", 0.0, 100.0, " %"),
        "alloy": recipe.alloy,
        "surface": recipe.surface,
        "undercoat_chemical": None if under is None else under.chemical,
        "undercoat_strength_of_stock": None if under is None else under.strength,
        "undercoat_burnish": None if under is None else under.burnish,
        "undercoat_stock": None if under is None else under.stock,
        "seal_kind": None if seal is None else seal.kind,
        "seal_coats": None if seal is None else seal.coats,
        "seal_first_coat_hot": None if seal is None else bool(seal.hot),
        "notes": storable(trial.notes, "notes"),
        "target_id": trial.target_id,
        "set_aside_reason": reason(trial.set_aside),
        "logged_at": datetime.now(UTC),
    }


def coat_values(trial_id: int, recipe: Recipe) -> list[dict[str, Any]]:
    return [
        {
            "trial_id": trial_id,
            "position": position,
            "chemical": coat.chemical,
            "strength_of_stock": coat.strength,
            "passes": coat.passes,
            "surface_temp_c": coat.surface_temp_c,
            "application": coat.application,
            "stock": coat.stock,
        }
        for position, coat in enumerate(recipe.coats)
    ]


def reading_values(reading: Reading, stage: str = FINISHED, position: int = 0, **owner: int) -> dict[str, Any]:
    """Return the columns of a reading; ``owner`` is ``trial_id`` or ``target_id``."""
    lab, covariance = reading.lab.tolist(), reading.covariance.tolist()
    return {
        "trial_id": owner.get("trial_id"),
        "target_id": owner.get("target_id"),
        "position": position,
        "stage": line(stage, "stage", required=True),
        "lab_l": lab[0],
        "lab_a": lab[1],
        "lab_b": lab[2],
        "variance_l": covariance[0][0],
        "variance_a": covariance[1][1],
        "variance_b": covariance[2][2],
        "covariance_la": covariance[0][1],
        "covariance_lb": covariance[0][2],
        "covariance_ab": covariance[1][2],
        "source": line(reading.source, "reading's source"),
        "photo_sha256": None if reading.photo is None else line(reading.photo, "photograph's hash", longest=64),
        "whole": plain_json(reading.as_dict(), "reading"),
    }


def trial_readings(trial_id: int, trial: Trial) -> list[dict[str, Any]]:
    """Return the rows of all readings of a trial: the finished plate's first, then those on the way."""
    main = reading_values(trial.reading, trial_id=trial_id)
    steps = enumerate(trial.stages, start=1)
    return [main, *(reading_values(step.reading, step.stage, at, trial_id=trial_id) for at, step in steps)]


def target_values(target: Target) -> dict[str, Any]:
    """Return the columns of a target's row. Raises StudioError for what cannot be kept."""
    if not isinstance(target, Target) or not isinstance(target.reading, Reading):
        raise StudioError("Give a Target with a Reading.")
    return {
        "uid": uid_of(target.uid),
        "name": line(target.name, "target's name", required=True),
        "tolerance_delta_e00": number(target.tolerance, "tolerance", 0.01, 100.0, " ΔE00"),
        "photo_sha256": target.photo,
        "notes": storable(target.notes, "notes"),
        "made_at": when(target.made_at),
        "set_aside_reason": reason(target.set_aside),
    }


def trial_of(row: Row, coats: Sequence[Row], readings: Sequence[Row], photos: Sequence[str]) -> Trial:
    """Put a trial together again from its rows, each list in the order of its positions."""
    main, *steps = readings
    return Trial(
        recipe=_recipe_of(row, coats),
        reading=Reading.from_dict(main["whole"]),
        made_at=row["made_at"],
        made_by=row["made_by"],
        piece=row["piece"],
        ambient_temp_c=row["ambient_temp_c"],
        ambient_humidity_percent=row["ambient_humidity_percent"],
        stages=tuple(StageReading(step["stage"], Reading.from_dict(step["whole"])) for step in steps),
        photos=tuple(photos),
        notes=row["notes"],
        target_id=row["target_id"],
        set_aside=row["set_aside_reason"],
        id=row["id"],
        uid=row["uid"],
    )


def target_of(row: Row, reading: Mapping[str, Any]) -> Target:
    return Target(
        name=row["name"],
        reading=Reading.from_dict(reading),
        tolerance=row["tolerance_delta_e00"],
        photo=row["photo_sha256"],
        notes=row["notes"],
        made_at=row["made_at"],
        id=row["id"],
        uid=row["uid"],
        set_aside=row["set_aside_reason"],
    )


def _recipe_of(row: Row, coats: Sequence[Row]) -> Recipe:
    undercoat = seal = None
    if row["undercoat_chemical"] is not None:
        strength, burnish = row["undercoat_strength_of_stock"], row["undercoat_burnish"]
        undercoat = Undercoat(row["undercoat_chemical"], strength, burnish, row["undercoat_stock"])
    if row["seal_kind"] is not None:
        seal = Seal(row["seal_kind"], row["seal_coats"], row["seal_first_coat_hot"])
    return Recipe(row["alloy"], undercoat, tuple(_coat_of(coat) for coat in coats), seal, row["surface"])


def _coat_of(row: Row) -> Coat:
    return Coat(
        chemical=row["chemical"],
        strength=row["strength_of_stock"],
        passes=row["passes"],
        surface_temp_c=row["surface_temp_c"],
        application=row["application"],
        stock=row["stock"],
    )


def _ambient(value: float | None, what: str, low: float, high: float, unit: str) -> float | None:
    return None if value is None else number(value, what, low, high, unit)
