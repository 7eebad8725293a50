"""Proposes where a finish is in a photograph: four-sided plates that stand out from the bench, the card left out.

Before ``read_finish``, as the search for a card stands before its reading. A person confirms each proposal or draws
another; what is not surely a plate is not proposed, so that a hand, a tool or a sculpture gets none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from matcher.card.reading import CardReading
from matcher.card.search import Bytes3, edges, overlap, project, quads_in, signed_area, unit_to
from matcher.colour.types import Floats, Mask
from matcher.photo.photo import Photo

Kind = Literal["plate", "cut plate"]

# The constants are set on invented scenes (tests/benchmarks/bench_outline.py); lengths are in pixels of the copy.
SIDE = 480  # of the copy's longer side
MOST_FINISHES = 6
SURE, SURE_CUT = 0.75, 0.9
LEAST_AREA, MOST_AREA = 0.012, 0.6  # of the picture

# The bench: the colours along the picture's border.
BAND = 0.045  # of the picture's shorter side
BENCH_COLOURS, STRETCHES = 12, 24
LEAST_SPREAD, MOST_SPREAD = np.array([3.0, 1.5, 1.5]), np.array([6.0, 3.0, 3.0])  # CIELAB

# What stands out from it.
LEVELS = (2.0, 2.5, 3.0, 3.6, 4.3, 5.2, 6.2, 7.5, 9.0, 11.0, 14.0)  # in the bench's standard deviations
CLOSINGS, OPENINGS = (5, 13), (5, 13)
PARTING = 9.0  # CIELAB: an edge between two things that touch
AGAIN = 3  # levels that show the same plate
SAME_PLACE, SAME_SIZE, ALIKE = 0.06, 0.22, 0.04  # of its side; in the logarithm of its area

# The shape of a plate seen more or less from above.
LEAST_SIDES = 0.33  # shortest side over the longest
SQUARENESS = 0.75  # largest cosine of a corner
MOST_SKEW_CUT = 0.3  # in the logarithm of opposite sides' ratio
BLUR, EDGE = 1.5, 2.2  # pixels, CIELAB
LEAST_SHARP, LEAST_SHARP_CUT = 0.3, 0.5  # of a side that lies on an edge
INWARDS, OUTWARDS = 9, 3  # within which a side's edge is looked for

# Its face, laid square.
FACE = 48  # cells to a side
INSET = 0.12  # of the shorter side: the rim, the cut edge and what is left of the shadow
BURNT, HALO, NARROW = 250, 9, 5  # code value; cells
LEAST_SHOWN, LEAST_CLEAR = 0.3, 0.4  # of a face, free of glare: to judge it, to propose it
MOST_UNEVEN = 14.0  # CIELAB between parts of a face: a chart's are 30 and more apart
PAPER, MOST_PAPER = (70.0, 14.0), 0.25  # L* above and chroma below; share of a face
NEUTRAL, LAMPLIT = 10.0, 24.0  # chroma of a grey card as the camera shows it; under warm lamps it is yellow besides
PAST_TAG, LEAST_BESIDE = 0.06, 0.2  # of a proposal's sides: kept clear round a tag; of its area: what must be left
SMOOTH = 0.9  # fine deviation of L*


@dataclass(frozen=True, eq=False)
class ProposedFinish:
    """A place that is proposed as a finish.

    outline: (n, 2) pixels, n from 4, well within the plate's edge and clear of glare. kind: "plate", or "cut plate"
    where the picture's edge cuts it. sureness: 0 to 1.
    """

    outline: Floats
    kind: Kind
    sureness: float

    def as_dict(self) -> dict[str, Any]:
        """Return plain JSON types."""
        return {"outline": self.outline.tolist(), "kind": self.kind, "sureness": self.sureness}


def propose_finishes(photo: Photo, card: CardReading | None = None) -> tuple[ProposedFinish, ...]:
    """Propose the plates in a photograph as finishes to be read, from the left to the right.

    Parameters
    ----------
    photo : Photo
        The photograph, upright.
    card : CardReading, optional
        The card in it, which is left out. Without one, or with a neutral spot in its place, nothing that is neutral
        and smooth is proposed, since it may be a card.

    Returns
    -------
    tuple of ProposedFinish
        At most six; none where it is not sure.

    Examples
    --------
    >>> from matcher.card.detect import find_card
    >>> from matcher.photo.photo import open_photo
    >>> from matcher.shipped import shipped
    >>> photo = open_photo(shipped("demo_images") / "two_plates.jpg")
    >>> [item.kind for item in propose_finishes(photo, find_card(photo))]
    ['plate', 'plate']
    """
    picture = photo.preview(SIDE)
    if min(picture.shape[:2]) < SIDE / 8:
        return ()
    scale = np.array([photo.width / picture.shape[1], photo.height / picture.shape[0]])
    known = card is not None and card.found_by != "neutral spot"
    bench = _Bench.seen(picture, (card.corners + 0.5) / scale - 0.5 if card is not None and known else None)
    proposed = []
    for quad in _each_place_once(_quads(bench)):
        clear = _clear_of_glare(bench.picture, quad.corners)
        if clear is not None:
            outline = (project(unit_to(quad.corners), clear) + 0.5) * scale - 0.5
            proposed.append(ProposedFinish(outline, "cut plate" if quad.cut else "plate", quad.sureness))
    if len(proposed) > MOST_FINISHES:  # patches of a chart, tiles, a printed page
        return ()
    return tuple(sorted(proposed, key=lambda item: float(item.outline[:, 0].mean())))


def not_marked_yet(proposed: Sequence[ProposedFinish], marked: Sequence[ArrayLike]) -> tuple[ProposedFinish, ...]:
    """Return those proposals that share no pixel with an outline (n, 2) that a person has marked."""
    return tuple(item for item in proposed if not any(_share(item.outline, outline) for outline in marked))


def _share(outline: Floats, other: ArrayLike) -> bool:
    """Tell whether two outlines share a pixel."""
    size = np.ceil(outline.max(axis=0)).astype(int) + 1
    masks = np.zeros((2, *size[::-1]), np.uint8)
    for mask, points in zip(masks, (outline, np.asarray(other, float)), strict=True):
        cv2.fillPoly(mask, [np.rint(points).astype(np.int32)], 1)
    return bool((masks[0] & masks[1]).any())


def clear_of_tags(proposed: Sequence[ProposedFinish], tags: Sequence[ArrayLike]) -> tuple[ProposedFinish, ...]:
    """Return proposals without what a tag covers: the largest part of each beside its tags (4, 2); none where too
    little is left."""
    left = []
    for item in proposed:
        if not_marked_yet([item], tags):
            left.append(item)
        elif len(item.outline) == 4 and (part := _beside(item.outline, tags)) is not None:
            left.append(replace(item, outline=part))
    return tuple(left)


def _beside(outline: Floats, tags: Sequence[ArrayLike]) -> Floats | None:
    """Return the largest part (4, 2) of a quadrilateral that lies on one side of all tags within it."""
    back = np.asarray(np.linalg.inv(unit_to(outline)), dtype=float)
    inside = [project(back, np.asarray(tag, float)) for tag in tags if _share(outline, tag)]
    low, high = np.min(np.concatenate(inside), axis=0) - PAST_TAG, np.max(np.concatenate(inside), axis=0) + PAST_TAG
    strips = [(0, 0, low[0], 1), (high[0], 0, 1, 1), (0, 0, 1, low[1]), (0, high[1], 1, 1)]
    left, top, right, bottom = max(strips, key=lambda box: max(box[2] - box[0], 0) * max(box[3] - box[1], 0))
    if min(right - left, 1) * min(bottom - top, 1) < LEAST_BESIDE or right <= left or bottom <= top:
        return None
    return project(unit_to(outline), np.array([[left, top], [right, top], [right, bottom], [left, bottom]]))


@dataclass(frozen=True, eq=False)
class _Bench:
    """The small copy (h, w, 3), how much it changes at each pixel (h, w), where the card is, and how far each pixel's
    colour is apart from the bench's, in its own standard deviations (h, w)."""

    picture: Bytes3
    edge: NDArray[np.float32]
    card: Mask
    apart: NDArray[np.float32]

    @classmethod
    def seen(cls, picture: Bytes3, corners: Floats | None) -> _Bench:
        smooth, edge = edges(picture, BLUR)
        card = np.zeros(picture.shape[:2], bool) if corners is None else _filled(picture.shape, corners, 1.14)
        return cls(picture, edge, card, _apart(smooth, card))


