"""Options that several commands of the command line take alike: a photograph, a colour, a target, a recipe, limits."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from matcher.cli import values
from matcher.cli.values import TOLERANCE


def add_photo(parser: argparse.ArgumentParser, optional: bool = True) -> None:
    about = "JPEG, PNG, WebP, TIFF, HEIC or camera raw"
    parser.add_argument("photo", metavar="PHOTO", nargs="?" if optional else None, help=about)
    about = 'the card\'s corners: "x,y x,y x,y x,y" in pixels'
    parser.add_argument("--card-corners", metavar="CORNERS", help=about)
    about = 'outline of the finish: "x,y x,y x,y ..." in pixels; may be given again for another'
    parser.add_argument("--finish", metavar="OUTLINE", action="append", default=[], required=not optional, help=about)
    add_card_and_camera(parser)
    about = "further photographs of the same plate with the lamp moved, to take glare out"
    parser.add_argument("--more-frames", metavar="PHOTO", nargs="+", action="extend", default=[], help=about)
    light = parser.add_mutually_exclusive_group()
    about = "a photograph of an even sheet of paper in the plate's place, to level the light"
    light.add_argument("--flat-field", metavar="PHOTO", help=about)
    about = "corners of a second card of the same kind in the picture, to level the light"
    light.add_argument("--second-card-corners", metavar="CORNERS", help=about)


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
    about = "daylight when you know that it was, else unknown (unknown)"
    parser.add_argument("--light", choices=("daylight", "unknown"), default="unknown", help=about)


def add_photo_or_lab(parser: argparse.ArgumentParser) -> None:
    add_photo(parser)
    parser.add_argument("--lab", metavar="L,a,b", help="a measured CIELAB (D50, 2 degrees) instead of a photograph")


def add_target(parser: argparse.ArgumentParser, tolerance: bool = True) -> None:
    """Add what names the colour to match; tolerance: whether it matters how near counts."""
    add_photo_or_lab(parser)
    parser.add_argument("--target", metavar="ID", type=int, help="a target that the studio keeps, instead")
    if not tolerance:
        parser.set_defaults(tolerance=None)
        return
    about = f"ΔE00 that counts as a match (the kept target's own, else {TOLERANCE:g})"
    parser.add_argument("--tolerance", metavar="D", type=float, help=about)


def add_limits(parser: argparse.ArgumentParser) -> None:
    """Add what the studio can do today."""
    parser.add_argument("--alloy", metavar="NAME", help="only recipes on this alloy")
    parser.add_argument("--max-passes", metavar="N", type=int, help="at most so many passes of a coat")
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
    whole: Callable[[str], object] = values.whole_or_none if corrects else int
    figure: Callable[[str], object] = values.number_or_none if corrects else float
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
    parser.add_argument("--coat", metavar="STEP", action="append", default=[], help=about)
    parser.add_argument("--seal", metavar="STEP", help=f'"kind,coats,hot|cold": wax,3,hot{or_none}')


Add = Callable[[str, str], argparse.ArgumentParser]


def add_suggesting(add: Add) -> None:
    """Add these commands; ``add`` makes one from its name and what it is for."""
    _add_suggest(add("suggest", "Rank the studio's recipes against a finish."))
    _add_next(add("next", "Name the plate most worth making next, or several for a session; tell if it is in reach."))
    _add_first_plates(add("first-plates", "Choose the first plates of a studio that has none, over what it owns."))
    _add_mottled(add("mottled", "Match a mottled finish: plates by their lights and darks, and a recipe for both."))
    _add_advise(add("advise", "Say what to do after a plate, to come nearer to the target."))
    _add_bench(add("bench", "Follow a piece pass by pass: where it is, how many passes remain, when to stop."))
    about = "Say how far the predictions can be trusted, and which plates disagree with the others."
    add_target(add("trust", about), tolerance=False)


def _add_suggest(parser: argparse.ArgumentParser) -> None:
    add_target(parser)
    parser.add_argument("--count", metavar="N", type=int, default=5, help="how many (5)")
    add_limits(parser)


def _add_next(parser: argparse.ArgumentParser) -> None:
    add_target(parser)
    about = "how many plates to make in this session, chosen together (1)"
    parser.add_argument("--plates", metavar="N", type=int, default=1, help=about)
    add_limits(parser)


def _add_first_plates(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--plates", metavar="N", type=int, default=12, help="how many; 12, 24 and 48 are usual (12)")
    parser.add_argument("--alloy", metavar="NAME", default="silicon bronze", help="the metal (silicon bronze)")
    about = "a chemical that coats can be laid of; may be given again"
    parser.add_argument("--chemical", metavar="NAME", action="append", default=[], required=True, help=about)
    about = "a chemical for undercoats; may be given again"
    parser.add_argument("--undercoat", metavar="NAME", action="append", default=[], help=about)
    parser.add_argument("--max-passes", metavar="N", type=int, default=12, help="at most so many passes (12)")
    about = 'least and most °C of the metal ("95,115")'
    parser.add_argument("--temperature", metavar="LOW,HIGH", default="95,115", help=about)
    about = 'strengths that are mixed, as fractions of stock ("0.25,0.5,1")'
    parser.add_argument("--strengths", metavar="S,S", default="0.25,0.5,1", help=about)
    about = "also write them as a table, to be filled in and taken in by trials import"
    parser.add_argument("--table", metavar="FILE.csv", help=about)


def _add_mottled(parser: argparse.ArgumentParser) -> None:
    add_target(parser)
    parser.add_argument("--count", metavar="N", type=int, default=5, help="how many plates (5)")
    about = "share of the surface that the lights take, 0 to 1 (0.5)"
    parser.add_argument("--lights-share", metavar="S", type=float, default=0.5, help=about)
    add_limits(parser)


def _add_advise(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--trial", metavar="ID", type=int, required=True, help="the logged plate")
    add_target(parser)
    add_limits(parser)


def _add_bench(parser: argparse.ArgumentParser) -> None:
    add_target(parser)
    parser.add_argument(
        "--trial", metavar="ID", type=int, help="the recipe of a logged plate (else the best suggested)"
    )
    add_recipe(parser)
    add_after(parser)
    parser.add_argument("--done", metavar="N", type=int, help="passes laid so far (those of the last reading)")
    about = "how the target is sealed: wax, lacquer or no (as the recipe says)"
    parser.add_argument("--sealed", metavar="WITH", help=about)
