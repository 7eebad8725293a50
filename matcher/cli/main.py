"""The command line, `patina-matcher` or `python -m matcher`: parses, calls, prints.

A thin skin over the Python API. Each command returns what `--json` prints and what a person reads; errors are one
plain sentence on standard error with exit code 2.
"""

from __future__ import annotations

import sys
import warnings
from collections.abc import Sequence

from matcher.cli import bench, log, page, reading, suggest, targets
from matcher.cli.options import Parser, command_line
from matcher.cli.words import say
from matcher.errors import MatcherError


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return the exit code: 0, or 2 after an error that was told on standard error."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8")  # whatever the terminal's locale: ΔE00 has a Δ
    try:
        options = whole_command_line().parse_args(arguments)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what matters comes as a caveat or an error
            answer = options.command(options)
    except MatcherError as error:
        print(" ".join(str(error).split()), file=sys.stderr)
        return 2
    if answer is not None:
        say(answer, options.json)
    if "opened" in options:
        from matcher.storage.damaged import in_words  # only now: it brings the database's library

        if damage := in_words(options.opened.damaged()):
            print(damage, file=sys.stderr)
    return 0


def whole_command_line() -> Parser:
    """Return the parser of all commands, in the order of the help."""
    return command_line(*(group.add_commands for group in (reading, suggest, bench, log, targets, page)))