def _apart(lab: NDArray[np.float32], card: Mask) -> NDArray[np.float32]:
    """Return how far (h, w) each colour is apart from the colours along the picture's border, which are the bench's.

    A colour that is met along one short stretch of the border only is a thing that the picture's edge cuts.
    """
    stretch = _stretches(lab.shape, max(4, round(BAND * min(lab.shape[:2]))))
    ring = (stretch >= 0) & ~card
    step = 1 + int(ring.sum()) // 6000
    colours, places = lab[ring][::step], stretch[ring][::step]
    if len(colours) < 20 * BENCH_COLOURS:
        return np.zeros(lab.shape[:2], np.float32)
    by_lightness = np.argsort(np.argsort(colours[:, 0], kind="stable"), kind="stable")
    first = (by_lightness * BENCH_COLOURS // len(colours)).astype(np.int32)[:, None]  # no chance: the same every time
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 12, 0.2)
    labels = cv2.kmeans(colours, BENCH_COLOURS, first, stop, 1, cv2.KMEANS_USE_INITIAL_LABELS)[1].ravel()
    nearest = np.full(lab.shape[:2], np.inf, np.float32)
    planes = np.ascontiguousarray(np.moveaxis(lab, -1, 0))  # three times as fast as three values side by side
    total = np.bincount(places, minlength=STRETCHES)
    for own in (labels == k for k in range(BENCH_COLOURS)):
        if own.mean() < 0.01 or not _goes_round(np.bincount(places[own], minlength=STRETCHES) / np.maximum(total, 1)):
            continue
        spread = np.clip(colours[own].std(axis=0), LEAST_SPREAD, MOST_SPREAD)
        off = (planes - colours[own].mean(axis=0)[:, None, None]) / spread.astype(np.float32)[:, None, None]
        nearest = np.minimum(nearest, np.square(off, out=off).sum(axis=0))
    return np.sqrt(np.where(np.isfinite(nearest), nearest, 0)).astype(np.float32)


