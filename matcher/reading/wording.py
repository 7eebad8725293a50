"""What is said of a reading beside its figures: lights and darks, mottle, the profile used, what a photograph more did.

After the reading, for people; every word here is about values that other rooms worked out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from matcher.calibration.illumination import LightField
from matcher.calibration.profile import CameraProfile
from matcher.card.outline import ProposedFinish
from matcher.colour.difference import delta_e_2000
from matcher.colour.verdict import UNSEEN_DELTA_E00, side_of
from matcher.colour.wording import difference_in_words
from matcher.dates import shown
from matcher.reading.advice import reach_of
from matcher.reading.difference_map import DifferenceMap
from matcher.reading.reading import Conditions, Reading
from matcher.reading.texture import Texture
from matcher.words import counted, listed, percent

EVEN = 0.5
"""Spread in CIELAB under which a finish is called even: about half of what the eye sees between patches that touch."""


def profile_in_words(profile: CameraProfile) -> str:
    """Say which profile it is, of what light and day, and how well it reads colours that it was not fitted on."""
    about = light_in_words(profile)
    error = float(profile.leave_one_out.mean())
    return f"{profile.name} ({about}; it reads colours that it was not made from to ΔE00 {error:.1f} on average)"


def light_in_words(profile: CameraProfile) -> str:
    """Return the light and day of a profile: "two cool white tubes, 3 May 2026"."""
    return ", ".join(filter(None, (profile.light, shown(profile.made_at).lstrip("0"))))


def proposals_in_words(proposed: Sequence[ProposedFinish]) -> str:
    """Say how many places are proposed as a finish, and what a person has to do with them."""
    if not proposed:
        return "It can't be told for certain where the finish is in this photograph: mark it yourself."
    cut = sum(item.kind == "cut plate" for item in proposed)
    where = f"{counted(len(proposed), 'plate')} found"
    if cut:
        where += ", cut by the picture's edge" if len(proposed) == 1 else f", {cut} of them cut by the picture's edge"
    outline = "the outline lies" if len(proposed) == 1 else "each outline lies"
    return f"{where}, nothing read yet. Check that {outline} on the finish alone, or mark your own."


def lights_and_darks_in_words(reading: Reading) -> str:
    """Say how the lightest quarter of a finish differs from its darkest; nothing when the reading has neither."""
    if reading.lights is None or reading.darks is None:
        return ""
    interval = reading.quarters_interval
    apart = f"ΔE00 {float(delta_e_2000(reading.darks, reading.lights)):.1f}"
    if interval is None:
        return (
            f"Its lightest quarter was read {apart} from its darkest. How sure that is was not kept then: read the "
            "photograph again."
        )
    low, high = interval
    between = f"{apart} ({low:.1f} to {high:.1f} with 95 %)"
    side = side_of(interval, UNSEEN_DELTA_E00)
    if side == "under":
        return f"Its lights and darks are one colour to the eye: {between}."
    if side == "untold":
        return f"Whether the eye tells its lights from its darks can't be told: {between}."
    words = difference_in_words(reading.darks, reading.lights, "than its darkest", interval)
    return f"Its lightest quarter is {words}: {between}."


def known_by_in_words(reading: Reading) -> str:
    """Say which known plates in its picture a reading was made by, and which a person left out; "" without any."""
    taken = reading.conditions or Conditions()
    used, out = [one.name for one in taken.references], [one.name for one in taken.left_out]
    by = f"Read by {listed(used)} in its picture." if used else ""
    without = f"Left out by hand: {listed(out)}." if out else ""
    return " ".join(filter(None, (by, without)))


def where_they_differ_in_words(found: DifferenceMap) -> str:
    """Say over how much of two finishes the eye can tell them apart, as far as the photograph tells."""
    under, untold, over = found.shares()
    return (
        f"Surely over ΔE00 {UNSEEN_DELTA_E00:g}, the least that the eye sees on textured metal: {percent(over)} of it. "
        f"Surely under: {percent(under)}. Can't be told: {percent(untold)}."
    )


def mottle_in_words(texture: Texture) -> str:
    """Say at which size a finish is mottled most, and how much; that it is even where it hardly is."""
    strongest = texture.mottle.strongest
    if strongest is None or np.hypot(strongest.lightness, strongest.colour) < EVEN:
        return "It is even: there is no mottle to speak of."
    return (
        f"Its mottle is strongest in spots about {strongest.size_px:.0f} pixels wide, 1/{1 / strongest.share:.0f} of "
        f"the mark: L* varies by {strongest.lightness:.1f}, a* and b* by {strongest.colour:.1f} (one standard "
        "deviation)."
    )


def levelled_in_words(field: LightField, before: Reading | None, after: Reading) -> str:
    """Say what the light over a picture was levelled by, how it differed, and what that did to the uncertainty.

    before: the reading without it, None when there was none.
    """
    by = {"flat field": "the sheet of paper", "two cards": "the second card"}.get(field.found_by, field.found_by)
    there = ""
    if after.region is not None:
        there = f" (on the mark it is {_strength(float(field.relative(after.region.mean(axis=0))))} on the card)"
    return f"Uneven light corrected by {by}{there}{_became(before, after)}."


def _strength(relative: float) -> str:
    percent = round(100 * (relative - 1))
    return f"{abs(percent)} % {'stronger' if percent > 0 else 'weaker'} than" if percent else "as strong as"


def glare_in_words(exposures: int, before: Reading | None, after: Reading) -> str:
    """Say what several photographs with the lamp moved did: how much glare they took out, and to the uncertainty.

    exposures: photographs, with the first. before: the reading of the first alone, None when it showed only glare.
    """
    then = "all" if before is None else percent(before.left_out_share)
    now = percent(after.left_out_share)
    many = counted(exposures, "photograph")
    left = f"{then} of the mark was glare in the first, {now} is left out now"
    return f"Read from {many}: {left}{_became(before, after)}."


def _became(before: Reading | None, after: Reading) -> str:
    if before is None:
        return ""
    then, now = (f"±{reach_of(reading):.1f}" for reading in (before, after))
    return f"; the {then} stays" if then == now else f"; {then} became {now}"
