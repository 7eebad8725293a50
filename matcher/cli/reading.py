"""The commands read, read-again, repeat, camera and cards: what photographs show, and what they are read by."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher.typed_in import values, words
from matcher.typed_in.options import (
    Commands,
    Parser,
    add_card_and_camera,
    add_known_plates,
    add_overwrite,
    add_photo,
)
from matcher.typed_in.photographs import (
    AUTO,
    NONE,
    Photographed,
    about_photo,
    as_warnings,
    found_card,
    opened,
    opened_studio,
    photo_and_card,
    photographed,
    studio_is_there,
    studio_that_is_there,
)
from matcher.typed_in.words import Answer, write

if TYPE_CHECKING:
    from matcher.calibration.profile import CameraProfile
    from matcher.card.card import Card
    from matcher.card.reading import CardReading
    from matcher.commissions.read_again import Proposal
    from matcher.errors import Caveat
    from matcher.plates_beside import LaidBeside
    from matcher.reading.glare import PaleSpots
    from matcher.reading.reading import Reading
    from matcher.reading.texture import Texture
    from matcher.studio import Studio
    from matcher.trials.own_cards import OwnCard

CHART = "24-patch chart"


def add_commands(commands: Commands) -> None:
    _add_read(commands.add("read", "Read the colour of one or more finishes in a photograph.", read))
    about = "Read kept photographs again with what is known by now, and keep the better reading when asked to."
    _add_read_again(commands.add("read-again", about, again))
    about = "Tell how well this set-up repeats, from several photographs of one plate."
    _add_repeat(commands.add("repeat", about, repeat))
    _add_camera(
        commands.add(
            "camera", "Teach a camera under a light from a 24-patch chart; list and keep the profiles.", camera
        )
    )
    about = "List the reference cards; keep a measured one; print the carrier sheet."
    _add_cards(commands.add("cards", about, cards))


def _add_read(parser: Parser) -> None:
    add_photo(parser, optional=False)
    about = "read nothing: say where plates seem to be, as --finish wants it, for you to check"
    parser.add_argument("--propose", action="store_true", help=about)
    parser.add_argument("--texture", action="store_true", help="also its colours with their shares, and its mottle")


def _add_read_again(parser: Parser) -> None:
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("--plate", metavar="ID", type=values.whole, help="the photograph of this plate's reading")
    which.add_argument("--target", metavar="ID", type=values.whole, help="the photograph of this target")
    about = "every photograph that this camera profile fits and that was not read with it"
    which.add_argument("--all-that-fit", metavar="PROFILE", help=about)
    parser.add_argument("--stage", default="finished", help="which reading of the plate (finished)")
    about = "a camera profile by name, or none (as it was read)"
    parser.add_argument("--camera", metavar="NAME", help=about)
    about = "daylight, profile (the light of the camera profile) or unknown (as it was read)"
    parser.add_argument("--light", choices=("daylight", "profile", "unknown"), help=about)
    parser.add_argument("--finish", metavar="OUTLINE", help="another outline of the finish, in pixels")
    parser.add_argument("--card", metavar="KIND", help="look for a card of this kind, or of a name that was measured")
    parser.add_argument("--card-corners", metavar="CORNERS", help="the card's corners, marked anew")
    parser.add_argument("--keep", metavar="REASON", help="keep the new reading; the earlier one stays in the history")
    parser.add_argument("--by", default="", help="who does it")


def _add_repeat(parser: Parser) -> None:
    about = "at least three photographs of one plate, each set up from scratch"
    parser.add_argument("photos", metavar="PHOTO", nargs="+", help=about)
    about = "outline of the plate, once for all photographs or once for each, in their order"
    parser.add_argument("--finish", metavar="OUTLINE", action="append", default=[], required=True, help=about)
    about = "the card's corners, once for all photographs or once for each"
    parser.add_argument("--card-corners", metavar="CORNERS", action="append", default=[], help=about)
    add_card_and_camera(parser)
    add_known_plates(parser)
    parser.set_defaults(more_frames=[], flat_field=None, second_card_corners=None)


def _add_camera(parser: Parser) -> None:
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
    add_overwrite(parser)


def read(options: argparse.Namespace) -> Answer:
    """Read each marked finish; say what its uncertainty is made of and what would help."""
    from matcher.plates_in_picture import seen_in_words

    if options.propose:
        return _proposed(options)
    found = photographed(options)
    textures = _textures(found, options.pale_spots) if options.texture else [None] * len(found.readings)
    beside = _worth_laying(found, options)
    differences = _differences(found.readings)
    document = {
        "photo": found.about,
        "card": None if found.card is None else found.card.as_dict(),
        "profile": found.profile.as_dict(),
        "plates": [one.as_dict() for one in found.plates],
        "finishes": [
            {**_finish(reading, texture), "lay_beside": words.beside_as_dict(laid)}
            for reading, texture, laid in zip(found.readings, textures, beside, strict=True)
        ],
        "differences": differences,
        "warnings": found.warnings,
    }
    lines = [words.photo_line(found.about, found.card), *found.profile.lines, *seen_in_words(found.plates)]
    for number, (reading, texture, laid) in enumerate(zip(found.readings, textures, beside, strict=True), 1):
        lines += [words.reading_line(f"Finish {number}", reading), *words.trust_lines(reading, laid)]
        lines += [] if texture is None else words.texture_lines(texture)
    lines += [words.difference_line(item) for item in differences]
    return Answer(document, [*lines, *words.warning_lines(found.warnings)])


def _worth_laying(found: Photographed, options: argparse.Namespace) -> list[LaidBeside | None]:
    """Return which of the studio's plates are worth laying beside each finish; none where no studio is there."""
    if options.no_plates or not studio_is_there(options.studio):
        return [None] * len(found.readings)
    with opened_studio(options) as studio:
        return studio.worth_laying_each(found.readings, there=found.plates_there)