def _stretches(shape: tuple[int, ...], band: int) -> NDArray[np.int64]:
    """Return the number (h, w) of the stretch of the border that each pixel of it lies in, -1 within."""
    height, width = shape[:2]
    within = np.ones((height, width), bool)
    within[band : height - band, band : width - band] = False
    y, x = np.nonzero(within)
    around = np.arctan2((y - height / 2) / height, (x - width / 2) / width)
    number = np.full((height, width), -1)
    number[y, x] = np.floor((around / (2 * np.pi) + 0.5) * STRETCHES).astype(int).clip(0, STRETCHES - 1)
    return number


def _goes_round(shares: Floats) -> bool:
    """Tell whether a colour, by its share (n,) of each stretch of the border, is met over more than a quarter of it."""
    met = np.flatnonzero(shares > 0.08)
    if len(met) < 2:
        return False
    gaps = np.diff(np.append(met, met[0] + STRETCHES))
    return bool(STRETCHES - gaps.max() + 1 > STRETCHES / 4)


@dataclass(frozen=True, eq=False)
class _Quad:
    """A four-sided place in the small copy: corners (4, 2) clockwise; cut: whether it ends at the picture's edge."""

    corners: Floats
    sureness: float
    cut: bool


def _quads(bench: _Bench) -> list[_Quad]:
    """Return the places that are surely plates, several for each: what stands out at several levels stays in place."""
    found: list[tuple[Floats, float]] = []
    levels: list[int] = []
    for level, apart in enumerate(LEVELS):
        over = ((bench.apart > apart) & ~bench.card).astype(np.uint8)
        met: set[bytes] = set()
        for closed, opened in _parted(over, bench.edge):
            for either_way in quads_in(opened, LEAST_AREA, MOST_AREA):
                corners = either_way if signed_area(either_way) > 0 else either_way[::-1]
                if corners.tobytes() not in met and _could_be_a_plate(corners):
                    met.add(corners.tobytes())
                    found.append((corners, _fit(opened, closed, corners)))
                    levels.append(level)
    if not found:
        return []
    areas = np.array([signed_area(corners) for corners, _ in found])
    middles = np.array([corners.mean(axis=0) for corners, _ in found])
    fits = np.array([fit for _, fit in found])
    at_level = np.array(levels)
    quads: list[_Quad] = []
    left = fits >= SURE
    for k in sorted(np.flatnonzero(left), key=lambda k: (-fits[k], areas[k])):
        if not left[k]:
            continue
        near = np.linalg.norm(middles - middles[k], axis=1) < SAME_PLACE * np.sqrt(areas[k])
        unlike = np.abs(np.log(areas / areas[k]))
        same = near & (unlike < SAME_SIZE)
        shown = min(1.0, len(np.unique(at_level[same & (fits > SURE / 2)])) / AGAIN)
        quad = _judged(bench, found[k][0], float(fits[k]) * shown)
        quads += [] if quad is None else [quad]
        left &= ~(same if quad is not None else near & (unlike < ALIKE))
    return quads


