"""The commands on what clients want: targets; commissions taken on, changed, noted, signed off, cast after cast."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matcher.typed_in import values, words
from matcher.typed_in.options import (
    Commands,
    Function,
    Parser,
    add_by,
    add_instrument_file,
    add_overwrite,
    add_paper,
    add_photo_or_lab,
)
from matcher.typed_in.photographs import (
    as_warnings,
    given,
    given_file,
    opened_studio,
    refuse_for_file_only,
    samples_wanted,
    studio_that_is_there,
)
from matcher.typed_in.values import TOLERANCE
from matcher.typed_in.words import Answer, write
from matcher.words import counted

if TYPE_CHECKING:
    from matcher.commissions.commission import Area, Commission
    from matcher.commissions.known import Known, Repaired
    from matcher.reading.reading import Reading
    from matcher.studio import Studio
    from matcher.trials.trial import Target

MOST_TARGETS_AT_ONCE = 100


def add_commands(commands: Commands) -> None:
    about = (
        "List clients' commissions; show one with its timeline; add, change, note, sign off, cast, deliver, repair, "
        "print, set aside."
    )
    _add_commissions(commands.add("commissions", about, list_commissions))
    _add_targets(
        commands.add("targets", "List the finishes that clients want; keep another, change or set aside one.", targets)
    )


def _add_commissions(parser: Parser) -> None:
    about = "with those delivered and set aside"
    parser.add_argument("--all", action="store_true", help=about)
    parts = Commands(parser, "PART", required=False)
    listed = parts.add("list", "List the commissions, the one due first at the head.", list_commissions)
    listed.add_argument("--all", action="store_true", default=argparse.SUPPRESS, help=about)
    _with_id(parts, "show", "Show one: areas, what to do next, what happened, what to hand over.", show_commission)
    added = parts.add("add", "Take on a commission.", add_commission)
    added.add_argument("title", metavar="TITLE", help="title of the piece")
    added.add_argument("--alloy", metavar="NAME", required=True, help="what it is cast in")
    added.add_argument("--area", metavar="NAME", action="append", default=[], help="an area of it; may be given again")
    _add_about_commission(added)
    changed = _with_id(parts, "change", "Change what was typed of a commission.", change_commission)
    changed.add_argument("--title", metavar="TEXT", help="title of the piece")
    changed.add_argument("--alloy", metavar="NAME", help="what it is cast in")
    _add_about_commission(changed)
    area = _with_id(parts, "add-area", "Add an area to a commission.", add_area)
    area.add_argument("name", metavar="NAME")
    _add_about_area(area)
    area = parts.add("change-area", "Give an area another name, surface or target.", change_area)
    area.add_argument("id", metavar="AREA", type=values.whole, help="number of the area")
    area.add_argument("--name", metavar="NAME")
    _add_about_area(area)
    about = "Note that something is no longer an area of the piece; its plates stay."
    area = _with_id(parts, "set-area-aside", about, set_area_aside, "AREA")
    area.add_argument("reason", metavar="REASON")
    add_by(area)
    add_by(_with_id(parts, "take-area-back", "Let it be an area of the piece again.", take_area_back, "AREA"))
    order = _with_id(parts, "order-areas", "Put the areas into another order.", order_areas)
    order.add_argument("areas", metavar="AREA", type=values.whole, nargs="+", help="numbers of all its areas")
    note = _with_id(parts, "note", "Write a line into the journal.", note_line)
    note.add_argument("text", metavar="TEXT")
    note.add_argument("--kind", choices=("note", "decision", "handover"), default="note", help="what it is (note)")
    note.add_argument("--area", metavar="AREA", type=values.whole, help="number of the area that it is about")
    note.add_argument("--photo", metavar="FILE", help="a photograph that is kept with it")
    add_by(note)
    _add_signing(parts)
    aside = _with_id(parts, "set-aside", "Note that a commission is no longer worked on.", set_commission_aside)
    aside.add_argument("reason", metavar="REASON")
    add_by(aside)
    add_by(_with_id(parts, "take-back", "Let a commission be worked on again.", take_commission_back))


def _add_signing(parts: Commands) -> None:
    about = "Sign off a plate for an area: the target is frozen, and the next cast is aimed at the plate."
    sign = _with_id(parts, "sign-off", about, sign_off, "AREA")
    sign.add_argument("plate", metavar="PLATE", type=values.whole, help="the plate that was approved")
    sign.add_argument("--signed-by", metavar="NAME", required=True, help="who approved it")
    sign.add_argument("--light", metavar="TEXT", required=True, help="in what light it was judged")
    sign.add_argument("--note", metavar="TEXT", default="", help="anything else")
    add_by(sign)
    gone = _with_id(parts, "withdraw", "Withdraw a sign-off; what was signed stays noted.", withdraw, "SIGN_OFF")
    gone.add_argument("reason", metavar="REASON")
    add_by(gone)
    cast = _with_id(parts, "cast", "Note that a logged plate is this area of a cast.", note_cast, "AREA")
    cast.add_argument("plate", metavar="PLATE", type=values.whole, help="number of the logged plate")
    cast.add_argument("number", metavar="CAST", type=values.whole, help="number of the cast, from 1")
    add_by(cast)
    about = "Note that the piece, or casts of it, were delivered to the client."
    gone = _with_id(parts, "deliver", about, deliver)
    gone.add_argument("--on", metavar="DAY", help="2026-03-31 (today)")
    gone.add_argument("--to", metavar="NAME", default="", help="whom it was handed to")
    _add_casts(gone, "all that are not delivered yet")
    about = "Take back that casts were delivered, noted in error; the timeline keeps it."
    _add_casts(_with_id(parts, "take-delivery-back", about, take_delivery_back), "all")
    about = "Take on the repair of an area as a commission of its own: plate, recipe and bottles are found again."
    repair = _with_id(parts, "repair", about, begin_repair, "AREA")
    repair.add_argument("what", metavar="TEXT", help="what is to be repaired")
    add_by(repair)
    about = "Show an area's casts against what was signed off: drift, or chance."
    _with_id(parts, "edition", about, show_edition, "AREA")
    for name, about, function, metavar in (
        ("sign-off-sheet", "Write an area's sign-off as a PDF.", write_sign_off, "AREA"),
        ("record", "Write the record of a commission's edition as a PDF.", write_record, "ID"),
    ):
        sheet = _with_id(parts, name, about, function, metavar)
        sheet.add_argument("file", metavar="FILE.pdf")
        sheet.add_argument("--with-recipe", action="store_true", help="print the recipe too; it is kept back otherwise")
        add_paper(sheet)
        add_overwrite(sheet)


def _add_casts(parser: Parser, otherwise: str) -> None:
    about = f"number of the cast ({otherwise}); may be given again"
    parser.add_argument("--cast", metavar="N", type=values.whole, action="append", default=[], help=about)
    add_by(parser)


def _with_id(parts: Commands, name: str, about: str, function: Function, metavar: str = "ID") -> Parser:
    part = parts.add(name, about, function)
    part.add_argument("id", metavar=metavar, type=values.whole)
    return part


def _add_about_commission(parser: Parser) -> None:
    parser.add_argument("--client", metavar="TEXT", help="your label for the client")
    parser.add_argument("--size", metavar="TEXT", help="how large it is, in words")
    parser.add_argument(
        "--surface", metavar="CM2", type=values.figure_or_none, help="of one cast, cm²; none: not noted"
    )
    parser.add_argument("--casts", metavar="N", type=values.whole, help="how many the edition has")
    parser.add_argument("--due", metavar="DAY", help="2026-03-31; none: not noted")
    about = "ΔE00 that counts as a match where a target says nothing else"
    parser.add_argument("--tolerance", metavar="D", type=values.figure, help=about)
    parser.add_argument("--notes", metavar="TEXT", help="anything else")
    add_by(parser)


def _add_about_area(parser: Parser) -> None:
    parser.add_argument(
        "--surface", metavar="CM2", type=values.figure_or_none, help="its surface, cm²; none: not noted"
    )
    about = "number of the target that it is to match; none: none yet"
    parser.add_argument("--target", metavar="ID", type=values.whole_or_none, help=about)
    add_by(parser)


def list_commissions(options: argparse.Namespace) -> Answer:
    """List the commissions that are worked on, the one due first at the head, with how far each has come."""
    from matcher.commissions.known import all_known
    from matcher.commissions.state import state_of
    from matcher.commissions.store import by_due_day
    from matcher.commissions.wording import state_in_words

    with studio_that_is_there(options) as studio:
        every = by_due_day(studio.commissions.commissions(include_set_aside=True))
        found = [one for one in every if options.all or not (one.delivered or one.set_aside)]
        states = [state_of(all_known(studio.database, commission)) for commission in found]
        where = studio.name
    lines = [
        f"{one.id}  {one.title}{f', {one.client}' if one.client else ''}: {state_in_words(state)}"
        f"{f', due {one.due_on.isoformat()}' if one.due_on else ''}"
        for one, state in zip(found, states, strict=True)
    ]
    document = {
        "studio": where,
        "commissions": [
            {**one.as_dict(), "state": {**vars(state), "in_words": state_in_words(state)}}
            for one, state in zip(found, states, strict=True)
        ],
    }
    if not every:
        lines = ['No commission is kept yet: take one on with "commissions add".']
    elif len(found) < len(every):
        aside = sum(one.set_aside is not None for one in every)
        apart = [f"{len(every) - aside - len(found)} delivered", f"{aside} set aside"]
        lines.append(f"{' and '.join(part for part in apart if not part.startswith('0 '))}: --all lists them too.")
    return Answer(document, lines)


def show_commission(options: argparse.Namespace) -> Answer:
    """Show one commission with its areas, next steps and timeline."""
    with studio_that_is_there(options) as studio:
        return _shown(studio, studio.commissions.commission(options.id))


def add_commission(options: argparse.Namespace) -> Answer:
    from matcher.commissions.commission import Area, Commission

    areas = tuple(Area(name) for name in options.area)
    told = _told_of_commission(options)
    commission = Commission(**{**told, "areas": areas, "made_by": options.by})
    with opened_studio(options) as studio:
        return _shown(studio, studio.commissions.save(commission, options.by))


def change_commission(options: argparse.Namespace) -> Answer:
    told = _told_of_commission(options)
    if not told:
        raise values.TypingError("Say what changes, --casts or --due for example; see commissions change --help.")
    with studio_that_is_there(options) as studio:
        was = studio.commissions.commission(options.id)
        return _shown(studio, studio.commissions.change(replace(was, **told), was, options.by))


def add_area(options: argparse.Namespace) -> Answer:
    from matcher.commissions.commission import Area

    with studio_that_is_there(options) as studio:
        studio.commissions.add_area(options.id, Area(options.name, **_told_of_area(options)), options.by)
        return _shown(studio, studio.commissions.commission(options.id))


def change_area(options: argparse.Namespace) -> Answer:
    told = _told_of_area(options)
    if options.name is not None:
        told["name"] = options.name
    if not told:
        raise values.TypingError("Say what changes of the area: --name, --surface or --target.")
    with studio_that_is_there(options) as studio:
        commission, was = studio.commissions.area(options.id)
        studio.commissions.change_area(replace(was, **told), was, options.by)
        return _shown(studio, studio.commissions.commission(commission.id or 0))


def set_area_aside(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        studio.commissions.set_area_aside(options.id, options.reason, options.by)
        return _shown(studio, studio.commissions.area(options.id)[0])


def take_area_back(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        studio.commissions.take_area_back(options.id, options.by)
        return _shown(studio, studio.commissions.area(options.id)[0])


def deliver(options: argparse.Namespace) -> Answer:
    from matcher.dates import ISO, now, shown

    with studio_that_is_there(options) as studio:
        numbers = options.cast or studio.commissions.commission(options.id).casts_with_us
        if not numbers:
            raise values.TypingError("Every cast of it is delivered already.")
        on = shown(now(), ISO) if options.on is None else options.on
        return _shown(studio, studio.casts.deliver(options.id, numbers, on, options.to, options.by))


def take_delivery_back(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        noted = studio.commissions.commission(options.id).deliveries
        unknown = sorted(set(options.cast) - {delivery.number for delivery in noted})
        if unknown or not noted:
            which = f"cast {unknown[0]}" if unknown else "it"
            raise values.TypingError(f"There is nothing to take back: {which} is not noted as delivered.")
        for delivery in noted:
            if not options.cast or delivery.number in options.cast:
                studio.casts.take_delivery_back(delivery.id, options.by)
        return _shown(studio, studio.commissions.commission(options.id))


def begin_repair(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        return _shown(studio, studio.commissions.begin_repair(options.id, options.what, options.by))


def order_areas(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        seen = [area.id or 0 for area in studio.commissions.commission(options.id).areas]
        if sorted(seen) != sorted(options.areas):
            raise values.TypingError(f"Name each area once, in the new order: {' '.join(map(str, seen))} stand now.")
        return _shown(studio, studio.commissions.reorder(options.id, options.areas, seen))


def note_line(options: argparse.Namespace) -> Answer:
    from matcher.commissions.commission import JournalLine

    with studio_that_is_there(options) as studio:
        commission = studio.commissions.commission(options.id)
        photo = None if options.photo is None else studio.keep_photo(options.photo)
        line = JournalLine(commission.id, options.text, options.kind, options.area, photo, options.by)
        studio.commissions.write(line)
        return _shown(studio, commission)


def set_commission_aside(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        return _shown(studio, studio.commissions.set_aside(options.id, options.reason, options.by))


def take_commission_back(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        return _shown(studio, studio.commissions.take_back(options.id, options.by))


def _told_of_commission(options: argparse.Namespace) -> dict[str, Any]:
    """Return what the options say of a commission, by its names; what they do not say is left out."""
    given = {
        "title": options.title,
        "alloy": options.alloy,
        "client": options.client,
        "size": options.size,
        "area_cm2": options.surface,
        "casts": options.casts,
        "due_on": options.due,
        "tolerance": options.tolerance,
        "notes": options.notes,
    }
    return {name: _or_none(value, name) for name, value in given.items() if value is not None}


def _told_of_area(options: argparse.Namespace) -> dict[str, Any]:
    given = {"area_cm2": options.surface, "target_id": options.target}
    return {name: _or_none(value, name) for name, value in given.items() if value is not None}


def _or_none(value: Any, name: str) -> Any:
    if name in ("area_cm2", "target_id", "due_on") and isinstance(value, str) and values.is_none(value):
        return None
    return value


def _shown(studio: Studio, commission: Commission) -> Answer:
    """Say all of a commission: what was typed, areas with their next steps, what to hand over, what happened."""
    from matcher.commissions.known import all_known, what_is_repaired
    from matcher.commissions.state import next_steps, state_of
    from matcher.commissions.timeline import what_happened
    from matcher.commissions.wording import (
        deliver_in_words,
        delivery_in_words,
        event_in_words,
        on_bench_in_words,
        repaired_in_words,
        state_in_words,
        step_in_words,
    )
    from matcher.dates import ISO, shown

    known = all_known(studio.database, commission)
    state, steps = state_of(known), next_steps(known)
    repaired = [(area, what_is_repaired(studio.database, area)) for area in commission.areas]
    on_bench = [one for area in commission.areas for one in known.on_bench(area)]
    events = what_happened(studio.database, known)
    lines = [
        f"{commission.id}  {commission.title}, {commission.alloy}: {state_in_words(state)}",
        *_about_lines(commission),
        *(_area_line(area, known) for area in commission.every_area),
        *(f"    {line}" for _, one in repaired if one is not None for line in _repaired_lines(one)),
        *(f"    {delivery_in_words(commission, delivery)}" for delivery in commission.deliveries),
        *(f"On the bench for {one.area.name}: {on_bench_in_words(one)}." for one in on_bench),
        *(f"Next: {step_in_words(step)}." for step in steps),
        *([f"Next: {deliver_in_words(known)}."] if deliver_in_words(known) else []),
        "",
        *(
            " ".join(filter(None, (shown(event.at, ISO), event.who and f"{event.who}:", event_in_words(event, known))))
            for event in events
        ),
    ]
    document = {
        "studio": studio.name,
        "commission": commission.as_dict(),
        "state": {**vars(state), "in_words": state_in_words(state)},
        "next": [
            {
                "step": step.step,
                "area_id": step.area.id,
                "trial_id": step.nearest.trial.id if step.nearest else None,
                "piece": step.piece_uid,
                "cast": step.cast,
                "in_words": step_in_words(step),
            }
            for step in steps
        ],
        "on_bench": [
            {
                "piece": one.piece.uid,
                "area_id": one.area.id,
                "use": one.use,
                "cast": one.cast,
                "in_words": on_bench_in_words(one),
            }
            for one in on_bench
        ],
        "repairs": [
            {
                "area_id": area.id,
                "repairs_area_id": one.area.id if one.area else None,
                "trial_id": one.signed.trial_id if one.signed else None,
                "piece": one.plate.piece if one.plate else None,
                "tag": one.tag,
                "on_chart": one.on_chart,
                "in_words": repaired_in_words(one),
            }
            for area, one in repaired
            if one is not None
        ],
        "timeline": [{**event.as_dict(), "in_words": event_in_words(event, known)} for event in events],
    }
    return Answer(document, lines)


def _repaired_lines(one: Repaired) -> list[str]:
    from matcher.commissions.wording import repaired_in_words
    from matcher.recipe.recipe import describe

    recipe = [] if one.signed is None else [f"Recipe: {describe(one.signed.recipe)}."]
    return [*repaired_in_words(one), *recipe]


def _about_lines(commission: Commission) -> list[str]:
    from matcher.commissions.fields import COMMISSION

    told = [(field, getattr(commission, field.name)) for field in COMMISSION if field.name not in ("title", "alloy")]
    noted = [(field, value) for field, value in told if value not in (None, "")]
    return [f"    {field.title}: {' '.join(field.said(value, {}).split())}" for field, value in noted]


def _area_line(area: Area, known: Known) -> str:
    from matcher.commissions.wording import without_target_in_words

    target, nearest = known.target_of(area), known.nearest_for(area)
    signed = known.sign_off_of(area)
    said = f"    area {area.id}, {area.name}{words.aside(area.set_aside)}: "
    said += f"target {target.id}, {target.name}" if target else without_target_in_words(area)
    if signed:
        return f"{said}; plate {signed.trial_id} approved"
    if nearest is None:
        return said
    from matcher.commissions.wording import compared_in_words, figures_in_words

    return f"{said}; plate {nearest.trial.id} {compared_in_words(nearest)}, {figures_in_words(nearest)}"


def sign_off(options: argparse.Namespace) -> Answer:
    """Sign off a plate for an area."""
    from matcher.commissions.control_chart import how_finely_judged, widened_by

    with opened_studio(options) as studio:
        made = studio.sign_offs.sign(
            options.id, options.plate, options.signed_by, options.light, options.note, options.by
        )
        commission, area = studio.commissions.area(options.id)
        aim = None if made.aim_id is None else studio.target(made.aim_id).name
    low, high = made.interval
    lines = [
        f"Signed off: plate {made.trial_id} for {commission.title}, {area.name}, by {made.signed_by}. It is sign-off "
        f"{made.id}.",
        f"    {made.difference}; ΔE00 {made.delta_e00:.1f} (95 %: {low:.1f} to {high:.1f})",
        f"    The next cast is aimed at target {made.aim_id}, {aim}.",
        *([f"    {finely}"] if (finely := how_finely_judged(made.plate)) else []),
    ]
    return Answer({"studio": studio.name, "sign_off": made.as_dict(), "widened": widened_by(made.plate)}, lines)


def withdraw(options: argparse.Namespace) -> Answer:
    """Withdraw a sign-off."""
    with opened_studio(options) as studio:
        gone = studio.sign_offs.withdraw(options.id, options.reason, options.by)
    return Answer({"studio": studio.name, "sign_off": gone.as_dict()}, [f"Withdrawn: sign-off {gone.id}."])


def note_cast(options: argparse.Namespace) -> Answer:
    """Note that a plate is an area of a cast."""
    with opened_studio(options) as studio:
        cast = studio.casts.note(options.plate, options.id, options.number, options.by)
    return Answer({"studio": studio.name, "cast": vars(cast)}, [f"Plate {cast.trial_id} is cast {cast.number}."])


def show_edition(options: argparse.Namespace) -> Answer:
    """Show the control chart of an area in words and figures."""
    from matcher.commissions.control_chart import in_words

    with studio_that_is_there(options) as studio:
        _, area = studio.commissions.area(options.id)
        chart = studio.edition(options.id)
    if chart is None:
        said = f"Nothing is signed off for {area.name} yet: sign it off to compare casts with it."
        return Answer({"studio": studio.name, "edition": None}, [said])
    lines = []
    for point in chart.points:
        low, high = point.interval
        more = ", more than chance" if point.beyond else ""
        lines.append(f"{point.label}: ΔE00 {point.delta_e00:.1f} (95 %: {low:.1f} to {high:.1f}) from the plate{more}")
    return Answer({"studio": studio.name, "edition": chart.as_dict()}, [*lines, in_words(chart)])


def write_sign_off(options: argparse.Namespace) -> Answer:
    """Write an area's sign-off to a file."""
    from matcher.printed import named_on_sheets, signed_sheet

    with studio_that_is_there(options) as studio:
        pdf = signed_sheet(studio, options.id, options.with_recipe, values.paper(options.paper))
        commission, area = studio.commissions.area(options.id)
        lacks = words.unprinted_lines(studio.title, named_on_sheets(commission), studio.sign_offs.of_area(area.id)[-1:])
    return _written(options, pdf, "the sign-off", lacks)


