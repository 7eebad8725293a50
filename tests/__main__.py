"""Every check in one command, `python -m tests`: lint, format and types beside the tests. Arguments go to pytest.

Every outcome is printed, pytest's closing line last; the exit code is that of the first check in the list that failed.
Random cases are the same ones every time here, so that what holds for one change holds for the next; plain ``pytest``
draws new ones, and ``--hypothesis-profile=nightly`` many more.
"""

from __future__ import annotations

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
BESIDE = (
    ("ruff", "check", "."),
    ("ruff", "format", "--check", "."),
    ("mypy",),
)
WORKERS = min(8, (os.cpu_count() or 1) + 1)
"""One more than there are processors: a browser test waits a good deal."""
TESTS = ("pytest", "--hypothesis-profile=ci", f"--numprocesses={WORKERS}", "--dist=worksteal")


def main(arguments: list[str]) -> int:
    coloured = ("--color=yes",) if sys.stdout.isatty() else ()  # pytest itself writes into a pipe
    with ThreadPoolExecutor(max_workers=1) as beside:
        waiting = [beside.submit(_outcome, check) for check in BESIDE]
        code, closing = _tests((*TESTS, *coloured, *arguments))
        codes = [told.result() for told in waiting]
    failed = [" ".join(check) for check, of_check in zip(BESIDE, codes, strict=True) if of_check]
    _say("".join(f"FAILED {name} (see above)\n" for name in failed) + closing)
    return next((bad for bad in (*codes, code) if bad), 0)


def _outcome(check: tuple[str, ...]) -> int:
    """Run one check, print what it said in one piece, and return its exit code."""
    done = subprocess.run(_command(check), cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
    _say(f"\n$ python -m {' '.join(check)}\n{done.stdout.decode(errors='replace')}")
    return done.returncode


def _tests(check: tuple[str, ...]) -> tuple[int, str]:
    """Run pytest and pass on what it says line by line; return its exit code and its last line, not yet printed."""
    _say(f"$ python -m {' '.join(check)}\n")
    last = ""
    with subprocess.Popen(_command(check), cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT) as running:
        assert running.stdout is not None
        for line in running.stdout:
            _say(last)
            last = line.decode(errors="replace")
    return running.returncode, last


def _command(check: tuple[str, ...]) -> list[str]:
    return [sys.executable, "-m", *check]


def _say(text: str) -> None:
    sys.stdout.write(text)
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
