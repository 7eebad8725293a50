"""The sign-off on paper: target and approved plate under one white, how near they are, the light, lines to sign on."""

from __future__ import annotations

from reportlab.platypus import Flowable

from matcher.colour.types import Floats
from matcher.commissions.commission import Area, Commission
from matcher.commissions.sign_off import SignOff
from matcher.dates import shown as day_of
from matcher.recipe.recipe import steps_in_words
from matcher.sheets.drawn import Finishes, Shown, SignHere
from matcher.sheets.paper import A4, Paper, gap, said, sheet
from matcher.words import counted, with_sign

STANDS = {
    "within": "The plate matches the target within the tolerance.",
    "likely": "The plate probably matches the target within the tolerance; the readings do not settle it.",
    "untold": "The readings do not settle whether the plate matches the target within the tolerance.",
    "outside": "The plate lies outside the tolerance, and is approved as it is.",
}


def sign_off_sheet(
    commission: Commission,
    area: Area,
    sign_off: SignOff,
    shown: tuple[Shown, Shown],
    with_recipe: bool = False,
    studio: str = "",
    paper: Paper = A4,
) -> bytes:
    """Return the PDF of a sign-off.

    Parameters
    ----------
    commission, area, sign_off
        What was signed, and for what.
    shown : tuple of Shown
        Target and approved plate, as they are to be drawn.
    with_recipe : bool
        Whether the recipe is printed: it is the studio's own, and kept back unless someone chooses otherwise.
    studio : str
        The studio's name, for the head of the page.
    paper : Paper
        A4 or Letter.
    """
    story: list[Flowable] = [
        said(f"{commission.title}: {area.name}", "title"),
        *[said(text, lead=lead) for lead, text in _about(commission, area) if text],
        gap(4),
        Finishes(shown, side_mm=46, mat_mm=7),
        gap(1),
        said(
            "Both under one white. Paper and screens change colours: judge the plate itself, in the light named.",
            "soft",
        ),
        said("What was approved", "heading"),
        said(f"Plate {sign_off.trial_id}" + ("" if sign_off.stage == "finished" else f", {sign_off.stage}"), "large"),
        said(f"{sign_off.difference}.", lead="How the plate differs:"),
        said(STANDS[sign_off.stands]),
        said(_figures(sign_off), "soft"),
        gap(2),
        said(sign_off.light, lead="Judged in:"),
        said(sign_off.signed_by, lead="Approved by:"),
        said(day_of(sign_off.at), lead="Date:"),
    ]
    if sign_off.note:
        story.append(said(sign_off.note, lead="Note:"))
    if sign_off.withdrawn_at is not None:
        reason = f"{day_of(sign_off.withdrawn_at)}: {sign_off.withdrawn_reason}"
        story += [gap(2), said(reason, "large", "Withdrawn")]
    if with_recipe:
        story += [said("Recipe", "heading"), *[said(line) for line in steps_in_words(sign_off.recipe)]]
        story += [
            said(
                f"{bottle.label}: {bottle.chemical}, {bottle.grams_per_litre:g} g/L, lot {bottle.lot or 'not noted'}",
                "soft",
            )
            for bottle in sign_off.bottles
        ]
    story += [
        gap(10),
        SignHere(("signature", "name", "place, date")),
        gap(6),
        SignHere(("for the studio", "name", "date")),
    ]
    return sheet(story, f"Sign-off: {commission.title}, {area.name}", paper, (studio, "Sign-off"), _kept(sign_off))


def _about(commission: Commission, area: Area) -> list[tuple[str, str]]:
    surface = area.area_cm2 or None
    return [
        ("Client:", commission.client),
        ("Alloy:", commission.alloy),
        ("Size:", commission.size),
        ("Edition:", counted(commission.casts, "cast")),
        ("Surface:", "" if surface is None else f"{surface:g} cm²"),
    ]


def _figures(sign_off: SignOff) -> str:
    low, high = sign_off.interval
    return (
        f"ΔE00 {sign_off.delta_e00:.1f} (95 %: {low:.1f} to {high:.1f}) from the target; a match is within "
        f"ΔE00 {sign_off.tolerance:g}. CIELAB, D50, 2 degrees: target {_lab(sign_off.target.lab)}; plate "
        f"{_lab(sign_off.plate.lab)}."
    )


def _lot(lot: str) -> str:
    return f"lot {lot}" if lot else "lot not noted"


def _lab(lab: Floats) -> str:
    lightness, red, yellow = lab.tolist()
    named = zip(("L*", "a*", "b*"), (lightness, red, yellow), strict=True)
    return ", ".join(f"{name}\u00a0{with_sign(value)}" for name, value in named)  # a figure stays with its name


def _kept(sign_off: SignOff) -> str:
    number = "" if sign_off.id is None else f"Sign-off {sign_off.id}. "
    if sign_off.withdrawn_at is not None:
        return f"{number}It was withdrawn, and holds no longer."
    return f"{number}The target is frozen by this sign-off; the next cast is aimed at the approved plate."