def write_record(options: argparse.Namespace) -> Answer:
    """Write the record of an edition to a file."""
    from matcher.commissions.commission import HANDOVER
    from matcher.printed import edition_sheet, named_on_sheets

    with studio_that_is_there(options) as studio:
        pdf = edition_sheet(studio, options.id, options.with_recipe, values.paper(options.paper))
        commission, journal = studio.commissions.commission(options.id), studio.commissions.journal(options.id)
        handed = [line.text for line in journal if line.kind == HANDOVER]
        signed = [studio.sign_offs.standing(area.id) for area in commission.areas]
        lacks = words.unprinted_lines(studio.title, named_on_sheets(commission), handed, signed)
    return _written(options, pdf, "the record of the edition", lacks)


def _written(options: argparse.Namespace, pdf: bytes, what: str, lacks: list[str]) -> Answer:
    write(options.file, pdf, options.overwrite)
    said = [f"Wrote {options.file}: {what}.", *lacks]
    return Answer({"id": options.id, "path": options.file, "not_printed": lacks}, said)


def _add_targets(parser: Parser) -> None:
    add_photo_or_lab(parser)
    parser.add_argument("--add", metavar="NAME", help="keep a target under this name, from a photograph or by --lab")
    add_instrument_file(parser, several=True)
    parser.add_argument("--munsell", metavar="NOTATION", help='keep a colour matched by eye: "5YR 3/4"')
    about = f"ΔE00 that counts as a match ({TOLERANCE:g})"
    parser.add_argument("--tolerance", metavar="D", type=values.figure, help=about)
    parser.add_argument("--notes", help="anything else")
    parser.add_argument("--all", action="store_true", help="with those set aside")
    kept = parser.add_mutually_exclusive_group()
    about = "let a target have another name, or the --tolerance and --notes that are given with it"
    kept.add_argument("--change", metavar="ID", type=values.whole, help=about)
    kept.add_argument("--set-aside", metavar="ID", type=values.whole, help="note that it is no longer worked on")
    kept.add_argument("--take-back", metavar="ID", type=values.whole, help="let one that was set aside be worked on")
    parser.add_argument("--rename", metavar="NAME", help="the new name, with --change")
    parser.add_argument("--reason", metavar="TEXT", default="done", help="why it is set aside (done)")


