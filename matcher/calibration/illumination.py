"""How the light varies over a picture: from the card's face alone, from two cards, or from a flat-field photograph.

With one card nothing is corrected: what its face tells of a gradient only widens the interval, since carrying a
gradient on across the picture is as often wrong as right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matcher.card.reading import CardReading
from matcher.colour.cielab import lab_to_xyz
from matcher.colour.types import Floats
from matcher.colour.uncertainty import square_root
from matcher.errors import CardError, Caveat
from matcher.photo.camera import what_differs
from matcher.photo.photo import Photo

PLAIN_FALLOFF = 0.006  # of log light per length of the card, when nothing tells of a gradient
LOCAL_SIGMA = 0.005  # of log light from place to place within an otherwise even light
FLAT_FIELD_SIDE = 96
FLAT_FIELD_ROUGH = 0.06  # of log light: a flat field rougher than this has a shadow or something on it


@dataclass(frozen=True, eq=False)
class LightField:
    """Log light relative to the card: a polynomial in places about the card, divided by ``unit`` pixels.

    terms: (k, 2) exponents of x and y. coefficients (k,); root (k, p): their standard deviations along p causes.
    local_sigma: of log light beside the polynomial. found_by: "card face", "two cards" or "flat field".
    """

    origin: Floats
    unit: float
    terms: NDArray[np.int64]
    coefficients: Floats
    root: Floats
    local_sigma: float
    found_by: str
    caveats: tuple[Caveat, ...] = ()

    def _powers(self, places: Floats) -> Floats:
        away = (places - self.origin) / self.unit
        return np.stack([away[..., 0] ** i * away[..., 1] ** j for i, j in self.terms], axis=-1)

    def relative(self, places: Floats) -> Floats:
        """Return the light (...,) at places (..., 2), 1 where the card lies."""
        return np.asarray(np.exp(np.clip(self._powers(places) @ self.coefficients, -3, 3)))

    def effect(self, place: Floats) -> Floats:
        """Return how log light at a place (2,) moves per standard deviation of each cause (p,)."""
        effect = self._powers(place) @ self.root
        size = float(np.linalg.norm(effect))
        return np.asarray(effect * (min(size, 0.8) / size) if size > 0 else effect)

    @classmethod
    def from_card_face(cls, card: CardReading) -> LightField:
        """Take from one card's face how steep the light may be: no correction, only its uncertainty."""
        places, light = _face(card)
        origin, unit = places.mean(axis=0), max(float(np.ptp(places, axis=0).max()), 1.0)
        slope = np.zeros(2)
        sure = 3.0 if len(places) < 6 else 1.0
        if len(places) >= 6:
            design = np.column_stack([np.ones(len(places)), (places - origin) / unit])
            slope = np.linalg.lstsq(design, np.log(light), rcond=None)[0][1:]
        root = np.column_stack([PLAIN_FALLOFF * sure * np.eye(2), slope])
        return cls(origin, unit, np.array([[1, 0], [0, 1]]), np.zeros(2), root, LOCAL_SIGMA * sure, "card face")

    @classmethod
    def from_two_cards(cls, card: CardReading, second: CardReading) -> LightField:
        """Learn the slope of the light from two cards of the same kind, the second anywhere else in the picture.

        The slope along the line between them is measured; across it, only bounded. Raises CardError when the cards
        lie on one another or differ in colour, as under two lamps of different colour.
        """
        (here, light_here), (there, light_there) = _face(card), _face(second)
        origin, unit = here.mean(axis=0), max(float(np.ptp(here, axis=0).max()), 1.0)
        along = (there.mean(axis=0) - origin) / unit
        distance = float(np.linalg.norm(along))
        if distance < 0.8:
            raise CardError("The two cards lie on one another: mark the second card apart from the first.")
        first_rgb, second_rgb = card.neutrals[0].rgb, second.neutrals[0].rgb
        ratio = second_rgb / first_rgb
        if float(np.ptp(np.log(ratio))) > 0.15:
            raise CardError("The two cards show different colours: light the bench by one kind of lamp.")
        along = along / distance
        across = np.array([-along[1], along[0]])
        slope = float(np.log(light_there.mean() / light_here.mean())) / distance
        places = np.concatenate([(here - origin) / unit, (there - origin) / unit])
        leveled = np.concatenate([np.log(light_here / light_here.mean()), np.log(light_there / light_there.mean())])
        halves = np.concatenate([np.zeros(len(here)), np.ones(len(there))])
        side = places @ across - np.where(
            halves == 0, (places @ across)[halves == 0].mean(), (places @ across)[halves == 1].mean()
        )
        steep = float(side @ leveled / max(float(side @ side), 1e-9))
        coefficients = slope * along + steep * across
        root = np.column_stack(
            [0.15 * abs(slope) * along + 0.01 * along / distance, (0.5 * abs(steep) + PLAIN_FALLOFF) * across]
        )
        return cls(origin, unit, np.array([[1, 0], [0, 1]]), coefficients, root, LOCAL_SIGMA, "two cards")

    @classmethod
    def from_flat_field(cls, flat: Photo, card: CardReading, picture: Photo) -> LightField:
        """Learn the light from a photograph of a sheet of even paper in the plate's place, same camera position.

        A smooth surface of second degree is fitted to log light, robustly. Raises CardError when the picture has
        another shape, was taken with another camera or lens, is over- or underexposed, or is rough as with a shadow
        or something lying on it.
        """
        if what_differs(flat.camera, picture.camera):
            raise CardError(
                "The photograph of the paper is by another camera or lens: take both with the same, from one place."
            )
        if abs(np.log(flat.width / flat.height) - np.log(picture.width / picture.height)) > 0.02:
            raise CardError("The photograph of the paper has another shape: take both from the same place.")
        scale = picture.width / flat.width
        step = max(1, max(flat.width, flat.height) // FLAT_FIELD_SIDE)
        light, clipped = flat.linear(None, step).mean(axis=2), flat.clipped(None, step)
        if clipped.mean() > 0.02 or float(np.median(light)) < 0.02:
            raise CardError(
                "The photograph of the paper is over- or underexposed: take it so that the paper is a light grey."
            )
        rows, columns = np.indices(light.shape)
        places = np.stack([columns, rows], axis=-1).reshape(-1, 2) * step * scale
        values = np.log(np.maximum(light, 1e-4)).ravel()
        origin = _face(card)[0].mean(axis=0)
        unit = float(max(picture.width, picture.height)) / 2
        terms = np.array([[1, 0], [0, 1], [2, 0], [1, 1], [0, 2]])
        blank = cls(origin, unit, terms, np.zeros(5), np.zeros((5, 1)), 0.0, "flat field")
        design = np.column_stack([np.ones(len(places)), blank._powers(places)])
        weights = np.ones(len(values))
        found = np.zeros(6)
        for _ in range(8):
            found = np.linalg.lstsq(design * weights[:, None], values * weights, rcond=None)[0]
            left = np.abs(values - design @ found)
            weights = np.minimum(1.0, 1.5 * np.median(left) / np.maximum(left, 1e-9)) ** 0.5
        rough = float(np.quantile(np.abs(values - design @ found), 0.95))
        if rough > FLAT_FIELD_ROUGH:
            raise CardError("The paper has a shadow or something on it: photograph a bare, flat sheet of paper.")
        covariance = np.linalg.inv(design.T @ design)[1:, 1:] * max(rough, 0.005) ** 2 * 50
        return cls(origin, unit, terms, found[1:], square_root(covariance), LOCAL_SIGMA + rough / 4, "flat field")


def _face(card: CardReading) -> tuple[Floats, Floats]:
    """Return places (n, 2) and light (n,) of the parts of a card's largest patch, as a perfect white would show it."""
    if not card.neutrals:
        raise CardError("The card is over- or underexposed: retake the photo so that its grey is a middle grey.")
    item = max(card.neutrals, key=lambda patch: len(patch.blocks[0]))
    places, rgb = item.blocks
    return places, np.maximum(rgb.mean(axis=1), 1e-6) / float(lab_to_xyz(item.patch.lab)[1])
