"""The trial log: what was tried, with which photographs, and what came of it; kept in a folder or a database.

Takes recipes and readings in, gives trials and targets to the suggestions. `matcher.studio.Studio` is the door.
"""

from matcher.trials.facts import TypedFacts, facts_of
from matcher.trials.trial import StageReading, Target, Trial

__all__ = ["StageReading", "Target", "Trial", "TypedFacts", "facts_of"]
