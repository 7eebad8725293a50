"""Invented photographs of plates on a bench, with what a person would mark on each, and a judge of proposed outlines.

For the test and the benchmark of ``matcher.card.outline``. Benches, lights, finishes, tools, hands, glare, and
plates that the picture's edge cuts are drawn by chance; the scene of a number is the same every time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np

from matcher.calibration.calibrate import calibrate
from matcher.calibration.calibration import Calibration
from matcher.card.detect import find_card
from matcher.card.outline import ProposedFinish
from matcher.card.reading import CardReading
from matcher.colour.difference import delta_e_2000
from matcher.colour.types import Floats
from matcher.errors import CardError, ReadingError
from matcher.photo.photo import Photo, open_photo
from matcher.reading.finish import read_finish
from tests.demo_making.ledger import entries
from tests.rendering.objects import flat, rising
from tests.rendering.render import render_scene
from tests.rendering.scene import Projection, Scene, SceneCard, SceneLight, ScenePlate, SceneView, placed

PLATE_HEIGHT_MM = 5.0
FACE_MARGIN_MM = 0.9  # by which the renderer cuts a plate's edge back by hand
LEAST_INSIDE = 0.98  # of a proposed outline
SAME_COLOUR = 1.5  # ΔE00: two persons who mark one mottled plate differ by as much (common practice, no source)
BENCHES = ("wood", "steel", "cloth", "blue cloth", "grey board", "white paper")
SIZE = (960, 720)
LEAST_SHOWN, LEAST_ASKED = 0.002, 0.02  # of the picture: a sliver of a cut plate need not be proposed

VERDIGRIS = tuple(rising(0.30 + d, 0.10 + d, 560.0, 38.0) for d in (0.0, 0.08, 0.16))
DARK = (flat(0.022), rising(0.02, 0.05, 590.0, 40.0), rising(0.03, 0.045, 520.0, 60.0))
LIKE_WOOD = rising(0.07, 0.31, 568.0, 50.0)
LIKE_STEEL = rising(0.19, 0.20, 580.0, 70.0)
LIKE_CLOTH = rising(0.21, 0.36, 530.0, 60.0)
LIKE_BENCH = {"wood": LIKE_WOOD, "steel": LIKE_STEEL, "cloth": LIKE_CLOTH, "grey board": LIKE_STEEL}


@dataclass(frozen=True, eq=False)
class PlateScene:
    """A photograph with its card, unless nobody marked it; without_glare: the same without the lamp's image on the
    plates; faces: the true outlines (4, 2) of the plates in it; about: what was drawn by chance, in words."""

    photo: Photo
    without_glare: Photo
    card: CardReading | None
    calibration: Calibration
    faces: tuple[Floats, ...]
    about: str


@dataclass(frozen=True)
class Judged:
    """How the proposals of one scene did, plate by plate and proposal by proposal.

    right: of plates, lying in it and reading alike. asked: plates that nothing was proposed for. refused: proposals
    that cannot be read. wrong: proposals that lie beyond a plate's face or read as another colour. why: of each wrong.
    """

    right: int
    asked: int
    refused: int
    wrong: int
    why: tuple[str, ...] = ()

    @property
    def verdict(self) -> str:
        """The whole scene in a word: "wrong", "refused", "right", "some" of its plates, or "asked"."""
        if self.wrong or self.refused:
            return "wrong" if self.wrong else "refused"
        return "asked" if self.asked and not self.right else "some" if self.asked else "right"


def plate_scene(number: int) -> PlateScene:
    """Return the invented photograph of a number."""
    rng = np.random.default_rng([19, number])
    scene, about = _scene(rng)
    seed = int(rng.integers(2**32))
    picture = render_scene(scene, np.random.default_rng(seed))
    photo = without = open_photo(picture.jpeg())
    if scene.glare_share:
        even = render_scene(replace(scene, glare_share=0.0), np.random.default_rng(seed))
        without = open_photo(even.jpeg())
    card = None
    for laid in picture.truth["cards"]:
        try:
            card = find_card(photo, laid["kind"], corners=laid["corners"])  # as the person confirms or marks it
        except CardError:
            about += ", card not readable"
    calibration = calibrate(photo, card)
    if card is not None and rng.random() < 0.1:
        about, card = f"{about}, card not marked", None
    projection = Projection(scene.view, scene.size)
    faces = tuple(_face(plate, projection) for plate in scene.plates)
    return PlateScene(photo, without, card, calibration, faces, about)


def _face(plate: ScenePlate, projection: Projection, margin_mm: float = FACE_MARGIN_MM) -> Floats:
    width, height = plate.size_mm
    low = margin_mm
    corners = np.array([[low, low], [width - low, low], [width - low, height - low], [low, height - low]])
    on_bench = np.column_stack([corners, np.ones(4)]) @ placed(plate.at_mm, plate.turn_deg, plate.size_mm).T
    return projection.pixels(on_bench[:, :2], PLATE_HEIGHT_MM)


@cache
def _recipes() -> tuple[object, ...]:
    return tuple(entry.recipe for entry in entries())


def _scene(rng: np.random.Generator) -> tuple[Scene, str]:
    bench = str(rng.choice(BENCHES))
    count = int(rng.choice([0, 1, 1, 1, 1, 2, 2, 3, 4]))
    width_mm = {0: 280.0, 1: 280.0, 2: 350.0, 3: 430.0, 4: 480.0}[count] * float(rng.uniform(0.92, 1.2))
    tilt = float(rng.uniform(0, 26))
    cut = count > 0 and rng.random() < 0.12
    with_card = rng.random() < 0.88
    kind = str(rng.choice(["grey card"] * 6 + ["carrier sheet", "grey scale"]))
    if kind != "grey card":
        width_mm += 110.0
    places = _places(rng, count + int(with_card), width_mm, 170.0 if kind != "grey card" else 135.0, cut)
    plates, finishes = [], []
    for at in places[:count]:
        finish, word = _finish(rng, bench)
        size = (float(rng.uniform(70, 105)), float(rng.uniform(75, 115)))
        turn = float(rng.choice([rng.normal(0, 4), rng.uniform(-40, 40)]))
        plates.append(ScenePlate(finish, at, turn, size, label=str(rng.integers(1, 200))))
        finishes.append(word)
    cards = (SceneCard(kind, places[-1], float(rng.normal(0, 6))),) if with_card else ()
    props = tuple(
        str(name) for name in rng.permutation(["brush", "pencil", "tin", "slip", "hand"])[: rng.integers(0, 4)]
    )
    glare = float(rng.uniform(0.03, 0.2)) if rng.random() < 0.15 else 0.0
    light = SceneLight(
        str(rng.choice(["D50", "D55", "D65", "A", "FL2"], p=[0.25, 0.25, 0.25, 0.12, 0.13])),
        from_deg=float(rng.uniform(0, 360)),
        height_deg=float(rng.uniform(35, 70)),
        gradient=float(rng.choice([0.05, 0.12, 0.3])),
        softness=float(rng.uniform(0.1, 0.95)),
    )
    scene = Scene(
        tuple(plates),
        cards,
        light,
        SceneView(width_mm, tilt_deg=tilt, turn_deg=float(rng.normal(0, 6))),
        bench=bench,
        exposure=float(rng.uniform(0.75, 1.2)) * (0.85 if bench == "white paper" else 1.0),
        white_balance=float(rng.uniform(0.8, 1.0)),
        glare_share=glare,
        props=props,
        size=SIZE,
    )
    words = [f"{count} on {bench}", *sorted(set(finishes)), *sorted(props)]
    words += ["glare"] * bool(glare) + ["cut"] * cut + ["no card" if not with_card else kind]
    return scene, ", ".join(words)


def _finish(rng: np.random.Generator, bench: str) -> tuple[object, str]:
    chance = rng.random()
    if chance < 0.6:
        recipes = _recipes()
        return recipes[int(rng.integers(len(recipes)))], "recipe"
    if chance < 0.72:
        return VERDIGRIS[int(rng.integers(len(VERDIGRIS)))] * float(rng.uniform(0.8, 1.1)), "verdigris"
    if chance < 0.86 or bench not in LIKE_BENCH:
        return DARK[int(rng.integers(len(DARK)))] * float(rng.uniform(0.8, 1.5)), "dark"
    return LIKE_BENCH[bench] * float(rng.uniform(0.75, 1.2)), "like the bench"


def _places(
    rng: np.random.Generator, count: int, width_mm: float, most_mm: float, cut: bool
) -> list[tuple[float, float]]:
    """Return where things lie, in a row or in two, each well within the picture, but the first where it is cut."""
    columns = count if count < 4 else 3
    rows = -(-count // columns) if count else 1
    spots = [(column, row) for row in range(rows) for column in range(columns)]
    chosen = [spots[k] for k in rng.permutation(len(spots))[:count]]
    step = 0.96 * width_mm / columns if columns else 0.0
    down = 128.0
    places = [
        (
            (column - (columns - 1) / 2) * min(step, most_mm) + float(rng.uniform(-3, 3)),
            (row - (rows - 1) / 2) * down + float(rng.uniform(-3, 3)),
        )
        for column, row in chosen
    ]
    if cut and places:
        side = 1 if places[0][0] >= 0 else -1
        places[0] = (side * width_mm * float(rng.uniform(0.45, 0.52)), places[0][1])
    return places


def judged(scene: PlateScene, proposals: Sequence[ProposedFinish]) -> Judged:
    """Compare what is proposed with what lies there."""
    size = (scene.photo.width, scene.photo.height)
    masks = [_mask(face, size) for face in scene.faces]
    masks = [mask for mask in masks if mask.sum() > LEAST_SHOWN * mask.size]
    right: set[int] = set()
    touched: set[int] = set()
    refused, why = 0, []
    for item in proposals:
        try:
            reading = read_finish(scene.photo, scene.calibration, item.outline)
        except ReadingError:
            refused += 1
            continue
        proposed = _mask(item.outline, size)
        inside = [float((mask & proposed).sum() / proposed.sum()) for mask in masks]
        best = int(np.argmax(inside)) if inside else -1
        touched |= {best} if inside and inside[best] > 0.3 else set()
        if best < 0 or inside[best] < LEAST_INSIDE:
            why.append(f"{item.kind}, {max(inside, default=0.0):.0%} inside")
            continue
        true = _true_reading(scene, masks[best])
        apart = 0.0 if true is None else float(delta_e_2000(reading.lab, true))
        if apart > SAME_COLOUR:
            why.append(f"{item.kind}, dE {apart:.1f}")
        else:
            right.add(best)
    asked = [k for k, mask in enumerate(masks) if k not in touched and mask.sum() > LEAST_ASKED * mask.size]
    return Judged(len(right), len(asked), refused, len(why), tuple(why))


def _mask(outline: Floats, size: tuple[int, int]) -> Floats:
    mask = np.zeros(size[::-1], np.uint8)
    cv2.fillPoly(mask, [np.rint(outline).astype(np.int32)], 1)
    return mask


def _true_reading(scene: PlateScene, mask: Floats) -> Floats | None:
    """Return CIELAB (3,) of a whole face, its rim left out, as a careful person would mark it."""
    inner = int(0.06 * np.sqrt(mask.sum()))
    eroded = cv2.erode(mask, np.ones((2 * inner + 1, 2 * inner + 1), np.uint8), borderValue=0)
    contours, _ = cv2.findContours(eroded, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    if not contours:
        return None
    outline = max(contours, key=cv2.contourArea).reshape(-1, 2)
    try:
        return read_finish(scene.without_glare, scene.calibration, outline).lab
    except ReadingError:
        return None
