"""The commands on tags: printed, found in a photograph; which plate carries which; where plates were seen."""

from __future__ import annotations

import argparse
from collections import Counter
from datetime import datetime
from typing import TYPE_CHECKING, Any

from matcher.typed_in import values, words
from matcher.typed_in.options import Commands, Parser, add_by, add_overwrite, add_paper
from matcher.typed_in.photographs import studio_is_there, studio_that_is_there
from matcher.typed_in.words import Answer, write
from matcher.words import counted, listed

if TYPE_CHECKING:
    from matcher.plates_beside import Board
    from matcher.sheets.tag_sheet import PrintedTag
    from matcher.studio import Studio
    from matcher.tags.store import Given

A_PAGE = 50
A_SHEET = 42

GIVE_THEM = "Note which plates carry them with tags give, once they are on, or their numbers are used again: "


def add_commands(commands: Commands) -> None:
    about = "List plates by their tags, with how often they were seen and whether they changed; print, find, give tags."
    listing = commands.add("tags", about, list_tags)
    parts = Commands(listing, "PART", required=False)
    parts.add("list", "List the plates that carry a tag: seen how often, when last, whether changed.", list_tags)
    _add_print(parts.add("print", "Write a sheet of tags to print and cut out.", print_tags))
    about = "Show the 8 to 12 plates that make the studio's own chart, print their page, keep them as the board."
    _add_board(parts.add("board", about, board))
    finds = parts.add("find", "Find the tags in a photograph, and say which plates carry them.", find)
    finds.add_argument("photo", metavar="PHOTO", help="JPEG, PNG, WebP, TIFF, HEIC or camera raw")
    finds.add_argument("--encoding", metavar="E", help="srgb or linear, to overrule what the file says")
    about = (
        "Keep where a plate's finish lies by its tag, from a photograph of both, to be read there from now on. A tag "
        "that was put elsewhere is taken back and given again first: older photographs keep the mark that was theirs."
    )
    marked = parts.add("mark", about, mark)
    marked.add_argument("id", metavar="PLATE", type=values.whole)
    marked.add_argument("photo", metavar="PHOTO", help="JPEG, PNG, WebP, TIFF, HEIC or camera raw")
    about = 'outline of the finish: "x,y x,y x,y ..." in pixels'
    marked.add_argument("--finish", metavar="OUTLINE", required=True, help=about)
    marked.add_argument("--encoding", metavar="E", help="srgb or linear, to overrule what the file says")
    add_by(marked)
    given = _about_a_tag(parts.add("give", "Give a tag to a plate; one that it has is taken back.", give))
    given.add_argument("id", metavar="PLATE", type=values.whole)
    given.add_argument("tag", metavar="TAG", help="its code as it is printed: K7QX2-88")
    given.add_argument("--why", metavar="TEXT", default="", help="needed when the plate carries another tag")
    moved = _about_a_tag(parts.add("move", "Let a tag be on another plate than the log says.", move))
    moved.add_argument("tag", metavar="TAG")
    moved.add_argument("id", metavar="PLATE", type=values.whole, help="the plate that carries it")
    moved.add_argument("why", metavar="REASON")
    taken = _about_a_tag(parts.add("take", "Note that a plate carries its tag no more: lost, broken.", take))
    taken.add_argument("id", metavar="PLATE", type=values.whole)
    taken.add_argument("why", metavar="REASON")
    told = parts.add("history", "Tell which plates a tag was on, or which tags a plate had.", history)
    which = told.add_mutually_exclusive_group(required=True)
    which.add_argument("--tag", metavar="TAG")
    which.add_argument("--plate", metavar="ID", type=values.whole)
    whose = parts.add("whose", "Tell which plate carries a tag, or carried it then.", whose_tag)
    whose.add_argument("tag", metavar="TAG")
    whose.add_argument("--at", metavar="DATE", help="2025-03-31 (now)")
    _add_sightings(parts.add("sightings", "List where a plate was seen, and whether its colour changed.", sightings))


def _add_print(parser: Parser) -> None:
    parser.add_argument("--out", metavar="FILE.pdf", required=True, help="where to write the sheet")
    which = parser.add_mutually_exclusive_group()
    about = f"how many new tags ({A_SHEET})"
    which.add_argument("--count", metavar="N", type=values.whole, default=A_SHEET, help=about)
    about = "print for these logged plates, with the plate's number: 5,6,12; the tag that one carries, else a new one"
    which.add_argument("--plates", metavar="ID,ID", help=about)
    parser.add_argument("--give", action="store_true", help="note at once that each of --plates carries its new tag")
    _add_how_printed(parser)


