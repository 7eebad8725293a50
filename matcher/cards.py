"""Reference cards: what is known of each, and finding and reading one in a photograph.

Definitions are data in ``reference_cards/*.toml``. A card that is not surely found is never guessed: CardError
asks for its four corners.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.card_search import Candidate, find_charts, find_markers, find_plain, project, signed_area, unit_to
from matcher.chart_grid import find_chart_grids
from matcher.cielab import checked_lab, encode_srgb, lab_to_xyz
from matcher.errors import CardError, Caveat, ReadingError, fault_in_words
from matcher.photo import Photo
from matcher.regions import block_means, covariance_of_mean, pixels_inside, trimmed_mean
from matcher.shipped import shipped

Floats = NDArray[np.float64]

SEARCH_SIDE = 2000
SURE = 0.33  # a card below this confidence is not taken: no false find among 400 invented scenes, see the tests
RIVAL = 0.5  # nor a plain one whose runner-up has this share of its confidence
OWN_TOLERANCE = (0.3, 0.2, 0.2)  # standard uncertainty of a studio's own measurement of its card (from memory)
NEUTRAL_CHROMA = 3.5
BLUR_SHARE = 0.05  # an edge wider than this share of the card is blurred
MIRRORED = "The photo is mirrored, as in a looking-glass: turn that off in the camera, and take the photo again."
MANY_PATCHES = 12
CONTRAST = (0.4, 2.5)  # of a card's steps in log light, over what the picture shows of them, for any camera's tones
BLACK = 3.0  # L*
FAR_FROM_KIND = 12.0  # CIELAB
MOTTLED, SPOTTED = 0.05, 0.025
"""Spread of the tints over a face, in log light, at which it is no card, and may be none: on the demo's cards up to
0.017 (a shadow's edge), on its finishes 0.02 to 0.2."""
COLOURED = 0.5  # of log balance: a card's own tint, and what it has more of it than the rest of the picture
DARK, FEWEST_BLOCKS = 0.01, 12  # below them noise makes tints of its own
DOUBTFUL = "card-doubtful"
MISFIT = 0.4  # a chart read the wrong way round leaves 0.7 or more, the right way 0.05 to 0.25


@dataclass(frozen=True, eq=False)
class Patch:
    """One patch of a card: lab (3,) D50; tolerance (3,) standard uncertainty; box: left, top, right, bottom
    as shares of the card's width and height."""

    name: str
    lab: Floats
    tolerance: Floats
    box: tuple[float, float, float, float]

    @property
    def neutral(self) -> bool:
        return bool(np.hypot(self.lab[1], self.lab[2]) < NEUTRAL_CHROMA)


@dataclass(frozen=True, eq=False)
class Card:
    """A reference card. layout: "plain", "steps", "chart" or "carrier"; carrier: its drawing in mm, or None. own: the
    name of the very card whose measured values these are, None for nominal values."""

    name: str
    title: str
    layout: Literal["plain", "steps", "chart", "carrier"]
    source: str
    sides: tuple[float, float]
    patches: tuple[Patch, ...]
    carrier: Carrier | None = None
    columns: int = 1
    own: str | None = None

    def with_lab(self, lab: ArrayLike, own: str | None = None) -> Card:
        """Return this card with its own measured CIELAB: (3,) for its grey, or (patches, 3); ``own`` names it."""
        values = np.array(lab, dtype=float)
        if values.ndim == 1 and len(self.patches) == 1:
            values = values[None]
        if values.shape != (len(self.patches), 3):
            raise CardError(f"Give L*, a*, b* for each of the {len(self.patches)} patches of the {self.title}.")
        measured = [checked_lab(row) for row in values]
        patches = tuple(
            replace(patch, lab=row, tolerance=np.array(OWN_TOLERANCE))
            for patch, row in zip(self.patches, measured, strict=True)
        )
        name = own or f"{self.name} at {np.round(values[0], 2).tolist()}"
        return replace(self, patches=patches, source=f"measured by the studio ({self.title})", own=name)


@dataclass(frozen=True, eq=False)
class Carrier:
    """The printed sheet around a card, in mm from its top left: size, marker dictionary, marker corners, window."""

    sheet_mm: tuple[float, float]
    dictionary: str
    marker_mm: float
    markers: Mapping[int, tuple[float, float]]
    window_mm: tuple[float, float, float, float]

    def places(self) -> dict[int, Floats]:
        """Return each marker's four corners (4, 2) in mm, from its top left, clockwise."""
        square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * self.marker_mm
        return {number: np.array(at) + square for number, at in self.markers.items()}

    def outline(self) -> Floats:
        """Return the sheet's corners (4, 2) in mm."""
        return np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * np.array(self.sheet_mm)


@dataclass(frozen=True, eq=False)
class PatchReading:
    """What a photograph shows of a patch.

    rgb (3,): mean linear light; covariance (3, 3) of that mean; blocks: places (m, 2) and rgb (m, 3) of parts of
    the patch, for judging the light over it; outline (4, 2) pixels; clipped_share 0 to 1.
    """

    patch: Patch
    rgb: Floats
    covariance: Floats
    blocks: tuple[Floats, Floats]
    outline: Floats
    clipped_share: float

    @property
    def unevenness(self) -> float:
        """Spread of brightness over the patch: 5th to 95th percentile of its blocks, as a share of the mean."""
        brightness = self.blocks[1].sum(axis=1)
        low, high = np.quantile(brightness, [0.05, 0.95])
        return float((high - low) / max(brightness.mean(), 1e-9))


@dataclass(frozen=True, eq=False)
class CardReading:
    """A card in a photograph: corners (4, 2) pixels, clockwise from the card's own top left; confidence 0 to 1;
    found_by: "markers", "chart", "shape", "corners" or "neutral spot"."""

    card: Card
    corners: Floats
    confidence: float
    found_by: str
    patches: tuple[PatchReading, ...]
    caveats: tuple[Caveat, ...] = ()

    @property
    def neutrals(self) -> tuple[PatchReading, ...]:
        """The neutral patches that can be used: neither clipped nor black."""
        return tuple(
            item for item in self.patches if item.patch.neutral and item.clipped_share < 0.2 and item.rgb.min() > 0
        )

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {
            "kind": self.card.name,
            "title": self.card.title,
            "source": self.card.source,
            "corners": self.corners.tolist(),
            "confidence": self.confidence,
            "found_by": self.found_by,
            "patches": [
                {"name": item.patch.name, "lab": item.patch.lab.tolist(), "linear_rgb": item.rgb.tolist()}
                for item in self.patches
            ],
        }


def load_cards(folder: Path | None = None) -> dict[str, Card]:
    """Return the card definitions in ``folder`` (default: those that travel with the package), by name."""
    where = shipped("reference_cards") if folder is None else folder
    return {card.name: card for card in (_read_card(path) for path in sorted(where.glob("*.toml")))}


def find_card(
    photo: Photo,
    kind: str | None = "grey card",
    corners: ArrayLike | None = None,
    lab: ArrayLike | None = None,
    cards: Mapping[str, Card] | None = None,
) -> CardReading:
    """Find a card in a photograph and read its patches.

    kind: a card's name, or None for any. Markers are looked for first, then a chart, then a plain rectangle. A
    "grey card" is also found in its carrier sheet. corners: (4, 2) pixels in any order, when the person marked
    them. lab: this card's own measured CIELAB, (3,) or (patches, 3). cards: definitions, default the shipped ones.

    Raises CardError when no card is surely found, or kind, corners or lab can't be used.
    """
    known = _shipped_cards() if cards is None else cards
    if kind is not None and kind not in known:
        raise CardError(f"Choose a card that is defined: {kind!r} is not among {', '.join(sorted(known))}.")
    if corners is not None:
        card = _measured(known[kind or "grey card"], lab)
        marked = _checked_corners(corners, photo)
        reading = _read(photo, card, marked, 1.0, "corners")
        return replace(
            reading, caveats=(*reading.caveats, *_far_lab(known[kind or "grey card"], lab), *_doubt(photo, reading))
        )
    picture = photo.preview(SEARCH_SIDE)
    scale = np.array([photo.width / picture.shape[1], photo.height / picture.shape[0]])
    for card in _in_search_order(known, kind):
        found = _search(picture, card)
        if found is not None:
            how = {"carrier": "markers", "chart": "chart"}.get(card.layout, "shape")
            in_photo = (found.corners + 0.5) * scale - 0.5
            read = _read(photo, _measured(card, lab), in_photo, found.confidence, how)
            return replace(read, caveats=(*read.caveats, *_far_lab(card, lab)))
    title = "card" if kind is None else known[kind].title
    raise CardError(
        f"No {title} found for certain: mark its four corners, or retake the photo with it flat beside the finish."
    )


def neutral_patch(photo: Photo, region: ArrayLike, lab: ArrayLike | None = None) -> CardReading:
    """Use something neutral that the person marked, outline (n, 2) pixels, as if it were a card.

    Without ``lab`` only its neutrality is taken as known, not its lightness, and the tolerance says so.
    """
    tolerance = np.array(OWN_TOLERANCE) if lab is not None else np.array([UNKNOWN_LIGHTNESS, 2.0, 2.5])
    try:
        seen = pixels_inside(photo, region)
        mean = trimmed_mean(seen)
        known = checked_lab(lab) if lab is not None else _as_exposed(photo, mean)
        if lab is not None:
            _check_grey(known, "neutral spot")
    except ReadingError as error:
        raise CardError(str(error)) from error
    patch = Patch("neutral spot", known, tolerance, (0.0, 0.0, 1.0, 1.0))
    card = Card(
        "neutral spot", "something neutral in the picture", "plain", "marked by the user", (1.0, 10.0), (patch,)
    )
    box = np.array([seen.xy.min(axis=0), seen.xy.max(axis=0)])
    corners = np.array([box[0], [box[1][0], box[0][1]], box[1], [box[0][0], box[1][1]]])
    reading = PatchReading(
        patch, mean, covariance_of_mean(seen), block_means(seen), np.asarray(region, float), float(seen.clipped.mean())
    )
    caveat = Caveat(
        "no-card",
        "There is no reference card in this photo, only a spot taken as neutral: the reading is less certain.",
    )
    return CardReading(card, corners, 1.0, "neutral spot", (reading,), (caveat, *_light_caveats((reading,))))


UNKNOWN_LIGHTNESS = 6.0


def _as_exposed(photo: Photo, rgb: Floats) -> Floats:
    """Return the CIELAB of a neutral that is as light as the camera's exposure shows it."""
    luminance = float(np.clip(photo.rgb_to_xyz[1] @ rgb, 1e-4, 1.0))
    return np.array([116 * np.cbrt(luminance) - 16 if luminance > 216 / 24389 else 903.3 * luminance, 0.0, 0.0])


@lru_cache(maxsize=1)
def _shipped_cards() -> Mapping[str, Card]:
    return load_cards()


def _read_card(path: Path) -> Card:
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        patches = tuple(
            Patch(item["name"], checked_lab(item["lab"]), np.array(item["tolerance"], float), tuple(item["box"]))
            for item in data["patch"]
        )
        drawing = data.get("carrier")
        carrier = (
            None
            if drawing is None
            else Carrier(
                tuple(drawing["sheet_mm"]),
                drawing["dictionary"],
                drawing["marker_mm"],
                {marker["id"]: tuple(marker["at_mm"]) for marker in drawing["marker"]},
                tuple(drawing["window_mm"]),
            )
        )
        return Card(
            data["name"],
            data["title"],
            data["layout"],
            data["source"],
            tuple(data["sides"]),
            patches,
            carrier,
            data.get("columns", len(patches)),
        )
    except (OSError, KeyError, TypeError, ValueError, ReadingError) as error:
        raise CardError(f"Check the card definition {path.name}: {fault_in_words(error)}.") from error


def _measured(card: Card, lab: ArrayLike | None) -> Card:
    """Return the card with its own measured CIELAB. Raises CardError when a grey of it would be none, or black."""
    if lab is None:
        return card
    measured = card.with_lab(lab)
    for patch, own in zip(card.patches, measured.patches, strict=True):
        if patch.neutral:
            _check_grey(own.lab, card.title)
    return measured


def _check_grey(lab: Floats, title: str) -> None:
    said = "L* {:g}, a* {:g}, b* {:g}".format(*lab)
    if np.hypot(lab[1], lab[2]) >= NEUTRAL_CHROMA:
        raise CardError(f"Check the measured {title}: {said} is not neutral, a* and b* of a grey are near 0.")
    if lab[0] < BLACK:
        raise CardError(f"Check the measured {title}: {said} is black, and black shows no light.")


def _far_lab(card: Card, lab: ArrayLike | None) -> tuple[Caveat, ...]:
    """Say when a measured CIELAB is far from what a card of this kind has."""
    if lab is None:
        return ()
    own = card.with_lab(lab)
    away = [float(np.linalg.norm(new.lab - old.lab)) for old, new in zip(card.patches, own.patches, strict=True)]
    worst = int(np.argmax(away))
    if away[worst] <= FAR_FROM_KIND:
        return ()
    of = "" if len(away) == 1 else f" in {card.patches[worst].name}"
    usual, given = ("{:g}, {:g}, {:g}".format(*one.patches[worst].lab) for one in (card, own))
    message = (
        f"The card's own colour {given} is far from the {usual} of a {card.title}{of}: check it, or the kind of card."
    )
    return (Caveat("card-lab-far", message),)


def _doubt(photo: Photo, found: CardReading) -> tuple[Caveat, ...]:
    """Give reason to doubt that what a person marked is a plain grey card. Raises CardError when it is plainly none.

    Light, even a shadow, leaves a card's face nearly of one tint; a finish is mottled. And a coloured light colours
    the whole picture: what is more coloured than the rest, and in the same way, is so by itself.
    """
    if len(found.patches) != 1 or not found.patches[0].patch.neutral:
        return ()
    tint, mottle = _tint(found.patches[0].rgb), _mottle(found.patches[0])
    strength = float(np.linalg.norm(tint))
    if mottle > MOTTLED or (mottle > SPOTTED and strength > COLOURED):
        raise CardError("What is marked as the card is mottled, as a finish is: mark the grey card's own corners.")
    rest = photo.linear(step=max(1, photo.width // 200)).reshape(-1, 3)
    excess = float((tint - _tint(np.median(rest, axis=0))) @ tint) / max(strength, 1e-9)
    finished = photo.encoding not in ("linear", "camera raw")  # a sensor's own greys are greenish
    if mottle > SPOTTED or (finished and strength > COLOURED and excess > COLOURED):
        message = "What is marked as the card does not look like grey card: check that the corners are the card's own."
        return (Caveat(DOUBTFUL, message),)
    return ()


def _tint(rgb: ArrayLike) -> Floats:
    """Return the balance of linear light (..., 3) as logs about their mean, 0 for a grey."""
    log = np.log(np.maximum(rgb, 1e-4))
    return np.asarray(log - log.mean(axis=-1, keepdims=True))


def _mottle(item: PatchReading) -> float:
    """Return the spread of the tints of a face's blocks about a slope over it; 0 where it is too small or dark."""
    places, means = item.blocks
    if len(places) < FEWEST_BLOCKS or item.rgb.min() < DARK:
        return 0.0
    tints, plane = _tint(means), np.column_stack([np.ones(len(places)), places - places.mean(axis=0)])
    return float(np.std(tints - plane @ np.linalg.lstsq(plane, tints, rcond=None)[0]))


def _in_search_order(cards: Mapping[str, Card], kind: str | None) -> list[Card]:
    order = ("carrier", "chart", "steps", "plain")
    if kind is None:
        wanted = list(cards.values())
    else:
        wanted = [cards[kind]]
        if cards[kind].layout == "plain":
            wanted += [card for card in cards.values() if card.layout == "carrier"]
    return sorted(wanted, key=lambda card: order.index(card.layout))


def _search(picture: NDArray[np.uint8], card: Card) -> Candidate | None:
    if card.carrier is not None:
        drawing = card.carrier
        found = find_markers(picture, drawing.dictionary, drawing.places(), drawing.outline())
        return found if found is not None and found.confidence >= SURE else None
    if card.layout == "chart":
        wanted = lab_to_xyz(np.array([patch.lab for patch in card.patches]))
        found_charts = find_chart_grids(picture, wanted) or find_charts(picture)
        charts = [item for item in found_charts if item.confidence >= SURE]
        if len(charts) > 1:
            raise CardError(f"There is more than one {card.title} here: photograph one alone, or mark its corners.")
        if not charts and find_chart_grids(np.ascontiguousarray(picture[:, ::-1]), wanted):
            raise CardError(MIRRORED)
        return charts[0] if charts else None
    if card.layout == "steps":
        return _steps_in_a_row(find_plain(picture, (0.6, 1.8)), card)
    plain = find_plain(picture, card.sides)
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
        readings = _read_patches(photo, card, corners)
    else:
        corners, readings = _best_way_up(photo, card, corners, found_by)
    if not any(item.clipped_share < 0.5 for item in readings):
        raise CardError("The card is overexposed: retake the photo a stop or two darker, without glare on the card.")
    caveats = (*_light_caveats(readings), *_blur_caveats(photo, corners))
    return CardReading(card, corners, confidence, found_by, readings, caveats)


def _best_way_up(photo: Photo, card: Card, corners: Floats, found_by: str) -> tuple[Floats, tuple[PatchReading, ...]]:
    """Read a card in the way round that fits its own colours best."""
    if found_by == "markers":
        return corners, _read_patches(photo, card, corners)
    ways = [np.roll(corners, turn, axis=0) for turn in range(4)]
    read = [_read_patches(photo, card, way) for way in ways]
    errors = [_misfit(readings) for readings in read]
    best = int(np.argmin(errors))
    if len(card.patches) >= MANY_PATCHES and errors[best] <= MISFIT and signed_area(corners) < 0:
        raise CardError(MIRRORED)
    if errors[best] > MISFIT:
        if len(card.patches) >= MANY_PATCHES and _fits_mirrored(photo, card, ways):
            raise CardError(MIRRORED)
        raise CardError(
            f"The marked area does not look like a {card.title}: mark the outer corners of its patches again."
        )
    return ways[best], read[best]


def _fits_mirrored(photo: Photo, card: Card, ways: list[Floats]) -> bool:
    return min(_misfit(_read_patches(photo, card, way[::-1])) for way in ways) <= MISFIT


def _misfit(readings: tuple[PatchReading, ...]) -> float:
    """Return which share of the patches' differences is not explained by their own values: 0 fits, 1 does not.

    With many patches any camera and light is allowed for (a 3×3 matrix); with few only their lightness counts, and
    the contrast between them must be the card's own, or noise across one even patch would pass for its steps.
    """
    seen = np.array([item.rgb for item in readings])
    wanted = lab_to_xyz(np.array([item.patch.lab for item in readings]))
    if len(readings) < MANY_PATCHES:
        seen, wanted = np.log(np.maximum(seen.mean(axis=1, keepdims=True), 1e-5)), np.log(wanted[:, 1:2])
        seen = np.column_stack([seen, np.ones(len(seen))])
    coefficients = np.linalg.lstsq(seen, wanted, rcond=None)[0]
    if len(readings) < MANY_PATCHES and not CONTRAST[0] < coefficients[0, 0] < CONTRAST[1]:
        return 1.0
    left = np.square(wanted - seen @ coefficients).sum()
    return float(np.sqrt(left / np.square(wanted - wanted.mean(axis=0)).sum()))


def _read_patches(photo: Photo, card: Card, corners: Floats) -> tuple[PatchReading, ...]:
    homography = unit_to(corners)
    readings = []
    for patch in card.patches:
        left, top, right, bottom = patch.box
        outline = project(homography, np.array([[left, top], [right, top], [right, bottom], [left, bottom]]))
        try:
            seen = pixels_inside(photo, outline, most=40_000)
        except ReadingError as error:
            raise CardError("The card is not wholly in the picture: mark its corners, or retake the photo.") from error
        usable = seen.only(~seen.clipped) if seen.clipped.mean() < 0.5 else seen
        readings.append(
            PatchReading(
                patch,
                trimmed_mean(usable),
                covariance_of_mean(usable),
                block_means(usable),
                outline,
                float(seen.clipped.mean()),
            )
        )
    return tuple(readings)


def _steps_in_a_row(plain: list[Candidate], card: Card) -> Candidate | None:
    """Join plain rectangles of one size in a row into a grey scale."""
    likely = [item for item in plain if item.confidence > 0.02][:12]
    count = len(card.patches)
    best: Candidate | None = None
    for first in likely:
        for second in likely:
            joined = _continued(first.corners, second.corners, likely, count)
            if joined is not None and (best is None or joined.confidence > best.confidence):
                best = joined
    return best


def _continued(first: Floats, second: Floats, likely: list[Candidate], count: int) -> Candidate | None:
    """Return the row that starts with two neighbouring rectangles, when all its steps are there."""
    stride = second.mean(axis=0) - first.mean(axis=0)
    size = float(np.sqrt(_area(first)))
    if not 0.5 * size < float(np.linalg.norm(stride)) < 2.2 * size:
        return None
    row = []
    for step in range(count):
        expected = first.mean(axis=0) + step * stride
        near = [
            item.corners
            for item in likely
            if np.linalg.norm(item.corners.mean(axis=0) - expected) < 0.25 * size
            and 0.6 < np.sqrt(_area(item.corners)) / size < 1.6
        ]
        if not near:
            return None
        row.append(near[0])
    if any(_area(one) / _area(two) > 1.7 or _area(two) / _area(one) > 1.7 for one, two in pairwise(row)):
        return None
    along = stride / np.linalg.norm(stride)
    across = np.array([-along[1], along[0]])
    points = np.concatenate(row)
    middle = points.mean(axis=0)
    s, t = (points - middle) @ along, (points - middle) @ across
    ends = np.array([[s.min(), t.min()], [s.max(), t.min()], [s.max(), t.max()], [s.min(), t.max()]])
    return Candidate(middle + ends @ np.stack([along, across]), 0.7)


def _area(corners: Floats) -> float:
    return abs(signed_area(corners))


def _blur_caveats(photo: Photo, corners: Floats) -> tuple[Caveat, ...]:
    """Judge blur by how many pixels the steepest edge in and around the card takes to rise."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    margin = 0.12 * (high - low)
    side = float(np.sqrt(_area(corners)))
    step = max(1, int(side / 300))
    box = (*(low - margin), *(high + margin))
    light = cv2.GaussianBlur(encode_srgb(photo.linear(box, step).mean(axis=2)), (0, 0), 1.0)
    if min(light.shape) < 8:
        return ()
    slope = np.hypot(cv2.Sobel(light, cv2.CV_64F, 1, 0, scale=1 / 8), cv2.Sobel(light, cv2.CV_64F, 0, 1, scale=1 / 8))
    contrast = float(np.subtract(*np.quantile(light, [0.98, 0.02])))
    width = step * contrast / max(float(np.quantile(slope, 0.998)), 1e-6)
    if contrast < 0.08 or width < max(BLUR_SHARE * side, 8.0):
        return ()
    return (Caveat("blur", "The photo is blurred: hold the camera still and let it focus on the plate."),)


def _light_caveats(readings: tuple[PatchReading, ...]) -> tuple[Caveat, ...]:
    """Say what the light on the card gives reason to doubt."""
    neutrals = [item for item in readings if item.patch.neutral] or list(readings)
    caveats = []
    if max(item.clipped_share for item in neutrals) > 0.01 and len(neutrals) == 1:
        caveats.append(
            Caveat("card-clipped", "Part of the card is overexposed: retake the photo a stop darker or turn the card.")
        )
    if max(float(item.rgb.max()) for item in neutrals) < 0.02:
        caveats.append(Caveat("card-dark", "The card is very dark in the photo: retake it with more exposure."))
    if max(item.unevenness for item in neutrals) > 0.12:
        caveats.append(
            Caveat("card-uneven", "The light falls unevenly over the card: move the lamp back or turn the card.")
        )
    return tuple(caveats)
