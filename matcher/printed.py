"""The sheets of a studio: what `sheets` prints, filled from what the studio has logged, read and signed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

from matcher.commissions.sign_off import approved_reading
from matcher.dates import shown as day_of
from matcher.errors import MatcherError, StudioError
from matcher.reading.comparison import delta_e_interval
from matcher.sheets.drawn import Shown
from matcher.sheets.edition_record import AreaRecord, edition_record
from matcher.sheets.paper import A4, Paper
from matcher.sheets.recipe_sheets import OnTheCard, PlannedPlate, recipe_card, session_sheet
from matcher.sheets.sign_off_sheet import sign_off_sheet
from matcher.tags.code import HIGHEST_NUMBER
from matcher.words import capital

if TYPE_CHECKING:
    from matcher.commissions.commission import Commission
    from matcher.commissions.sign_off import SignOff
    from matcher.reading.reading import Reading
    from matcher.recipe.recipe import Recipe
    from matcher.sheets.tag_sheet import PrintedTag
    from matcher.studio import Studio
    from matcher.suggest.suggestion import Suggestion
    from matcher.trials.trial import Target

PATCH_SIDE = 480


def shown_of(studio: Studio, name: str, reading: Reading) -> Shown:
    """Return a finish as a sheet draws it: its patch, else its plain colour, which its name then says."""
    from matcher.photo.small import patch_key

    if reading.photo is not None and reading.region is not None:
        with suppress(MatcherError):  # its photograph is not to be had any more: its colour is
            return Shown(name, reading.lab, studio.patch(patch_key(reading), PATCH_SIDE, lambda: reading))
    return Shown(f"{name} (plain colour)", reading.lab)


def plate_card(studio: Studio, trial_id: int, paper: Paper = A4) -> bytes:
    """Return the recipe card of a logged plate, as PDF. Raises StudioError when there is none of that number."""
    from matcher.colour.difference import delta_e_2000

    trial = studio.trial(trial_id)
    stage, reading = approved_reading(trial)
    name = f"Plate {trial_id}" + ("" if stage == "finished" else f", {stage}")
    made = f"Made {day_of(trial.made_at)}" + (f" by {trial.made_by}" if trial.made_by else "")
    lines, shown = [made], [shown_of(studio, name, reading)]
    if trial.target_id is not None:
        target = studio.target(trial.target_id)
        low, high = delta_e_interval(target.reading, reading)
        apart = float(delta_e_2000(target.reading.lab, reading.lab))
        lines.append(f"ΔE00 {apart:.1f} (95 %: {low:.1f} to {high:.1f}) from {target.name}")
        shown.insert(0, shown_of(studio, "Target", target.reading))
    title = f"Plate {trial_id}"
    if trial.piece.casefold() not in ("", title.casefold()):
        title += f": {trial.piece}"
    bottles = tuple(studio.stocks())
    card = OnTheCard(title, trial.recipe, tuple(shown), tuple(lines), trial.notes, bottles)
    return recipe_card(card, studio.title, paper)


def recipe_for_the_wall(
    studio: Studio, title: str, recipe: Recipe, target: Target | None = None, paper: Paper = A4
) -> bytes:
    """Return the recipe card of a recipe that may not have been made yet, as PDF."""
    shown = () if target is None else (shown_of(studio, "Target", target.reading),)
    card = OnTheCard(title, recipe, shown, bottles=tuple(studio.stocks()), meant=studio.last_mixed_from())
    return recipe_card(card, studio.title, paper)


def planned(suggestion: Suggestion) -> PlannedPlate:
    """Return a suggestion as a plate of a session."""
    words = capital(suggestion.difference)
    return PlannedPlate(suggestion.recipe, Shown("", suggestion.lab), words)


def planned_session(
    studio: Studio, plates: Sequence[PlannedPlate], title: str, target: Target | None = None, paper: Paper = A4
) -> bytes:
    """Return the sheet of a planned session, as PDF. Raises StudioError for none, or too many."""
    wanted = None if target is None else shown_of(studio, target.name, target.reading)
    return session_sheet(plates, title, studio.title, wanted, paper)


def first_plates_sheet(recipes: Sequence[Recipe], studio: str = "", paper: Paper = A4) -> bytes:
    """Return the sheet of a studio's first plates, as PDF. Raises StudioError for none, or too many."""
    return session_sheet([PlannedPlate(recipe) for recipe in recipes], "First plates", studio, None, paper)


