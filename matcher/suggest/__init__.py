"""What to try: the nearest logged plates to a target, the recipes between them, and the plate to make next."""

from matcher.suggest.advice import Advice, Change
from matcher.suggest.batch import heat_steps, pass_steps, starting_set
from matcher.suggest.bench_path import BenchPath
from matcher.suggest.contradictions import Contradiction
from matcher.suggest.honesty import Honesty
from matcher.suggest.limits import Limits, way_out
from matcher.suggest.means import Means, means_of, one_alloy
from matcher.suggest.palettes import MottledRecipe, PaletteMatch, is_mottled, palette_distance, palette_of
from matcher.suggest.process_model import ProcessModel, fit_process
from matcher.suggest.reach import Reach
from matcher.suggest.seal_shift import SealShift, learn_seal_shift
from matcher.suggest.suggester import Suggester
from matcher.suggest.suggestion import Suggestion

__all__ = [
    "Advice",
    "BenchPath",
    "Change",
    "Contradiction",
    "Honesty",
    "Limits",
    "Means",
    "MottledRecipe",
    "PaletteMatch",
    "ProcessModel",
    "Reach",
    "SealShift",
    "Suggester",
    "Suggestion",
    "fit_process",
    "heat_steps",
    "is_mottled",
    "learn_seal_shift",
    "means_of",
    "one_alloy",
    "palette_distance",
    "palette_of",
    "pass_steps",
    "starting_set",
    "way_out",
]
