"""The photograph of the plate that was logged last, once more: for another plate that it shows, with card and answers.

Of several plates beside one card each is recorded by itself; what was marked for one is drawn and not proposed again.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError
from ui.draw import Fixed, Shape
from ui.photograph.intake import PHOTOGRAPH_FIELDS
from ui.show.literal import literal
from ui.state.drafts import Draft

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.trials.trial import Trial

FORM = "photograph of the last plate"
LOGGED_AREAS = "logged_areas"
"""Of a form: the outlines in its photograph that are logged already, each with its plate's number."""
_OF_ONE_FINISH = ("finishes", "chosen", LOGGED_AREAS)


def keep_photograph(studio: Studio, draft: Draft, trial: Trial) -> None:
    """Keep what a form says of its photograph, when the plate was read in one: another plate may lie in it."""
    kept = Draft(studio, FORM)
    if trial.reading.photo is None or draft.get("photo") != trial.reading.photo:
        kept.drop()
        return
    fields = {name: draft.get(name) for name in PHOTOGRAPH_FIELDS if name not in _OF_ONE_FINISH}
    region = trial.reading.region
    corners = [] if region is None else [[float(x), float(y)] for x, y in region]
    areas = [*(draft.get(LOGGED_AREAS) or ()), {"plate": trial.id, "outline": corners}]
    kept.forget(tuple(kept.values))
    kept.set(**{name: value for name, value in fields.items() if value is not None}, **{LOGGED_AREAS: areas})


def offer_photograph(studio: Studio, draft: Draft) -> None:
    """Offer the photograph of the last plate to a form that has none yet."""
    kept = Draft(studio, FORM)
    areas: list[dict[str, Any]] = kept.get(LOGGED_AREAS) or []
    if not areas or not _there(studio, str(kept.get("photo"))):
        return
    label = f"Does the photograph of plate {areas[-1]['plate']} show it too? Use it again"
    if st.button(literal(label), type="tertiary", key=f"{draft.form}.once-more"):
        draft.forget(PHOTOGRAPH_FIELDS)
        draft.set(**kept.values)
        st.rerun()


def logged_areas(draft: Draft) -> tuple[Shape, ...]:
    """Return the outlines in a form's photograph that are logged already."""
    return tuple(Shape("outline", _points(area["outline"])) for area in draft.get(LOGGED_AREAS) or ())


def logged_drawn(draft: Draft) -> list[Fixed]:
    """Return them as they are drawn on the picture, with the plates' numbers."""
    return [Fixed(_points(area["outline"]), f"Plate {area['plate']}") for area in draft.get(LOGGED_AREAS) or ()]


def _points(outline: Iterable[Iterable[float]]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in outline)


def _there(studio: Studio, sha256: str) -> bool:
    try:
        studio.photo_path(sha256)
    except MatcherError:
        return False
    return True
