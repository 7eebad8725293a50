"""The edition on the page: which plates are casts, how the casts run against what was approved, the record to print."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.commissions.commission import HANDOVER
from matcher.commissions.known import what_is_repaired
from matcher.commissions.wording import repaired_in_words
from ui.escaped import escaped
from ui.recipe.piece import take_to_bench
from ui.recipe.print_card import say_what_prints_not
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.places import COMMISSIONS, LOG
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.commissions.commission import Area
    from matcher.commissions.control_chart import ControlChart
    from matcher.commissions.known import Known
    from matcher.studio import Studio

AXES = ("L*", "a*", "b*")


def next_cast_to_bench(studio: Studio, known: Known, area: Area, number: int | None) -> None:
    """Open the bench with the approved recipe, aimed at the approved plate and no longer at the photograph."""
    signed = known.sign_off_of(area)
    if signed is None:
        return
    name = f"{known.commission.title}, {area.name}" + (f", cast {number}" if number else "")
    take_to_bench(studio, signed.recipe, name, signed.cast_target_id, cast=number)


def show_edition(studio: Studio, known: Known, area: Area) -> None:
    """Show an area's casts: those to be told which they are, the chart, what it says."""
    _which_cast(studio, known, area)
    with st.spinner("Comparing the casts…"):
        chart = studio.edition(area.id or 0)
    if chart is None:
        return
    from matcher.commissions.control_chart import SOURCE, in_words

    st.html(f"<p>{escaped(in_words(chart))}</p>")
    if chart.points:
        st.plotly_chart(_figure(chart), width="stretch", key=f"edition.{area.id}", config={"displayModeBar": False})
        st.html(_rows(known, area, chart))
        st.html(f'<p class="pm-soft">{escaped(SOURCE)}</p>')


def _which_cast(studio: Studio, known: Known, area: Area) -> None:
    """Ask of each plate that was made for the approved plate, and is no cast yet, which cast it is."""
    signed = known.sign_off_of(area)
    if signed is None:
        return
    loose = [
        trial for trial in known.plates_for(area) if trial.target_id == signed.aim_id and trial.id != signed.trial_id
    ]
    done = known.casts_done(area)
    following = next(number for number in range(1, len(done) + 2) if number not in done)
    for trial in loose:
        with st.container(horizontal=True, vertical_alignment="bottom", key=f"loose-{trial.id}"):
            number = st.number_input(
                f"Plate {trial.id} is {literal(area.name)} of cast",
                min_value=1,
                value=following,
                step=1,
                width=220,
                key=f"cast.number.{trial.id}",
            )
            if st.button(literal(f"Yes, plate {trial.id} is that cast"), key=f"cast.yes.{trial.id}"):
                with told():
                    studio.casts.note(trial.id or 0, area.id or 0, int(number), who())
                    st.rerun()
    if loose:
        st.html('<p class="pm-soft">Leave a plate as it is if it was only a sample.</p>')


def _figure(chart: ControlChart) -> Any:
    """Return the chart of L*, a* and b*, one above the other."""
    from plotly.subplots import make_subplots

    labels = [point.label for point in chart.points]
    figure = make_subplots(rows=3, cols=1, shared_xaxes=True, vertical_spacing=0.06)
    for axis, name in enumerate(AXES):
        values = [float(point.reading.lab[axis]) for point in chart.points]
        limits = chart.limits(axis)
        figure.add_scatter(
            x=labels,
            y=values,
            mode="lines+markers",
            line={"color": "#1c1c1c", "width": 1},
            marker={
                "color": "#1c1c1c",
                "size": [13 if point.beyond else 7 for point in chart.points],
                "symbol": ["circle-open-dot" if point.beyond else "circle" for point in chart.points],
            },
            hovertemplate=f"%{{x}}: {name} %{{y:.1f}}<extra></extra>",
            row=axis + 1,
            col=1,
        )
        figure.add_hline(y=float(chart.approved.lab[axis]), line={"color": "#1d4f80", "width": 1}, row=axis + 1, col=1)
        for ends in zip(*limits, strict=True):
            figure.add_scatter(
                x=labels,
                y=ends,
                mode="lines",
                line={"color": "#6b6b6b", "width": 1, "dash": "dash", "shape": "hvh"},
                hoverinfo="skip",
                row=axis + 1,
                col=1,
            )
        all_drawn = [*values, *(end for ends in limits for end in ends)]
        low, high = min(all_drawn), max(all_drawn)
        figure.update_yaxes(title_text=name, range=[low - 0.5, high + 0.5], row=axis + 1, col=1)
    figure.update_layout(
        height=420,
        margin={"l": 8, "r": 8, "t": 8, "b": 8},
        showlegend=False,
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="#f6f6f6",
    )
    return figure


