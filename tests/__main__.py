"""Every check in one command, `python -m tests`: lint, format, types, then the tests. Arguments go to pytest.

Stops at the first check that fails, with its exit code; pytest's closing lines come last. Random cases are the same
ones every time here, so that what holds for one change holds for the next; plain ``pytest`` draws new ones.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

CHECKS = (
    ("ruff", "check", "."),
    ("ruff", "format", "--check", "."),
    ("mypy",),
    ("pytest", "--hypothesis-profile=ci"),
)


def main(arguments: list[str]) -> int:
    for check in CHECKS:
        command = [sys.executable, "-m", *check, *(arguments if check[0] == "pytest" else ())]
        print("$", "python -m", " ".join(command[2:]), flush=True)
        code = subprocess.run(command, cwd=Path(__file__).resolve().parents[1], check=False).returncode
        if code:
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
