"""A chart of which the photograph holds few pixels is refused in a sentence, or placed to a tenth of a patch.

Invented scenes of the shipped 24-patch chart, 4 to 12 pixels a patch.
"""

import cv2
import numpy as np
import pytest

from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.card.reading import best_way_up
from matcher.card.search import find_charts
from matcher.errors import CardError
from tests.scenes import Scene, box, draw_card, turned

CHART, SCALE = (load_cards()[name] for name in ("24-patch chart", "grey scale"))
DRAWN = draw_card(CHART, 240)


def small_chart(patch_px, degrees, seed=1):
    """Return a photograph with an even ground and a chart of patches so many pixels wide, and the chart's corners."""
    width, height = 12 * patch_px, 9 * patch_px
    middle = np.array([width, height]) / 2 + [0.3, -0.2]
    low, high = middle - [3 * patch_px, 2 * patch_px], middle + [3 * patch_px, 2 * patch_px]
    corners = turned(box(*low, *high), degrees)
    scene = Scene(width, height, lab=(70, 2, 8), seed=seed)
    scene.light[:] = scene.light.mean(axis=(0, 1))
    return scene.lay_picture(corners, DRAWN).blurred(0.4).photo(noise=0.002), corners


@pytest.mark.parametrize("degrees", [0, 25])
@pytest.mark.parametrize("patch_px", [4, 5, 6, 7, 8, 9, 12])
def test_a_small_chart_is_refused_in_a_sentence_or_placed_to_a_tenth_of_a_patch(patch_px, degrees):
    photo, corners = small_chart(patch_px, degrees)
    try:
        found = find_card(photo, CHART.name)
    except CardError as error:
        assert patch_px < 12, "of twelve pixels a patch a chart is found"
        assert "marked area" not in str(error) and "mark its four corners" in str(error)
    else:
        assert np.abs(found.corners - corners).max() <= 0.1 * patch_px + 0.01


def test_the_chart_finder_is_told_which_chart_to_look_for(monkeypatch):
    """Untold it may look for one of 140 patches, whatever stood in memory, and gives those."""
    made, create = [], cv2.mcc.CCheckerDetector.create

    def kept():
        made.append(create())
        return made[-1]

    monkeypatch.setattr(cv2.mcc.CCheckerDetector, "create", kept)
    find_charts(np.full((120, 160, 3), 90, np.uint8))
    assert made and all(one.getColorChartType() == cv2.mcc.MCC24 for one in made)


@pytest.mark.parametrize("card", [CHART, SCALE])
@pytest.mark.parametrize(
    ("found_by", "said"), [("corners", "The marked area"), ("chart", "What looks like"), ("shape", "What looks like")]
)
def test_an_area_is_called_marked_only_when_somebody_marked_it(card, found_by, said):
    scene = Scene().lay(box(200, 150, 600, 400), (40, 20, 25), texture=0.2)
    with pytest.raises(CardError, match=f"{said}.*{card.title}.*mark"):
        best_way_up(scene.photo(), card, box(200, 150, 600, 400), found_by)


@pytest.mark.parametrize(
    ("found_by", "said"), [("corners", "as marked is not wholly"), ("shape", "The card is not wholly in the picture")]
)
def test_a_card_half_outside_is_called_marked_only_when_somebody_marked_it(found_by, said):
    with pytest.raises(CardError, match=said):
        best_way_up(Scene().photo(), SCALE, box(-700, 150, 40, 400), found_by)
