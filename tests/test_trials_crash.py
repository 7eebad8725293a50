"""A studio whose process is killed, again and again, in the midst of recording: whole trials only, no lost picture."""

from __future__ import annotations

import hashlib
import os
import signal
import sqlite3
import sys
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from matcher.storage.database import DATABASE_NAME
from matcher.studio import Studio
from tests.forked import forked
from tests.plates import a_photograph, a_trial


def record_on_and_on(folder: str, start: int, said_in: str) -> None:
    """Record plate after plate, and say each once it is recorded."""
    with Path(said_in).open("w") as said, Studio.open(folder) as studio:
        for n in range(start, start + 100_000):
            sha256 = studio.keep_photo(a_photograph(n), f"plate {n}.jpg")
            trial = studio.record(a_trial(20.0 + n % 60, photos=(sha256,), piece=f"plate {n}"))
            studio.save_draft("record", {"plate": n})
            print(trial.id, n, file=said, flush=True)


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL there")
def test_a_process_killed_while_it_records_leaves_whole_trials_only(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    waits_s = np.random.default_rng(7).uniform(0.0, 0.25, 6)
    said: list[tuple[int, int]] = []
    for round_number, wait_s in enumerate(waits_s):
        said_in = tmp_path / f"said {round_number}"
        os.mkfifo(said_in)
        child = forked(record_on_and_on, str(folder), round_number * 1_000_000, str(said_in))
        with said_in.open() as told:
            said.append(_pair(told.readline()))  # it is under way
            time.sleep(float(wait_s))
            assert child.pid is not None
            os.kill(child.pid, signal.SIGKILL)
            said += [_pair(line) for line in told if line.endswith("\n")]
        child.join(60)
        assert child.exitcode == -signal.SIGKILL
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
