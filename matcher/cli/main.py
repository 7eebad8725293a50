"""The command line, `patina-matcher` or `python -m matcher`: parses, calls, prints. Here too: demo and app.

A thin skin over the Python API. Each command returns what `--json` prints and what a person reads; errors are one
plain sentence on standard error with exit code 2.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path

from matcher import share_commands
from matcher.cli import bench, commissions, keeping, log, people, reading, solutions, suggest, tags
from matcher.cli.app import add_app_command, say
from matcher.errors import MatcherError, sentence_of
from matcher.typed_in.options import PROGRAM, Commands, Parser, command_line
from matcher.typed_in.photographs import studio_is_there
from matcher.typed_in.words import Answer
from matcher.words import counted

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
        _keep_a_backup(options)
    return 0


def _keep_a_backup(options: argparse.Namespace) -> None:
    """Begin the day's backup of the studio that was opened, and say so when the last one failed."""
    try:
        failed = "" if "when_due" in options else keeping.back_up_beside(options)
    except (MatcherError, OSError):
        return  # the command itself was done, and what is wrong with the studio it has said
    if failed:
        print(failed, file=sys.stderr)


def whole_command_line() -> Parser:
    """Return the parser of all commands, in the order of the help."""
    return command_line(
        *(
            group.add_commands
            for group in (reading, suggest, bench, log, tags, commissions, solutions, people, keeping, share_commands)
        ),
        add_opening_commands,
    )


def add_opening_commands(commands: Commands) -> None:
    commands.add("demo", "Make an invented studio to try things on.", demo).add_argument("folder", metavar="FOLDER")
    add_app_command(commands)


def demo(options: argparse.Namespace) -> Answer:
    from matcher.demo import make_demo_studio

    was_there = studio_is_there(options.folder)
    with make_demo_studio(Path(options.folder)) as studio:
        name, count, targets = studio.name, studio.log.count(), len(studio.targets())
    said = (
        f"The demo studio in {name} is there already, with {counted(count, 'plate')}: nothing was made."
        if was_there
        else f"Made the demo studio in {name}: {counted(count, 'invented plate')} that count."
    )
    document = {"studio": name, "trials": count, "targets": targets}
    return Answer(document, [said, f"Open it with: {PROGRAM} app --studio {options.folder}"])
