"""What is said of tags, of where they were seen, and of how plates change, in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matcher.colour.wording import difference_in_words
from matcher.dates import ISO, change_began, shown
from matcher.errors import TagError
from matcher.tags.code import typed_tag
from matcher.tags.given import TagChange, TagHistory, TagLookedFor, TagOnPlate
from matcher.words import counted, listed

if TYPE_CHECKING:
    from matcher.tags.ageing.told import Ageing

ALL_ALIKE = (
    "Each plate is read by the others: a whole shelf that drifts alike cannot be noticed so. Read one of them now and "
    "then with a grey card or an instrument."
)
"""What stands wherever it is said that plates have not changed."""
KNOWN_MORE_SURELY = (
    "A board reads as surely as its plates are known. Measure them with an instrument; or photograph each beside a "
    "24-patch chart in daylight and log that reading; or let photographs agree: every one that is kept with several of "
    "them in it is one more measurement of each."
)
"""How the colours of plates that others are read by come to be known more surely."""
ON_A_BOARD = (
    "Fix the plates flat on a stiff, matt, grey or dull board, each with its tag beside its finish, none touching "
    "another; one light over all of it, no shadow and no lamp mirrored in a plate. Lay the board right beside the "
    "finish, in the same plane, the grey card with it (common practice, no source)."
)
"""How plates are fixed on a board."""
MARK_ANEW = (
    "A tag that is put elsewhere on its plate, or printed in another size, needs the finish marked once more: where it "
    "lies is kept by its tag."
)
"""What stands wherever the tags of plates that carry one already are printed or shown."""
TAKEN_FIRST = "Take the tag back and give it again first: older photographs then keep the mark that was theirs."
"""What stands where a finish is marked once more because its tag was put elsewhere."""
TOGETHER = "The logged reading and all sightings together"
"""What stands before a colour that is made of them."""
ASK = "Sealed or cleaned meanwhile? Then log that reading. Misread when it was logged? Then read its photograph again."


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


def no_plate(tag: str, history: TagHistory) -> str:
    """Say that nobody knows whose tag it is, or whose it was."""
    left = _last_on(tag, history)
    if left is None:
        return f"Give {tag} to its plate: nobody has said which plate carried it then."
    return f"Give {tag} to its plate, if it is on one again: it {left}."


def on_no_plate(text: str, signs: str, history: TagHistory) -> str:
    """Say of a tag that was scanned or typed why no plate is found by it. signs: those of the studio's own tags."""
    try:
        code = typed_tag(text)
    except TagError as error:
        return str(error)
    if code.studio != signs:
        return f"Tag {code} is of another studio: no plate in this log carries it."
    left = _last_on(str(code), history)
    if left is None:
        return f"Tag {code} is on no plate yet: open the plate that it is on, and give it the tag there."
    return f"Tag {code} is on no plate by now: it {left}. If it is on one again, open that plate and give it the tag."


def _last_on(tag: str, history: TagHistory) -> str | None:
    """Say which plate a tag left last, and when; None where it never was on one, or is on one still."""
    times = history.of_tag(tag)
    if not times or times[-1].ended is None:
        return None
    return f"left plate {times[-1].trial_id} on {shown(times[-1].ended.at)}"


def found_by_tag(looked: TagLookedFor, signs: str, history: TagHistory) -> str:
    """Say on which plate a tag is that was looked for, or that it is on none."""
    if looked.trial_id is None:
        return on_no_plate(looked.tag, signs, history)
    return f"Tag {looked.tag} is on plate {looked.trial_id}."


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


def ageing_in_words(one: Ageing) -> str:
    """Say whether a plate has changed since it was logged, as far as its sightings tell."""
    if not one.seen:
        return "No photograph has read its colour since it was logged, so nothing can be said of its colour by now."
    low, high = one.interval
    in_all = counted(one.seen, "sighting")
    if one.contradicted:
        in_all += f", {one.contradicted} more left out that those before and after contradict"
    if one.odd_on is not None:
        return (
            f"The photograph of {shown(one.odd_on)} alone, of {in_all}, shows another colour than was logged, by more "
            "than chance: look at it again, and photograph the plate once more before you go by it."
        )
    if not one.changed or one.since is None:
        within = f"by now it lies within ΔE00 {high:.1f} of what was logged (95 %)"
        return f"No change that is more than chance in {in_all}: {within}."
    how = difference_in_words(one.then.lab, one.now.lab, "than it was then", one.interval)
    began = change_began(one.since, one.logged_at)
    figures = f"ΔE00 {one.delta_e00:.1f} (95 %: {low:.1f} to {high:.1f})"
    return f"Its colour has changed {began}: {how}, {figures}, by {in_all}. {ASK}"


def changed_in_short(one: Ageing) -> str:
    """Say in a few words whether a plate has changed."""
    if not one.seen:
        return "not seen since it was logged"
    low, high = one.interval
    if one.odd_on is not None:
        return f"the photograph of {shown(one.odd_on, ISO)} alone shows a change"
    if not one.changed:
        return f"no change told, within ΔE00 {high:.1f}"
    began = change_began(one.since, one.logged_at)
    return f"changed by ΔE00 {one.delta_e00:.1f} ({low:.1f} to {high:.1f}) {began}".rstrip()


def given_in_words(time: TagOnPlate) -> str:
    """Say which plate a tag is on."""
    until = "" if time.ended is None else f" to {shown(time.ended.at)}"
    return f"{time.tag} is on plate {time.trial_id} since {shown(time.since)}{until}."


def mirrored_in_words(names: Sequence[str]) -> str:
    """Say that a picture is mirrored, by the plates or tags that show it, and what to do.

    >>> mirrored_in_words(["plate 88"]).split(". ")[0]
    'This picture is mirrored: plate 88 is the wrong way round in it, and nothing is read by it'
    """
    one = len(names) == 1
    how = (
        "is the wrong way round in it, and nothing is read by it"
        if one
        else ("are the wrong way round in it, and nothing is read by them")
    )
    return (
        f"This picture is mirrored: {listed(names)} {how}. Switch off the front camera's mirroring, or photograph the "
        f"{'plate' if one else 'plates'} and not a mirror."
    )
