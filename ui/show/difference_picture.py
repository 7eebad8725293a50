"""Where two finishes differ, drawn in greys: the lighter the nearer, so that nothing tints the eye or needs hues told.

The map and its bands come from ``matcher``; spots without a value are striped.
"""

from __future__ import annotations

import base64
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from matcher.words import percent

if TYPE_CHECKING:
    from collections.abc import Sequence

GREYS = (246, 206, 158, 84, 16)
"""One for each band, as the screen shows them; each step is plain to see, also to the colour-blind."""
CELL_PX = 6
SHOWN_WIDTH = 560


def difference_picture(bands: Any, shares: Sequence[float]) -> str:
    """Return the map of bands (h, w) with its legend as HTML."""
    height, width = bands.shape
    low = f"aspect-ratio: {width} / {height}; max-width: {SHOWN_WIDTH}px"
    return (
        f'<div class="pm-mat"><img class="pm-map" style="{low}" src="{_as_data(bands)}" '
        'alt="Where the two finishes differ, from light for no difference to black for a large one"></div>'
        f"{_legend(bands, shares)}"
    )


def _as_data(bands: Any) -> str:
    import cv2
    import numpy as np

    cells = np.array(GREYS, dtype=np.uint8)[np.maximum(bands, 0)]
    large = np.kron(cells, np.ones((CELL_PX, CELL_PX), np.uint8))
    rows, columns = np.indices(large.shape)
    stripes = np.where((rows + columns) % CELL_PX < CELL_PX // 2, 110, 190).astype(np.uint8)
    unknown = np.kron(bands < 0, np.ones((CELL_PX, CELL_PX), bool))
    _, coded = cv2.imencode(".png", np.where(unknown, stripes, large))
    return "data:image/png;base64," + base64.b64encode(coded.tobytes()).decode("ascii")


def _legend(bands: Any, shares: Sequence[float]) -> str:
    from matcher.reading.difference_map import BANDS

    limits = [f"under {BANDS[0]:g}", *(f"{low:g} to {high:g}" for low, high in pairwise(BANDS))]
    limits.append(f"over {BANDS[-1]:g}")
    rows = "".join(
        f'<li><i style="background: rgb({grey}, {grey}, {grey})"></i><b>{percent(share)}</b>'
        f"<span>ΔE00 {limit}</span></li>"
        for grey, share, limit in zip(GREYS, shares, limits, strict=True)
    )
    if (bands < 0).any():
        rows += '<li><i class="out"></i><b></b><span>left out: glare</span></li>'
    return f'<ul class="pm-bands">{rows}</ul>'
