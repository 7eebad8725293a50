"""Match a bronze patina: read a finish's colour from a photograph, rank the studio's trials, learn from each plate.

The public names load on first use, so that a command that needs few of them starts quickly.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matcher.calibrating import calibrate
    from matcher.camera_profile import CameraProfile
    from matcher.card_in_photo import find_card, neutral_patch
    from matcher.cards import load_cards
    from matcher.chart_profile import profile_from_chart
    from matcher.difference import delta_e_2000, delta_e_interval, difference_in_words
    from matcher.difference_map import delta_e_map
    from matcher.errors import MatcherError
    from matcher.finish import Reading, read_finish
    from matcher.frames import read_frames
    from matcher.light_field import LightField
    from matcher.photo import open_photo
    from matcher.profile_choice import best_profile
    from matcher.recipe import Coat, Recipe, Seal, Undercoat
    from matcher.studio import Studio
    from matcher.suggest import Limits, Suggester, Suggestion
    from matcher.targets_from import munsell_reading, read_targets
    from matcher.texture import read_texture
    from matcher.trials.trial import StageReading, Target, Trial
    from matcher.what_helps import budget_table, trust_sentence, what_would_help

_ROOMS = {
    "matcher.calibrating": ("calibrate",),
    "matcher.camera_profile": ("CameraProfile",),
    "matcher.card_in_photo": ("find_card", "neutral_patch"),
    "matcher.cards": ("load_cards",),
    "matcher.chart_profile": ("profile_from_chart",),
    "matcher.difference": ("delta_e_2000", "delta_e_interval", "difference_in_words"),
    "matcher.difference_map": ("delta_e_map",),
    "matcher.errors": ("MatcherError",),
    "matcher.finish": ("Reading", "read_finish"),
    "matcher.frames": ("read_frames",),
    "matcher.light_field": ("LightField",),
    "matcher.photo": ("open_photo",),
    "matcher.profile_choice": ("best_profile",),
    "matcher.recipe": ("Coat", "Recipe", "Seal", "Undercoat"),
    "matcher.studio": ("Studio",),
    "matcher.suggest": ("Limits", "Suggester", "Suggestion"),
    "matcher.targets_from": ("munsell_reading", "read_targets"),
    "matcher.texture": ("read_texture",),
    "matcher.trials.trial": ("StageReading", "Target", "Trial"),
    "matcher.what_helps": ("budget_table", "trust_sentence", "what_would_help"),
}

__all__ = [
    "CameraProfile",
    "Coat",
    "LightField",
    "Limits",
    "MatcherError",
    "Reading",
    "Recipe",
    "Seal",
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
    "load_cards",
    "munsell_reading",
    "neutral_patch",
    "open_photo",
    "profile_from_chart",
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
