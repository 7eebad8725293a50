"""A logged plate as one row of a list: swatch, small photograph, recipe in words, figures."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matcher.dates import SHORT, shown
from matcher.recipe.recipe import describe
from matcher.words import capital
from ui.escaped import escaped
from ui.show.swatches import field, figures

if TYPE_CHECKING:
    from matcher.trials.trial import Trial


def plate_row(trial: Trial, photograph: str = "") -> str:
    """Return a plate as HTML. photograph: an HTML image, or nothing."""
    mark = "" if trial.piece.casefold() == f"plate {trial.id}" else escaped(trial.piece)
    said = [f"<strong>Plate {trial.id}</strong>", mark, escaped(trial.made_by)]
    heading = " · ".join(part for part in (*said, shown(trial.made_at, SHORT)) if part)
    aside = f'<p class="pm-away">Set aside: {escaped(trial.set_aside)}</p>' if trial.set_aside is not None else ""
    recipe = escaped(describe(trial.recipe)).replace(" °C", "\u00a0°C")
    return (
        f'<div class="pm-row"><div class="pm-thumb">{field(trial.reading.lab, f"Plate {trial.id}")}{photograph}</div>'
        f"<div><p>{heading}</p><p>{capital(recipe)}</p>"
        f'<p class="pm-soft pm-figures">{figures(trial.reading.lab)}</p>{aside}</div></div>'
    )