def _proposed(options: argparse.Namespace) -> Answer:
    """Say where plates seem to be; nothing is read, so that no outline is taken that nobody looked at."""
    from matcher.card.outline import clear_of_tags, propose_finishes
    from matcher.reading.wording import proposals_in_words
    from matcher.tags.search import find_plates

    if options.finish:
        raise values.TypingError(
            "Leave out --finish, which reads, or --propose, which only says where a finish may be."
        )
    photo, card = photo_and_card(options)
    proposed = clear_of_tags(propose_finishes(photo, card), [one.corners for one in find_plates(photo)])
    outlines = [values.outline_as_typed(item.outline) for item in proposed]
    about = about_photo(photo, Path(options.photo))
    document = {
        "photo": about,
        "card": None if card is None else card.as_dict(),
        "proposed": [{**item.as_dict(), "finish": text} for item, text in zip(proposed, outlines, strict=True)],
    }
    lines = [words.photo_line(about, card), proposals_in_words(proposed)]
    return Answer(document, [*lines, *(f'--finish "{text}"' for text in outlines)])


def _finish(reading: Reading, texture: Texture | None) -> dict[str, Any]:
    from matcher.reading.advice import budget_table, reach_of, trust_sentence, what_would_help

    trusted = {
        "within_delta_e00": reach_of(reading),
        "trust": trust_sentence(reading),
        "budget_delta_e00": [part.as_dict() for part in budget_table(reading)],
        "would_help": [item.as_dict() for item in what_would_help(reading)],
    }
    return {**reading.as_dict(), **trusted, **({} if texture is None else {"texture": texture.as_dict()})}


def _textures(found: Photographed, pale_spots: PaleSpots) -> list[Texture]:
    """Return the texture of each finish, in the first photograph when there are more frames."""
    import numpy as np

    from matcher.reading.texture import read_texture

    rng = np.random.default_rng(1)  # the same photograph gives the same answer
    return [
        read_texture(found.photo, found.calibration, reading.region, rng, pale_spots)
        for reading in found.readings
        if reading.region is not None
    ]


