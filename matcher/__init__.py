"""Match a bronze patina: read a finish's colour from a photograph, rank the studio's trials, learn from each plate.

The public names load on first use, so that a command that needs few of them starts quickly.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matcher.calibration.calibrate import calibrate
    from matcher.calibration.illumination import LightField
    from matcher.calibration.profile import CameraProfile, best_profile
    from matcher.calibration.profile_from_chart import profile_from_chart
    from matcher.calibration.references.reference import Reference
    from matcher.card.card import load_cards
    from matcher.card.detect import find_card, neutral_patch
    from matcher.card.outline import propose_finishes
    from matcher.colour.difference import delta_e_2000
    from matcher.colour.wording import difference_in_words
    from matcher.errors import MatcherError
    from matcher.instrument.files import read_targets
    from matcher.instrument.munsell import munsell_reading
    from matcher.photo.photo import open_photo
    from matcher.plan.inventory import AtHand
    from matcher.plan.limits import Limits
    from matcher.reading.advice import budget_table, trust_sentence, what_would_help
    from matcher.reading.comparison import delta_e_interval
    from matcher.reading.difference_map import delta_e_map
    from matcher.reading.exposures import read_frames
    from matcher.reading.finish import read_finish
    from matcher.reading.reading import Reading
    from matcher.reading.texture import read_texture
    from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
    from matcher.studio import Studio
    from matcher.suggest.suggester import Suggester
    from matcher.suggest.suggestion import Prediction, Suggestion
    from matcher.tags.search import Sighting, find_plates
    from matcher.trials.trial import StageReading, Target, Trial

_ROOMS = {
    "matcher.calibration.calibrate": ("calibrate",),
    "matcher.calibration.illumination": ("LightField",),
    "matcher.calibration.profile": (
        "CameraProfile",
        "best_profile",
    ),
    "matcher.calibration.profile_from_chart": ("profile_from_chart",),
    "matcher.calibration.references.reference": ("Reference",),
    "matcher.card.card": ("load_cards",),
    "matcher.card.detect": (
        "find_card",
        "neutral_patch",
    ),
    "matcher.colour.difference": ("delta_e_2000",),
    "matcher.colour.wording": ("difference_in_words",),
    "matcher.errors": ("MatcherError",),
    "matcher.instrument.files": ("read_targets",),
    "matcher.instrument.munsell": ("munsell_reading",),
    "matcher.photo.photo": ("open_photo",),
    "matcher.plan.inventory": ("AtHand",),
    "matcher.plan.limits": ("Limits",),
    "matcher.reading.advice": (
        "budget_table",
        "trust_sentence",
        "what_would_help",
    ),
    "matcher.reading.comparison": ("delta_e_interval",),
    "matcher.reading.difference_map": ("delta_e_map",),
    "matcher.reading.exposures": ("read_frames",),
    "matcher.reading.finish": ("read_finish",),
    "matcher.card.outline": ("propose_finishes",),
    "matcher.reading.reading": ("Reading",),
    "matcher.reading.texture": ("read_texture",),
    "matcher.recipe.recipe": (
        "Coat",
        "Recipe",
        "Seal",
        "Undercoat",
    ),
    "matcher.studio": ("Studio",),
    "matcher.suggest.suggester": ("Suggester",),
    "matcher.suggest.suggestion": (
        "Prediction",
        "Suggestion",
    ),
    "matcher.tags.search": (
        "Sighting",
        "find_plates",
    ),
    "matcher.trials.trial": (
        "StageReading",
        "Target",
        "Trial",
    ),
}

__all__ = [
    "AtHand",
    "CameraProfile",
    "Coat",
    "LightField",
    "Limits",
    "MatcherError",
    "Prediction",
    "Reading",
    "Recipe",
    "Reference",
    "Seal",
    "Sighting",
    "StageReading",
    "Studio",
    "Suggester",
    "Suggestion",
    "Target",
    "Trial",
    "Undercoat",
    "best_profile",
    "budget_table",
    "calibrate",
    "delta_e_2000",
    "delta_e_interval",
    "delta_e_map",
    "difference_in_words",
    "find_card",
    "find_plates",
    "load_cards",
    "munsell_reading",
    "neutral_patch",
    "open_photo",
    "profile_from_chart",
    "propose_finishes",
    "read_finish",
    "read_frames",
    "read_targets",
    "read_texture",
    "trust_sentence",
    "what_would_help",
]


def __getattr__(name: str) -> object:
    for room, names in _ROOMS.items():
        if name in names:
            return getattr(import_module(room), name)
    raise AttributeError(f"module 'matcher' has no attribute {name!r}")
