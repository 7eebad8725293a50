"""What to try: the nearest logged plates to a target."""

from matcher.suggest.limits import Limits
from matcher.suggest.suggester import Suggester
from matcher.suggest.suggestion import Suggestion

__all__ = ["Limits", "Suggester", "Suggestion"]
