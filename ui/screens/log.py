"""The log: every plate on a wall or in a list; one in full, corrected, set aside; carried elsewhere, backed up."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.colour.words_for_colours import colour_in_words
from matcher.commissions.read_again import Owner
from matcher.dates import shown
from matcher.errors import StudioError
from matcher.storage.damaged import in_words
from matcher.typed import whole_number
from matcher.words import capital, counted
from ui.escaped import escaped
from ui.photograph.lay_beside import TO_TAG, offer_to_lay
from ui.photograph.photographs import figure
from ui.recipe.correct_plate import begin_button, correction_form, is_begun, show_corrections
from ui.recipe.later_reading import add_later, show_stages
from ui.recipe.mix_link import mix_button, predict_button
from ui.recipe.piece import OF_THE_FIRST, take_to_bench
from ui.recipe.plate_row import plate_row
from ui.recipe.plate_tag import show_changed, show_sightings, show_tag
from ui.recipe.print_card import print_plate
from ui.recipe.read_again import offer_to_read_again, reading_again
from ui.show import look
from ui.show.patches import SMALL, plate_patch
from ui.show.steps import recipe_steps
from ui.show.swatches import show_reading
from ui.state.cache_keys import log_key
from ui.state.messages import tell, told
from ui.state.open_studio import the_studio
from ui.state.places import FIRST_PLATES
from ui.state.remembered import as_seen
from ui.state.who import who
from ui.wall.beside import picked_strip, show_beside
from ui.wall.board import show_board
from ui.wall.bricks import AT_ONCE, show_wall
from ui.wall.filters import ask
from ui.wall.hand import on_the_wall
from ui.wall.kept import may_run, show_kept
from ui.wall.own_table import map_columns
from ui.wall.print_tags import print_tags
from ui.wall.search import Search, by_tag, found_by, in_address, to_address
from ui.wall.share_plates import show_sharing
from ui.wall.tag_route import ON_NO_PLATE

if TYPE_CHECKING:
    from matcher.notebook import OwnTable
    from matcher.ranking.finding import Finds, Found
    from matcher.studio import Studio
    from matcher.tags.given import TagLookedFor
    from matcher.trials.archive import Imported
    from matcher.trials.trial import Trial

A_PAGE = 15
COMPARE = "Compare them"
TAKEN_IN = (".zip", ".csv")


def show() -> None:
    studio = the_studio()
    with st.spinner("Reading the log…"):
        finder = studio.finder()
    opened = _opened(finder)
    if opened is None:
        look.title("The log")
    if damage := in_words(studio.damaged()):
        tell(damage, "warning")
    if opened is not None:
        _one(studio, opened)
        return
    if named := st.query_params.get("plate"):
        tell(f"There is no plate {named} in this log: find it below by its mark, its chemicals or who made it.")
    if tag := st.query_params.get(ON_NO_PLATE):
        from matcher.tags.wording import on_no_plate

        tell(on_no_plate(tag, studio.tag_signs, studio.tags()), "warning")
    to_tag = TO_TAG in st.query_params
    if to_tag:
        print_tags(studio)  # what the person came for
    _find(studio, finder)
    show_changed(studio)
    st.header("Besides the plates", anchor=False)
    if not to_tag:
        print_tags(studio)
    show_board(studio)
    show_sharing(studio)
    _carry(studio, not finder.count)
    show_kept(studio)


def _opened(finder: Finds) -> Trial | None:
    wanted = st.query_params.get("plate")
    number = None if wanted is None else whole_number(wanted)
    return None if number is None else next(iter(finder.plates([number])), None)


def _find(studio: Studio, finder: Finds) -> None:
    """Ask what is looked for and show it, as a wall or as a list."""
    search = ask(finder)
    slot = _shown(search)
    looked = studio.tag_looked_for(search.words) if search.words else None
    if looked is not None and looked.sure:
        found, fault = by_tag(finder, looked), ""
    else:
        found, fault = found_by(finder, search, **st.session_state[slot])
    if looked is not None:
        _tagged(studio, looked)
    if fault:
        tell(fault, "warning")
    picking = _picked(finder, search, _tally(finder, found))
    if not finder.count:
        tell("Nothing is logged yet: record a plate, or import a studio's export below.", "warning")
    elif not found.trials and not found.left and (looked is None or not looked.sure):
        tell(
            "No plate is all of this. Try fewer words, or part of one, or choose less; “Set aside” shows plates that "
            "no longer count.",
            "warning",
        )
    if search.view == "list":
        _list(found, slot)
    else:
        _wall(finder, search, found, slot, picking)


def _tagged(studio: Studio, looked: TagLookedFor) -> None:
    """Say which plate carries the tag that was looked for, with the way to its page."""
    from matcher.tags.wording import found_by_tag

    said = found_by_tag(looked, studio.tag_signs, studio.tags())
    if looked.trial_id is None:
        tell(said, "warning")
        return
    with st.container(horizontal=True, vertical_alignment="center", key="by-tag"):
        st.html(f'<p class="pm-tally">{escaped(said)}</p>', width="content")
        if st.button(f"Open plate {looked.trial_id:d}", type="tertiary", key="log.by-tag"):
            st.query_params["plate"] = str(looked.trial_id)
            st.rerun()


def _shown(search: Search) -> str:
    """Return where the session keeps how far a search is shown: from the start again when another is looked for."""
    key = (*log_key(the_studio()), repr(replace(search, picked=())))
    slot = f"log.shown.{search.view}"
    if st.session_state.get(f"{slot}.of") != key:
        at_first = A_PAGE if search.view == "list" else AT_ONCE
        st.session_state.update({f"{slot}.of": key, slot: {"most": at_first, "looks": 1}})
    return slot


def _tally(finder: Finds, found: Found) -> str:
    of = counted(finder.count, "plate")
    if found.total is not None:
        return f"{found.total:,} of {of}"
    if found.looked_through is not None:
        return f"{len(found.trials):,} found in {found.looked_through:,} looked through, of {of}"
    return f"The first {len(found.trials):,} found, of {of}"


def _more(found: Found, slot: str, step: int, reached: bool = False) -> None:
    """Offer more plates than are shown, where there are or may be more; reached: one has scrolled to their end."""
    so_far = st.session_state[slot]
    if found.looked_through is not None:
        if st.button("Look further", key="log.more"):
            st.session_state[slot] = {**so_far, "looks": so_far["looks"] + 1}
            st.rerun()
        return
    left = step if found.total is None else min(step, found.total - len(found.trials))
    if left > 0 and (st.button(f"Show {left:d} more", key="log.more") or reached):
        st.session_state[slot] = {**so_far, "most": so_far["most"] + step}
        st.rerun()


def _picked(finder: Finds, search: Search, tally: str) -> bool:
    """Show the plates that were picked beside each other; return whether a tap picks instead of opening.

    While plates are being picked only their pictures stand there, in a place of their own, so that the wall does not
    move from under a finger.
    """
    with st.container(horizontal=True, vertical_alignment="center", horizontal_alignment="distribute", key="tally"):
        st.html(f'<p class="pm-soft pm-tally">{tally}</p>', width="content")
        picking = search.view == "wall" and st.toggle(
            "Pick plates to compare", key="log.picking", disabled=not finder.count
        )
    chosen = finder.plates(search.picked)
    if picking:
        with look.panel("picking"), st.container(horizontal=True, vertical_alignment="center"):
            st.html(picked_strip(chosen), width="stretch")
            if len(chosen) > 1:
                st.button(COMPARE, type="primary", key="log.compare", on_click=_stop_picking)
    elif chosen:
        with look.panel("beside"):
            show_beside(chosen)
            if st.button("Put them back", type="tertiary", key="log.unpick"):
                to_address(replace(search, picked=()))
                st.rerun()
    return picking


def _stop_picking() -> None:
    st.session_state["log.picking"] = False


def _wall(finder: Finds, search: Search, found: Found, slot: str, picking: bool) -> None:
    def opened(plate: int) -> None:
        st.query_params["plate"] = str(plate)

    def picked(plate: int) -> None:
        to_address(in_address(finder).with_pick(plate))

    key = (*log_key(the_studio()), repr(replace(search, view="wall", picked=())))
    count = len(found.trials)
    show_wall(found, key, count, search.picked, picking)
    scrolls = found.left and found.looked_through is None  # a search that halted is gone on with by hand
    reached = on_the_wall(count, AT_ONCE if scrolls else 0, opened, picked)
    _more(found, slot, AT_ONCE, reached)


def _list(found: Found, slot: str) -> None:
    with look.panel("rows"):
        for trial in found.trials:
            row, action = st.columns([5, 1], vertical_alignment="center")
            with row:
                st.html(plate_row(trial, _patch(trial)))
            with action:
                if st.button("Open", key=f"log.open.{trial.id}", width="stretch"):
                    st.query_params["plate"] = str(trial.id)
                    st.rerun()
    _more(found, slot, A_PAGE)


def _patch(trial: Trial) -> str:
    return plate_patch(trial, SMALL) if trial.photos else ""


def _one(studio: Studio, trial: Trial) -> None:
    if st.button("Back to all plates", type="tertiary", icon=":material/arrow_back:"):
        st.query_params.pop("plate")
        st.query_params.pop("logged", None)
        st.rerun()
    look.title(f"Plate {trial.id}", capital(colour_in_words(trial.reading.lab)))
    _just_logged(trial)
    photograph = figure(
        studio, trial.photos[0] if trial.photos else None, f"Photograph of plate {trial.id}", large=True
    )
    if is_begun(studio, trial):
        correction_form(studio, trial, photograph)
        return
    owner = Owner("plate", trial.id or 0)
    if reading_again(studio, owner, f"Plate {trial.id}", trial.reading):
        return
    picture, words = st.columns([1.2, 1], gap="medium")
    with picture:
        st.html(photograph)
        st.html(recipe_steps(trial.recipe))
        st.html(_notes(trial))
        if trial.recipe.coats and st.button("Take this recipe to the bench", key=f"log.bench.{trial.id}"):
            take_to_bench(studio, trial.recipe, f"Plate {trial.id}", trial.target_id)
        mix_button(studio, trial.recipe, f"log.mix.{trial.id}", f"Plate {trial.id}", trial.target_id)
        predict_button(studio, trial.recipe, f"log.predict.{trial.id}", f"Plate {trial.id}", trial.target_id)
        print_plate(studio, trial)
        begin_button(studio, trial)
    with words:
        if st.button("Plates like this one", key=f"log.like.{trial.id}"):
            st.query_params.from_dict({"order": "likeness", "like": str(trial.id)})
            st.rerun()
        show_reading(trial.reading, f"Plate {trial.id}", "", partial(offer_to_lay, studio, trial.reading, trial.id))
        offer_to_read_again(studio, owner, trial.reading)
        if trial.stages:
            st.html("<strong>Readings during and after</strong>")
            show_stages(trial.stages)
        show_tag(studio, trial)
        show_sightings(studio, trial)
        show_corrections(studio, trial)
        _aside(studio, trial)
    if trial.set_aside is None:
        add_later(studio, trial)


def _just_logged(trial: Trial) -> None:
    """Say that a plate without a target is logged, and lead on to the next of the first plates when it was one."""
    came = st.query_params.get("logged")
    if came is None:
        return
    tell(f"Plate {trial.id} is logged.", "done")
    if came == OF_THE_FIRST:
        with st.container(key="onward-first"):
            st.page_link(FIRST_PLATES.file, label="Go on to the next first plate")


def _notes(trial: Trial) -> str:
    said = [shown(trial.made_at), trial.made_by, trial.piece, trial.notes]
    if trial.ambient_temp_c is not None:
        said.append(f"air {trial.ambient_temp_c:g} °C")
    if trial.ambient_humidity_percent is not None:
        said.append(f"humidity {trial.ambient_humidity_percent:g} %")
    return f'<p class="pm-soft">{escaped(" · ".join(part for part in said if part))}</p>'


def _aside(studio: Studio, trial: Trial) -> None:
    """Set a plate aside with a reason, or take it back."""
    plate = trial.id or 0
    seen = as_seen(f"set aside.{plate}", trial.set_aside)
    if trial.set_aside is not None:
        tell(f"Set aside: {trial.set_aside}", "warning")
        if st.button("Restore this plate"):
            with told():
                studio.take_back(plate, who(), seen)
                st.rerun()
        return
    with st.expander("Set this plate aside"):
        st.html("<p>It stays in the log, but no suggestion is made from it.</p>")
        reason = st.text_input("Reason", placeholder="overheated at one edge", live=True, key=f"log.reason.{plate}")
        if st.button("Set aside", key=f"log.aside.{plate}"):
            with told():
                studio.set_aside(plate, reason or "", who())
                st.rerun()


def _carry(studio: Studio, empty: bool) -> None:
    """Export, import and back up, folded unless nothing is logged yet: an import is one way to begin."""
    with st.expander("Export, import and backup", expanded=empty, key="log.carry"):
        _carry_here(studio)


def _carry_here(studio: Studio) -> None:
    out, back = st.columns(2, gap="medium")
    with out, look.panel("out"):
        st.html("<p>A backup holds everything, photographs too. The table opens in a spreadsheet.</p>")
        with st.container(horizontal=True):
            if may_run():  # who signs in by what is in it too
                st.download_button(
                    "Back up everything",
                    lambda: _written(studio, "studio-backup.zip"),
                    "studio-backup.zip",
                    on_click="ignore",
                )
            st.download_button(
                "Export the studio",
                lambda: _written(studio, "studio-export.zip"),
                "studio-export.zip",
                on_click="ignore",
            )
            st.download_button(
                "Table of plates", lambda: _written(studio, "plates.csv"), "plates.csv", on_click="ignore"
            )
    with back, look.panel("back"):
        table = _take_in(studio)
    if table is not None:
        with told():
            brought = map_columns(studio, table)
            if brought is not None:
                _say_what_came(brought)


def _written(studio: Studio, name: str) -> bytes:
    with TemporaryDirectory() as folder:
        path = Path(folder) / name
        studio.backup(path) if name == "studio-backup.zip" else studio.export(path)
        return path.read_bytes()


def _take_in(studio: Studio) -> OwnTable | None:
    """Import a file; return a table whose columns are the studio's own, for a person to say what they mean."""
    file = st.file_uploader("Import an export, a backup or a table of plates", key="log.import")
    skip = st.toggle("Skip bad rows in a table", key="log.skip")
    if file is None:
        return None
    if Path(file.name).suffix.lower() not in TAKEN_IN:
        tell(f"{file.name} is not an export, a backup (.zip) or a table of plates (.csv): choose another file.")
        return None
    with TemporaryDirectory() as folder:
        path = Path(folder) / Path(file.name).name
        path.write_bytes(file.getvalue())
        table = _own_table(path)
        if table is None and st.button("Import", key="log.take"):
            with told(), st.spinner("Importing…"):
                _say_what_came(studio.import_file(path, skip_bad=skip))
    return table