def _differences(readings: Sequence[Reading]) -> list[dict[str, Any]]:
    """Return ΔE00 between all pairs of finishes in one photograph, the error that they have in common cancelled."""
    from matcher.reading.comparison import side_by_side

    found = [
        (a, b, side_by_side(first, second, f"than finish {a}"))
        for (a, first), (b, second) in combinations(enumerate(readings, 1), 2)
    ]
    return [
        {
            "between": [a, b],
            "delta_e00": apart.delta_e00,
            "delta_e00_interval": list(apart.interval),
            "words": apart.words,
        }
        for a, b, apart in found
    ]


def again(options: argparse.Namespace) -> Answer:
    """Read one kept photograph again, or all that a profile fits; keep what comes of it only when asked to."""
    from matcher.commissions.read_again import said

    with studio_that_is_there(options) as studio:
        found = _fitting(studio, options) if options.all_that_fit is not None else [_one_again(studio, options)]
        not_kept: list[Caveat] = []
        for one in found:
            if options.keep is not None and one.after is not None:
                not_kept += studio.replace_reading(one.owner, one.after, one.before, options.keep, options.by)
        kept, warned = options.keep is not None, as_warnings(not_kept)
        lines = [line for one in found for line in words.again_lines(one, kept)]
        document = {"studio": studio.name, "kept": kept, "readings": [said(one) for one in found], "warnings": warned}
        nothing = f"No photograph that the profile {options.all_that_fit!r} fits is left to read again."
        return Answer(document, [*(lines or [nothing]), *words.warning_lines(warned)])


def _fitting(studio: Studio, options: argparse.Namespace) -> list[Proposal]:
    from matcher.commissions.read_again import proposals, readings_of

    for name in ("camera", "finish", "card", "card_corners"):
        if getattr(options, name) is not None:
            raise values.TypingError(f"Leave out --{name.replace('_', '-')}: it goes with one plate or target.")
    profile = studio.profile(options.all_that_fit)
    kept = readings_of(studio.targets(), studio.trials())
    return list(proposals(kept, studio.photo_path, profile, options.light, studio.known_in))


def _one_again(studio: Studio, options: argparse.Namespace) -> Proposal:
    from matcher.commissions.read_again import Owner, Proposal, photo_as_read, read_again

    if options.target is not None:
        target = studio.target(options.target)
        owner, name, before = Owner("target", options.target), target.name, target.reading
    else:
        trial = studio.trial(options.plate)
        owner, name = Owner("plate", options.plate, options.stage), trial.piece
        before = studio.readings.of(owner)
    if before.photo is None:
        raise values.TypingError("It was not read from a photograph: there is nothing to read again.")
    photo = photo_as_read(studio.photo_path(before.photo), before)
    card = None
    if options.card is not None or options.card_corners is not None:
        asked = {"no_card": False, "neutral": None, "card_lab": None, "card": options.card or "grey card"}
        card = found_card(photo, argparse.Namespace(**{**vars(options), **asked}), options.card_corners)
    outline = None if options.finish is None else values.outline(options.finish)
    profile = _profile_for_again(studio, before, options.camera)
    known = studio.known_in(photo, before)
    after = read_again(photo, before, profile, options.light, outline, card, known)
    return Proposal(owner, name, before, after)


def _profile_for_again(studio: Studio, before: Reading, name: str | None) -> CameraProfile | None:
    """Return the profile to read with: the one named, or that of before."""
    if name is None:
        name = NONE if before.conditions is None else before.conditions.profile or NONE
    return None if name.strip().casefold() == NONE else studio.profile(name)


def repeat(options: argparse.Namespace) -> Answer:
    """Read one plate from several photographs and say how well the set-up repeats."""
    from matcher.reading.repeatability import repeatability

    outlines = _one_for_each(options.finish, options.photos, "--finish")
    corners = _one_for_each(options.card_corners or [None], options.photos, "--card-corners")
    each = []
    for photo, outline, marked in zip(options.photos, outlines, corners, strict=True):
        alone = {"photo": photo, "finish": [outline], "card_corners": marked}
        each.append(photographed(argparse.Namespace(**{**vars(options), **alone})))
    readings = [found.readings[0] for found in each]
    result = repeatability(readings)
    warned = as_warnings([*result.caveats, *(caveat for reading in readings for caveat in reading.caveats)])
    document = {
        "photos": [{**found.about, "profile": found.profile.as_dict()} for found in each],
        "readings": [reading.as_dict() for reading in readings],
        "repeatability": result.as_dict(),
        "warnings": warned,
    }
    lines = [words.reading_line(Path(name).name, one) for name, one in zip(options.photos, readings, strict=True)]
    return Answer(document, [*lines, result.words, *words.warning_lines(warned)])


