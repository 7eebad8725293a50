"""Memory grows with a file far less than it did when the whole of it was held several times over.

The full sizes are measured by `tests/benchmarks/bench_memory.py`; here the growth from a small to a larger file.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.benchmarks.bench_memory import peak_mb, write_export, write_table

pytest.importorskip("resource")

CSV_GROWTH = 10.0
"""MB for each MB of a table: it was 33; at 20 the largest table that is read would just need 1,500 MB."""
EXPORT_GROWTH = 5.0
"""MB for each MB of studio.json: it was 8, and 13 when written; a few MB of file show more than many do."""


def growth(write: Callable[[Path, float], None], method: str, folder: Path, ending: str) -> float:
    """Return how much more memory, per MB of file, the larger of two files needs."""
    peaks = []
    for megabytes in (1.0, 3.0):
        file = folder / f"{megabytes:g}{ending}"
        write(file, megabytes)
        peaks.append(peak_mb(method, folder / f"studio {megabytes:g}", file))
    return (peaks[1] - peaks[0]) / 2.0


def test_a_table_is_taken_in_row_by_row(tmp_path: Path) -> None:
    assert growth(write_table, "import_file", tmp_path, ".csv") < CSV_GROWTH


def test_an_export_is_read_and_written_piece_by_piece(tmp_path: Path) -> None:
    assert growth(write_export, "import_file", tmp_path, ".zip") < EXPORT_GROWTH
    peaks = [peak_mb("export", tmp_path / f"studio {size}", tmp_path / f"out {size}.zip") for size in (1, 3)]
    assert (peaks[1] - peaks[0]) / 2.0 < EXPORT_GROWTH
