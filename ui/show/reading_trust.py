"""How far a reading can be trusted, on the page: one sentence, what would help most, and what the ± is made of.

Sizes and words come from ``matcher.reading.advice``; here they are only set.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import streamlit as st

from matcher.words import capital
from ui.escaped import escaped

if TYPE_CHECKING:
    from matcher.reading.advice import Contribution
    from matcher.reading.reading import Reading

MOST_HELPS = 2


def show_trust(reading: Reading, offer: Callable[[], bool] | None = None) -> None:
    """Say how far a reading can be trusted, and what would help most, with figures.

    offer: shows something else that would help, before that, and tells whether it did.
    """
    from matcher.reading.advice import trust_sentence, what_would_help

    said, most = f"<p>{escaped(trust_sentence(reading))}</p>", "would help most"
    if offer is not None:
        st.html(f'<div class="pm-trust">{said}</div>')
        said, most = "", "else would help" if offer() else most
    helps = what_would_help(reading, MOST_HELPS)
    if helps:
        items = "".join(f"<li>{escaped(capital(item.words))}</li>" for item in helps)
        said += f'<p class="pm-soft pm-over">What {most} (± in ΔE00)</p><ul class="pm-steps">{items}</ul>'
    if said:
        st.html(f'<div class="pm-trust">{said}</div>')


def show_budget(reading: Reading) -> None:
    """Fold away the causes of a reading's uncertainty, each with its reach and what would shrink it."""
    from matcher.reading.advice import budget_in_short, reach_of

    parts = budget_in_short(reading)
    if not parts:
        return
    with st.expander("What the ± is made of"):
        most = parts[0].delta_e00
        rows = "".join(_row(part, part.delta_e00 / most if most > 0 else 0.0) for part in parts)
        st.html(
            f'<ul class="pm-parts">{rows}</ul>'
            f'<p class="pm-soft">In ΔE00. Squared, they add up to the square of ±{reach_of(reading):.1f}, so '
            "only the longest bars are worth shortening.</p>"
        )


def _row(part: Contribution, share: float) -> str:
    remedy = f"<small>{escaped(capital(part.remedy))}.</small>" if part.remedy else ""
    return (
        f"<li><span>{escaped(capital(part.why))}</span><b>±{part.delta_e00:.1f}</b>"
        f'<i aria-hidden="true"><i style="width: {100 * share:.1f}%"></i></i>{remedy}</li>'
    )