def _parted(
    over: NDArray[np.uint8], edge: NDArray[np.float32]
) -> Iterator[tuple[NDArray[np.uint8], NDArray[np.uint8]]]:
    """Return what stands out (h, w), its holes closed, and that with what is thin taken off, in several ways.

    Where two things touch, an edge parts them; a mottled plate is full of edges, so it is tried without too.
    """
    for closing in CLOSINGS:
        closed = cv2.morphologyEx(over, cv2.MORPH_CLOSE, np.ones((closing, closing), np.uint8))
        for opening in OPENINGS:
            yield closed, cv2.morphologyEx(closed, cv2.MORPH_OPEN, np.ones((opening, opening), np.uint8))
    apart = over * (edge < PARTING).astype(np.uint8)
    yield apart, cv2.morphologyEx(apart, cv2.MORPH_OPEN, np.ones((OPENINGS[0], OPENINGS[0]), np.uint8))


def _judged(bench: _Bench, corners: Floats, sureness: float) -> _Quad | None:
    cut = bool(_at_border(bench.edge.shape, corners).any())
    sharp, snapped = _on_edges(bench.edge, corners)
    if sureness * sharp < (SURE_CUT if cut else SURE) or not _could_be_a_plate(snapped):
        return None
    if cut and _skew(snapped) > MOST_SKEW_CUT:  # a tin, a hand: of three sides alone a plate must look like one
        return None
    return _Quad(snapped, sureness * sharp, cut) if _like_a_finish(bench, snapped) else None


def _sides(corners: Floats) -> list[tuple[Floats, Floats]]:
    return [(corners[k], corners[(k + 1) % 4]) for k in range(4)]


def _could_be_a_plate(corners: Floats) -> bool:
    """Tell whether a quadrilateral has the shape of a plate seen more or less from above."""
    along = corners[[1, 2, 3, 0]] - corners
    lengths = np.hypot(along[:, 0], along[:, 1])
    if lengths.min() < LEAST_SIDES * lengths.max():
        return False
    cosines = (along * along[[1, 2, 3, 0]]).sum(axis=1) / (lengths * lengths[[1, 2, 3, 0]])
    return bool(np.abs(cosines).max() < SQUARENESS)


def _skew(corners: Floats) -> float:
    """Return how unlike opposite sides are, as the largest logarithm of their ratio."""
    along = corners[[1, 2, 3, 0]] - corners
    lengths = np.log(np.hypot(along[:, 0], along[:, 1]))
    return float(np.abs(lengths[:2] - lengths[2:]).max())


def _fit(opened: NDArray[np.uint8], closed: NDArray[np.uint8], corners: Floats) -> float:
    """Return from 0 to 1 how much within a quadrilateral stands out, and how little beyond each side does."""
    filled = cv2.mean(opened, _filled(opened.shape, corners).astype(np.uint8))[0]
    away = 3 + np.array([0.02, 0.04, 0.06]) * np.sqrt(signed_area(corners))
    points, outward = _along(corners)
    strips = _at(closed, points[:, None] + away[:, None, None] * outward[:, None, None])
    beyond = strips.min(axis=1).mean(axis=1)[~_at_border(opened.shape, corners)].max(initial=0.0)
    return float(np.clip((filled - 0.88) / 0.08, 0, 1) * np.clip((0.6 - beyond) / 0.35, 0, 1))


