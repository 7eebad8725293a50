"""The most memory that taking in, writing and restoring large files needs, each in a process of its own.

`python -m tests.benchmarks.bench_memory [--csv 66] [--json 400]`, in MB of file. Nothing may take over 1,500 MB.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from matcher.trials.archive import FORMAT
from matcher.trials.trial import Trial
from tests.plates import a_trial

BOUND_MB = 1500
_MEASURED = """
import resource, sys
from matcher.studio import Studio
with Studio.open(sys.argv[2]) as studio:
    getattr(studio, sys.argv[1])(sys.argv[3])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def peak_mb(method: str, studio: Path, file: Path) -> float:
    """Return the peak memory, in MB, of a process that calls a studio's ``method`` with ``file``."""
    command = [sys.executable, "-c", _MEASURED, method, str(studio), str(file)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return float(done.stdout.split()[-1])


def write_table(path: Path, megabytes: float) -> None:
    """Write a table of invented plates of about that size, a row to every 250 bytes."""
    heading = ("alloy", "coat_1_chemical", "coat_1_strength_of_stock", "coat_1_passes", "coat_1_surface_temp_c")
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow((*heading, "lab_l", "lab_a", "lab_b", "notes"))
        number = 0
        while file.tell() < megabytes * 1e6:
            recipe = ("silicon bronze", "ferric nitrate", 0.5, 1 + number % 20, 105)
            table.writerow((*recipe, 20 + number % 60, 14, 22, f"plate {number}".ljust(180, ".")))
            number += 1


def write_export(path: Path, megabytes: float) -> None:
    """Write an export of invented plates whose studio.json is of about that size."""
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive,
        archive.open("studio.json", "w", force_zip64=True) as entry,
        io.TextIOWrapper(entry, "utf-8") as text,
    ):
        _write_document(text, _plates(), megabytes * 1e6)


def _plates() -> Iterator[Trial]:
    number = 0
    while True:
        yield a_trial(20 + number % 60, uid=f"plate {number}", photos=())
        number += 1


def _write_document(text: TextIO, plates: Iterator[Trial], size: float) -> None:
    studio = {"uid": "invented", "title": "Invented", "is_demo": True}
    rest = {"stocks": [], "targets": [], "own_cards": [], "camera_profiles": {}, "photos": [], "history": []}
    head = {"format": FORMAT, "version": 1, "studio": studio, **rest}
    text.write(json.dumps(head)[:-1] + ', "trials": [')
    written, between = 0, ""
    while written < size:
        plate = json.dumps({**next(plates).as_dict(), "target_uid": None}, indent=1)
        text.write(between + plate)
        written, between = written + len(plate), ",\n"
    text.write("]}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--csv", type=float, default=66)
    parser.add_argument("--json", type=float, default=400)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        write_table(place / "table.csv", options.csv)
        _report("taking in a table", options.csv, peak_mb("import_file", place / "one", place / "table.csv"))
        write_export(place / "export.zip", options.json)
        _report("taking in an export", options.json, peak_mb("import_file", place / "two", place / "export.zip"))
        _report("writing that export", options.json, peak_mb("export", place / "two", place / "out.zip"))
        _report("backing up that studio", options.json, peak_mb("backup", place / "two", place / "backup.zip"))


def _report(what: str, megabytes: float, peak: float) -> None:
    verdict = "within" if peak <= BOUND_MB else "OVER"
    print(f"{what} of {megabytes:g} MB: at most {peak:.0f} MB, {verdict} {BOUND_MB}", flush=True)


if __name__ == "__main__":
    main()
