"""The studio as one door: its suggestions follow the log, and the whole of it works from a second process."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from matcher.colour.difference import delta_e_2000
from matcher.errors import StudioError
from matcher.studio import Studio
from matcher.trials.trial import Trial
from tests.plates import a_photograph, a_target, a_trial

ROOT = Path(__file__).parent.parent


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio.open(tmp_path / "studio") as opened:
        yield opened


def in_another_process(code: str, *arguments: object) -> str:
    run = subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)], capture_output=True, text=True, check=True, cwd=ROOT
    )
    return run.stdout.strip()


def test_the_way_from_target_to_a_better_suggestion(studio: Studio) -> None:
    client = studio.keep_photo(a_photograph(5), "client.jpg")
    target = studio.save_target(a_target(photo=client))
    for lightness in (20.0, 30.0, 60.0):
        studio.record(a_trial(lightness, target_id=target.id))
    (before, *_) = studio.suggester().suggest(target.reading)
    studio.record(a_trial(41.0, photos=(studio.keep_photo(a_photograph(6)),), target_id=target.id))
    (after, *_) = studio.suggester().suggest(target.reading)
    assert after.delta_e00 < before.delta_e00
    assert isinstance(after.trial, Trial)
    assert after.trial.id == 4
    assert after.delta_e00 == pytest.approx(float(delta_e_2000(target.reading.lab, after.trial.reading.lab)))
    assert studio.photo_path(after.trial.photos[0]).read_bytes() == a_photograph(6)


def test_the_suggester_is_kept_until_the_log_changes(studio: Studio) -> None:
    studio.record(a_trial(30.0))
    first = studio.suggester()
    assert studio.suggester() is first
    assert studio.suggester(tolerance=3.0) is not first
    assert studio.suggester() is first
    studio.record(a_trial(40.0))
    second = studio.suggester()
    assert second is not first
    assert len(second.trials) == 2
    studio.set_aside(1, "streaky")
    assert len(studio.suggester().trials) == 1
    studio.take_back(1)
    assert len(studio.suggester().trials) == 2


def test_what_changes_no_trial_leaves_the_suggester_alone(studio: Studio) -> None:
    studio.record(a_trial())
    first = studio.suggester()
    studio.save_target(a_target())
    studio.save_draft("record", {})
    studio.save_card("card", "grey card", (49, 0, 0))
    studio.keep_photo(a_photograph())
    assert studio.suggester() is first


def test_another_processs_trial_is_in_the_next_suggestions(studio: Studio) -> None:
    studio.record(a_trial(20.0))
    first = studio.suggester()
    in_another_process(
        "import sys\nfrom matcher.studio import Studio\nfrom tests.plates import a_trial\n"
        "Studio.open(sys.argv[1]).record(a_trial(40.0))",
        studio.name,
    )
    again = studio.suggester()
    assert again is not first
    nearest = again.suggest(np.array([40.0, 14.0, 22.0]))[0].trial
    assert isinstance(nearest, Trial)
    assert nearest.id == 2


def test_another_process_reads_what_was_recorded_here(studio: Studio) -> None:
    sha256 = studio.keep_photo(a_photograph())
    studio.record(a_trial(photos=(sha256,)))
    said = in_another_process(
        "import sys\nfrom matcher.studio import Studio\n"
        "studio = Studio.open(sys.argv[1]); trial = studio.trial(1)\n"
        "print(trial.reading.lab[0], studio.photo_path(trial.photos[0]).stat().st_size)",
        studio.name,
    )
    assert said == f"38.0 {len(a_photograph())}"


def test_opening_a_studio_loads_neither_the_page_nor_the_models(tmp_path: Path) -> None:
    said = in_another_process(
        "import sys\nfrom matcher.studio import Studio\nStudio.open(sys.argv[1]).trials()\n"
        "print([name for name in ('streamlit', 'sklearn', 'colour', 'alembic', 'rawpy', 'ui') if name in sys.modules])",
        tmp_path / "studio",
    )
    assert said == "[]"


def test_a_closed_studio_can_be_opened_again(tmp_path: Path) -> None:
    with Studio.open(tmp_path) as studio:
        studio.record(a_trial())
    with Studio.open(str(tmp_path)) as again:
        assert again.trial(1).piece == "sample plate 7"


def test_a_title_is_one_line(studio: Studio) -> None:
    with pytest.raises(StudioError, match="Shorten the studio's title"):
        studio.title = "x" * 300
    studio.title = "two\nlines"
    assert studio.title == "two lines"


def test_a_suggester_with_dice_of_its_own_knows_the_newest_plate(studio: Studio) -> None:
    studio.record(a_trial(40.0))
    studio.suggester()
    studio.record(a_trial(44.0))
    assert len(studio.suggester(rng=np.random.default_rng(1)).trials) == 2