def _add_board(parser: Parser) -> None:
    parser.add_argument("--count", metavar="N", type=values.whole, help="how many plates to choose, 8 to 12 (10)")
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--anew", action="store_true", help="choose from the log as it is now, not the board that is kept"
    )
    which.add_argument("--plates", metavar="ID,ID", help="these plates, in this order, and no others: 5,6,12")
    keeps = parser.add_mutually_exclusive_group()
    keeps.add_argument("--keep", action="store_true", help="keep these plates as the board until another is kept")
    keeps.add_argument("--forget", action="store_true", help="keep no board")
    parser.add_argument("--out", metavar="FILE.pdf", help="write the page to print: tags, numbers, colours, how to fix")
    parser.add_argument("--give", action="store_true", help="note at once that each plate carries its new tag")
    _add_how_printed(parser)


def _add_how_printed(parser: Parser) -> None:
    about = "the first new tag's number (the first beyond all that were carried or printed)"
    parser.add_argument("--first", metavar="N", type=values.whole, help=about)
    about = "side of a tag's black frame in mm: 15, 20 or 25 (20)"
    parser.add_argument("--size", metavar="MM", type=values.figure, default=20.0, help=about)
    about = "where the page is served on the local network, for a phone to open: 192.168.1.20:8501 (none)"
    parser.add_argument("--address", metavar="HOST:PORT", default="", help=about)
    add_paper(parser)
    add_overwrite(parser)
    add_by(parser)


def _about_a_tag(parser: Parser) -> Parser:
    about = "since when it is so, 2025-03-31 (now; of a plate's first tag, the day that it was made)"
    parser.add_argument("--since", metavar="DATE", help=about)
    add_by(parser)
    return parser


def _add_sightings(parser: Parser) -> None:
    parser.add_argument("id", metavar="PLATE", type=values.whole)
    parser.add_argument("--start", metavar="N", type=values.whole, default=0, help="how many to pass over")
    parser.add_argument("--count", metavar="N", type=values.whole, default=A_PAGE, help=f"how many to list ({A_PAGE})")


def list_tags(options: argparse.Namespace) -> Answer:
    """List the plates that carry a tag."""
    from matcher.dates import ISO, in_utc, shown
    from matcher.tags.wording import ALL_ALIKE, changed_in_short

    with studio_that_is_there(options) as studio:
        carried = studio.tags().in_force()
        seen, outlines = studio.tag_log.last_seen(), studio.tag_log.outlines()
        aged = studio.ageings(studio.log.some([one.trial_id for one in carried if one.trial_id in seen]))
    document, lines = [], []
    for one in carried:
        count, last = seen.get(one.trial_id, (0, None))
        known = aged.get(one.trial_id)
        document.append(
            {
                **one.as_dict(),
                "seen": count,
                "last_seen": None if last is None else in_utc(last).isoformat(),
                "outline": outlines[one.tag].points.tolist() if one.tag in outlines else None,
                "ageing": None if known is None else known.as_dict(),
            }
        )
        when = "not seen yet" if last is None else f"seen {count} ×, last on {shown(last, ISO)}"
        how = "" if known is None else f": {changed_in_short(known)}"
        unmarked = "" if one.tag in outlines else "; its finish is not marked by the tag yet"
        lines.append(f"{one.tag}  plate {one.trial_id}, {when}{how}{unmarked}")
    if aged:
        lines.append(ALL_ALIKE)
    none = "No plate carries a tag yet: give one with tags give, or log a plate with --tag."
    return Answer({"studio": studio.name, "tags": document}, lines or [none])