def _on_edges(edge: NDArray[np.float32], corners: Floats) -> tuple[float, Floats]:
    """Return from 0 to 1 how sharp the weakest side is, and the sides moved onto their edges, off a soft shadow's."""
    inner = float(np.median(edge[_filled(edge.shape, corners, 0.6)]))
    needed = max(EDGE, inner)
    offsets = np.arange(-INWARDS, OUTWARDS + 1)
    supports, lines = [], []
    sides = zip(_sides(corners), *_along(corners), _at_border(edge.shape, corners), strict=True)
    for (a, b), points, outward, cut in sides:
        if cut:
            lines.append((a, b))
            continue
        strips = _at(edge, points[None] + offsets[:, None, None] * outward)
        strength = np.minimum(strips, 6 * needed).mean(axis=1)
        best = int(np.flatnonzero(strength > 0.85 * strength.max())[0])  # the innermost strong edge
        near = strips[max(best - 2, 0) : best + 3].max(axis=0)
        supports.append(float((near > needed).mean()))
        lines.append((a + offsets[best] * outward, b + offsets[best] * outward))
    if len(supports) < 3:
        return 0.0, corners
    least = LEAST_SHARP if len(supports) == 4 else LEAST_SHARP_CUT
    moved = np.array([_crossing(lines[k - 1], lines[k]) for k in range(4)])
    return float(np.clip((min(supports) - least) / 0.4, 0, 1)), moved


def _along(corners: Floats) -> tuple[Floats, Floats]:
    """Return points (4, n, 2) along each side, and the direction (4, 2) that leads outwards from it."""
    sides = corners[[1, 2, 3, 0]] - corners
    along = sides / np.maximum(np.linalg.norm(sides, axis=1), 1e-6)[:, None]
    points = corners[:, None] + np.linspace(0.1, 0.9, 32)[:, None] * sides[:, None]
    return points, np.column_stack([along[:, 1], -along[:, 0]])


def _crossing(first: tuple[Floats, Floats], second: tuple[Floats, Floats]) -> Floats:
    """Return where two lines, each through two points, cross."""
    (a, b), (c, d) = first, second
    one, two = b - a, d - c
    turn = one[0] * two[1] - one[1] * two[0]
    share = ((c - a)[0] * two[1] - (c - a)[1] * two[0]) / (turn if abs(turn) > 1e-6 else 1e-6)
    return np.asarray(a + share * one)


def _at_border(shape: tuple[int, ...], corners: Floats) -> Mask:
    """Tell of each side (4,) whether it runs along the picture's border, where the plate may go on beyond."""
    ends = np.stack([corners, corners[[1, 2, 3, 0]]])
    return np.asarray((ends.max(axis=0) < 5).any(axis=1) | (ends.min(axis=0) > np.array(shape[1::-1]) - 6).any(axis=1))


def _filled(shape: tuple[int, ...], corners: Floats, grown: float = 1.0) -> Mask:
    mask = np.zeros(shape[:2], np.uint8)
    middle = corners.mean(axis=0)
    cv2.fillPoly(mask, [np.rint(middle + grown * (corners - middle)).astype(np.int32)], 1)
    return np.asarray(mask > 0)


def _at(picture: NDArray[Any], points: Floats) -> NDArray[Any]:
    """Return the picture's values (...,) at the pixels nearest to points (..., 2), those at its edge beyond it."""
    nearest = np.rint(points).astype(int)
    x, y = nearest[..., 0], nearest[..., 1]
    return np.asarray(picture[y.clip(0, picture.shape[0] - 1), x.clip(0, picture.shape[1] - 1)])


def _face(picture: Bytes3, corners: Floats) -> Bytes3:
    """Return a plate's face laid square."""
    square = np.array([[0, 0], [FACE, 0], [FACE, FACE], [0, FACE]], np.float32)
    to_square = cv2.getPerspectiveTransform(corners.astype(np.float32), square)
    return np.asarray(cv2.warpPerspective(picture, to_square, (FACE, FACE)), dtype=np.uint8)


