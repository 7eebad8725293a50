"""What is said of tags, of where they were seen, and of how plates change, in plain sentences."""

from __future__ import annotations

from matcher.dates import shown
from matcher.tags.given import TagChange, TagHistory, TagOnPlate


def on_another_plate(there: TagOnPlate) -> str:
    """Say that a tag is on another plate, and what to do."""
    since = shown(there.since)
    return (
        f"Check the code, or move the tag: {there.tag} is on plate {there.trial_id} since {since}. Nothing was changed."
    )


def reason_needed(change: TagChange, here: TagOnPlate | None, there: TagOnPlate | None) -> str:
    """Ask why something that stands ends."""
    if there is not None:
        return f"Say why {change.tag} goes from plate {there.trial_id} to plate {change.trial_id}."
    tag = "" if here is None else here.tag
    return f"Say why plate {change.trial_id} gets {change.tag}: it carries {tag}, which is taken back by it."


def no_plate(tag: str) -> str:
    """Say that nobody knows whose tag it is."""
    return f"Give {tag} to its plate: nobody has said which plate carried it then."


def ended_in_short(time: TagOnPlate) -> str:
    """Say how a tag left a plate, in a line of history."""
    why = "" if time.ended is None or not time.ended.why else f": {time.ended.why}"
    match time.how_ended:
        case "given to another plate" if time.ended is not None:
            return f"{time.tag}, now on plate {time.ended.trial_id}{why}"
        case "another tag" if time.ended is not None:
            return f"{time.tag}, now {time.ended.tag}{why}"
    return f"{time.tag}{why}"


def ended_in_words(time: TagOnPlate) -> str:
    """Tell a person that a tag no longer is where it was.

    Nothing is said of a plate that carries its tag still.
    """
    match time.how_ended:
        case "given to another plate" if time.ended is not None:
            return f"{time.tag} left plate {time.trial_id}, and is on plate {time.ended.trial_id} now."
        case "another tag" if time.ended is not None:
            return f"{time.tag} was taken back from plate {time.trial_id}, which carries {time.ended.tag} now."
        case "taken off":
            return f"{time.tag} was taken from plate {time.trial_id}."
    return ""


def time_in_words(time: TagOnPlate) -> str:
    """Say when a plate carried a tag and how that ended: "since 3 March 2026", "3 March 2026 to 4 May 2026, …"."""
    by = ", ".join(part for part in (time.given.who, time.given.why) if part)
    given = f" ({by})" if by else ""
    if time.ended is None:
        return f"since {shown(time.since)}{given}"
    until = f"{shown(time.since)} to {shown(time.ended.at)}{given}"
    how = {
        "taken off": "taken off",
        "given to another plate": f"then on plate {time.ended.trial_id}",
        "another tag": f"then {time.ended.tag}",
    }[time.how_ended or "taken off"]
    ended = ", ".join(part for part in (how, time.ended.who, time.ended.why) if part)
    return f"{until}; {ended}"


def two_studios_differ(here: TagOnPlate, there: TagOnPlate, now: TagHistory) -> str:
    """Say that two studios put one tag on two plates, or two tags on one plate, and what stands."""
    if here.tag == there.tag:
        said = f"{here.tag} was on plate {here.trial_id} here and is on plate {there.trial_id} in the file"
        stands = now.plate_of(here.tag)
        kept = "on no plate" if stands is None else f"on plate {stands.trial_id}"
    else:
        said = f"Plate {here.trial_id} carried {here.tag} here and carries {there.tag} in the file"
        found = now.tag_of(here.trial_id)
        kept = "no tag" if found is None else found.tag
    return f"{said}: the newest word stands, {kept}. Look at the plate, and put it right if that is wrong."