def targets(options: argparse.Namespace) -> Answer:
    keeps = any(getattr(options, name) is not None for name in ("add", "from_file", "munsell", "photo", "lab"))
    changes = any(getattr(options, name) is not None for name in ("change", "set_aside", "take_back"))
    if keeps and changes:
        raise values.TypingError("Keep a target, or change one that is kept: not both at once.")
    if options.change is None and options.rename is not None:
        raise values.TypingError("Say with --change which target gets the name.")
    if not keeps and options.change is None and (options.tolerance, options.notes) != (None, None):
        raise values.TypingError(
            "Say with --change which target gets the tolerance or the notes, or keep one with --add."
        )
    with opened_studio(options) if keeps else studio_that_is_there(options) as studio:
        if changes:
            _change_target(studio, options)
        added, chosen = _added_targets(studio, options)
        targets = studio.targets(include_set_aside=options.all)
        beside = studio.worth_laying_each([target.reading for target in targets])
        document = {
            "studio": studio.name,
            "targets": [
                {**target.as_dict(), "lay_beside": words.beside_as_dict(laid)}
                for target, laid in zip(targets, beside, strict=True)
            ],
            "added": [target.id for target in added],
        }
    lines = []
    for one, laid in zip(targets, beside, strict=True):
        head = f"{one.id}  {one.name}{words.aside(one.set_aside)}"
        lines += [words.reading_line(head, one.reading), *words.beside_lines(laid)]
    warned = as_warnings([caveat for target in added for caveat in target.reading.caveats])
    lines = lines or ["No target is kept yet: add one from a client's photograph or by its L,a,b."]
    return Answer({**document, "warnings": warned}, [*lines, *words.warning_lines(warned), *chosen])


