"""Which pixels of a finish are highlights rather than the finish itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats

LEAST_PURITY = 0.12  # below it a finish is grey, and a highlight shows by brightness alone


LEAST_SPREAD = 0.03  # of log brightness: no photographed finish is more even


def specular(light: Floats) -> NDArray[np.bool_]:
    """Tell which pixels (n,) of balanced linear RGB (n, 3) are highlights rather than the finish itself.

    A highlight is brighter than the body of the finish and takes the light's colour, which after white balance is
    neutral (dichromatic reflection: Shafer 1985, Color Res. Appl. 10(4)); burnished metal is brighter but keeps
    its colour. The body's spread is taken from its darker half, where no
    highlight reaches.
    """
    brightness = np.log(np.maximum(light.mean(axis=1), 1e-5))
    body = float(np.median(brightness))
    spread = max(1.4826 * float(np.median(body - brightness[brightness <= body])), LEAST_SPREAD)
    purity = 1 - light.min(axis=1) / np.maximum(light.max(axis=1), 1e-9)
    body_purity = float(np.median(purity[brightness <= body]))
    above = (brightness - body) / spread
    if body_purity < LEAST_PURITY:
        return np.asarray(above > 5)
    return np.asarray(((above > 1.2) & (purity < 0.75 * body_purity)) | ((above > 8) & (purity < 0.95 * body_purity)))
