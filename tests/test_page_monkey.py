"""A few random hands on every page; `tests/benchmarks/bench_monkey.py` lets many more loose."""

from __future__ import annotations

import shutil
from pathlib import Path

from matcher.studio import Studio
from tests.monkey import in_words, let_loose
from ui.state.places import ALL

STEPS = 6
SEED = 20
EVERY = 6


def test_random_hands_on_every_page_end_in_no_exception(master_demo: Path, tmp_path: Path) -> None:
    """On a demo studio of which one plate in six counts: what is learned from them takes the longest."""
    folder = Path(shutil.copytree(master_demo, tmp_path / "small"))
    with Studio.open(folder) as studio:
        for trial in studio.trials():
            if (trial.id or 0) % EVERY:
                studio.set_aside(trial.id or 0, "left out here")
    done: list[str] = []
    faults = let_loose(folder, SEED, (), STEPS, done.append)
    assert faults == [], "\n\n".join(map(in_words, faults))
    assert len(done) == len(ALL)
