"""Between the values that flow (Trial, Target, Reading) and the rows that are kept: plain conversions, no queries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from matcher.colour.difference import near_uniform
from matcher.colour.words_for_colours import shade_place
from matcher.errors import StudioError
from matcher.reading.reading import Reading
from matcher.recipe.fields import COAT, METAL, SEAL, UNDERCOAT, Part
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.storage.checked import line, number, plain_json, reason, storable, uid_of, when
from matcher.trials.fields import KEPT, TYPED
from matcher.trials.trial import FINISHED, StageReading, Target, Trial

Row = Mapping[str, Any] | sa.RowMapping


def trial_values(trial: Trial) -> dict[str, Any]:
    """Return the columns of the trial's own row. Raises StudioError for what cannot be kept."""
    if not isinstance(trial, Trial) or not isinstance(trial.recipe, Recipe) or not isinstance(trial.reading, Reading):
        raise StudioError("Give a Trial with a Recipe and a Reading.")
    recipe = trial.recipe
    return {
        **{field.column: field.kept(getattr(trial, field.name)) for field in (*TYPED, *KEPT)},
        **_columns(METAL, recipe),
        **_columns(UNDERCOAT, recipe.undercoat),
        **_columns(SEAL, recipe.seal),
        "logged_at": datetime.now(UTC),
    }


def coat_values(trial_id: int, recipe: Recipe) -> list[dict[str, Any]]:
    return [
        {"trial_id": trial_id, "position": position, **_columns(COAT, coat)}
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


def colour_values(trial_id: int, reading: Reading) -> dict[str, Any]:
    """Return the columns that a plate's colour is searched by."""
    lab, near = reading.lab.tolist(), near_uniform(reading.lab).tolist()
    names = ("lab_l", "lab_a", "lab_b", "near_l", "near_a", "near_b")
    return {"trial_id": trial_id, **dict(zip(names, [*lab, *near], strict=True)), "shade": shade_place(lab)}


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
        stages=tuple(StageReading(step["stage"], Reading.from_dict(step["whole"])) for step in steps),
        photos=tuple(photos),
        id=row["id"],
        **{field.name: row[field.column] for field in (*TYPED, *KEPT)},
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
    undercoat, seal = _values(UNDERCOAT, row), _values(SEAL, row)
    return Recipe(
        **{field.name: row[field.column] for field in METAL},
        undercoat=None if undercoat is None else Undercoat(**undercoat),
        coats=tuple(Coat(**{field.name: coat[field.column] for field in COAT}) for coat in coats),
        seal=None if seal is None else Seal(**seal),
    )


def _columns(part: Part, value: object | None) -> dict[str, Any]:
    """Return the columns of a part of a recipe, all empty where there is none."""
    return {field.column: None if value is None else getattr(value, field.name) for field in part}


def _values(part: Part, row: Row) -> dict[str, Any] | None:
    """Return the fields of a part of a recipe from its columns, None where there is none."""
    if row[part.first.column] is None:
        return None
    return {field.name: row[field.column] for field in part}
