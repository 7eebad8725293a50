"""The options of the commands that say what to make: suggest, next, first-plates, mottled, advise, bench, trust."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from matcher.cli_shared_options import add_after, add_limits, add_recipe, add_target

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