def _like_a_finish(bench: _Bench, corners: Floats) -> bool:
    """Tell whether a place may be a finish: neither a chart, nor paper, nor, where no card is known, a grey card."""
    rim = FACE // 8
    face = _face(bench.picture, corners)[rim:-rim, rim:-rim]
    lab = np.asarray(cv2.cvtColor(face.astype(np.float32) / 255, cv2.COLOR_RGB2Lab))
    shown = _burnt(face) == 0
    if shown.mean() < LEAST_SHOWN or _unevenness(lab, shown) > MOST_UNEVEN:
        return False
    paper = (lab[..., 0] > PAPER[0]) & (np.hypot(lab[..., 1], lab[..., 2]) < PAPER[1])
    if paper[shown].mean() > MOST_PAPER:
        return False
    _, a, b = np.median(lab[shown], axis=0)
    chroma = float(np.hypot(a, b))
    fine = lab[..., 0] - cv2.GaussianBlur(lab[..., 0], (0, 0), 2)
    coloured = chroma > (LAMPLIT if b > 2 * abs(a) else NEUTRAL)
    return bool(bench.card.any() or coloured or _deviation(fine[shown]) > SMOOTH)


def _deviation(values: NDArray[np.float32]) -> float:
    """Return the standard deviation, whatever a few outliers are: an edge across a card is no grain."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _unevenness(lab: NDArray[np.float32], shown: Mask) -> float:
    """Return how far apart, in CIELAB, the parts of a face are by and large, what is overexposed left out."""
    weight = shown.astype(np.float32)
    weights = cv2.resize(weight, (4, 4), interpolation=cv2.INTER_AREA)
    sums = cv2.resize(lab * weight[..., None], (4, 4), interpolation=cv2.INTER_AREA)
    parts = sums[weights > 0.5] / weights[weights > 0.5][:, None]
    return float(np.median(np.linalg.norm(parts - np.median(parts, axis=0), axis=1))) if len(parts) > 4 else np.inf


def _each_place_once(found: list[_Quad]) -> list[_Quad]:
    kept: list[_Quad] = []
    for item in sorted(found, key=lambda quad: (-quad.sureness, signed_area(quad.corners))):
        if all(overlap(item.corners, other.corners) < 0.1 for other in kept):
            kept.append(item)
    return kept


def _clear_of_glare(picture: Bytes3, corners: Floats) -> Floats | None:
    """Return the outline (n, 2), as shares of a face, of what is within its rim and clear of glare; None where that is
    too little. Glare is cut off by a notch from the side that loses the least."""
    lengths = np.array([float(np.linalg.norm(b - a)) for a, b in _sides(corners)])
    across, down = (lengths[:2] + lengths[2:]) / 2
    left, top = np.ceil(INSET * min(across, down) / np.array([across, down]) * FACE).astype(int)
    free = np.zeros((FACE, FACE), np.uint8)
    free[top : FACE - top, left : FACE - left] = 1
    whole = int(free.sum())
    rows, columns = np.nonzero(free & _burnt(_face(picture, corners)))
    if len(rows):
        (low, high), (first, last) = (rows.min(), rows.max() + 1), (columns.min(), columns.max() + 1)
        ways = [(slice(0, high), slice(first, last)), (slice(low, FACE), slice(first, last))]
        ways += [(slice(low, high), slice(0, last)), (slice(low, high), slice(first, FACE))]
        notch = min(ways, key=lambda way: int(free[way].sum()))
        free[notch] = 0
        free = cv2.morphologyEx(free, cv2.MORPH_OPEN, np.ones((NARROW, NARROW), np.uint8))
    contours, _ = cv2.findContours(free, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    if not contours or free.sum() < LEAST_CLEAR * whole:
        return None
    largest = max(contours, key=cv2.contourArea)
    return (np.asarray(cv2.approxPolyDP(largest, 0.5, True), dtype=float).reshape(-1, 2) + 0.5) / FACE


def _burnt(face: Bytes3) -> NDArray[np.uint8]:
    """Return where a face (h, w) is overexposed, 1 or 0, with the halo around it; single sparks are let be."""
    burnt = cv2.morphologyEx((face.max(axis=2) >= BURNT).astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    return np.asarray(cv2.dilate(burnt, np.ones((HALO, HALO), np.uint8)), dtype=np.uint8)
