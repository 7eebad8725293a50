"""Commissions in plain English: their state, what to do next, what happened, and what helps in choosing a tolerance."""

from __future__ import annotations

from collections.abc import Mapping

from matcher.bench.wording import standing, title_of
from matcher.colour.wording import difference_in_words
from matcher.commissions.casts import which_cast
from matcher.commissions.commission import DECISION, HANDOVER, Area, Commission, Delivery
from matcher.commissions.fields import AREA, COMMISSION, TARGET, what_changed
from matcher.commissions.known import Compared, Known, OnBench, Repaired
from matcher.commissions.state import NextStep, State, state_of
from matcher.commissions.store import ADDED, REORDERED
from matcher.commissions.timeline import Event, columns_changed
from matcher.dates import day_shown, shown
from matcher.trials.log import CHANGED, CORRECTED, Change
from matcher.trials.stocks import Stock
from matcher.trials.trial import Target
from matcher.words import capital, counted, listed

TOLERANCE_HELP = (
    "Areas that meet, or casts that stand side by side, call for ΔE00 1.5 or less; a piece that is seen alone is well "
    "served by 2 to 3. Under 1 few people see a difference on textured metal, and few hands can repeat it "
    "(common practice, no source)."
)
_FIELDS = {"commission": COMMISSION, "area": AREA, "target": TARGET}


def state_in_words(state: State) -> str:
    """Say how far a commission has come."""
    said = _stage_in_words(state)
    if state.casts_delivered and state.stage not in ("delivered", "set aside"):
        return f"{said}, {state.casts_delivered} delivered"
    return said


def _stage_in_words(state: State) -> str:
    match state.stage:
        case "set aside":
            return f"Set aside: {state.reason}"
        case "delivered":
            return "Delivered" if state.casts == 1 else f"All {state.casts} casts are delivered"
        case "no target":
            return "The surface is still to be read" if state.to_read == state.areas > 0 else "No target yet"
        case "approved":
            return "Approved, ready to cast"
        case "casting":
            return f"Casting: {state.casts_done} of {state.casts} done"
        case "finished":
            return f"{'The cast is' if state.casts == 1 else f'All {state.casts} casts are'} done"
    said = "On the bench" if state.stage == "bench" else "Looking for the finish"
    parts = [f"{state.approved} of {counted(state.areas, 'area')} approved"] if state.approved else []
    missing = state.areas - state.with_target
    parts += [f"{counted(missing, 'area')} without a target"] if missing else []
    return f"{said} ({', '.join(parts)})" if parts else said


def step_in_words(step: NextStep) -> str:
    """Say what to do next for an area, as a sentence without its end."""
    name, plate = step.area.name, step.nearest.trial.id if step.nearest else None
    match step.step:
        case "target":
            if step.area.repairs_uid is not None:
                return f"Read the surface of {name} as it is today"
            return f"Give {name} a target"
        case "bench":
            return f"Go on at the bench with {name}" + (f", cast {step.cast}" if step.cast else "")
        case "first plate":
            return f"Make a first plate for {name}"
        case "another plate":
            return f"Make another plate for {name}"
        case "sign-off":
            return f"Have plate {plate} signed off for {name}"
        case "cast":
            return f"Colour {name} on cast {step.cast}"
        case "done":
            return f"{capital(name)} is done on every cast"


def without_target_in_words(area: Area) -> str:
    """Say that an area has no target yet; a repair's is the surface as it is today."""
    return "no target yet" if area.repairs_uid is None else "its surface is still to be read"


def repaired_in_words(one: Repaired) -> list[str]:
    """Say in a few sentences what an area repairs: the plate that was approved, how it is found, and the bottles.

    The recipe is said beside it, step by step.
    """
    if one.commission is None or one.area is None:
        return ["What this repairs is not in this studio: import the studio that made it, or search the log."]
    if one.signed is None:
        return [f"Nothing is signed off for {one.area.name} of {one.commission.title}: search the log."]
    signed = one.signed
    return [
        f"Repairs {one.commission.title}, {one.area.name}: plate {signed.trial_id}, approved by {signed.signed_by}.",
        _to_find_the_plate(one, signed.trial_id),
        *(_bottle_in_words(bottle, now) for bottle, now in one.bottles),
    ]


