"""Finding a card in a photograph, or taking what a person marked for one.

A card that is not surely found is never guessed: CardError asks for its four corners. After ``cards`` and the
searches; gives a ``CardReading``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.card.card import OWN_DELTA_E00, Card, Patch, as_measured, check_grey, own_tolerance, shipped_cards
from matcher.card.reading import MIRRORED, CardReading, PatchReading, best_way_up, read_patches
from matcher.card.search import Candidate, Rectangles, find_charts, find_markers, find_plain, find_rectangles
from matcher.card.search_chart import charts_among, find_grids, mirrored
from matcher.card.search_grey_scale import steps_in_a_row
from matcher.card.warnings import blur_caveats, face_caveats, far_lab_caveats, light_caveats
from matcher.colour.cielab import checked_lab, lab_to_xyz
from matcher.colour.types import Floats
from matcher.errors import CardError, Caveat, ReadingError
from matcher.photo.photo import Photo
from matcher.photo.region import block_means, covariance_of_mean, pixels_inside, trimmed_mean

SEARCH_SIDE = 2000
SURE = 0.33  # a card below this confidence is not taken: no false find among 400 invented scenes, see the tests
RIVAL = 0.5  # nor a plain one whose runner-up has this share of its confidence
UNKNOWN_LIGHTNESS = 6.0
NEUTRAL_SPOT = "neutral spot"


def find_card(
    photo: Photo,
    kind: str | None = "grey card",
    corners: ArrayLike | None = None,
    lab: ArrayLike | None = None,
    cards: Mapping[str, Card] | None = None,
    measured_to: float = OWN_DELTA_E00,
) -> CardReading:
    """Find a card in a photograph and read its patches.

    Markers are looked for first, then a chart, then a plain rectangle.

    Parameters
    ----------
    photo : Photo
        The photograph, from ``open_photo``.
    kind : str or None
        The name of a card's definition; None for any. A "grey card" is also found in its carrier sheet.
    corners : array_like, shape (4, 2), optional
        x, y of the card's corners in pixels, in any order, when the person marked them; else they are searched for.
    lab : array_like, shape (3,) or (patches, 3), optional
        This card's own measured CIELAB, D50, 2 degrees; else its kind's nominal values.
    cards : mapping of str to Card, optional
        The definitions, by name; else those that travel with the package.
    measured_to : float, optional
        ΔE00 by which ``lab`` may be off.

    Returns
    -------
    CardReading
        The corners (4, 2) in pixels, clockwise from the card's own top left, the linear RGB of each patch, and what
        gives reason to doubt them.

    Raises
    ------
    CardError
        No card is surely found, or kind, corners or lab can't be used.

    Examples
    --------
    >>> from matcher.photo.photo import open_photo
    >>> from matcher.shipped import shipped
    >>> card = find_card(open_photo(shipped("demo_images") / "plate_daylight.jpg"))
    >>> card.found_by, card.corners.shape, card.patches[0].patch.name
    ('shape', (4, 2), 'grey')
    """
    known = shipped_cards() if cards is None else cards
    if kind is not None and kind not in known:
        raise CardError(f"Choose a card that is defined: {kind!r} is not among {', '.join(sorted(known))}.")
    if corners is not None:
        return card_at(
            photo, kind or "grey card", _checked_corners(corners, photo), lab=lab, cards=known, measured_to=measured_to
        )
    picture = photo.preview(SEARCH_SIDE)
    scale = np.array([photo.width / picture.shape[1], photo.height / picture.shape[0]])
    rectangles = cache(lambda: find_rectangles(picture))  # of several kinds of card: looked for once
    for card in _in_search_order(known, kind):
        found = _search(picture, card, rectangles)
        if found is not None:
            how = {"carrier": "markers", "chart": "chart"}.get(card.layout, "shape")
            in_photo = (found.corners + 0.5) * scale - 0.5
            read = _read(photo, as_measured(card, lab, measured_to), in_photo, found.confidence, how)
            return replace(read, caveats=(*read.caveats, *far_lab_caveats(card, lab)))
    title = "card" if kind is None else known[kind].title
    raise CardError(
        f"No {title} found for certain: mark its four corners, or retake the photo with it flat beside the finish."
    )


def card_at(
    photo: Photo,
    kind: str,
    corners: ArrayLike,
    found_by: str = "corners",
    lab: ArrayLike | None = None,
    cards: Mapping[str, Card] | None = None,
    measured_to: float = OWN_DELTA_E00,
) -> CardReading:
    """Read a card whose place in the photograph is known: as marked, or as an earlier reading found it.

    Parameters
    ----------
    photo : Photo
        The photograph.
    kind : str
        The name of the card's definition, or "neutral spot".
    corners : array_like, shape (4, 2)
        In pixels, clockwise from the card's own top left; of a neutral spot its outline, (n, 2).
    found_by : str
        As ``CardReading.found_by`` says it.
    lab, cards, measured_to : optional
        As for ``find_card``.

    Raises
    ------
    CardError
        The kind is not defined, the card lies outside the picture, or it can't be used.
    """
    known = shipped_cards() if cards is None else cards
    if kind == NEUTRAL_SPOT:
        return neutral_patch(photo, corners, lab, measured_to)
    if kind not in known:
        raise CardError(f"Choose a card that is defined: {kind!r} is not among {', '.join(sorted(known))}.")
    measured = as_measured(known[kind], lab, measured_to)
    reading = _read(photo, measured, np.asarray(corners, dtype=float), 1.0, found_by)
    marked = face_caveats(photo, reading) if found_by == "corners" else ()
    return replace(reading, caveats=(*reading.caveats, *far_lab_caveats(known[kind], lab), *marked))


def neutral_patch(
    photo: Photo, region: ArrayLike, lab: ArrayLike | None = None, measured_to: float = OWN_DELTA_E00
) -> CardReading:
    """Use something neutral that the person marked, outline (n, 2) pixels, as if it were a card.

    Without ``lab`` only its neutrality is taken as known, not its lightness, and the tolerance says so.
    """
    tolerance = own_tolerance(measured_to) if lab is not None else np.array([UNKNOWN_LIGHTNESS, 2.0, 2.5])
    try:
        seen = pixels_inside(photo, region)
        mean = trimmed_mean(seen)
        known = checked_lab(lab) if lab is not None else _as_exposed(photo, mean)
        if lab is not None:
            check_grey(known, "neutral spot")
    except ReadingError as error:
        raise CardError(str(error)) from error
    patch = Patch(NEUTRAL_SPOT, known, tolerance, (0.0, 0.0, 1.0, 1.0))
    card = Card(NEUTRAL_SPOT, "something neutral in the picture", "plain", "marked by the user", (1.0, 10.0), (patch,))
    card = card if lab is None else replace(card, measured_to=measured_to)
    box = np.array([seen.xy.min(axis=0), seen.xy.max(axis=0)])
    corners = np.array([box[0], [box[1][0], box[0][1]], box[1], [box[0][0], box[1][1]]])
    reading = PatchReading(
        patch, mean, covariance_of_mean(seen), block_means(seen), np.asarray(region, float), float(seen.clipped.mean())
    )
    caveat = Caveat(
        "no-card",
        "There is no reference card in this photo, only a spot taken as neutral: the reading is less certain.",
    )
    return CardReading(card, corners, 1.0, NEUTRAL_SPOT, (reading,), (caveat, *light_caveats((reading,))))


def _as_exposed(photo: Photo, rgb: Floats) -> Floats:
    """Return the CIELAB of a neutral that is as light as the camera's exposure shows it."""
    luminance = float(np.clip(photo.rgb_to_xyz[1] @ rgb, 1e-4, 1.0))
    return np.array([116 * np.cbrt(luminance) - 16 if luminance > 216 / 24389 else 903.3 * luminance, 0.0, 0.0])