def print_tags(options: argparse.Namespace) -> Answer:
    """Write a sheet of tags; for logged plates, note that they carry them where that is asked."""
    from matcher.printed import next_tag_number, next_tag_to_come, tags_for_plates
    from matcher.sheets.tag_sheet import tag_sheet, tags_from
    from matcher.tags.wording import MARK_ANEW

    if options.give and options.plates is None:
        raise values.TypingError("Say with --plates which plates the tags are for, to give them at once.")
    plates = None if options.plates is None else values.whole_numbers(options.plates, "the plates as 5,6,12")
    of_plate: dict[int, PrintedTag] = {}
    with studio_that_is_there(options) as studio:
        number = next_tag_to_come if plates is None else next_tag_number
        first = number(studio) if options.first is None else options.first
        if plates is None:
            printed = tags_from(studio.tag_signs, first, options.count)
        else:
            of_plate = tags_for_plates(studio, plates, first)
            printed = list(of_plate.values())
        sheet = tag_sheet(printed, options.size, options.address, studio.title, values.paper(options.paper))
        write(options.out, sheet, options.overwrite)
        if plates is None:
            studio.note_tags_printed(printed[-1].code.number)
        lacks = words.unprinted_lines(studio.title)
        carried = {one.trial_id for one in studio.tags().in_force()}
        new = {plate: str(tag.code) for plate, tag in of_plate.items() if plate not in carried}
        for plate, tag in new.items() if options.give else ():
            studio.give_tag(plate, tag, options.by)
    codes = [str(tag.code) for tag in printed]
    which = f"{codes[0]} to {codes[-1]}" if plates is None and len(codes) > 1 else listed(codes)
    lines = [f"Wrote {options.out}: {counted(len(printed), 'tag')}, {which}. Print at actual size."]
    if plates is None:
        lines.append(f"None of them is printed again: the next sheet begins beyond {printed[-1].code}.")
    lines += lacks
    if new and not options.give:
        lines.append(GIVE_THEM + _pairs(new))
    elif new:
        lines.append("Noted that they are given: " + _pairs(new))
    lines += [MARK_ANEW] if len(of_plate) > len(new) else []
    document = [{"tag": str(tag.code), "number": tag.code.number, "name": tag.name} for tag in printed]
    return Answer({"sheet": options.out, "size_mm": options.size, "tags": document, "given": options.give}, lines)


def board(options: argparse.Namespace) -> Answer:
    """Show which plates make the studio's own chart; print their page, give them tags, keep them."""
    from matcher.tags.wording import ALL_ALIKE, KNOWN_MORE_SURELY, MARK_ANEW

    if options.give and options.out is None:
        raise values.TypingError("Say with --out where to write the page, to give its tags at once.")
    with studio_that_is_there(options) as studio:
        if options.forget:
            studio.keep_board([])
        shown, kept = _board_asked_for(studio, options)
        if not shown.numbers:
            raise values.TypingError("Log a plate first: there is none that a board could be made of.")
        if options.keep:
            studio.keep_board(shown.numbers)
            kept = True
        plates = [(number, studio.colour_by_now(number)) for number in shown.numbers]
        carried = {one.trial_id: one.tag for one in studio.tags().in_force()}
        new = {} if options.out is None else _print_board(studio, shown, options, carried)
    best = "These plates make the best board by now" if options.plates is None else "A board of these plates"
    lines = ["The studio's board:" if kept else f"{best} (keep them with --keep):"]
    for number, known in plates:
        tagged = f", {carried[number]}" if number in carried else ""
        lines.append(words.reading_line(f"    plate {number}{tagged}", known))
    lines.append(f"{shown.words}.")
    lines += [f"Set aside since, and left out: {', '.join(map(str, shown.left_out))}."] if shown.left_out else []
    lines += [shown.changed_words] if shown.changed else []
    lines += [KNOWN_MORE_SURELY, ALL_ALIKE]
    lines += [] if options.out is None else [f"Wrote {options.out}. Print at actual size."]
    if new:
        what = "Noted that they are given: " if options.give else GIVE_THEM
        lines.append(what + _pairs(new))
    lines += [MARK_ANEW] if options.out is not None and len(new) < len(shown.numbers) else []
    tags = {str(number): new.get(number, carried.get(number)) for number in shown.numbers}
    about = {"kept": kept, "tags": tags, "page": options.out, "given": options.give}
    return Answer({**shown.as_dict(), **about}, lines)


def _print_board(studio: Studio, shown: Board, options: argparse.Namespace, carried: dict[int, str]) -> dict[int, str]:
    """Write the board's page, and give its plates their tags where that is asked; return the new tags by plate."""
    from matcher.printed import next_tag_number, printed_board, tags_for_plates

    first = next_tag_number(studio) if options.first is None else options.first
    tags = tags_for_plates(studio, shown.numbers, first)
    page = printed_board(studio, tags, shown.words, options.size, options.address, values.paper(options.paper))
    write(options.out, page, options.overwrite)
    new = {plate: str(tag.code) for plate, tag in tags.items() if plate not in carried}
    for plate, tag in new.items() if options.give else ():
        studio.give_tag(plate, tag, options.by)
    return new


