"""A camera profile's JSON document read back: each field there, of its kind and shape.

Before ``camera_profile``, which writes the document and makes a profile of the fields.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

import numpy as np

from matcher.calibration.transform import CAUSES, KINDS, PARAMETERS, ToneCurve
from matcher.colour.cielab import checked_lab
from matcher.colour.local_error import LocalError
from matcher.errors import CardError, Caveat, Misfit
from matcher.photo.camera import CameraInfo
from matcher.photo.encoding import is_encoding

VERSION = 2
WITHOUT_LOCAL_ERROR = 1
"""The version before, whose profiles say how far off they are and not where."""


def fields_of(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fields of a CameraProfile by name, out of a JSON document's.

    Raises CardError for another version or a colour that is none, and KeyError, Misfit or whatever else a field of
    the wrong kind meets with.
    """
    if data["version"] not in (VERSION, WITHOUT_LOCAL_ERROR):
        raise CardError("The profile was made by another version of this tool: photograph the chart again.")
    tables = _tables(data)
    camera = data.get("camera")
    temperature = data.get("colour_temperature_k")
    made_at = datetime.fromisoformat(data["made_at"])
    return {
        "name": _words(data, "name"),
        "light": _words(data, "light", may_be_empty=True),
        "made_at": made_at if made_at.tzinfo is not None else made_at.replace(tzinfo=UTC),
        "camera": None if camera is None else _camera_from(camera),
        "encoding": _known(data, "encoding", is_encoding),
        "kind": _known(data, "kind", KINDS.__contains__),
        "tone": ToneCurve.from_dict(data["tone"]),
        "colour_temperature_k": None if temperature is None else float(temperature),
        "photo": None if data.get("photo") is None else _words(data, "photo"),
        "retired": None if data.get("retired") is None else _words(data, "retired"),
        "caveats": tuple(Caveat(str(item["code"]), str(item["message"])) for item in data.get("warnings", ())),
        **tables,
    }


def _tables(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fields that are tables of numbers. Raises KeyError, Misfit, or CardError for a colour that is none."""
    patch_labs = np.array([checked_lab(row) for row in data["patch_labs"]])
    arrays = {name: np.array(data[name], dtype=float) for name in ("transform", "neutral", "spread")}
    arrays["basis"] = np.array(data.get("basis", np.eye(3)), dtype=float)
    errors = np.array(data["patch_errors"], dtype=float)
    right = arrays["basis"].shape == (3, 3)
    right = right and arrays["transform"].shape == (3, 6) and arrays["neutral"].shape == (3,)
    right = right and arrays["spread"].ndim == 2 and len(arrays["spread"]) == PARAMETERS
    right = right and arrays["spread"].shape[1] <= CAUSES
    right = right and errors.shape == patch_labs.shape and len(patch_labs) > 0
    if not right or not all(np.isfinite(item).all() for item in (*arrays.values(), errors)):
        raise Misfit("a table of numbers has the wrong shape")
    if data["version"] == WITHOUT_LOCAL_ERROR:
        local, shifts = LocalError.unlearned(errors), np.zeros((arrays["spread"].shape[1], 0, 3))
    else:
        local = LocalError.from_dict(data["local"])
        shifts = np.array(data["shifts"], dtype=float)
        if shifts.size == 0 and not len(local.references):  # lists of nothing do not keep their shape
            shifts = np.zeros((arrays["spread"].shape[1], *local.references.shape))
    if shifts.shape != (arrays["spread"].shape[1], *local.references.shape) or not np.isfinite(shifts).all():
        raise Misfit("a table of numbers has the wrong shape")
    return {"patch_labs": patch_labs, "patch_errors": errors, "local": local, "shifts": shifts, **arrays}


def _words(data: Mapping[str, Any], name: str, may_be_empty: bool = False) -> str:
    """Return a field that holds one line of words. Raises KeyError or Misfit."""
    value = data[name]
    if not isinstance(value, str) or not (may_be_empty or value.strip()):
        raise Misfit(f"its {name} is not in words")
    return " ".join(value.split())


def _known(data: Mapping[str, Any], name: str, known: Callable[[str], bool]) -> str:
    """Return a field whose value is known for it. Raises KeyError or Misfit."""
    value = _words(data, name)
    if not known(value):
        raise Misfit(f"its {name} {value[:40]!r} is none that this tool knows")
    return value


def _camera_from(data: Mapping[str, Any]) -> CameraInfo:
    known = {name: data.get(name) for name in CameraInfo.__dataclass_fields__}
    taken = known["taken_at"]
    known["taken_at"] = None if taken is None else datetime.fromisoformat(taken)
    return CameraInfo(**known)
