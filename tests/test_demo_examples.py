"""The rendered photographs to learn from: they come out of their seed, and what is said of each is what is read."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from matcher.colour.difference import delta_e_2000
from matcher.demo import ONE_PLATE
from matcher.demo_examples import EXAMPLES, ReadExample, read_examples
from matcher.shipped import shipped
from tests.demo_making.example_readings import example_as_read
from tests.demo_making.making import TRUTH, make_pictures
from tests.demo_making.pictures import shown_examples
from tests.rendering.mishaps import leaning, reaching
from tests.rendering.printed import drawn_card
from tests.rendering.scene import Projection, SceneCard, SceneLight, SceneStray, SceneView
from tests.rendering.sensor import sensor_weights

DEMO = shipped("demo_images")


@pytest.fixture(scope="module")
def truths() -> dict[str, Any]:
    pictures: dict[str, Any] = json.loads((DEMO / TRUTH).read_text(encoding="utf-8"))["pictures"]
    return pictures


@pytest.fixture(scope="module")
def shown() -> dict[str, ReadExample]:
    return {example.file.stem: example for example in read_examples()}


def test_what_is_printed_is_what_this_project_reads(truths: dict[str, Any]) -> None:
    """After a change to the reading: ``python -m tests.demo_making --readings`` brings the examples up to date."""
    printed = json.loads((DEMO / EXAMPLES).read_text(encoding="utf-8"))["pictures"]
    assert list(printed) == [example.path for example in shown_examples(7)]
    for name, kept in printed.items():
        now = example_as_read(DEMO / name, truths[name])
        assert (now["said"], now["card_found"], now["words"]) == (kept["said"], kept["card_found"], kept["words"]), name
        assert now["true_lab"] == kept["true_lab"]
        if kept["read_lab"] is None:
            assert now["read_lab"] is None, name
            continue
        assert float(delta_e_2000(now["read_lab"], kept["read_lab"])) < 0.2, name
        assert kept["delta_e00"] == pytest.approx(float(delta_e_2000(kept["true_lab"], kept["read_lab"])), abs=0.02)
        assert now["reach_delta_e00"] == pytest.approx(kept["reach_delta_e00"], rel=0.1)


def test_every_mishap_costs_more_than_the_good_photograph(shown: dict[str, ReadExample]) -> None:
    good = shown.pop("good")
    assert good.delta_e00 is not None and good.delta_e00 < 1.0
    assert good.card_found and not good.wrong and not good.said
    for name, example in shown.items():
        assert example.wrong and example.remedy
        assert example.delta_e00 is None or example.delta_e00 > 2 * good.delta_e00, name
    assert shown["overexposed"].read_lab is None, "a white card is refused rather than guessed"


def test_the_examples_come_out_of_their_seed_and_are_small(tmp_path: Path, truths: dict[str, Any]) -> None:
    names = ["photographing/shadow_on_card.jpg", "photographing/card_leaning.jpg"]
    remade = make_pictures(tmp_path, 7, names)
    for name in names:
        ours, theirs = (np.asarray(Image.open(where / name), dtype=float) for where in (tmp_path, DEMO))
        assert ours.shape[1] == 900
        assert np.abs(ours - theirs).mean() < 0.5
        assert remade[name]["cards"] == truths[name]["cards"]
    assert sum(path.stat().st_size for path in (DEMO / "photographing").glob("*.jpg")) < 600_000


def test_the_photographs_of_one_plate_are_of_one_plate(truths: dict[str, Any]) -> None:
    labs = np.array([truths[name]["finishes"][0]["lab"] for name in ONE_PLATE])
    assert len(ONE_PLATE) >= 3
    assert delta_e_2000(labs, labs[0]).max() < 0.3
    assert all(truths[name]["light"].startswith("D") and truths[name]["cards"] for name in ONE_PLATE)


def test_a_card_raised_by_half_a_right_angle_looks_shorter_and_keeps_its_near_edge() -> None:
    """Seen from straight above at a distance, a slope of t is cos t as long (geometry)."""
    far_above = Projection(SceneView(tilt_deg=0.0, distance_mm=50_000.0), (800, 600))
    flat = drawn_card(SceneCard(), far_above, sensor_weights("A", "D55"), np.random.default_rng(3))
    card = SceneCard(lean_deg=45.0)
    raised = leaning(
        drawn_card(card, far_above, sensor_weights("A", "D55"), np.random.default_rng(3)), card, SceneLight()
    )
    lying, sloping = (corners_of(item, far_above) for item in (flat, raised))
    assert np.allclose(lying[2:], sloping[2:], atol=0.7)
    length = np.linalg.norm(sloping[3] - sloping[0]) / np.linalg.norm(lying[3] - lying[0])
    assert length == pytest.approx(np.cos(np.pi / 4), abs=0.01)


def test_a_face_turned_to_the_light_gets_more_of_it_and_one_turned_away_less() -> None:
    view = Projection(SceneView(), (400, 300))
    card = SceneCard(lean_deg=25.0)
    flat = drawn_card(SceneCard(), view, sensor_weights("A", "D55"), np.random.default_rng(3))
    from_the_front, from_behind = (
        leaning(flat, card, SceneLight(from_deg=degrees)).radiance.mean() / flat.radiance.mean()
        for degrees in (270, 90)
    )
    assert from_the_front > 1.0 > 0.9 > from_behind


def test_stray_light_changes_what_it_falls_on_and_nothing_far_from_it() -> None:
    stray = SceneStray(((20, 20), (80, 20), (80, 60), (20, 60)), 2.0, (0.5, 0.6, 1.2))
    view = Projection(SceneView(tilt_deg=0.0), (580, 435))
    light = reaching(stray, view)
    (inside, outside) = view.pixels(np.array([[50.0, 40.0], [-60.0, -40.0]]), 0.0).round().astype(int)
    assert light[inside[1], inside[0]] == pytest.approx([0.5, 0.6, 1.2], abs=0.01)
    assert light[outside[1], outside[0]] == pytest.approx([1, 1, 1], abs=1e-6)


def corners_of(item: Any, projection: Projection) -> Any:
    mapped = np.column_stack([item.region, np.ones(len(item.region))]) @ item.in_picture(projection).T
    return mapped[:, :2] / mapped[:, 2:]