def _to_find_the_plate(one: Repaired, number: int) -> str:
    plate = one.plate
    told = [
        f"marked {plate.piece}" if plate and plate.piece else "",
        f"tag {one.tag}" if one.tag else "",
        "on the studio's own chart" if one.on_chart else "",
        f"last seen in a photograph on {shown(one.seen_at)}" if one.seen_at else "",
    ]
    noted = f" Noted of it: {plate.notes.rstrip('.')}." if plate and plate.notes else ""
    found = listed([part for part in told if part]) or "no mark and no tag is noted"
    where = "" if noted or one.on_chart else " Where it is kept is not noted."
    return f"To find plate {number}: {found}.{noted}{where}"


def _bottle_in_words(bottle: Stock, now: Stock | None) -> str:
    where = f", {now.kept_where}" if now is not None and now.kept_where else ""
    stands = "used up: mix it anew" if now is None or now.used_up_at is not None else f"on the shelf{where}"
    return f"{bottle.label}: {bottle.chemical}, {bottle.grams_per_litre:g} g/L, {stands}"


def on_bench_in_words(one: OnBench) -> str:
    """Say of an area's piece on the bench what it is and where it stands: "Cast 1: Piece 2, patina: 3 of 9 passes"."""
    said = f"{title_of(one.piece)}, {standing(one.piece)}"
    return {"cast": f"Cast {one.cast}: {said}", "trial": f"Trial: {said}", "sample": said}[one.use]


def use_in_words(one: OnBench | None, target: str | None) -> str:
    """Say for what a piece on the bench is; "" where nothing is known. target: the name of its target."""
    if one is None or one.use == "sample":
        return f"for {target}" if target else ""
    whose = f"{one.commission.title}, {one.area.name}"
    return f"for {whose}, cast {one.cast}" if one.use == "cast" else f"a trial for {whose}"


def goal_in_words(one: OnBench | None, target: Target | None) -> str:
    """Say what a piece on the bench is to match, and whether it is a client's piece or a trial, as a sentence."""
    if target is None:
        return "It is to match no target."
    match = f"to match {target.name} within ΔE00 {_tolerance(target)}"
    if one is None:
        return f"{capital(match)}."
    whose = f"{one.commission.title}, {one.area.name}"
    if one.use == "cast":
        return f"Cast {one.cast} of {whose}, {match}."
    if one.use == "trial":
        return f"A trial for {whose}, {match}: the piece itself is coloured to another target by now."
    return f"{capital(match)}, for {whose}."


def delivery_in_words(commission: Commission, delivery: Delivery) -> str:
    """Say which cast was delivered, when and to whom, as a sentence without its end."""
    to = f" to {delivery.to}" if delivery.to else ""
    return f"{which_cast(commission, delivery.number)} was delivered on {day_shown(delivery.on)}{to}"


def deliver_in_words(known: Known) -> str:
    """Say what is left to do of a commission that is done but not delivered, as a sentence without its end; else ""."""
    state = state_of(known)
    if state.stage != "finished":
        return ""
    left = known.commission.casts_with_us
    casts = "it" if state.casts == 1 else f"cast{'s' if len(left) > 1 else ''} {listed([str(one) for one in left])}"
    return f"Deliver {casts}, and note the day"


def compared_in_words(plate: Compared) -> str:
    """Say how a plate stands to its target: from the interval, and how it differs."""
    said = {
        "within": f"matches within ΔE00 {plate.target.tolerance:g}",
        "likely": f"likely matches within ΔE00 {plate.target.tolerance:g}",
        "untold": "may or may not match",
        "outside": "does not match yet",
    }[plate.standing]
    how = difference_in_words(plate.target.reading.lab, plate.trial.reading.lab, interval=plate.interval)
    return f"{said}, {how}"


def figures_in_words(plate: Compared) -> str:
    """Return the figures of a plate beside its target: ΔE00 with its 95 % interval."""
    low, high = plate.interval
    return f"ΔE00 {plate.delta_e00:.1f} ({low:.1f} to {high:.1f})"


