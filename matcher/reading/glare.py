"""Which pixels of a finish show the lamp rather than the finish: what was added to its body has the lamp's colour.

Between calibration and the reading. A surface mirrors the lamp on top of its own colour, so that glare adds light of
the lamp's colour to the body's (dichromatic reflection: Shafer 1985, Color Res. Appl. 10(4)); after white balance that
is neutral. Verdigris, straw or bare metal add a colour of their own, and are the finish. A white bloom adds neutral
light too: one photograph can't tell it from glare, so that the difference is for the uncertainty budget.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.colour.types import Floats, Mask

PaleSpots = Literal["unknown", "glare", "finish"]
PALE_SPOTS: tuple[PaleSpots, ...] = ("unknown", "glare", "finish")
"""What a person knows of light of the lamp's colour on a finish."""

SHADING = 0.3
"""Share of the body by which its own brightness may differ where something was added to it."""
TINT = 0.12
"""Root mean square of the added light over the channels, about its mean and relative to it, up to which it has the
lamp's colour: a lamp mirrored may differ a little from all the light that fell on the card. Of 25 invented mottles
that add a colour of their own, all but a cream on tan are beyond 0.16."""
BEYOND_WHITE = 1.15
"""Of a perfect white: nothing but a mirrored lamp is brighter, uneven light allowed for."""
LEAST_ADDED_SDS, LEAST_ADDED = 4.0, 0.1
"""Light counts as added from so many standard deviations of the body's own, and from this share of the body on."""
WHITER_THAN_BLOOM = 0.8
"""Of a perfect white, L* 92: a patch that is so light by and large is no bloom (common practice, no source)."""
PLATEAU = 0.6
"""Median of the added light over its 95th percentile, above which it is of one brightness, as spots of bloom are; a
lamp's image falls off from its middle."""
LARGE_PATCH = 0.05
"""Radius of a disc, as a share of the shorter side of a region, that fits into a lamp's image but not into spots."""
FEWEST_BODY_PIXELS = 4
SHINES = 0.01
"""Share of a region that is glare for sure, from which on its finish is taken to shine."""


@dataclass(frozen=True, eq=False)
class Glare:
    """What of n pixels is glare.

    sure: (n,) brighter than any finish, or overexposed. doubtful: (n,) of the lamp's colour, which glare adds, and
    bloom too. likely: whether the doubtful part falls off, or is large, as a lamp's image is;
    spots of one brightness are not.
    """

    sure: Mask
    doubtful: Mask
    likely: bool

    def left_out(self, pale_spots: PaleSpots = "unknown") -> Mask:
        """Return (n,) what is not averaged, by what is known of it."""
        out = self.likely if pale_spots == "unknown" else pale_spots == "glare"
        return self.sure | self.doubtful if out else self.sure

    def shines(self, pale_spots: PaleSpots = "unknown") -> bool:
        """Tell whether the finish is shown to mirror its lamp; what may as well be bloom shows nothing."""
        shown = self.left_out("glare") if pale_spots == "glare" else self.sure
        return float(shown.mean()) > SHINES


def find_glare(places: Floats, light: Floats, clipped: Mask) -> Glare:
    """Tell which pixels of a finish are glare.

    places: (n, 2) pixels on a grid, each or every k-th. light: (n, 3) balanced linear RGB, 1 for a perfect white.
    clipped: (n,) overexposed. The body is the mean of the darker half, where no glare reaches unless it covers more.
    """
    brightness = light.mean(axis=1)
    shown = ~clipped
    none = np.zeros(len(light), dtype=bool)
    if shown.sum() < FEWEST_BODY_PIXELS:
        return Glare(clipped, none, likely=True)
    darker = shown & (brightness <= np.median(brightness[shown]))
    body = np.maximum(light[darker].mean(axis=0), 1e-6)
    added, tint = _added(light, body)
    own_sd = 1.4826 * float(np.median(np.abs(added[darker] - np.median(added[darker]))))
    noise = float(np.sqrt(np.mean(np.square(tint[darker])))) * np.sqrt(np.maximum(brightness / body.mean(), 1.0))
    neutral = (added > max(LEAST_ADDED_SDS * own_sd, LEAST_ADDED * float(body.mean()))) & (tint < TINT * added + noise)
    sure = _reaching_beyond_white(places, light.max(axis=1), neutral | clipped, clipped)
    doubtful = neutral & ~sure
    likely = bool(doubtful.any()) and _as_a_lamp(places, added, doubtful)
    return Glare(sure, doubtful, likely)


def _as_a_lamp(places: Floats, added: Floats, doubtful: Mask) -> bool:
    """Tell whether what was added falls off as a lamp's image does, or lies in few large patches and not in spots."""
    falls_off = float(np.median(added[doubtful])) < PLATEAU * float(np.quantile(added[doubtful], 0.95))
    picture, _ = _laid_out(places, doubtful)
    radius = max(1, round(LARGE_PATCH * min(picture.shape)))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    large = cv2.morphologyEx(picture, cv2.MORPH_OPEN, disc)
    return falls_off or float(large.sum()) > 0.5 * float(picture.sum())