def _one_for_each(given: Sequence[Any], photos: Sequence[str], option: str) -> list[Any]:
    """Return one for each photograph: one that is given once holds for all, as when the camera stands still."""
    if len(given) == 1:
        return [given[0]] * len(photos)
    if len(given) != len(photos):
        raise values.TypingError(
            f"Give {option} once, for all photographs alike, or once for each of the {len(photos)}: not {len(given)}."
        )
    return list(given)


def camera(options: argparse.Namespace) -> Answer:
    """Make a profile of a chart's photograph, or do one thing with those that are kept; with nothing asked, list."""
    if options.photo is None:
        _refuse_for_made_only(options)
        comes_in = options.import_file is not None
        with opened_studio(options) if comes_in else studio_that_is_there(options) as studio:
            return _kept(studio, options)
    kept = (options.rename, options.retire, options.take_back, options.export, options.import_file)
    if options.list or any(asked is not None for asked in kept):
        raise values.TypingError("Give a chart's photograph, or one thing to do with the kept profiles, not both.")
    return _made(options)


def _refuse_for_made_only(options: argparse.Namespace) -> None:
    for name in ("name", "light", "chart_corners", "chart_lab", "encoding"):
        if getattr(options, name):
            raise values.TypingError(f"Leave out --{name.replace('_', '-')}: it goes with a chart's photograph.")


def _kept(studio: Studio, options: argparse.Namespace) -> Answer:
    from matcher.trials.camera_profiles import read_profile

    if options.rename:
        _refuse_reserved(options.rename[1])
        return _said(studio.rename_profile(*options.rename), studio, "Renamed")
    if options.retire:
        return _said(studio.retire_profile(*options.retire), studio, "Retired")
    if options.take_back is not None:
        return _said(studio.take_back_profile(options.take_back), studio, "Took back")
    if options.import_file is not None:
        _refuse_reserved(read_profile(Path(options.import_file)).name)
        return _said(studio.import_profile(options.import_file), studio, "Kept")
    if options.export:
        name, path = options.export
        studio.export_profile(name, path, options.overwrite)
        return Answer({"profile": name, "path": path}, [f"Wrote {path}: the profile {name!r}."])
    profiles = studio.profiles(include_retired=True)
    document = {"studio": studio.name, "profiles": [profile.as_dict() for profile in profiles]}
    lines = [line for profile in profiles for line in words.profile_lines(profile)]
    return Answer(document, lines or ["No camera profile is kept yet: photograph a 24-patch chart under the light."])


def _refuse_reserved(name: str) -> None:
    if name.strip().casefold() in (AUTO, NONE):
        raise values.TypingError(f"Give the profile a name other than {AUTO} and {NONE}: --camera reads them as words.")


def _said(profile: CameraProfile, studio: Studio, done: str) -> Answer:
    document = {"studio": studio.name, "profile": profile.as_dict()}
    return Answer(document, [f"{done} in {studio.name}:", *words.profile_lines(profile)])


def _made(options: argparse.Namespace) -> Answer:
    from matcher.calibration.profile_from_chart import profile_from_chart
    from matcher.card.detect import find_card

    if not options.name or not options.name.strip():
        raise values.TypingError(f"Give the profile a name with --name, other than {AUTO} and {NONE}.")
    _refuse_reserved(options.name)
    photo = opened(options.photo, options)
    corners = None if options.chart_corners is None else values.corners(options.chart_corners)
    lab: Any = None if options.chart_lab is None else values.colours(options.chart_lab)
    chart = find_card(photo, CHART, corners=corners, lab=lab)
    profile = profile_from_chart(photo, chart, options.name, light=options.light)
    with opened_studio(options) as studio:
        kept, where = studio.save_profile(profile), studio.name
    patches = _patches(kept, chart)
    delta = kept.as_dict()["leave_one_out_delta_e00"]
    warned = [caveat.as_dict() for caveat in kept.caveats]
    document = {
        "studio": where,
        "profile": kept.as_dict(),
        "chart": chart.as_dict(),
        "leave_one_out_delta_e00": {**delta, "patches": patches},
        "warnings": warned,
    }
    worst = sorted(patches, key=lambda item: -item["delta_e00"])[:3]
    lines = [
        f"Kept in {where}:",
        *words.profile_lines(kept),
        "    read worst: " + ", ".join(f"{item['name']} {item['delta_e00']:.1f}" for item in worst),
    ]
    return Answer(document, [*lines, *words.warning_lines(warned)])