def _board_asked_for(studio: Studio, options: argparse.Namespace) -> tuple[Board, bool]:
    """Return the board to show, and whether it is the one that is kept."""
    from matcher.plates_beside import FEWEST_ON_BOARD, MOST_ON_BOARD, ON_BOARD

    count = ON_BOARD if options.count is None else options.count
    if not FEWEST_ON_BOARD <= count <= MOST_ON_BOARD:
        raise values.TypingError(
            f"Choose {FEWEST_ON_BOARD} to {MOST_ON_BOARD} plates with --count: {count} is not that."
        )
    if options.plates is not None:
        return studio.board_with(values.whole_numbers(options.plates, "the plates as 5,6,12")), False
    kept = None if options.anew or options.count is not None else studio.kept_board()
    return (kept, True) if kept is not None else (studio.board(count), False)


def _pairs(tags: dict[int, str]) -> str:
    return ", ".join(f"plate {plate} {tag}" for plate, tag in tags.items()) + "."


def find(options: argparse.Namespace) -> Answer:
    """Find the tags in a photograph, and say which plates carry them."""
    from matcher.photo.photo import open_photo
    from matcher.tags.search import find_tags
    from matcher.tags.wording import mirrored_in_words

    photo = open_photo(options.photo, encoding=options.encoding)
    there = find_tags(photo)
    found = sorted(
        (seen for seen in there if not seen.mirrored), key=lambda seen: (seen.code, *seen.corners[0].tolist())
    )
    signs: str | None = None
    plates: dict[str, int] = {}
    if options.studio is not None or studio_is_there(None):
        with studio_that_is_there(options) as studio:
            signs, plates = studio.tag_signs, {one.tag: one.trial_id for one in studio.tags().in_force()}
    document = [
        {**seen.as_dict(), "ours": None if signs is None else seen.code.studio == signs, "trial": plates.get(seen.tag)}
        for seen in found
    ]
    lines = []
    for seen in found:
        x, y = seen.corners.mean(axis=0).round().astype(int).tolist()
        if seen.tag in plates:
            whose = f"plate {plates[seen.tag]}"
        elif signs is None or seen.code.studio == signs:
            whose = "on no plate, as far as the log says"
        else:
            whose = "a tag of another studio"
        lines.append(f"{seen.tag}  {whose}, at {x},{y}")
    count = Counter(seen.tag for seen in found)
    warned = [
        {"code": "tag_twice", "message": f"{tag} is there {times} times: take the wrong ones off, or print them anew."}
        for tag, times in count.items()
        if times > 1
    ]
    mirrored = list(dict.fromkeys(f"tag {seen.tag}" for seen in there if seen.mirrored))
    if mirrored:
        warned.append({"code": "tag_mirrored", "message": mirrored_in_words(mirrored)})
    none = (
        "No tag found: take the photograph nearer, so that a tag is 3 % of its width or more, sharp, with the tag's "
        "black frame whole and no glare on it."
    )
    return Answer(
        {"tags": document, "warnings": warned}, [*(lines or ([] if mirrored else [none])), *words.warning_lines(warned)]
    )


def mark(options: argparse.Namespace) -> Answer:
    """Keep where a plate's finish lies by its tag."""
    from matcher.photo.photo import open_photo
    from matcher.photo.region import checked_outline
    from matcher.plates_in_picture import taken_at
    from matcher.tags.outlines import corners_in

    with studio_that_is_there(options) as studio:
        carried = studio.tag_of(studio.trial(options.id).id or 0)
        if carried is None:
            raise values.TypingError(f"Give plate {options.id} its tag first, with tags give.")
        photo = open_photo(options.photo, encoding=options.encoding)
        region = checked_outline(values.outline(options.finish), photo.width, photo.height)
        corners = corners_in(photo, carried.tag)
        if corners is None:
            raise values.TypingError(
                f"Take another photograph, with {carried.tag} in it once, sharp and whole: it is not found in this one."
            )
        kept = studio.tag_log.keep_outline(options.id, corners, region, options.by, taken_at(photo))
    document = {"trial": options.id, "tag": kept.tag, "outline": kept.points.tolist()}
    return Answer(document, [f"From now on plate {options.id} is read where you marked it, by its tag {kept.tag}."])


