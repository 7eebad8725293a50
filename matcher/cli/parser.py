"""What the command line understands: commands, options, and the help for the person who forgot.

Knows nothing of what a command does; `cli.py` hands the functions in.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Mapping
from typing import Any, NoReturn

from matcher.cli.options import (
    add_about_plate,
    add_after,
    add_card_and_camera,
    add_photo,
    add_photo_or_lab,
    add_recipe,
    add_suggesting,
)
from matcher.cli.values import TOLERANCE, TypingError

PROGRAM = "patina-matcher"
FIRST_PORT = 8501


def command_line(functions: Mapping[str, Callable[[argparse.Namespace], Any]]) -> argparse.ArgumentParser:
    """Return the parser; ``functions``, by the names used below, end up in the namespace's ``command``."""
    parser = _Parser(prog=PROGRAM, description="Match a bronze patina from a photograph.", allow_abbrev=False)
    parser.add_argument("--version", action=_Version)
    everywhere = _Parser(add_help=False)
    _add_everywhere(parser, False, None)
    _add_everywhere(everywhere, argparse.SUPPRESS, argparse.SUPPRESS)  # so that what stood before the command stays
    commands = parser.add_subparsers(metavar="COMMAND", required=True, parser_class=_Parser)

    def add(name: str, about: str, group: Any = commands) -> _Parser:
        made: _Parser = group.add_parser(name, help=about, description=about, parents=[everywhere], allow_abbrev=False)
        made.set_defaults(command=functions[name])
        return made

    _add_read(add("read", "Read the colour of one or more finishes in a photograph."))
    _add_repeat(add("repeat", "Tell how well this set-up repeats, from several photographs of one plate."))
    _add_camera(add("camera", "Teach a camera under a light from a 24-patch chart; list and keep the profiles."))
    add_suggesting(add)
    _add_record(add("record", "Log a plate: its recipe and the colour that it gave."))
    _add_trials(add("trials", "List the logged trials; correct, export, import, set aside, take back."), add)
    _add_targets(add("targets", "List the finishes that clients want; keep another."))
    _add_cards(add("cards", "List the reference cards; keep a measured one; print the carrier sheet."))
    add("backup", "Write a copy of the whole studio to one zip.").add_argument("file", metavar="FILE")
    add("demo", "Make an invented studio to try things on.").add_argument("folder", metavar="FOLDER")
    _add_app(add("app", "Open the web page on this machine."))
    return parser


class _Parser(argparse.ArgumentParser):
    """any_order: takes two positionals wherever they stand among the options; without it one that may be left out
    is taken as left out when an option stands before it."""

    any_order = False

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        if not self.any_order:
            return super().parse_known_args(args, namespace)
        self.any_order = False  # argparse calls this again from within
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self.any_order = True

    def error(self, message: str) -> NoReturn:
        message = message.removeprefix("argument ").rstrip(".")
        message = message.replace("invalid int value: ", "give a whole number, not ")
        message = message.replace("invalid float value: ", "give a number, not ")
        message = message.replace("expected one argument", "give a value after it")
        message = re.sub(r"(.*): invalid choice: (.*) \(choose from (.*)\)$", _choice, message)
        raise TypingError(f"{message[:1].upper()}{message[1:]}; see {self.prog} --help.")


def _choice(found: re.Match[str]) -> str:
    """Say in a sentence that a word is none of those to choose from."""
    name, word, words = found.groups()
    what = {"COMMAND": "a command", "PART": "a part of it"}.get(name, f"a value of {name}")
    return f"{word} is not {what}: choose from {words.replace(chr(39), '')}"


class _Version(argparse.Action):
    """Looks the version up only when asked: that reads the installed package's metadata."""

    def __init__(self, option_strings: list[str], dest: str, **_: Any) -> None:
        super().__init__(option_strings, dest, nargs=0, help="show the version")

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> NoReturn:
        from importlib.metadata import PackageNotFoundError, version

        try:
            number = version(PROGRAM)
        except PackageNotFoundError:
            number = "from a checkout that is not installed"
        sys.stdout.write(f"{PROGRAM} {number}\n")
        parser.exit()


def _add_everywhere(parser: _Parser, as_text: Any, where: Any) -> None:
    parser.add_argument("--json", action="store_true", default=as_text, help="print one JSON document")
    about = "studio folder or database URL (else MATCHER_STUDIO, else a folder in the user's data directory)"
    parser.add_argument("--studio", metavar="WHERE", default=where, help=about)


def _add_read(parser: _Parser) -> None:
    add_photo(parser, optional=False)
    parser.add_argument("--texture", action="store_true", help="also its colours with their shares, and its mottle")


def _add_repeat(parser: _Parser) -> None:
    about = "at least three photographs of one plate, each set up anew"
    parser.add_argument("photos", metavar="PHOTO", nargs="+", help=about)
    about = "outline of the plate, once for all photographs or once for each, in their order"
    parser.add_argument("--finish", metavar="OUTLINE", action="append", default=[], required=True, help=about)
    about = "the card's corners, once for all photographs or once for each"
    parser.add_argument("--card-corners", metavar="CORNERS", action="append", default=[], help=about)
    add_card_and_camera(parser)
    parser.set_defaults(more_frames=[], flat_field=None, second_card_corners=None)