def _own_table(path: Path) -> OwnTable | None:
    """Return a table with columns of the studio's own, None for any other file, also one that is no table."""
    from matcher.notebook import read_own_table
    from matcher.trials.spreadsheet import is_own_table

    if path.suffix.lower() != ".csv":
        return None
    try:
        if is_own_table(path):
            return None
    except StudioError:
        pass  # such as one in another encoding: as a table of the studio's own it may still be read
    try:
        return read_own_table(path)
    except StudioError:
        return None


def _say_what_came(brought: Imported) -> None:
    from matcher.trials.archive import besides_in_words
    from matcher.trials.spreadsheet import waiting_in_words

    tell(_brought(brought), "done")
    if brought.unfilled:
        tell(waiting_in_words(brought.unfilled), "warning")
    for number in brought.differing:
        differs = f"Plate {number} differs from the file's copy and stays as it is here"
        tell(f"{differs}: correct it if the file is right.", "warning")
    for one in brought.besides:
        for line in besides_in_words(one):
            tell(line, "warning" if one.differing else "done")
    for problem in brought.problems:
        tell(problem, "warning")


def _brought(brought: Any) -> str:
    counts = ((brought.trials, "new plate"), (brought.targets, "target"), (brought.photos, "photograph"))
    told_new = ", ".join(counted(count, noun) for count, noun in counts)
    said = f"Imported: {told_new}."
    before = brought.trials_here_before
    if before:
        were, stay, are = ("was", "stays", "it is") if before == 1 else ("were", "stay", "they are")
        said += f" {counted(before, 'plate')} {were} here before and {stay} as {are}."
    return said


show()
