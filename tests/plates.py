"""Invented recipes, trials and photographs for tests of the log, and hypothesis strategies for them."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from typing import Any

import numpy as np
from hypothesis import strategies as st
from PIL import Image

from matcher.calibration.profile import CameraProfile
from matcher.calibration.transform import PARAMETERS, ToneCurve
from matcher.colour.cielab import SRGB_TO_XYZ_D50
from matcher.colour.local_error import LocalError
from matcher.colour.uncertainty import BudgetTerm
from matcher.errors import Caveat
from matcher.photo.camera import CameraInfo
from matcher.reading.reading import Conditions, PaletteColour, Reading
from matcher.recipe.recipe import MAX_PASSES, Coat, Recipe, Seal, Undercoat
from matcher.trials.trial import StageReading, Target, Trial

MADE_AT = datetime(2025, 3, 31, 14, 30, tzinfo=UTC)


def a_recipe(passes: int = 6, stock: str | None = None) -> Recipe:
    return Recipe(
        alloy="silicon bronze",
        surface="sandblasted, bright",
        undercoat=Undercoat("liver of sulphur", 0.5, burnish=0.25),
        coats=(
            Coat("ferric nitrate", 0.5, passes, 105.0, stock=stock),
            Coat("cupric nitrate", 0.25, 2, 98.5, application="stippled brush"),
        ),
        seal=Seal("wax", 3, hot=True),
    )


def a_reading(lightness: float = 38.0) -> Reading:
    """Every field is filled in, so that one lost on the way is seen."""
    return Reading(
        lab=np.array([lightness, 14.0, 22.0]),
        covariance=np.array([[0.5, 0.1, 0.0], [0.1, 0.4, -0.05], [0.0, -0.05, 0.3]]),
        source="photograph",
        lights=np.array([45.0, 12.0, 25.0]),
        darks=np.array([30.0, 10.0, 15.0]),
        palette=(PaletteColour((38.0, 14.0, 22.0), 0.75), PaletteColour((30.0, 10.0, 15.0), 0.25)),
        left_out_share=0.05,
        pixels=5000,
        budget=(BudgetTerm("card", np.diag([0.1, 0.2, 0.3]), "measure the card"),),
        caveats=(Caveat("card_dark", "The card is dark: move it into the light."),),
        region=np.array([[1.0, 2.0], [30.0, 2.0], [30.0, 40.5]]),
        conditions=Conditions("sRGB", "daylight"),
    )


def a_trial(lightness: float = 38.0, **changed: Any) -> Trial:
    told: dict[str, Any] = {
        "recipe": a_recipe(),
        "reading": a_reading(lightness),
        "made_at": MADE_AT,
        "made_by": "R. Okonedo-Vale (invented)",
        "piece": "sample plate 7",
        "ambient_temp_c": 18.5,
        "ambient_humidity_percent": 60.0,
        "stages": (StageReading("bare", a_reading(70.0)), StageReading("pass 3", a_reading(50.0))),
        "notes": "Even.\nSlight bloom at the left edge.",
    }
    return Trial(**{**told, **changed})


def a_target(name: str = "the client's bust", **changed: Any) -> Target:
    return Target(**{"name": name, "reading": a_reading(40.0), "tolerance": 1.5, "made_at": MADE_AT, **changed})


def a_profile(name: str = "shop tubes", red: float = 1.02, **changed: Any) -> CameraProfile:
    """Return an invented profile; ``red``: its grey's red over green."""
    told: dict[str, Any] = {
        "name": name,
        "light": "two cool white tubes",
        "made_at": MADE_AT,
        "camera": CameraInfo("Invented", "Camera", "50 mm", MADE_AT.replace(tzinfo=None), 0.01, 8.0, 100),
        "encoding": "sRGB",
        "kind": "3x3, with tone curve",
        "tone": ToneCurve(np.full(3, np.log(0.18)), np.array([0.1, 0.0, -0.1]), np.full(3, 0.01)),
        "transform": np.hstack([SRGB_TO_XYZ_D50, np.full((3, 3), 0.001)]),
        "neutral": np.array([red, 1.0, 0.9]),
        "spread": 0.01 * np.eye(PARAMETERS, 4),
        "patch_labs": np.array([[50.0, 0, 0], [40.0, 20, 10], [60.0, -20, 30]]),
        "patch_errors": np.array([[0.1, 0, 0], [0.5, -0.2, 0.4], [-0.3, 0.6, 0.2]]),
        "local": LocalError(
            np.array([[50.0, 0, 0], [40.0, 20, 10], [60.0, -20, 30]]),
            np.array([[-0.1, 0, 0], [-0.4, 0.2, -0.3], [0.2, -0.5, -0.2]]),
            np.array([2.0, 2.0, 2.0]),
            np.array([0.5, 0.5, 0.5]),
        ),
        "shifts": np.full((4, 3, 3), 0.01),
        "colour_temperature_k": 4150.0,
        "photo": "ab" * 32,
        "caveats": (Caveat("chart-clipped", "1 patches were over- or underexposed and left out."),),
    }
    return CameraProfile(**{**told, **changed})


def a_photograph(seed: int = 1, kind: str = "JPEG") -> bytes:
    """Return a small picture as a file's bytes; every seed gives another."""
    pixels = np.random.default_rng(seed).integers(0, 255, (24, 32, 3), dtype=np.uint8)
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, kind)
    return stream.getvalue()


names = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=30)
strengths = st.floats(0.0, 1.0, exclude_min=True)
undercoats = st.builds(Undercoat, names, st.none() | strengths, st.none() | st.floats(0.0, 1.0), st.none() | names)
coats = st.builds(
    Coat,
    names,
    st.none() | strengths,
    st.none() | st.integers(1, MAX_PASSES),
    st.none() | st.floats(0.0, 400.0),
    names,
    st.none() | names,
)
seals = st.builds(Seal, names, st.none() | st.integers(1, 20), st.booleans())
recipes = st.builds(
    Recipe, names, st.none() | undercoats, st.lists(coats, max_size=4).map(tuple), st.none() | seals, names
)
"""Some of their figures are not noted."""


def a_sign_off_body(**changed: Any) -> dict[str, Any]:
    """What a sign-off keeps of what was signed, as JSON."""
    told: dict[str, Any] = {
        "target": a_reading(40.0).as_dict(),
        "plate": a_reading().as_dict(),
        "recipe": a_recipe().as_dict(),
        "bottles": [],
        "stage": "finished",
        "tolerance_delta_e00": 1.5,
        "aim_uid": None,
        "note": "",
    }
    return {**told, **changed}