def _add_camera(parser: _Parser) -> None:
    about = "photograph of a 24-patch chart under the light"
    parser.add_argument("photo", metavar="PHOTO", nargs="?", help=about)
    parser.add_argument("--name", metavar="NAME", help="what to call the profile; needed with a photograph")
    parser.add_argument("--light", metavar="TEXT", default="", help="what lights the bench: two cool white tubes")
    about = 'the chart\'s corners: "x,y x,y x,y x,y" in pixels'
    parser.add_argument("--chart-corners", metavar="CORNERS", help=about)
    about = 'the chart\'s own measured CIELAB: "L,a,b L,a,b ..." of its 24 patches, row by row'
    parser.add_argument("--chart-lab", metavar="L,a,b", help=about)
    parser.add_argument("--encoding", metavar="E", help="srgb or linear, to overrule what the file says")
    do = parser.add_mutually_exclusive_group()
    do.add_argument("--list", action="store_true", help="list the profiles, retired ones too")
    do.add_argument("--rename", metavar=("OLD", "NEW"), nargs=2, help="give a profile another name")
    do.add_argument("--retire", metavar=("NAME", "REASON"), nargs=2, help="choose it no more; nothing is deleted")
    do.add_argument("--take-back", metavar="NAME", help="let a retired profile be chosen again")
    do.add_argument("--export", metavar=("NAME", "FILE"), nargs=2, help="write a profile to a file, plain JSON")
    do.add_argument("--import", metavar="FILE", dest="import_file", help="keep a profile that was exported")


def _add_record(parser: _Parser) -> None:
    add_photo_or_lab(parser)
    add_recipe(parser)
    add_after(parser)
    add_about_plate(parser)
    parser.add_argument("--by", default="", help="who made it")


def _add_trials(parser: _Parser, add: Callable[..., _Parser]) -> None:
    about = "with those set aside"
    parser.add_argument("--all", action="store_true", help=about)
    parts = parser.add_subparsers(metavar="PART", parser_class=_Parser)
    listed = add("list", "List the logged trials.", parts)
    listed.add_argument("--all", action="store_true", default=argparse.SUPPRESS, help=about)
    out = add("export", "Write the log to a file: .zip with its photographs, .csv for a spreadsheet.", parts)
    into = add("import", "Take in an exported studio or a table of trials.", parts)
    into.add_argument("--skip-bad", action="store_true", help="leave out rows of a table that cannot be used")
    set_aside = add("set-aside", "Let a trial no longer count; nothing is deleted.", parts)
    back = add("take-back", "Let a trial that was set aside count again.", parts)
    mend = add("correct", "Correct what was typed of a trial; the earlier version stays in its history.", parts)
    told = add(
        "history", "Tell what was done to a trial since it was logged, corrections with what they changed.", parts
    )
    later = add("add-reading", "Add a reading taken later: cool, waxed or lacquered.", parts)
    for one in (out, into):
        one.add_argument("file", metavar="FILE")
    for one in (set_aside, back, mend, told, later):
        one.add_argument("id", metavar="ID", type=int)
    later.add_argument("--stage", choices=("cool", "waxed", "lacquered"), required=True, help="how the plate is now")
    add_photo_or_lab(later)
    later.any_order = True
    set_aside.add_argument("reason", metavar="REASON")
    add_recipe(mend, corrects=True)
    add_about_plate(mend, corrects=True)
    mend.add_argument("--made-by", metavar="NAME", help="who made it")
    for one in (into, set_aside, back, mend, later):
        one.add_argument("--by", default="", help="who does it")


def _add_targets(parser: _Parser) -> None:
    add_photo_or_lab(parser)
    parser.add_argument("--add", metavar="NAME", help="keep a target under this name, from a photograph or by --lab")
    about = "keep the colours of an instrument's file: CGATS text, CxF3 or CSV"
    parser.add_argument("--from", metavar="FILE", dest="from_file", help=about)
    about = "only this colour of the file; may be given again"
    parser.add_argument("--sample", metavar="NAME", action="append", default=[], help=about)
    parser.add_argument("--munsell", metavar="NOTATION", help='keep a colour matched by eye: "5YR 3/4"')
    about = f"ΔE00 that counts as a match ({TOLERANCE:g})"
    parser.add_argument("--tolerance", metavar="D", type=float, default=TOLERANCE, help=about)
    parser.add_argument("--notes", default="", help="anything else")
    parser.add_argument("--all", action="store_true", help="with those set aside")


def _add_cards(parser: _Parser) -> None:
    parser.add_argument("--add", metavar="NAME", help="keep a card that the studio has measured under this name")
    parser.add_argument("--kind", default="grey card", help="what kind of card it is (grey card)")
    parser.add_argument("--lab", metavar="L,a,b", help='its CIELAB; "L,a,b L,a,b ..." of a card with several patches')
    parser.add_argument("--tolerance", metavar="D", type=float, default=0.5, help="ΔE00 of that measurement (0.5)")
    parser.add_argument("--sheet", metavar="FILE.pdf", help="write the carrier sheet, to print")


def _add_app(parser: _Parser) -> None:
    parser.add_argument("--demo", action="store_true", help="on an invented studio, made when it is not there yet")
    parser.add_argument("--port", metavar="N", type=int, help=f"port ({FIRST_PORT}, or the next free one)")
    parser.add_argument("--host", metavar="H", default="127.0.0.1", help="address to listen on (127.0.0.1)")
