"""A logged plate as the process model and the plans need it: a recipe and the reading that it gave."""

from __future__ import annotations

from typing import Protocol

from matcher.reading.reading import Reading
from matcher.recipe.recipe import Recipe


def is_checked(trial: LoggedTrial) -> bool:
    """Tell whether somebody checked a plate and says that it is right: then no chance of a mistake is allowed for."""
    return getattr(trial, "checked", None) is not None


class LoggedTrial(Protocol):
    """What a trial must have to be ranked; ``matcher.trials.Trial`` has it."""

    @property
    def recipe(self) -> Recipe: ...
    @property
    def reading(self) -> Reading: ...
    @property
    def id(self) -> int | None: ...
    @property
    def set_aside(self) -> str | None: ...