def _laid_out(places: Floats, chosen: Mask) -> tuple[NDArray[np.uint8], NDArray[np.intp]]:
    """Return a picture (h, w) that is 1 where a pixel is chosen, and the column and row (n, 2) of every pixel in it."""
    steps = np.diff(np.unique(places[:, 0]))
    cells = np.rint((places - places.min(axis=0)) / (float(steps.min()) if len(steps) else 1.0)).astype(np.intp)
    picture = np.zeros(cells.max(axis=0)[::-1] + 1, np.uint8)
    picture[cells[chosen, 1], cells[chosen, 0]] = 1
    return picture, cells


def _added(light: Floats, body: Floats) -> tuple[Floats, Floats]:
    """Return the neutral light (n,) added to the body (3,), and what else was added, as a root mean square (n,).

    By least squares on the body's colour and the lamp's; the body itself may be shaded a little.
    """
    difference = light - body
    shade = np.clip(difference @ np.linalg.pinv(np.column_stack([body, np.ones(3)]))[0], -SHADING, SHADING)
    rest = difference - shade[:, None] * body
    added = rest.mean(axis=1)
    return added, np.sqrt(np.mean(np.square(rest - added[:, None]), axis=1))


def _reaching_beyond_white(places: Floats, brightest: Floats, lit: Mask, clipped: Mask) -> Mask:
    """Return the lit pixels (n,) of every patch that is brighter somewhere than any finish, and the clipped ones."""
    if not lit.any():
        return clipped
    picture, cells = _laid_out(places, lit)
    many, labels = cv2.connectedComponents(cv2.morphologyEx(picture, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)))
    own = labels[cells[:, 1], cells[:, 0]]
    peak = np.zeros(many)
    np.maximum.at(peak, own, brightest)
    pale = np.bincount(own, lit & (brightest >= WHITER_THAN_BLOOM), many) > 0.5 * np.bincount(own, lit, many)
    beyond = (peak >= BEYOND_WHITE) | pale
    return np.asarray((lit & beyond[own]) | clipped)


SMOOTH = 0.75
"""Share of the blocks' variance of added light that a surface of second degree explains, from which it is one lamp's
wide image: an invented window leaves it 0.94, mottle spread over a tenth of the region 0.44, and a stippled plate of
the demo 0.62."""
FEWEST_BLOCKS = 16


def wide_glare(places: Floats, light: Floats) -> float:
    """Return the neutral light, 1 for a perfect white, that a wide image of a lamp adds on average over a finish.

    places: (m, 2) and light: (m, 3) of the blocks that a region is cut into. Counted from the least lit block, so that
    what lies evenly over all of them does not show. 0 where no wide image is seen.
    """
    if len(places) < FEWEST_BLOCKS:
        return 0.0
    body = np.maximum(light[np.argmin(light.mean(axis=1))], 1e-6)
    # where body and lamp have one colour, uneven light is the likelier cause of a difference: it comes first
    columns = np.column_stack([10 * body / np.linalg.norm(body), np.ones(3)])
    share, added = np.linalg.pinv(columns) @ (light - body).T
    if np.sqrt(np.mean(np.square((light - body) - np.outer(share, columns[:, 0]) - added[:, None]))) > TINT * max(
        float(np.ptp(added)), 1e-9
    ):
        return 0.0
    x, y = ((places - places.mean(axis=0)) / np.maximum(np.ptp(places, axis=0), 1.0)).T
    surface = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    fitted = surface @ np.linalg.lstsq(surface, added, rcond=None)[0]
    if np.var(fitted) < SMOOTH * np.var(added):
        return 0.0
    return max(0.0, float(np.mean(added) - np.min(added)))


ROOM_MIRRORED = 0.01
"""Root mean square of the light, 1 for a perfect white, that a finish which shines mirrors of a room without lamp or
window. Wax and lacquer, of refractive index 1.44 to 1.5, mirror about 4 to 5 % at 45 degrees (Fresnel); walls of a
reflectance of 0.5 to 0.8 get 75 to 200 lx where a task gets 500 (EN 12464-1, from memory), and so are 0.08 to 0.32 as
bright as a white there: together 0.003 to 0.016."""


def room_mirrored(light: Floats) -> float:
    """Return the standard deviation of the light, 1 for a perfect white, that a finish which shines mirrors evenly.

    light: (m, 3) of the blocks that a region is cut into, m at least 1. No more can have been added than there is
    where the finish is darkest: between nothing and that, all is as likely (JCGM 100, 4.3.7).
    """
    darkest = max(float(light.mean(axis=1).min()), 0.0)
    return min(ROOM_MIRRORED, darkest / float(np.sqrt(3.0)))