def _change_target(studio: Studio, options: argparse.Namespace) -> None:
    """Do what is asked of a target that is kept."""
    if options.set_aside is not None:
        studio.set_target_aside(options.set_aside, options.reason)
    elif options.take_back is not None:
        studio.take_target_back(options.take_back)
    else:
        was = studio.target(options.change)
        given = {"name": options.rename, "tolerance": options.tolerance, "notes": options.notes}
        if not any(value is not None for value in given.values()):
            raise values.TypingError("Say what changes: --rename, --tolerance or --notes.")
        now = replace(was, **{name: value for name, value in given.items() if value is not None})
        studio.change_target(now, was)


def _added_targets(studio: Studio, options: argparse.Namespace) -> tuple[list[Target], list[str]]:
    """Keep what is to be added: from an instrument's file, a Munsell notation, a photograph or a typed CIELAB.

    Return it, and what to say of an instrument's file besides.
    """
    from matcher.trials.trial import Target

    elsewhere = [name for name in ("from_file", "munsell") if getattr(options, name) is not None]
    if len(elsewhere) + ((options.photo, options.lab) != (None, None)) > 1:
        raise values.TypingError("Give one source: a file, a Munsell notation, a photograph, or a colour with --lab.")
    if options.from_file is None:
        refuse_for_file_only(options)
    photo: str | None = None
    chosen: list[str] = []
    if elsewhere:
        named, chosen = _from_elsewhere(options)
    elif options.add is not None:
        colour = given(options)
        photo = studio.keep_photo(colour.files[0]) if colour.files else None
        studio.keep_sightings(colour.sightings(studio))
        chosen = colour.plate_lines
        named = [(options.add, colour.reading)]
    elif (options.photo, options.lab) != (None, None):
        raise values.TypingError("Give the target a name with --add.")
    else:
        return [], []
    tolerance = TOLERANCE if options.tolerance is None else options.tolerance
    kept = [Target(name, reading, tolerance, photo, options.notes or "") for name, reading in named]
    return [studio.save_target(target) for target in kept], chosen


def _from_elsewhere(options: argparse.Namespace) -> tuple[list[tuple[str, Reading]], list[str]]:
    """Return names and readings of a Munsell notation or of a file's samples, and what the file could give instead."""
    from matcher.instrument.munsell import munsell_reading

    if options.munsell is not None:
        return [(options.add or options.munsell.strip(), munsell_reading(options.munsell))], []
    file = given_file(options)
    samples = samples_wanted(file, options)
    there = counted(len(samples), "colour")
    if len(samples) > MOST_TARGETS_AT_ONCE:
        raise values.TypingError(f"Choose with --sample: the file has {there}.")
    if options.add is not None and len(samples) > 1:
        raise values.TypingError(f"Choose one with --sample to name it: the file has {there}.")
    return [(options.add or sample.name, sample.reading) for sample in samples], words.choice_lines(file.questions)
