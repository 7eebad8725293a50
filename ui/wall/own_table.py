"""A studio's own table of plates on the page: its columns are said once, its rows are shown as plates, one tap imports.

Below the log, where files are imported.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import StudioError
from matcher.notebook import OwnTable, plates_of
from matcher.notebook_columns import Meanings, Use, titles, units_of
from matcher.recipe.recipe import describe
from matcher.words import agreeing, counted, listed, plural
from ui.escaped import escaped
from ui.show import look
from ui.show.literal import literal
from ui.show.swatches import field, figures
from ui.state.messages import tell
from ui.state.open_studio import newest
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.trials.archive import Imported
    from matcher.trials.trial import Trial

NOTHING = "passed over"
PLATES_SHOWN, PROBLEMS_SHOWN, ROWS_NAMED = 6, 12, 10
TAKE = "own-table.take"


def map_columns(studio: Studio, table: OwnTable) -> Imported | None:
    """Ask what the columns mean, show the rows as plates, and return what a tap imported, else None."""
    before = studio.notebooks.remembered(table)
    st.subheader("What your columns mean", anchor=False)
    known = "Remembered from the last table with this heading." if before else "Proposed by name and content: check it."
    rows = counted(len(table.rows), "row")
    st.html(f'<p class="pm-soft">{escaped(table.name)}: {rows} under its heading. {known}</p>')
    meanings = _asked(studio, table, before or table.proposed())
    try:
        found = list(plates_of(table, meanings, studio.stocks()))
    except StudioError as error:
        tell(str(error))
        return None
    plates = [(row, plate) for row, plate in found if plate is not None and not isinstance(plate, str)]
    st.subheader("Your rows as plates", anchor=False)
    _show_plates(plates)
    waiting = [row for row, plate in found if plate is None]
    if waiting:
        which = f"{plural('Row', len(waiting))} {listed([str(row) for row in waiting[:ROWS_NAMED]])}"
        which += f" and {len(waiting) - ROWS_NAMED} more" if len(waiting) > ROWS_NAMED else ""
        has, stays = agreeing(len(waiting), "has", "have"), agreeing(len(waiting), "stays", "stay")
        tell(f"{which} {has} no colour and {stays} in your file: import it again once the plate is read.", "warning")
    _show_problems([(row, said) for row, said in found if isinstance(said, str)])
    if not plates:
        return None
    here = studio.notebooks.here_before([plate for _, plate in plates])
    if here == len(plates):
        tell("All of these plates are in the log, and stay there as they are.", "done")
        return None
    if here:
        st.html(f'<p class="pm-soft">{counted(here, "plate")} of them {agreeing(here)} in the log already.</p>')
    if st.button(f"Import {counted(len(plates) - here, 'new plate' if here else 'plate')}", type="primary", key=TAKE):
        return studio.notebooks.take_in(table, meanings, studio.stocks(), skip_bad=True, who=who())
    return None


def _asked(studio: Studio, table: OwnTable, start: Meanings) -> Meanings:
    with look.panel("own-table"):
        uses = tuple(_column(table, at, start.uses[at]) for at in range(len(table.heading)))
        if any(use.cell == "alloy" for use in uses):
            return Meanings(uses)
        last = newest(studio, 1)
        usual = start.alloy or (last[0].recipe.alloy if last else "")
        alloy = st.text_input("Alloy of all these plates", value=usual, key=f"own-table.{table.key[:12]}.alloy")
    return Meanings(uses, alloy or "")


def _column(table: OwnTable, at: int, start: Use) -> Use:
    """Ask what one column means, beside its name and examples, and in which unit it is."""
    words = titles()
    name, key = table.heading[at], f"own-table.{table.key[:12]}.{at}"
    said, means, unit = st.columns([2, 2, 1.4], vertical_alignment="center")
    examples = escaped(" · ".join(table.examples(at)) or "empty")
    said.html(f'<strong>{escaped(name)}</strong><br><span class="pm-soft">{examples}</span>')
    options = ["", *words]
    cell = means.selectbox(
        literal(f"{name} means"),
        options,
        index=options.index(start.cell) if start.cell in options else 0,
        format_func=lambda cell: words.get(cell, NOTHING),
        label_visibility="collapsed",
        key=key,
    )
    units = units_of(cell or "")
    if not units:
        return Use(cell or "")
    in_unit = unit.selectbox(
        literal(f"{name} is in"),
        units,
        index=units.index(start.unit) if start.unit in units else 0,
        label_visibility="collapsed",
        key=f"{key}.{cell}",
    )
    return Use(cell or "", in_unit or units[0])


def _show_plates(plates: list[tuple[int, Trial]]) -> None:
    if not plates:
        tell("No row can be imported as a plate yet.", "warning")
        return
    shown = [_plate(row, plate) for row, plate in plates[:PLATES_SHOWN]]
    more = len(plates) - len(shown)
    rest = f'<p class="pm-soft">And {counted(more, "more plate")}.</p>' if more > 0 else ""
    st.html("".join(shown) + rest)


def _plate(row: int, plate: Any) -> str:
    """Return one row as a plate, as HTML: where it stands in the file, its colour, its recipe and notes."""
    mark = f"Row {row}" + (f", {plate.piece}" if plate.piece else "")
    notes = escaped(" · ".join(plate.notes.splitlines()))
    return (
        f'<div class="pm-row"><div class="pm-thumb">{field(plate.reading.lab, mark)}</div>'
        f"<div><p><strong>{escaped(mark)}</strong></p><p>{escaped(describe(plate.recipe))}</p>"
        f'<p class="pm-soft pm-figures">{figures(plate.reading.lab)}</p><p class="pm-soft">{notes}</p></div></div>'
    )


def _show_problems(problems: list[tuple[int, str]]) -> None:
    if not problems:
        return
    many = len(problems)
    said = f"{counted(many, 'row')} cannot be read and {agreeing(many, 'stays', 'stay')} out: put"
    it = agreeing(many, "it", "them")
    tell(f"{said} {it} right in the file and import it again; nothing comes in twice.", "warning")
    for row, what in problems[:PROBLEMS_SHOWN]:
        tell(f"Row {row}: {what}", "warning")
    if many > PROBLEMS_SHOWN:
        st.html(f'<p class="pm-soft">And {counted(many - PROBLEMS_SHOWN, "more row")}.</p>')