def _in_search_order(cards: Mapping[str, Card], kind: str | None) -> list[Card]:
    order = ("carrier", "chart", "steps", "plain")
    if kind is None:
        wanted = list(cards.values())
    else:
        wanted = [cards[kind]]
        if cards[kind].layout == "plain":
            wanted += [card for card in cards.values() if card.layout == "carrier"]
    return sorted(wanted, key=lambda card: order.index(card.layout))


def _search(picture: NDArray[np.uint8], card: Card, rectangles: Callable[[], Rectangles]) -> Candidate | None:
    if card.carrier is not None:
        drawing = card.carrier
        found = find_markers(picture, drawing.dictionary, drawing.places(), drawing.outline())
        return found if found is not None and found.confidence >= SURE else None
    if card.layout == "chart":
        wanted = lab_to_xyz(np.array([patch.lab for patch in card.patches]))
        grids = find_grids(picture)
        found_charts = charts_among(grids, wanted) or find_charts(picture)
        charts = [item for item in found_charts if item.confidence >= SURE]
        if len(charts) > 1:
            raise CardError(f"There is more than one {card.title} here: photograph one alone, or mark its corners.")
        if not charts and charts_among(grids, mirrored(wanted)):
            raise CardError(MIRRORED)
        return charts[0] if charts else None
    if card.layout == "steps":
        return steps_in_a_row(find_plain(rectangles(), (0.6, 1.8)), card)
    plain = find_plain(rectangles(), card.sides)
    if not plain or plain[0].confidence < SURE:
        return None
    return None if len(plain) > 1 and plain[1].confidence > RIVAL * plain[0].confidence else plain[0]


def _checked_corners(corners: ArrayLike, photo: Photo) -> Floats:
    """Return four corners clockwise from the one nearest the picture's top left, or raise CardError."""
    try:
        points = np.array(corners, dtype=float)
    except (TypeError, ValueError):
        points = np.zeros(0)
    if points.shape != (4, 2) or not np.isfinite(points).all():
        raise CardError("Give the card's four corners, each as x,y in pixels.")
    size = np.array([photo.width, photo.height])
    if (points < -0.5 * size).any() or (points > 1.5 * size).any():
        raise CardError(f"Give the card's corners inside the picture, which is {photo.width} by {photo.height} pixels.")
    middle = points.mean(axis=0)
    angle = np.arctan2(points[:, 1] - middle[1], points[:, 0] - middle[0])
    around = points[np.argsort(angle)]
    turns = np.array([_cross(b - a, c - b) for a, b, c in _triples(around)])
    if (turns <= 0.5).any():
        raise CardError("Mark the card's four corners one by one: these four do not make a four-sided card.")
    first = int(np.argmin(around.sum(axis=1)))
    return np.roll(around, -first, axis=0)


def _triples(points: Floats) -> list[tuple[Floats, Floats, Floats]]:
    return [(points[k], points[(k + 1) % 4], points[(k + 2) % 4]) for k in range(4)]


def _cross(first: Floats, second: Floats) -> float:
    return float(first[0] * second[1] - first[1] * second[0])


def _read(photo: Photo, card: Card, corners: Floats, confidence: float, found_by: str) -> CardReading:
    if len(card.patches) == 1 and found_by != "markers":
        readings = read_patches(photo, card, corners, found_by)
    else:
        corners, readings = best_way_up(photo, card, corners, found_by)
    if not any(item.clipped_share < 0.5 for item in readings):
        raise CardError("The card is overexposed: retake the photo a stop or two darker, without glare on the card.")
    caveats = (*light_caveats(readings), *blur_caveats(photo, corners))
    return CardReading(card, corners, confidence, found_by, readings, caveats)