def _rows(known: Known, area: Area, chart: ControlChart) -> str:
    from matcher.suggest.wording import NEARNESS

    plates = {cast.number: cast.trial_id for cast in known.casts if cast.area_id == area.id}
    rows = "".join(
        f"<tr><td>{escaped(point.label)}</td><td>{_link(plates.get(point.number))}</td>"
        f"<td>ΔE00 {point.delta_e00:.1f} <small>({point.interval[0]:.1f} to {point.interval[1]:.1f})</small></td>"
        f"<td>{NEARNESS[point.stands]}{', more than chance' if point.beyond else ''}</td></tr>"
        for point in chart.points
    )
    head = "<tr><th>Cast</th><th>Plate</th><th>From the approved plate, 95 %</th><th>How near</th></tr>"
    return f'<table class="pm-table"><thead>{head}</thead><tbody>{rows}</tbody></table>'


def _link(plate: int | None) -> str:
    return "" if plate is None else f'<a href="/{LOG.address}?plate={plate}" target="_self">plate {plate}</a>'


def print_record(studio: Studio, known: Known) -> None:
    """Offer the record of the whole edition, once something is signed off."""
    if not any(one.withdrawn_at is None for one in known.signed):
        return
    number = known.commission.id or 0
    handed = [line.text for line in studio.commissions.journal(number) if line.kind == HANDOVER]
    makers = [trial.made_by for trial in known.plates]
    from matcher.printed import named_on_sheets

    say_what_prints_not(studio, named_on_sheets(known.commission), known.signed, handed, makers)
    with st.container(horizontal=True, vertical_alignment="center", key="edition-record"):
        with_recipe = st.toggle("With the recipes", key=f"edition.recipe.{number}")
        st.download_button(
            "Print the record of the edition",
            lambda: _record(studio, number, with_recipe),
            f"edition-{number}.pdf",
            "application/pdf",
            key=f"edition.sheet.{number}",
            on_click="ignore",
        )


def _record(studio: Studio, number: int, with_recipe: bool) -> bytes:
    from matcher.printed import edition_sheet

    return edition_sheet(studio, number, with_recipe)


def begin_repair(studio: Studio, known: Known, area: Area) -> None:
    """Ask once what is to be repaired, and then take that on as a commission of its own; nothing is made before."""
    draft = Draft(studio, f"repair of area {area.id}")
    with st.popover("Begin a repair", type="tertiary", key=f"repair.ask.{area.id}"):
        done = known.casts_done(area) or known.commission.deliveries
        st.html(
            "<p>A repair is a commission of its own: plate, recipe and bottles are found again, and the surface is "
            f"read as it is today.{'' if done else ' No cast is noted as done or delivered yet.'}</p>"
        )
        what = st.text_input(
            "What is to be repaired",
            placeholder="a scratch across the beak, 4 cm",
            live=True,
            **draft.field("what", ""),
        )
        if st.button("Take on the repair", key=f"repair.{area.id}"):
            with told():
                repair = studio.commissions.begin_repair(area.id or 0, what or "", who())
                draft.drop()
                st.switch_page(COMMISSIONS.file, query_params={"commission": str(repair.id)})


def show_repaired(studio: Studio, known: Known, area: Area) -> None:
    """Show, of an area that repairs another, what is known of that one: plate, recipe, bottles, and how it has aged."""
    one = what_is_repaired(studio.database, area)
    if one is None:
        return
    said = repaired_in_words(one)
    if one.signed is None or one.commission is None or one.area is None:
        tell(said[0])
        return
    from matcher.recipe.recipe import steps_in_words

    steps = "".join(f"<li>{escaped(line)}</li>" for line in steps_in_words(one.signed.recipe))
    first, find, *bottles = (escaped(line) for line in said)
    st.html(
        f"<p>{first} See {_link(one.signed.trial_id)}.</p><p>{find}</p><ul>{steps}</ul>"
        + "".join(f'<p class="pm-soft">{line}</p>' for line in bottles)
    )
    _aged(known, area, one.signed)
    if st.button("Take the approved recipe to the bench", key=f"repair.bench.{area.id}"):
        name = f"{one.commission.title}, {one.area.name}, as signed off"
        take_to_bench(studio, one.signed.recipe, name, area.target_id)


def _aged(known: Known, area: Area, signed: Any) -> None:
    """Say how the surface as it is today differs from what was approved, once it is read."""
    target = known.target_of(area)
    if target is None:
        st.html(
            "<p>Photograph the surface around the repair as it is today, with a grey card: the repair must match what "
            "time has made of it, and not what was approved.</p>"
        )
        return
    from matcher.colour.wording import difference_in_words
    from matcher.reading.comparison import delta_e_interval

    low, high = delta_e_interval(signed.plate, target.reading, given=True)
    words = difference_in_words(signed.plate.lab, target.reading.lab, "than when it was approved", (low, high))
    st.html(f"<p>Today the surface shows: {escaped(words)} <small>(ΔE00 {low:.1f} to {high:.1f}, 95 %)</small>.</p>")
