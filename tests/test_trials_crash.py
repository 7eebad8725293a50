"""A studio whose process is killed, again and again, in the midst of recording: whole trials only, no lost picture."""

from __future__ import annotations

import hashlib
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from matcher.storage.database import DATABASE_NAME
from matcher.studio import Studio

STREAM_OF_RECORDS = """
import sys
from matcher.studio import Studio
from tests.plates import a_photograph, a_target, a_trial

studio = Studio.open(sys.argv[1])
start = int(sys.argv[2])
for n in range(start, start + 100_000):
    sha256 = studio.keep_photo(a_photograph(n), f"plate {n}.jpg")
    trial = studio.record(a_trial(20.0 + n % 60, photos=(sha256,), piece=f"plate {n}"))
    studio.save_draft("record", {"plate": n})
    print(trial.id, n, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL there")
def test_a_process_killed_while_it_records_leaves_whole_trials_only(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    waits_s = np.random.default_rng(7).uniform(0.0, 0.25, 6)
    said: list[tuple[int, int]] = []
    for round_number, wait_s in enumerate(waits_s):
        child = subprocess.Popen(
            [sys.executable, "-c", STREAM_OF_RECORDS, str(folder), str(round_number * 1_000_000)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parent.parent,
        )
        assert child.stdout is not None
        said.append(_pair(child.stdout.readline()))  # it is under way
        time.sleep(float(wait_s))
        child.send_signal(signal.SIGKILL)
        rest, _ = child.communicate(timeout=60)
        said += [_pair(line) for line in rest.splitlines(keepends=True) if line.endswith("\n")]
        assert child.returncode == -signal.SIGKILL
        check_whole(folder, said)


def _pair(line: str) -> tuple[int, int]:
    trial_id, plate = line.split()
    return int(trial_id), int(plate)


def check_whole(folder: Path, said: list[tuple[int, int]]) -> None:
    """What was said to be recorded is there; what is there is whole; every picture that it names is there."""
    with Studio.open(folder) as studio:
        trials = {trial.id: trial for trial in studio.trials()}
        assert studio.log.revision() == len(trials)
        for trial_id, plate in said:
            assert trials[trial_id].piece == f"plate {plate}"
        for trial in trials.values():
            assert len(trial.recipe.coats) == 2
            assert [step.stage for step in trial.stages] == ["bare", "pass 3"]
            (sha256,) = trial.photos
            assert hashlib.sha256(studio.photo_path(sha256).read_bytes()).hexdigest() == sha256
        assert [change.subject for change in studio.history("trial")] == [str(trial.id) for trial in studio.trials()]
        for kept in (path for path in studio.photos.folder.glob("??/*")):
            assert hashlib.sha256(kept.read_bytes()).hexdigest() == kept.stem
    with closing(sqlite3.connect(folder / DATABASE_NAME)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
