"""What argparse needs: the parser, whose errors are plain sentences, and the options that several commands share.

Each file of commands registers its own commands through `Commands`, with the options that they alone have.
"""

from __future__ import annotations

import argparse
import itertools
import re
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NoReturn

from matcher.typed_in import values
from matcher.typed_in.values import TOLERANCE, TypingError
from matcher.words import capital

if TYPE_CHECKING:
    from matcher.typed_in.words import Answer

PROGRAM = "patina-matcher"
_NO_VALUE = re.compile(r"-[^=]*=--")
Function = Callable[[argparse.Namespace], "Answer | None"]
"""What runs a command; it returns None when all was said on the way."""


class Commands:
    """Takes in commands: of the program, or parts of one command."""

    def __init__(self, parser: Parser, metavar: str, required: bool) -> None:
        self._everywhere = Parser(add_help=False)
        # suppressed, so that what stood before the command stays
        add_everywhere(self._everywhere, as_text=argparse.SUPPRESS, where=argparse.SUPPRESS)
        self._group = parser.add_subparsers(metavar=metavar, required=required, parser_class=Parser)

    def add(self, name: str, about: str, function: Function) -> Parser:
        """Add a command that ``function`` runs; return its parser, for its options."""
        made: Parser = self._group.add_parser(
            name, help=about, description=about, parents=[self._everywhere], allow_abbrev=False
        )
        made.set_defaults(command=function)
        return made


def command_line(*groups: Callable[[Commands], None]) -> Parser:
    """Return the parser of the whole command line; each of ``groups`` adds its commands."""
    parser = Parser(prog=PROGRAM, description="Match a bronze patina from a photograph.", allow_abbrev=False)
    parser.add_argument("--version", action=_Version)
    add_everywhere(parser, as_text=False, where=None)
    commands = Commands(parser, "COMMAND", required=True)
    for add_commands in groups:
        add_commands(commands)
    return parser


class Parser(argparse.ArgumentParser):
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

    def parse_args(self, args: Any = None, namespace: Any = None) -> Any:
        given = list(sys.argv[1:] if args is None else args)
        for text in itertools.takewhile(lambda text: text != "--", given):
            if _NO_VALUE.fullmatch(text):  # argparse takes the value away and then has none
                raise TypingError(f"Give a value after {text[:-3]}; see {self.prog} --help.")
        return super().parse_args(given, namespace)

    def error(self, message: str) -> NoReturn:
        message = message.removeprefix("argument ").rstrip(".")
        message = message.replace("expected one argument", "give a value after it")
        message = re.sub(r"(.*): invalid choice: (.*) \(choose from (.*)\)$", _choice, message)
        raise TypingError(f"{capital(message)}; see {self.prog} --help.")


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


def add_everywhere(parser: Parser, as_text: Any, where: Any) -> None:
    """Add the options of every command, with what they are when they are not given."""
    parser.add_argument("--json", action="store_true", default=as_text, help="print one JSON document")
    about = "studio folder or database URL (else MATCHER_STUDIO, else a folder in the user's data directory)"
    parser.add_argument("--studio", metavar="WHERE", default=where, help=about)


def add_photo(parser: argparse.ArgumentParser, optional: bool = True) -> None:
    about = "JPEG, PNG, WebP, TIFF, HEIC or camera raw"
    parser.add_argument("photo", metavar="PHOTO", nargs="?" if optional else None, help=about)
    about = 'the card\'s corners: "x,y x,y x,y x,y" in pixels'
    parser.add_argument("--card-corners", metavar="CORNERS", help=about)
    about = 'outline of the finish: "x,y x,y x,y ..." in pixels; may be given again for another'
    parser.add_argument("--finish", metavar="OUTLINE", action="append", default=[], help=about)
    add_card_and_camera(parser)
    about = "further photographs of the same plate with the lamp moved, to take glare out"
    parser.add_argument("--more-frames", metavar="PHOTO", nargs="+", action="extend", default=[], help=about)
    light = parser.add_mutually_exclusive_group()
    about = "a photograph of an even sheet of paper in the plate's place, to level the light"
    light.add_argument("--flat-field", metavar="PHOTO", help=about)
    about = "corners of a second card of the same kind in the picture, to level the light"
    light.add_argument("--second-card-corners", metavar="CORNERS", help=about)
    add_known_plates(parser)


