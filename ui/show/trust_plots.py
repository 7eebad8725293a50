"""Plots on how far predictions can be trusted: errors of plates left out, kinds, growth, worth. On neutral grey."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from matcher.words import counted, percent
from ui.show.literal import literal_in_plot
from ui.show.plots import INK, base_figure, rgb

if TYPE_CHECKING:
    from matcher.suggest.cross_validation import CrossValidation, Kind

MOST_REGIONS = 10
ROW = 46
FAR_OFF = 2.5
PAPER = "#e9e9e9"


def errors_plot(figures: CrossValidation) -> Any:
    """Return every plate's error when it is left out, the least first; each dot has its plate's colour.

    Plates that are far off all others stand at the upper edge as triangles, so that the others can be told apart.
    """
    import plotly.graph_objects as go

    top = FAR_OFF * figures.left_out.percentile_90
    rows = sorted(zip(figures.left_out.errors.tolist(), figures.trials, strict=True), key=lambda row: row[0])
    figure = base_figure("plates, best predicted first", "error, ΔE00", height=360)
    figure.add_trace(
        go.Scatter(
            x=list(range(1, len(rows) + 1)),
            y=[min(error, top) for error, _ in rows],
            mode="markers",
            hovertext=[f"Plate {trial.id}: off by ΔE00 {error:.1f}" for error, trial in rows],
            hoverinfo="text",
            marker={
                "size": [11 if error <= top else 15 for error, _ in rows],
                "symbol": ["circle" if error <= top else "triangle-up" for error, _ in rows],
                "color": [rgb(trial.reading.lab) for _, trial in rows],
                "line": {"width": 0.8, "color": "#303030"},
            },
        )
    )
    for error, said in ((figures.left_out.median, "half"), (figures.left_out.percentile_90, "nine of ten")):
        figure.add_hline(
            error,
            line={"color": "#ffffff", "width": 1.5},
            annotation={"text": f"{said} within {error:.1f}", "xanchor": "left", "x": 0.01, "font": {"color": INK}},
            annotation_position="top left",
        )
    figure.update_yaxes(range=[0, 1.08 * min(top, rows[-1][0])])
    return figure


def off_the_plot(figures: CrossValidation) -> bool:
    """Tell whether some plate is farther off than the plot of the errors reaches."""
    return bool(figures.left_out.errors.max() > FAR_OFF * figures.left_out.percentile_90)


def coverage_plot(figures: CrossValidation, by_chance: tuple[int, int]) -> Any:
    """Return the share of plates that lay inside their 95 % regions, beside 95 % and what chance makes of it."""
    import plotly.graph_objects as go

    many, held = len(figures.left_out.errors), 100 * figures.left_out.coverage
    least, most = (100 * count / many for count in by_chance)
    figure = base_figure("plates inside, %", "", height=130)
    figure.add_vrect(least, most, fillcolor="#ffffff", opacity=0.42, line_width=0, layer="below")
    figure.add_vline(95, line={"color": "#ffffff", "width": 2.5})
    marker = {"size": 18, "color": PAPER, "line": {"width": 2.5, "color": INK}}
    figure.add_trace(
        go.Scatter(x=[held], y=[0], mode="markers", marker=marker, hovertext=percent(held / 100), hoverinfo="text")
    )
    figure.update_xaxes(range=[min(70.0, held - 5, least - 5), 101])
    figure.update_yaxes(showticklabels=False, showgrid=False)
    figure.update_layout(margin={"l": 12, "b": 46, "t": 6})
    return figure


def groups_plot(figures: CrossValidation) -> Any:
    """Return, by kind of recipe, the error within which half and nine of ten of its plates were predicted."""
    import plotly.graph_objects as go

    rows = sorted(figures.groups, key=lambda row: row[1].median, reverse=True)
    names = [_named(kind, len(group.errors)) for kind, group in rows]
    figure = _by_name("error, ΔE00", len(rows))
    for (_, group), name in zip(rows, names, strict=True):
        figure.add_trace(
            go.Scatter(
                x=[group.median, group.percentile_90],
                y=[name, name],
                mode="lines",
                line={"color": INK, "width": 2},
                hoverinfo="skip",
            )
        )
    held = [f"{percent(group.coverage)} inside their 95 % regions" for _, group in rows]
    for values, fill, said in (
        ([group.median for _, group in rows], PAPER, "half within"),
        ([group.percentile_90 for _, group in rows], INK, "nine of ten within"),
    ):
        figure.add_trace(
            go.Scatter(
                x=values,
                y=names,
                mode="markers",
                hovertext=[
                    f"{name}<br>{said} ΔE00 {value:.1f}<br>{inside}"
                    for name, value, inside in zip(names, values, held, strict=True)
                ],
                hoverinfo="text",
                marker={"size": 12, "color": fill, "line": {"width": 1.5, "color": INK}},
            )
        )
    figure.update_xaxes(rangemode="tozero")
    return figure


def growth_plot(figures: CrossValidation) -> Any:
    """Return the error against how many plates were learned from."""
    import plotly.graph_objects as go

    sizes, errors = zip(*figures.growth, strict=True)
    figure = base_figure("plates learned from", "error, ΔE00", height=300)
    figure.add_trace(
        go.Scatter(
            x=sizes,
            y=errors,
            mode="lines+markers+text",
            text=[f"{error:.1f}" for error in errors],
            textposition="top center",
            line={"color": INK, "width": 2},
            marker={"size": 11, "color": PAPER, "line": {"width": 2, "color": INK}},
            hoverinfo="skip",
            cliponaxis=False,
        )
    )
    figure.update_xaxes(type="log", tickvals=sizes, ticktext=[str(size) for size in sizes])
    figure.update_yaxes(range=[0, 1.2 * max(errors)])
    return figure


def expected_gain_plot(figures: CrossValidation) -> Any:
    """Return what one more plate in each kind of recipe is worth, the greatest on top."""
    import plotly.graph_objects as go

    rows = list(reversed(figures.regions[:MOST_REGIONS]))
    figure = _by_name("ΔE00 taken off", len(rows))
    figure.add_trace(_bars(go, [row.expected_gain for row in rows], [_named(row.kind, row.plates) for row in rows]))
    figure.update_xaxes(rangemode="tozero")
    return figure


def _by_name(across: str, rows: int) -> Any:
    figure = base_figure(across, "", height=80 + ROW * max(2, rows))
    figure.update_layout(margin={"l": 8, "b": 46, "t": 6})
    figure.update_yaxes(showgrid=False, automargin=True, tickfont={"size": 13})
    return figure


def _bars(go: Any, values: list[float], names: list[str]) -> Any:
    return go.Bar(
        x=values,
        y=names,
        orientation="h",
        marker={"color": "#3c3c3c", "line": {"width": 0}},
        width=0.55,
        hovertext=[f"{name} {value:.2g}".strip() for name, value in zip(names, values, strict=True)],
        hoverinfo="text",
    )


def _named(kind: Kind, plates: int) -> str:
    """Return a kind of recipe on two lines, so that its name leaves room for the plot on a phone."""
    made = counted(plates, "plate") if plates else "no plate"
    return f"{literal_in_plot(kind.coats)}<br>over {literal_in_plot(kind.over)}, {made}"
