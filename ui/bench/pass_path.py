"""The way of a piece through its passes: its colours beside the target's, and ΔE00 pass by pass with the tolerance."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.words import counted
from ui.escaped import escaped
from ui.show.plots import INK, QUIET, base_figure, rgb
from ui.show.swatches import field, figures

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matcher.bench.path import BenchPath
    from matcher.bench.work import Piece
    from matcher.reading.reading import Reading

BEYOND = 3
MOST_IN_STRIP = 18
DARK = "rgba(0,0,0,0.16)"


def show_path(path: BenchPath, piece: Piece, tolerance: float, target_name: str) -> None:
    """Show the strip of colours and the plot below it."""
    readings = readings_of_last_coat(piece) if path.last_coat else {}
    shown = shown_passes(path)
    st.html(strip(path, shown, target_name))
    if not path.last_coat:
        st.html(
            '<p class="pm-soft">The strip shows this coat alone, as the eye sees it now. The coats to come change it: '
            "the plot is of the finished piece.</p>"
        )
    figure = path_plot(path, readings, shown, tolerance)
    st.plotly_chart(figure, theme=None, config=QUIET, key="bench-plot", alt="ΔE00 to the target by passes done")
    read = " Diamonds are readings." if path.readings_delta_e00 else ""
    st.html(
        f'<p class="pm-soft">{_what_is_drawn(path)}, with the band that holds 95 %. The '
        f"pale floor is the tolerance, ΔE00 {tolerance:g}. The upright line is where the piece is now; the ring is "
        f"where to stop.{read}</p>"
    )


def readings_of_last_coat(piece: Piece) -> dict[int, Reading]:
    """Return the readings of a piece by passes of its last coat, those of coats below left out."""
    here = piece.after.coat
    return {taken.after.passes: taken.reading for taken in piece.readings if taken.after.coat == here}


def _what_is_drawn(path: BenchPath) -> str:
    if path.last_coat:
        return "How far the piece is from the target after each pass"
    return "How far the finished piece is from the target, by the passes of this coat"


def shown_passes(path: BenchPath) -> range:
    """Return the passes to show: from the first to some beyond the last that matters; of many, those around now."""
    end = min(len(path.passes) - 1, max(path.stop_at, path.done) + BEYOND)
    return range(0 if end < 2 * MOST_IN_STRIP else max(0, path.done - BEYOND), end + 1)


def strip(path: BenchPath, shown: range, target_name: str) -> str:
    """Return the target's colour above those after each pass, touching, as HTML."""
    step = -(-len(shown) // MOST_IN_STRIP)
    counts = sorted({*list(shown)[::step], path.done, path.stop_at} & set(shown))
    fields = "".join(field(path.labs[count], f"After {counted(count, 'pass')}, expected") for count in counts)
    labels = "".join(f"<span{_mark(path, count)}><i>{count}</i>{_word(path, count)}</span>" for count in counts)
    return (
        f'<p class="pm-strip-name">{escaped(target_name)}, and the piece after each pass</p>'
        f'<div class="pm-mat tight pm-passes"><div class="pm-goal">{field(path.goal.lab, target_name)}</div>'
        f'<div class="pm-each">{fields}</div></div><div class="pm-counts" aria-hidden="true">{labels}</div>'
    )


def path_plot(path: BenchPath, readings: Mapping[int, Reading], shown: range, tolerance: float) -> Any:
    """Return ΔE00 by passes as a plotly figure."""
    import plotly.graph_objects as go

    counts = list(shown)
    expected = [float(path.expected[count]) for count in counts]
    low, high = ([float(path.interval[count, side]) for count in counts] for side in (0, 1))
    figure = base_figure("passes done" if path.last_coat else "passes of this coat", "ΔE00 to the target", height=330)
    figure.add_hrect(0, tolerance, fillcolor="#ffffff", opacity=0.42, line_width=0, layer="below")
    quiet = {"mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
    figure.add_trace(go.Scatter(x=counts, y=high, **quiet))
    figure.add_trace(go.Scatter(x=counts, y=low, fill="tonexty", fillcolor=DARK, **quiet))
    figure.add_vline(path.done, line={"color": INK, "width": 2, "dash": "dot"})
    figure.add_trace(_expected_dots(go, path, counts, expected))
    figure.add_trace(
        go.Scatter(
            x=[path.stop_at],
            y=[float(path.expected[path.stop_at])],
            mode="markers",
            hoverinfo="skip",
            marker={"size": 30, "symbol": "circle-open", "color": "#ffffff", "line": {"width": 3}},
        )
    )
    if drawn := {count: readings[count] for count in path.readings_delta_e00 if count in readings}:
        figure.add_trace(_readings(go, path, drawn))
    ticks = 1 if len(counts) <= 16 else -(-len(counts) // 12)
    figure.update_xaxes(dtick=ticks, range=[counts[0] - 0.6, counts[-1] + 0.6])
    figure.update_yaxes(range=[0, 1.05 * max(*high, tolerance, *path.readings_delta_e00.values())])
    return figure


def _expected_dots(go: Any, path: BenchPath, counts: list[int], expected: list[float]) -> Any:
    said = [
        f"After {counted(count, 'pass')}: ΔE00 {path.expected[count]:.1f} ({path.interval[count, 0]:.1f} to "
        f"{path.interval[count, 1]:.1f})<br>{figures(path.labs[count])}"
        for count in counts
    ]
    return go.Scatter(
        x=counts,
        y=expected,
        mode="lines+markers",
        hovertext=said,
        hoverinfo="text",
        line={"color": INK, "width": 1.5},
        marker={
            "size": 15,
            "color": [rgb(path.labs[count]) for count in counts],
            "line": {"width": 1, "color": "#3a3a3a"},
        },
    )


def _readings(go: Any, path: BenchPath, readings: Mapping[int, Reading]) -> Any:
    counts = sorted(readings)
    return go.Scatter(
        x=counts,
        y=[path.readings_delta_e00[count] for count in counts],
        mode="markers",
        hovertext=[
            f"Read after {counted(count, 'pass')}: ΔE00 {path.readings_delta_e00[count]:.1f}" for count in counts
        ],
        hoverinfo="text",
        marker={
            "size": 16,
            "symbol": "diamond",
            "color": [rgb(readings[count].lab) for count in counts],
            "line": {"width": 2.5, "color": "#000000"},
        },
    )


def _mark(path: BenchPath, count: int) -> str:
    return ' class="now"' if count == path.done else ""


def _word(path: BenchPath, count: int) -> str:
    if count == path.done:
        return "<i>now</i>"
    return "<i>stop</i>" if count == path.stop_at else ""