def give(options: argparse.Namespace) -> Answer:
    """Give a tag to a plate."""
    with studio_that_is_there(options) as studio:
        given = studio.give_tag(options.id, options.tag, options.by, options.why, _since(options))
    return _came_of(given)


def move(options: argparse.Namespace) -> Answer:
    """Let a tag be on another plate."""
    with studio_that_is_there(options) as studio:
        given = studio.give_tag(options.id, options.tag, options.by, options.why, _since(options), move=True)
    return _came_of(given)


def take(options: argparse.Namespace) -> Answer:
    """Take a tag from a plate."""
    with studio_that_is_there(options) as studio:
        taken = studio.take_tag(options.id, options.by, options.why, _since(options))
    return _came_of(taken)


def history(options: argparse.Namespace) -> Answer:
    """Tell which plates a tag was on, or which tags a plate had."""
    from matcher.tags.given import tag_text
    from matcher.tags.wording import time_in_words

    with studio_that_is_there(options) as studio:
        told = studio.tags()
        if options.tag is not None:
            times = told.of_tag(tag_text(options.tag, studio.tag_signs))
        else:
            times = told.of_plate(studio.trial(options.plate).id or 0)
    lines = [f"{one.tag}  plate {one.trial_id}, {time_in_words(one)}" for one in times]
    none = "That tag was on no plate." if options.tag is not None else f"Plate {options.plate} never had a tag."
    return Answer({"history": [one.as_dict() for one in times]}, lines or [none])


def whose_tag(options: argparse.Namespace) -> Answer:
    """Tell which plate carries a tag, or carried it at a moment."""
    from matcher.dates import moment
    from matcher.tags.given import tag_text

    with studio_that_is_there(options) as studio:
        tag = tag_text(options.tag, studio.tag_signs)
        plate = studio.plate_of(tag, None if options.at is None else moment(options.at))
        trial = None if plate is None else studio.trial(plate)
    then = "now" if options.at is None else f"on {options.at}"
    if trial is None:
        return Answer({"tag": tag, "trial": None}, [f"{tag} is on no plate {then}, as far as the log says."])
    return Answer({"tag": tag, "trial": trial.as_dict()}, [f"{tag}, {then}:", *words.trial_lines(trial)])


def sightings(options: argparse.Namespace) -> Answer:
    """List where a plate was seen, and whether its colour has changed."""
    from matcher.dates import ISO, shown
    from matcher.tags.wording import ALL_ALIKE, TOGETHER, ageing_in_words

    with studio_that_is_there(options) as studio:
        trial = studio.trial(options.id)
        page = studio.sightings(trial.id, start=options.start, count=options.count)
        known, together = studio.ageing(trial.id or 0), studio.known_colour(trial.id or 0)
    lines = [ageing_in_words(known), *([ALL_ALIKE] if known.seen else [])]
    lines += [words.reading_line(TOGETHER, together)] if known.seen and not known.changed else []
    for one in page.sightings:
        head = f"{shown(one.seen_at, ISO)}  {one.tag}"
        lines.append(f"{head}: not read" if one.reading is None else words.reading_line(head, one.reading))
        if one.left_out is not None:
            lines.append(f"    Did not serve as a reference. {one.left_out.message}")
    more = page.total - options.start - len(page.sightings)
    lines += [f"{more} more: go on with --start {options.start + len(page.sightings)}."] if more > 0 else []
    document: dict[str, Any] = {"trial": trial.id, "total": page.total, "ageing": known.as_dict()}
    document["known"] = {"lab": together.lab.tolist(), "covariance": together.covariance.tolist()}
    return Answer({**document, "sightings": [one.as_dict() for one in page.sightings]}, lines)


def _since(options: argparse.Namespace) -> datetime | None:
    from matcher.dates import moment

    return None if options.since is None else moment(options.since)


def _came_of(given: Given) -> Answer:
    """Say what giving, moving or taking a tag came to."""
    from matcher.tags.wording import ended_in_words, given_in_words

    told = [given_in_words(given.now)] if given.now is not None else []
    document = {
        "now": None if given.now is None else given.now.as_dict(),
        "ended": [one.as_dict() for one in given.ended],
    }
    return Answer(document, [*told, *map(ended_in_words, given.ended)])
