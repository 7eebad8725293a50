"""Which of the invented studio's plates carry tags, and the photographs that they lie in beside a finish.

In the first photograph they lie beside a 24-patch chart: there their finishes were marked by their tags, and there they
were seen for the first time. The others show what it is good for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from matcher.tags.code import TagCode, studio_signs
from tests.rendering.scene import Scene, SceneCard, SceneLight, ScenePlate, SceneView
from tests.rendering.sensor import Exif

STUDIO_UID = "0dd10e5a4d00000000000000000de300"
"""Of the invented studio, so that the tags in its pictures are its own."""
TAGGED = (5, 13, 24, 39, 48, 53, 76, 87, 88, 97)
"""Plates with a tag whose number is the plate's, spread over the log's colours and dense about the client's."""
ON_A_BOARD = (5, 13, 24, 39, 48, 53, 76, 88)
WITH_A_CHART = "tagged_plates_chart.jpg"
UNDER_TUBES = "beside_plates_tubes.jpg"
UNDER_A_LAMP = "beside_plate_lamp.jpg"
BESIDE_A_BOARD = "beside_board.jpg"
GIVEN_ON = datetime(2025, 3, 7, 10, 40, tzinfo=UTC)
"""When they were photographed with the chart, as the log has it. The files themselves have no date: the log is moved to
the day on which the demo is made, and a photograph older than its plates would not be read by them."""

Placed = Callable[..., ScenePlate]
"""From a plate's number, or of a piece from nothing, and where it lies to what is rendered."""


@dataclass(frozen=True, eq=False)
class TaggedScene:
    """A photograph with tagged plates in it."""

    name: str
    title: str
    scene: Scene
    exif: Exif


def tag_of(number: int) -> TagCode:
    """Return the tag of a plate."""
    return TagCode(studio_signs(STUDIO_UID), number)


def tagged_scenes(
    plate: Placed, client: Placed, basin: Placed, tubes: SceneLight, lamp: SceneLight, day: SceneLight
) -> tuple[TaggedScene, ...]:
    """Return the photographs. plate: any logged one; client, basin: pieces to match; and lights."""

    def tagged(number: int, x: float, y: float, turn: float = 0.0) -> ScenePlate:
        return plate(number, at_mm=(x, y), turn_deg=turn, tag=tag_of(number))

    rows = [(k // 4, k % 4) for k in range(len(TAGGED))]
    chart = Scene(
        plates=tuple(
            tagged(number, 102.0 * across - 153.0, 143.0 * down - 131.0, 0.6 * (number % 5) - 1.2)
            for number, (down, across) in zip(TAGGED, rows, strict=True)
        ),
        cards=(SceneCard("24-patch chart", at_mm=(103.0, 152.0), turn_deg=1.0),),
        light=day, bench="grey board", exposure=1.0, sheen=0.4, size=(2000, 1500),
        view=SceneView(width_mm=606.0, centre_mm=(0.0, 4.0), tilt_deg=6.0, distance_mm=1200.0),
    )  # fmt: skip
    three = Scene(
        plates=(
            client(at_mm=(-66.0, 76.0), turn_deg=2.0),
            tagged(24, -106.0, -44.0, -2.0),
            tagged(87, 0.0, -46.0, 1.5),
            tagged(88, 106.0, -43.0, -1.0),
        ),
        cards=(SceneCard(at_mm=(54.0, 77.0), turn_deg=3.0),),
        light=tubes, white_balance=0.88, exposure=1.1, bench="blue cloth",
        view=SceneView(width_mm=378.0, centre_mm=(0.0, 1.0), tilt_deg=10.0, distance_mm=900.0),
    )  # fmt: skip
    one = Scene(
        plates=(client(at_mm=(-58.0, 8.0), turn_deg=-3.0), tagged(97, 54.0, 4.0, 2.0)),
        cards=(),
        light=lamp, white_balance=0.72, exposure=1.12, bench="wood",
        view=SceneView(width_mm=262.0, centre_mm=(0.0, -4.0), tilt_deg=13.0),
    )  # fmt: skip
    rows = [(k // 4, k % 4) for k in range(len(ON_A_BOARD))]
    board = Scene(
        plates=(
            basin(at_mm=(-214.0, 8.0), turn_deg=3.0),
            *(
                tagged(number, 102.0 * across - 104.0, 143.0 * down - 62.0)
                for number, (down, across) in zip(ON_A_BOARD, rows, strict=True)
            ),
        ),
        cards=(),
        light=replace(lamp, illuminant="LED-B3", gradient=0.06, softness=0.8), white_balance=0.85, exposure=1.05,
        tone_curve=0.5, camera="B", noise=0.4, bench="steel",
        view=SceneView(width_mm=566.0, centre_mm=(-8.0, 0.0), tilt_deg=8.0, distance_mm=1200.0), size=(2000, 1500),
    )  # fmt: skip
    return (
        TaggedScene(WITH_A_CHART, "Ten tagged plates with a 24-patch chart, in daylight", chart, Exif(None)),
        TaggedScene(UNDER_TUBES, "The client's piece, a grey card and three tagged plates, under workshop tubes",
                    three, Exif(None, 1 / 100, 4.0, 400)),
        TaggedScene(UNDER_A_LAMP, "The client's piece beside one tagged plate under a warm lamp, without a card",
                    one, Exif(None, 1 / 60, 4.0, 400)),
        TaggedScene(BESIDE_A_BOARD, "A green piece beside a board of eight tagged plates, under an LED lamp, without "
                    "a card", board, Exif(None, 1 / 80, 4.0, 200)),
    )  # fmt: skip