def _patches(profile: CameraProfile, chart: CardReading) -> list[dict[str, Any]]:
    """Return the leave-one-out ΔE00 of each patch that was used, with the patch's name."""
    from matcher.calibration.profile_report import patch_pairs

    pairs = patch_pairs(profile, chart.card)
    return [{"name": pair.name, "delta_e00": pair.delta_e00} for pair in pairs if pair.delta_e00 is not None]


def _add_cards(parser: Parser) -> None:
    parser.add_argument("--add", metavar="NAME", help="keep a card that the studio has measured under this name")
    parser.add_argument("--kind", default="grey card", help="what kind of card it is (grey card)")
    parser.add_argument("--lab", metavar="L,a,b", help='its CIELAB; "L,a,b L,a,b ..." of a card with several patches')
    parser.add_argument(
        "--tolerance",
        metavar="D",
        type=values.figure,
        default=None,
        help="ΔE00 to which that measurement is good (0.5)",
    )
    parser.add_argument("--sheet", metavar="FILE.pdf", help="write the carrier sheet, to print")
    add_overwrite(parser)


def cards(options: argparse.Namespace) -> Answer:
    from matcher.card.card import load_cards

    defined = load_cards()
    if options.add is None and options.lab is not None:
        raise values.TypingError("Give the measured card a name with --add: without one it is not kept.")
    if options.add is not None and " ".join(options.add.split()) in (*defined, "any"):
        raise values.TypingError(f"Give the measured card a name of its own: {options.add!r} is a kind of card.")
    lab = None if options.add is None else _measured_lab(options, defined)
    if options.sheet is not None:  # first, since it may be refused
        from matcher.card.printable import carrier_sheet

        write(options.sheet, carrier_sheet(defined["carrier sheet"]), options.overwrite)
    own: list[OwnCard] = []
    before: list[OwnCard] = []
    if options.add is not None or studio_is_there(options.studio):
        with opened_studio(options) as studio:
            if options.add is not None and lab is not None:
                before = [card for card in studio.own_cards() if card.name == " ".join(options.add.split())]
                studio.save_card(options.add, options.kind, lab, options.tolerance)
            own = studio.own_cards()
    lines = [f"{card.name}: {card.title}. {card.source}." for card in defined.values()]
    lines += [
        f"{card.name}: measured {card.kind}, CIELAB {card.lab.round(2).tolist()}, good to ΔE00 {card.tolerance:g}"
        for card in own
    ]
    lines += [f"{card.name} was {card.lab.round(2).tolist()} before; its history keeps that." for card in before]
    if options.sheet is not None:
        lines = [f"Wrote {options.sheet}: print it at actual size."]
    cards = [words.card_as_dict(card) for card in defined.values()]
    return Answer({"cards": cards, "own_cards": [card.as_dict() for card in own], "sheet": options.sheet}, lines)


def _measured_lab(options: argparse.Namespace, defined: Mapping[str, Card]) -> Any:
    """Return the typed CIELAB of a card of the studio's own, which must fit the kind of card that it is."""
    if options.lab is None:
        raise values.TypingError("Give the card's own measured CIELAB with --lab L,a,b.")
    if options.kind not in defined:
        raise values.TypingError(f"Choose the kind of card from {', '.join(defined)}: {options.kind!r} is not one.")
    lab = values.colours(options.lab)
    defined[options.kind].with_lab(lab)  # raises CardError when patches are missing
    return lab