def event_in_words(event: Event, known: Known) -> str:
    """Say what happened in one sentence, without who and when."""
    area = _for_areas(event, known)
    match event.what:
        case "begun":
            return "The commission was taken on."
        case "photograph":
            return f"A photograph of the finish wanted{area} was kept."
        case "target":
            return f"The target {_name(event.target)}{area} was read: within ΔE00 {_tolerance(event.target)}."
        case "plate":
            return f"Plate {_number(event)}{area}{_against(event)}."
        case "cast":
            cast = event.cast.number if event.cast else ""
            return f"Cast {cast}{area}, logged as plate {_number(event)}{_against(event)}."
        case "bench":
            return f"{title_of(event.piece) if event.piece else 'A piece'}{area} was put on the bench."
        case "sign-off":
            return _signed_in_words(event, area)
        case "withdrawn":
            why = event.signed.withdrawn_reason if event.signed else ""
            return f"The sign-off{area} was withdrawn{_because(why)}."
        case "delivered":
            return f"{delivery_in_words(known.commission, event.delivery)}." if event.delivery else ""
        case "delivery taken back":
            return f"Taken back: {delivery_in_words(known.commission, event.delivery)}." if event.delivery else ""
        case "journal":
            return _line_in_words(event, area)
        case "change":
            return _change_in_words(event, area, known)


def _for_areas(event: Event, known: Known) -> str:
    names = [area.name for area in known.commission.every_area if area.id in event.area_ids]
    return f" for {listed(names)}" if names else ""


def _name(target: Target | None) -> str:
    return target.name if target else ""


def _tolerance(target: Target | None) -> str:
    return f"{target.tolerance:g}" if target else ""


def _number(event: Event) -> int | str:
    return event.trial.id or "" if event.trial else ""


def _against(event: Event) -> str:
    aside = f" (set aside{_because(event.trial.set_aside)})" if event.trial and event.trial.set_aside else ""
    return f": {compared_in_words(event.plate)}{aside}" if event.plate else aside


def _signed_in_words(event: Event, area: str) -> str:
    one = event.signed
    if one is None:
        return f"A plate{area} was signed off."
    by = f" by {one.signed_by}" if one.signed_by else ""
    light = f", in {one.light}" if one.light else ""
    return f"Plate {one.trial_id}{area} was signed off{by}{light}."


def _line_in_words(event: Event, area: str) -> str:
    if event.line is None:
        return ""
    head = {DECISION: "Decided", HANDOVER: "To hand over"}.get(event.line.kind, "Noted")
    return f"{head}{area}: {event.line.text}" if event.line.text else f"{head}{area}: a photograph."


def _change_in_words(event: Event, area: str, known: Known) -> str:
    change = event.change
    if change is None:
        return ""
    thing = {
        "commission": "The commission",
        "area": f"The area {known_area(known, event)}",
        "target": f"The target{area}",
        "trial": f"Plate {change.subject}",
    }.get(change.kind, change.kind)
    if change.what == CHANGED:
        return f"{thing} was changed. {_columns(change, known)}".strip()
    if change.what == REORDERED:
        return f"The areas were put in another order: {change.detail}."
    if change.what == ADDED:
        return f"{thing} was added."
    if change.what == CORRECTED:
        return f"{thing}{area} was corrected."
    return f"{thing} was {change.what}{_because(change.detail)}."


def known_area(known: Known, event: Event) -> str:
    return listed([area.name for area in known.commission.every_area if area.id in event.area_ids])


def _columns(change: Change, known: Known) -> str:
    was, now = columns_changed(change)
    names: Mapping[str, str] = {str(target.uid): target.name for target in known.targets.values()}
    fields = tuple(field for field in _FIELDS[change.kind] if field.column in was and field.column in now)
    said = what_changed(fields, was, now, names)
    return f"{'. '.join(said)}." if said else ""


def _because(reason: str | None) -> str:
    """Return a reason as it is put behind what was done, its own full stop left out."""
    return f": {reason.rstrip('.')}" if reason else ""
