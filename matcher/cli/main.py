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
from matcher.errors import MatcherError, sentence_of

STOPPED = 130  # what a shell gives for a command that was stopped with Ctrl+C


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return the exit code: 0, or 2 after an error that was told on standard error."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # whatever the terminal's locale, ΔE00 has a Δ; a file's name need not be UTF-8
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")
    try:
        options = whole_command_line().parse_args(arguments)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what matters comes as a caveat or an error
            answer = options.command(options)
        if answer is not None:
            say(answer, options.json)
    except MatcherError as error:
        print(sentence_of(error), file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return STOPPED
    if "opened" in options:
        from matcher.storage.damaged import in_words  # only now: it brings the database's library

        if damage := in_words(options.opened.damaged()):
            print(damage, file=sys.stderr)
    return 0


def whole_command_line() -> Parser:
    """Return the parser of all commands, in the order of the help."""
    return command_line(*(group.add_commands for group in (reading, suggest, bench, log, targets, page)))