def add_known_plates(parser: argparse.ArgumentParser) -> None:
    """Add what is said of the studio's plates in the picture, by whose known colours it is read."""
    about = "do not look for the studio's tagged plates, by whose known colours the picture is read more surely"
    parser.add_argument("--no-plates", action="store_true", help=about)
    about = "a plate in the picture that is not to be read by, by its number or tag; may be given again"
    parser.add_argument("--leave-out", metavar="PLATE", action="append", default=[], help=about)
    about = 'a logged plate without a tag and its finish\'s outline, "88:x,y x,y x,y"; may be given again'
    parser.add_argument("--known", metavar="PLATE:OUTLINE", action="append", default=[], help=about)


def add_overwrite(parser: argparse.ArgumentParser) -> None:
    """Add what lets a command that writes a file replace one."""
    parser.add_argument("--overwrite", action="store_true", help="replace the file when it is there already")


def add_card_and_camera(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--encoding", metavar="E", help="srgb or linear, to overrule what the file says")
    which = parser.add_mutually_exclusive_group()
    about = "kind of card, name of a card that the studio has measured, or any (grey card)"
    which.add_argument("--card", metavar="KIND", default="grey card", help=about)
    which.add_argument("--no-card", action="store_true", help="nothing neutral is in the picture")
    which.add_argument("--neutral", metavar="OUTLINE", help="outline of something neutral, used as the card")
    parser.add_argument("--card-lab", metavar="L,a,b", help="the card's own measured CIELAB")
    about = "camera profile by name, none, or auto: the studio's that fits (auto)"
    parser.add_argument("--camera", metavar="NAME", default="auto", help=about)
    about = "daylight, or profile (the light of the camera profile), when you know that it was; else unknown (unknown)"
    parser.add_argument("--light", choices=("daylight", "profile", "unknown"), default="unknown", help=about)
    about = "what pale spots on the finish are, when you know: glare, or the finish itself (unknown)"
    parser.add_argument("--pale-spots", choices=("glare", "finish", "unknown"), default="unknown", help=about)


def add_by(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--by", default="", help="who does it")


def add_paper(parser: argparse.ArgumentParser, default: Any = None) -> None:
    parser.add_argument("--paper", metavar="SIZE", default=default, help="A4 or Letter (A4)")


def add_photo_or_lab(parser: argparse.ArgumentParser) -> None:
    add_photo(parser)
    parser.add_argument("--lab", metavar="L,a,b", help="a measured CIELAB (D50, 2 degrees) instead of a photograph")


def add_instrument_file(parser: argparse.ArgumentParser, several: bool = False) -> None:
    """Add an instrument's file, and the answers to what it leaves open. several: whether all its colours are taken."""
    about = (
        "the colours of an instrument's file: CGATS text, CxF3 or CSV"
        if several
        else ("the colour of an instrument's file (CGATS text, CxF3 or CSV) instead of a photograph")
    )
    parser.add_argument("--from", metavar="FILE", dest="from_file", help=about)
    about = "only this colour of the file; may be given again" if several else "which colour of the file"
    parser.add_argument("--sample", metavar="NAME", action="append", default=[], help=about)
    about = "of a file with several: 45/0, SCE, SCI, or degrees from the mirror direction (45/0, else nearest to 25)"
    parser.add_argument("--angle", metavar="A", help=about)
    about = "of a file with several: M0, M1, M2 or M3 of ISO 13655 (M1, else M0)"
    parser.add_argument("--condition", metavar="M", help=about)
    about = "what the file has for a perfect white, 1 or 100, when it does not tell"
    parser.add_argument("--white", choices=("1", "100"), help=about)
    about = "what light the file's figures are for, when it does not say: D50, D65, A"
    parser.add_argument("--illuminant", metavar="CIE", help=about)
    about = "what observer the file's figures are for, when it does not say: 2 or 10 degrees"
    parser.add_argument("--observer", choices=("2", "10"), help=about)


def add_target(parser: argparse.ArgumentParser, tolerance: bool = True) -> None:
    """Add what names the colour to match; tolerance: whether it matters how near counts."""
    add_photo_or_lab(parser)
    parser.add_argument("--target", metavar="ID", type=values.whole, help="a target that the studio keeps, instead")
    if not tolerance:
        parser.set_defaults(tolerance=None)
        return
    about = f"ΔE00 that counts as a match (the kept target's own, else {TOLERANCE:g})"
    parser.add_argument("--tolerance", metavar="D", type=values.figure, help=about)


def add_limits(parser: argparse.ArgumentParser) -> None:
    """Add what the studio can do today."""
    parser.add_argument("--alloy", metavar="NAME", help="only recipes on this alloy")
    parser.add_argument("--max-passes", metavar="N", type=values.whole, help="at most so many passes of a coat")
    about = 'least and most °C of the metal: "95,115"'
    parser.add_argument("--temperature", metavar="LOW,HIGH", help=about)
    about = "a chemical that is not to be used today; may be given again"
    parser.add_argument("--without", metavar="CHEMICAL", action="append", default=[], help=about)
    about = "use only the chemicals named so; may be given again"
    parser.add_argument("--stock", metavar="CHEMICAL", action="append", default=[], help=about)
    parser.add_argument("--strengths", metavar="S,S", help='the only strengths of coats: "0.25,0.5,1" of stock')


def add_after(parser: argparse.ArgumentParser) -> None:
    """Add readings of a piece on its way."""
    about = 'a reading after so many passes, unsealed: "3:52,12,26"; 0 is before the coat; may be given again'
    parser.add_argument("--after", metavar="N:L,a,b", action="append", default=[], help=about)


def add_about_plate(parser: argparse.ArgumentParser, corrects: bool = False) -> None:
    """Add what is noted of a plate besides recipe and colour; corrects: what is not given stays as it is logged."""
    whole: Callable[[str], object] = values.whole_or_none if corrects else values.whole
    figure: Callable[[str], object] = values.figure_or_none if corrects else values.figure
    text, or_none = (None, "; none: not noted") if corrects else ("", "")
    parser.add_argument("--target", metavar="ID", type=whole, help=f"the target that it was made for{or_none}")
    now = "" if corrects else " (now)"
    parser.add_argument("--made-at", metavar="DATE", help=f"2025-03-31 or 2025-03-31T14:30{now}")
    parser.add_argument("--air", metavar="T", type=figure, help=f"°C of the air{or_none}")
    parser.add_argument("--humidity", metavar="H", type=figure, help=f"humidity of the air, per cent{or_none}")
    parser.add_argument("--piece", metavar="TEXT", default=text, help="plate or piece")
    parser.add_argument("--notes", metavar="TEXT", default=text, help="anything else")


def add_recipe(parser: argparse.ArgumentParser, corrects: bool = False) -> None:
    """Add a recipe as a file, or step by step; corrects: a part that is not given stays as it is logged."""
    or_none = "; none: there was none" if corrects else ""
    again = "; once for every coat that the plate has" if corrects else "; may be given again"
    parser.add_argument("--recipe", metavar="FILE", help="a recipe as JSON, instead of the options that follow")
    parser.add_argument("--alloy", help="silicon bronze")
    parser.add_argument("--surface", help="how it was cleaned and to what brightness")
    about = f'"chemical,strength,burnish": liver of sulphur,0.5,0.25{or_none}'
    parser.add_argument("--undercoat", metavar="STEP", help=about)
    about = f'"chemical,strength,passes,°C,application": ferric nitrate,0.5,6,105,fine mist{again}{or_none}'
    about += "; ? for a figure that nobody noted"
    parser.add_argument("--coat", metavar="STEP", action="append", default=[], help=about)
    parser.add_argument("--seal", metavar="STEP", help=f'"kind,coats,hot|cold": wax,3,hot{or_none}')