def signed_sheet(studio: Studio, area_id: int, with_recipe: bool = False, paper: Paper = A4) -> bytes:
    """Return the sign-off of an area, as PDF: the one that stands, else the last. Raises StudioError for none."""
    commission, area = studio.commissions.area(area_id)
    every = studio.sign_offs.of_area(area_id)
    if not every:
        raise StudioError(f"Nothing is signed off for {area.name} yet: sign it off first.")
    sign_off = studio.sign_offs.standing(area_id) or every[-1]
    return sign_off_sheet(commission, area, sign_off, _both(studio, sign_off), with_recipe, studio.title, paper)


def edition_sheet(studio: Studio, commission_id: int, with_recipe: bool = False, paper: Paper = A4) -> bytes:
    """Return the record of a commission's edition, as PDF. Raises StudioError when there is no such commission."""
    commission = studio.commissions.commission(commission_id)
    records = []
    for area in commission.areas:
        sign_off = studio.sign_offs.standing(area.id)
        plates = tuple((cast.number, studio.trial(cast.trial_id)) for cast in studio.casts.of_area(area.id))
        shown = () if sign_off is None else _both(studio, sign_off)
        chart = None if sign_off is None else studio.edition(area.id or 0)
        records.append(AreaRecord(area, sign_off, chart, plates, shown))
    journal = studio.commissions.journal(commission_id)
    return edition_record(commission, records, journal, with_recipe, studio.title, paper)


def named_on_sheets(commission: Commission) -> tuple[object, ...]:
    """Return what the sheets print of what was typed of a commission."""
    areas = [area.name for area in commission.areas]
    return commission.title, commission.client, commission.alloy, commission.size, areas, commission.deliveries


def next_tag_number(studio: Studio) -> int:
    """Return the first number beyond all that a plate of the studio ever carried on a tag of its own, and beyond those
    that were printed for plates to come and lie ready."""
    highest, signs = studio.tags_printed_to(), studio.tag_signs
    for tag in {one.tag for one in studio.tags().times}:
        own, _, number = tag.partition("-")
        if own == signs and number.isdecimal():
            highest = max(highest, int(number))
    return min(highest + 1, HIGHEST_NUMBER)


def next_tag_to_come(studio: Studio) -> int:
    """Return the first number for tags of plates to come: also beyond all plates' numbers, for it stands large on the
    tag and would be taken for that of a plate."""
    last = studio.log.newest(1)
    return min(max([next_tag_number(studio), *((trial.id or 0) + 1 for trial in last)]), HIGHEST_NUMBER)


def tags_for_plates(studio: Studio, plates: Sequence[int], first: int) -> dict[int, PrintedTag]:
    """Return the tags to print for logged plates, by plate: the one that it carries, else a new one.

    first: the number of the first new one; those that a plate carries are passed over. Raises StudioError for a plate
    that is not logged, TagError for a tag that can't be printed.
    """
    from matcher.sheets.tag_sheet import PrintedTag
    from matcher.tags.code import TagCode, typed_tag

    carried = {one.trial_id: one.tag for one in studio.tags().in_force()}
    made, number, signs = {}, first, studio.tag_signs
    for plate in dict.fromkeys(plates):
        studio.trial(plate)
        if plate in carried:
            code = typed_tag(carried[plate])
        else:
            while f"{signs}-{number}" in carried.values():
                number += 1
            code, number = TagCode(signs, number), number + 1
        made[plate] = PrintedTag(code, f"Plate {plate}")
    return made


def printed_board(
    studio: Studio,
    tags: Mapping[int, PrintedTag],
    worth: str = "",
    size_mm: float = 20,
    address: str = "",
    paper: Paper = A4,
) -> bytes:
    """Return the page of the studio's own chart, as PDF: its plates by number with their tags, as ``tags_for_plates``
    gives them. Raises StudioError, TagError."""
    from matcher.sheets.board_sheet import OnTheBoard, board_sheet

    plates = [OnTheBoard(number, studio.colour_by_now(number).lab, tag) for number, tag in tags.items()]
    return board_sheet(plates, worth, size_mm, address, studio.title, paper)


def _both(studio: Studio, sign_off: SignOff) -> tuple[Shown, Shown]:
    name = f"Plate {sign_off.trial_id}" + ("" if sign_off.stage == "finished" else f", {sign_off.stage}")
    return shown_of(studio, "Target", sign_off.target), shown_of(studio, name, sign_off.plate)
