"""The commands about other studios: share with its parts. Thin over ``studio.sharing``; beside the room of commands."""

from __future__ import annotations

import argparse
from typing import Any

from matcher.dates import shown
from matcher.typed_in import values
from matcher.typed_in.options import Commands, Parser, add_by, add_target
from matcher.typed_in.photographs import studio_that_is_there, wanted
from matcher.typed_in.words import Answer
from matcher.words import agreeing, counted

PLATES = "plates by number, separated by commas (5,6,12)"


def add_commands(commands: Commands) -> None:
    about = "Let other studios see chosen plates, and see theirs: colour and recipe, or colour only."
    parts = Commands(commands.add("share", about, shared), "PART", required=False)
    parts.add("list", "List the plates that this studio shares now.", shared)
    place = parts.add("place", "Say where plates are shared, or show it.", keep_place)
    about = "a folder that all studios reach, or a PostgreSQL database's URL; none: nowhere"
    place.add_argument("where", metavar="WHERE", nargs="?", help=about)
    _on_plates(parts.add("show", "Show just what sharing plates would let out; nothing leaves.", show))
    giving = parts.add("give", "Share plates, once `share show` has shown what leaves.", give)
    _on_plates(giving)
    add_by(giving)
    back = parts.add("withdraw", "Take plates away from the shared place again.", withdraw)
    back.add_argument("plates", metavar="PLATES", help=PLATES)
    add_by(back)
    others = parts.add("others", "Rank other studios' plates against a finish, apart from your own.", rank_others)
    add_target(others, tolerance=False)
    others.add_argument("--count", metavar="N", type=values.whole, default=5, help="how many of each studio (5)")


def _on_plates(parser: Parser) -> None:
    parser.add_argument("plates", metavar="PLATES", help=PLATES)
    parser.add_argument("--colour-only", action="store_true", help="without the recipes")


def shared(options: argparse.Namespace) -> Answer:
    """List what this studio shares."""
    from matcher.sharing.wording import leaves_in_words

    with studio_that_is_there(options) as studio:
        place = studio.sharing.place
        plates = [] if place is None else studio.sharing.shared()
        numbers = {trial.uid: trial.id for trial in studio.log.of_uids([plate.plate_uid for plate in plates])}
    plates = sorted(plates, key=lambda plate: numbers.get(plate.plate_uid) or 0)
    listed = [{**plate.as_dict(), "plate": numbers.get(plate.plate_uid)} for plate in plates]
    lines = [
        f"Plate {numbers.get(plate.plate_uid, 'not here')}: {leaves_in_words(plate)}, since {shown(plate.shared_at)}"
        for plate in plates
    ]
    none = "No place is shared yet: share place WHERE." if place is None else "Nothing is shared."
    return Answer({"place": _without_password(place), "plates": listed}, lines or [none])


def keep_place(options: argparse.Namespace) -> Answer:
    """Keep where plates are shared."""
    with studio_that_is_there(options) as studio:
        if options.where is not None:
            studio.sharing.keep_place(None if values.is_none(options.where) else options.where)
        place = _without_password(studio.sharing.place)
    said = "Plates are shared nowhere." if place is None else f"Plates are shared in {place}."
    return Answer({"place": place}, [said])


def show(options: argparse.Namespace) -> Answer:
    """Show what would leave the studio."""
    with studio_that_is_there(options) as studio:
        plates = studio.sharing.what_would_leave(_numbers(options), not options.colour_only)
        place = _without_password(studio.sharing.place)
    return _said(plates, place, f"{counted(len(plates), 'plate')} would leave; nothing has:")


def give(options: argparse.Namespace) -> Answer:
    """Share plates."""
    with studio_that_is_there(options) as studio:
        plates = studio.sharing.share(_numbers(options), not options.colour_only, options.by)
        place = _without_password(studio.sharing.place)
    return _said(plates, place, f"Shared {counted(len(plates), 'plate')} in {place}; this has left:")


def withdraw(options: argparse.Namespace) -> Answer:
    """Take plates away again."""
    with studio_that_is_there(options) as studio:
        count = studio.sharing.withdraw(_numbers(options), options.by)
    said = f"{counted(count, 'plate')} {agreeing(count)} shared no longer; who looked before may have noted them."
    return Answer({"withdrawn": count}, [said])


def rank_others(options: argparse.Namespace) -> Answer:
    """Rank other studios' plates against a colour."""
    from matcher.sharing.wording import carry_in_words, leaves_in_words, other_in_words

    with studio_that_is_there(options) as studio:
        colour = wanted(options, studio)
        found = studio.sharing.others(colour.reading, studio.part_of_log(colour.reading).trials, options.count)
    document: dict[str, Any] = {**colour.document, "studios": [], "unread": found.unread}
    lines = []
    for one in found.studios:
        document["studios"].append(
            {
                "studio_uid": one.uid,
                "title": one.title,
                "shared": one.shared,
                "carries_over": one.carry.as_dict(),
                "plates": [plate.as_dict() for plate in one.plates],
            }
        )
        lines += [f"{one.title}: {counted(one.shared, 'plate')}, not yours", carry_in_words(one.title, one.carry)]
        lines += [f"    {other_in_words(plate)}: {leaves_in_words(plate.plate)}" for plate in one.plates]
    if found.unread:
        lines.append(f"{counted(found.unread, 'plate')} there can't be read and {agreeing(found.unread)} left out.")
    return Answer(document, lines or ["No other studio shares a plate there."])


def _said(plates: list[Any], place: str | None, first: str) -> Answer:
    from matcher.sharing.wording import NOTHING_ELSE, leaves_in_words

    document = {"place": place, "plates": [plate.as_dict() for plate in plates]}
    return Answer(document, [first, *(f"    {leaves_in_words(plate)}" for plate in plates), NOTHING_ELSE])


def _numbers(options: argparse.Namespace) -> list[int]:
    return values.whole_numbers(options.plates, f"the {PLATES}")


def _without_password(where: str | None) -> str | None:
    from matcher.sharing.places import name_of

    return None if where is None else name_of(where)
