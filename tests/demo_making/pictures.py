"""The shipped pictures: which scenes they are, what each is for, and rendering them from a seed.

Every picture draws its random numbers from the seed and its own name, so that any one can be made again alone.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from tests.demo_making.examples import Example, examples
from tests.demo_making.ledger import (
    NEXT_PLATE_VARIATION,
    Entry,
    basin_recipe,
    client_recipe,
    entries,
    next_plate_recipe,
)
from tests.demo_making.tagged import tagged_scenes
from tests.rendering.process import DemoProcess, PlateVariation, plate_variation
from tests.rendering.render import Picture, render_scene
from tests.rendering.scene import Scene, SceneCard, SceneLight, ScenePlate, SceneView
from tests.rendering.sensor import Exif

CLIENT_REFERENCE = "client_reference.jpg"
NEXT_PLATE = "next_plate.jpg"
BROWN = 24


@dataclass(frozen=True, eq=False)
class Shot:
    """One shipped picture. name: its path below demo_images. title: what it shows, for a person."""

    name: str
    title: str
    scene: Scene
    exif: Exif
    quality: int = 88
    embed_profile: bool = False


def generator_for(seed: int, name: str) -> np.random.Generator:
    """Return the generator of one picture or plate."""
    return np.random.default_rng([seed, zlib.crc32(name.encode())])


def variation_of(entry: Entry, seed: int) -> PlateVariation:
    """Return how a logged plate departed from its recipe."""
    return plate_variation(generator_for(seed, f"plate {entry.number}"))


def taken(shot: Shot, seed: int, process: DemoProcess | None = None) -> tuple[Picture, bytes]:
    """Render a shot; return the picture and its JPEG file."""
    picture = render_scene(shot.scene, generator_for(seed, shot.name), process)
    return picture, picture.jpeg(shot.quality, shot.exif, shot.embed_profile)


def shots(seed: int) -> list[Shot]:
    """Return every shipped picture: the large ones, those to learn from, one small one for each plate."""
    book = entries()
    return [
        *_large_shots({entry.number: entry for entry in book}, seed),
        *_tagged_shots({entry.number: entry for entry in book}, seed),
        *_example_shots(seed),
        *(_small_shot(entry, seed) for entry in book),
    ]


def _casting(number: int, seed: int) -> int:
    return int(generator_for(seed, f"casting {number}").integers(2**31))


def _plate(entry: Entry, seed: int, **pose: object) -> ScenePlate:
    plate = ScenePlate(
        entry.recipe,
        label=f"{entry.number}",
        variation=variation_of(entry, seed),
        casting=_casting(entry.number, seed),
    )
    return replace(plate, **pose)  # type: ignore[arg-type]


def _client_tile(seed: int, **pose: object) -> ScenePlate:
    plate = ScenePlate(client_recipe(), size_mm=(100.0, 88.0), relief=1.6, casting=_casting(0, seed))
    return replace(plate, **pose)  # type: ignore[arg-type]


def _next_plate(seed: int, **pose: object) -> ScenePlate:
    number = len(entries()) + 1
    plate = ScenePlate(
        next_plate_recipe(), label=f"{number}", variation=NEXT_PLATE_VARIATION, casting=_casting(number, seed)
    )
    return replace(plate, **pose)  # type: ignore[arg-type]


WARM_LAMPS = SceneLight("A", from_deg=52, height_deg=42, gradient=0.22, softness=0.2)
TUBES = SceneLight("FL2", from_deg=96, height_deg=66, gradient=0.08, softness=0.95)
WINDOW = SceneLight("D55", from_deg=150, height_deg=46, gradient=0.06, softness=0.65)
OVERCAST = SceneLight("D65", from_deg=108, height_deg=58, gradient=0.04, softness=0.9)


def _large_shots(book: dict[int, Entry], seed: int) -> list[Shot]:
    return [*_client_shots(seed), *_light_shots(book[BROWN], book[39], seed), *_card_shots(book[39], book[76], seed)]


def _client_shots(seed: int) -> list[Shot]:
    tile = Scene(
        plates=(_client_tile(seed, at_mm=(-54.0, 4.0), turn_deg=4.0),),
        cards=(SceneCard(at_mm=(59.0, -2.0), turn_deg=-5.0),),
        light=replace(OVERCAST, illuminant="D50"), bench="cloth", exposure=1.12, sheen=0.5,
        view=SceneView(width_mm=268.0, tilt_deg=16.0),
    )  # fmt: skip
    following = Scene(
        plates=(_next_plate(seed, turn_deg=-3.0),),
        cards=(SceneCard(turn_deg=3.0),),
        light=WINDOW, exposure=1.22, props=("brush", "tin"),
    )  # fmt: skip
    both = Scene(
        plates=(
            _client_tile(seed, at_mm=(-102.0, 2.0), turn_deg=2.0),
            _next_plate(seed, at_mm=(8.0, -2.0), turn_deg=-2.0),
        ),
        cards=(SceneCard(at_mm=(112.0, 3.0), turn_deg=3.0),),
        light=WINDOW, exposure=1.2, props=("pencil",), view=SceneView(width_mm=350.0, tilt_deg=12.0),
    )  # fmt: skip
    received, day = datetime(2024, 4, 9, 11, 5), datetime(2025, 2, 27, 10, 20)
    return [
        Shot(CLIENT_REFERENCE, "The client's own piece with a grey card, in daylight", tile,
             Exif(received, 1 / 160, 5.6, 200), embed_profile=True),
        Shot(NEXT_PLATE, "The next plate with a grey card, in daylight", following, Exif(day)),
        Shot("two_plates.jpg", "The client's piece and the next plate side by side, with a grey card", both,
             Exif(day + timedelta(minutes=12))),
    ]  # fmt: skip


def _light_shots(brown: Entry, green: Entry, seed: int) -> list[Shot]:
    """One brown plate and one green one, in lights good and bad."""
    plate = _plate(brown, seed, turn_deg=-2.0)
    daylight = Scene(plates=(plate,), light=WINDOW, exposure=1.18, props=("brush", "pencil"))
    lamps = replace(
        daylight, light=WARM_LAMPS, white_balance=0.72, exposure=1.15, bench="wood", props=("tin",),
        plates=(replace(plate, turn_deg=3.0),),
    )  # fmt: skip
    glare = replace(daylight, glare_share=0.12, exposure=1.2, props=("pencil",), light=replace(WINDOW, softness=0.3))
    no_card = replace(
        daylight, cards=(), bench="blue cloth", light=OVERCAST, props=("brush",), exposure=1.0,
        plates=(replace(plate, at_mm=(2.0, 6.0), turn_deg=9.0),), view=SceneView(width_mm=215.0, tilt_deg=20.0),
    )  # fmt: skip
    tubes = Scene(
        plates=(_plate(green, seed, turn_deg=2.0),),
        cards=(SceneCard(turn_deg=-3.0),),
        light=TUBES, white_balance=0.88, exposure=1.08, bench="blue cloth", props=("brush",),
    )  # fmt: skip
    day = datetime(2025, 3, 4, 9, 40)
    return [
        Shot("plate_daylight.jpg", "A plate with a grey card, in daylight from a window", daylight, Exif(day)),
        Shot("plate_warm_lamps.jpg", "The same plate under warm lamps", lamps, Exif(day, 1 / 60, 4.0, 400)),
        Shot("plate_tubes.jpg", "A green plate under workshop tubes", tubes, Exif(day, 1 / 100, 4.0, 400)),
        Shot("plate_glare.jpg", "The brown plate with a lamp's glare on it", glare, Exif(day)),
        Shot("plate_no_card.jpg", "The brown plate without a card", no_card, Exif(day, 1 / 200)),
    ]


def _card_shots(green: Entry, olive: Entry, seed: int) -> list[Shot]:
    """The other cards: the carrier sheet at an angle, the three-step scale, the 24-patch chart in two lights."""
    askew = Scene(
        plates=(_plate(green, seed, at_mm=(-92.0, -8.0), turn_deg=-24.0),),
        cards=(SceneCard("carrier sheet", at_mm=(62.0, 12.0), turn_deg=21.0),),
        light=OVERCAST, bench="wood", exposure=1.08,
        view=SceneView(width_mm=350.0, tilt_deg=42.0, turn_deg=9.0, distance_mm=640.0),
    )  # fmt: skip
    steps = Scene(
        plates=(_plate(olive, seed, at_mm=(0.0, -30.0), turn_deg=2.0),),
        cards=(SceneCard("grey scale", at_mm=(3.0, 62.0), turn_deg=-4.0),),
        light=WINDOW, bench="blue cloth", exposure=1.1, tone_curve=0.6, camera="B", noise=0.25,
        view=SceneView(width_mm=272.0, tilt_deg=14.0),
    )  # fmt: skip
    chart = Scene(
        cards=(SceneCard("24-patch chart", at_mm=(0.0, 0.0), turn_deg=2.5),),
        light=OVERCAST, bench="wood", exposure=0.96, view=SceneView(width_mm=236.0, tilt_deg=9.0),
    )  # fmt: skip
    under_tubes = replace(chart, light=TUBES, white_balance=0.88, bench="steel")
    day = datetime(2025, 3, 5, 14, 20)
    return [
        Shot("plate_carrier_askew.jpg", "The green plate with a carrier sheet, at a steep angle", askew, Exif(day)),
        Shot(
            "plate_grey_scale.jpg",
            "A plate with a three-step grey scale; another camera, which bends its tones",
            steps,
            Exif(day),
        ),
        Shot("chart_daylight.jpg", "A 24-patch chart in daylight", chart, Exif(day, 1 / 200)),
        Shot("chart_tubes.jpg", "A 24-patch chart under the workshop tubes", under_tubes, Exif(day, 1 / 100, 4.0, 400)),
    ]


def _tagged_shots(book: dict[int, Entry], seed: int) -> list[Shot]:
    """Pieces to match beside plates with tags."""

    def basin(**pose: object) -> ScenePlate:
        piece = ScenePlate(basin_recipe(), size_mm=(100.0, 88.0), relief=1.3, casting=_casting(-1, seed))
        return replace(piece, **pose)  # type: ignore[arg-type]

    found = tagged_scenes(
        lambda number, **pose: _plate(book[number], seed, **pose),
        lambda **pose: _client_tile(seed, **pose),
        basin,
        TUBES,
        WARM_LAMPS,
        OVERCAST,
    )
    return [Shot(one.name, one.title, one.scene, one.exif, quality=82) for one in found]


def shown_examples(seed: int) -> tuple[Example, ...]:
    """Return the photographs to learn from, of the brown plate."""
    return examples(_plate(next(entry for entry in entries() if entry.number == BROWN), seed))


def _example_shots(seed: int) -> list[Shot]:
    day = datetime(2025, 3, 6, 10, 5)
    return [
        Shot(
            item.path, f"To learn from: {item.title}", item.scene, Exif(day + timedelta(minutes=4 * number)), quality=80
        )
        for number, item in enumerate(shown_examples(seed))
    ]


_BENCH_OF = {"T.R.": "wood", "B.N.": "steel", "K.O.": "blue cloth"}


def _small_shot(entry: Entry, seed: int) -> Shot:
    """The picture that was taken of a logged plate: daylight, a grey card, nothing artful."""
    rng = generator_for(seed, f"pose {entry.number}")
    near, shift = rng.uniform(-1, 1, 2) * 3
    scene = Scene(
        plates=(_plate(entry, seed, at_mm=(-46.0 + near, shift), turn_deg=float(rng.uniform(-6, 6))),),
        cards=(SceneCard(at_mm=(52.0 + near, shift + 2), turn_deg=float(rng.uniform(-5, 5))),),
        light=SceneLight(
            str(rng.choice(["D50", "D55", "D65"])), from_deg=float(rng.uniform(95, 150)), gradient=0.04, softness=0.75
        ),
        view=SceneView(width_mm=float(rng.uniform(226, 244)), tilt_deg=float(rng.uniform(6, 16))),
        bench=_BENCH_OF[entry.made_by],
        exposure=float(rng.uniform(1.08, 1.28)),
        noise=0.7,
        size=(640, 480),
    )
    exif = Exif(entry.made_at.replace(tzinfo=None) + timedelta(hours=1), iso=200)
    return Shot(f"trials/{entry.number:03}.jpg", f"Plate {entry.number}", scene, exif, quality=85)
