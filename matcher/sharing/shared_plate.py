"""What leaves a studio when it shares a plate: these fields and no others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from matcher.colour.cielab import checked_lab
from matcher.colour.types import Floats
from matcher.dates import moment
from matcher.errors import MatcherError, StudioError
from matcher.recipe.recipe import Recipe
from matcher.storage.checked import line, uid_of
from matcher.trials.trial import Trial

FIELDS = ("studio_uid", "studio_title", "plate_uid", "lab", "covariance", "recipe", "shared_at")


@dataclass(frozen=True, eq=False)
class SharedPlate:
    """A plate as a studio shares it.

    lab: (3,) CIELAB under D50, of the finished plate. covariance: (3, 3) of it. recipe: None where only the colour is
    shared; it names no bottle.
    """

    studio_uid: str
    studio_title: str
    plate_uid: str
    lab: Floats
    covariance: Floats
    recipe: Recipe | None
    shared_at: datetime

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types: all that leaves the studio."""
        return {
            "studio_uid": self.studio_uid,
            "studio_title": self.studio_title,
            "plate_uid": self.plate_uid,
            "lab": self.lab.tolist(),
            "covariance": self.covariance.tolist(),
            "recipe": None if self.recipe is None else self.recipe.as_dict(),
            "shared_at": self.shared_at.astimezone(UTC).isoformat(),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> SharedPlate:
        """Take back what ``as_dict`` gave. Raises StudioError for anything else."""
        try:
            if set(data) != set(FIELDS):
                raise StudioError("Its fields are not those of a shared plate.")
            covariance = np.array(data["covariance"], dtype=float)
            if covariance.shape != (3, 3) or not np.isfinite(covariance).all() or not _is_covariance(covariance):
                raise StudioError("Its covariance is none.")
            return cls(
                studio_uid=uid_of(data["studio_uid"]),
                studio_title=line(data["studio_title"], "studio's title", required=True),
                plate_uid=uid_of(data["plate_uid"]),
                lab=checked_lab(data["lab"]),
                covariance=covariance,
                recipe=None if data["recipe"] is None else Recipe.from_dict(data["recipe"]),
                shared_at=moment(data["shared_at"]),
            )
        except (TypeError, ValueError, KeyError, AttributeError, MatcherError) as error:
            raise StudioError(f"This is no shared plate: {error}") from error


def to_share(trial: Trial, studio_uid: str, title: str, with_recipe: bool) -> SharedPlate:
    """Return what is shared of a plate: of its recipe the work alone, without the labels of our bottles."""
    return SharedPlate(
        studio_uid=studio_uid,
        studio_title=title,
        plate_uid=str(trial.uid),
        lab=trial.reading.lab,
        covariance=trial.reading.covariance,
        recipe=_without_bottles(trial.recipe) if with_recipe else None,
        shared_at=datetime.now(UTC),
    )


def _without_bottles(recipe: Recipe) -> Recipe:
    under = None if recipe.undercoat is None else replace(recipe.undercoat, stock=None)
    return replace(recipe, undercoat=under, coats=tuple(replace(coat, stock=None) for coat in recipe.coats))


def _is_covariance(matrix: Floats) -> bool:
    return bool(np.allclose(matrix, matrix.T) and np.linalg.eigvalsh(matrix).min() >= -1e-9)
