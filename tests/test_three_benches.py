"""Three benches at one database, killed again and again with it: nothing acknowledged is lost, nothing is doubled."""

from __future__ import annotations

import os
import sys

import pytest

from tests.benchmarks.bench_three_benches import runs
from tests.postgres_server import programs


@pytest.mark.skipif(sys.platform != "linux", reason="it looks at the server's processes as Linux shows them")
def test_nothing_acknowledged_is_lost_when_benches_and_database_are_killed() -> None:
    """The long version, 200 runs, is ``tests.benchmarks.bench_three_benches``."""
    if programs() is None:
        if os.environ.get("CI"):
            pytest.fail("PostgreSQL must be tested here: install postgresql.")
        pytest.skip("no PostgreSQL to kill: install postgresql")
    found = runs(3, seed=3, tell=lambda _: None)
    assert (found.lost, found.doubled, found.unsound) == ([], [], [])
    assert found.runs == 3
    assert (
        min(found.acknowledged[what] for what in ("photograph", "plate", "correction", "pass", "pass on the page")) > 0
    )
