"""``python -m tests.demo_making``: make the shipped pictures and log again from a seed."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from tests.demo_making.making import DEFAULT_SEED, make_everything, make_pictures, read_log


def main(arguments: list[str] | None = None) -> int:
    """Run the command; returns its exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.demo_making", description="Make the invented demo studio's pictures and log from a seed."
    )
    parser.add_argument("--seed", type=int, default=DEFAULT_SEED, help=f"default {DEFAULT_SEED}, as shipped")
    parser.add_argument("--into", type=Path, default=Path("demo_images"), metavar="FOLDER", help="default demo_images")
    parser.add_argument("--only", nargs="+", metavar="NAME", help="render these pictures and nothing else")
    parser.add_argument("--readings", action="store_true", help="read the pictures that are there again, render none")
    chosen = parser.parse_args(arguments)
    if chosen.readings:
        read_log(chosen.into)
    elif chosen.only:
        made = make_pictures(chosen.into, chosen.seed, chosen.only)
        unknown = sorted(set(chosen.only) - set(made))
        if unknown:
            print(f"No picture is called {', '.join(unknown)}: see the names in README.md.", file=sys.stderr)
            return 2
    else:
        make_everything(chosen.into, chosen.seed)
    return 0


if __name__ == "__main__":
    sys.exit(main())
