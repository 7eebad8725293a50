"""Good and bad photographs of one plate, rendered: what is wrong with each, and what to do about it.

``pictures`` renders them with the rest; ``making`` reads them with the project's own steps, so that what a mishap
costs is measured and never claimed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from tests.rendering.scene import Point, Scene, SceneCard, SceneLight, ScenePlate, SceneStray, SceneView

FOLDER = "photographing"
SIZE = (900, 675)
WINDOW = SceneLight("D55", from_deg=150, height_deg=46, gradient=0.06, softness=0.65)
LAMPS = SceneLight("A", from_deg=52, height_deg=42, gradient=0.22, softness=0.2)
LONE_LAMP = SceneLight("D55", from_deg=165, height_deg=30, gradient=0.75, softness=0.2)


@dataclass(frozen=True, eq=False)
class Example:
    """One photograph to learn from. name: its file's stem. wrong: what is wrong, "" for the good one. remedy: what to
    do."""

    name: str
    title: str
    wrong: str
    remedy: str
    scene: Scene

    @property
    def path(self) -> str:
        """Its path below demo_images."""
        return f"{FOLDER}/{self.name}.jpg"


def examples(plate: ScenePlate) -> tuple[Example, ...]:
    """Return the examples, the good one first, each with the same plate."""
    good = Scene(
        plates=(replace(plate, turn_deg=-2.0),),
        cards=(SceneCard(turn_deg=2.0),),
        light=WINDOW, exposure=1.18, noise=0.5, size=SIZE, view=SceneView(width_mm=226.0, centre_mm=(2.0, 0.0)),
    )  # fmt: skip
    return (
        Example(
            "good", "Good",
            "",
            "Card flat beside the plate, one even light, nothing shining, both sharp and large.",
            good,
        ),
        Example(
            "shadow_on_card", "A shadow over the card",
            "A hand's shadow lies over the card, and not over the plate.",
            "Step back, and keep yourself and the phone out of the way of the light.",
            replace(good, strays=(SceneStray(_hand_shadow(), 6.0, (0.52, 0.54, 0.58)),)),
        ),
        Example(
            "card_leaning", "The card leans",
            "The card leans away from the window and gets less light than the plate.",
            "Lay it flat, on something as thick as the plate, facing the same way.",
            replace(good, cards=(replace(good.cards[0], lean_deg=38.0, at_mm=(60.0, 4.0)),)),
        ),
        Example(
            "glare", "Glare on the finish",
            "The metal mirrors a lamp. What glares is left out, but its haze lightens the rest.",
            "Turn the plate, or move the lamp to the side, until the shine leaves the picture.",
            replace(good, glare_share=0.24, sheen=1.6, light=replace(WINDOW, softness=0.3)),
        ),
        Example(
            "overexposed", "Overexposed",
            "The camera made the dark plate light, and the card came out white.",
            "Tap on the card to expose for it, or take it a stop or two darker.",
            replace(good, exposure=6.4),
        ),
        Example(
            "yellow_lamp", "Under yellow lamps",
            "Warm lamps hold little blue light, and each camera sees them its own way.",
            "Go to a window, or photograph a 24-patch chart once under these lamps.",
            replace(good, light=LAMPS, white_balance=0.72, exposure=1.15),
        ),
        Example(
            "card_far_away", "The card is far off",
            "The card lies far from the plate, where the lamp reaches less.",
            "Lay the card so that it touches the plate, and fill the frame with both.",
            replace(
                good, light=LONE_LAMP,
                plates=(replace(plate, at_mm=(-148.0, 40.0), turn_deg=-4.0),),
                cards=(SceneCard(at_mm=(172.0, -88.0), turn_deg=8.0),),
                view=SceneView(width_mm=500.0, tilt_deg=16.0, distance_mm=900.0),
            ),
        ),
        Example(
            "green_wall", "A coloured wall close by",
            "A green wall on the left throws its colour on the plate, and less of it on the card.",
            "Move away from coloured walls, cloths and clothes, or hang a white sheet before them.",
            replace(good, strays=(SceneStray(((-400, -300), (-30, -300), (-30, 300), (-400, 300)), 45.0,
                                             (1.02, 1.27, 1.04)),)),
        ),
    )  # fmt: skip


def _hand_shadow() -> tuple[Point, ...]:
    """A forearm from the near right corner and the hand at its end."""
    return (
        (150, 130), (104, 74), (88, 62), (74, 58), (46, 52), (30, 40), (26, 22), (34, -4), (44, -34), (54, -36),
        (58, -10), (66, -40), (76, -42), (78, -12), (88, -34), (97, -30), (96, -2), (106, -14), (112, -4), (108, 24),
        (124, 48), (200, 120),
    )  # fmt: skip
