"""Target and plates in the a*b* plane and along L*: each dot has its plate's own colour, on neutral grey."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.colour.cielab import lab_to_srgb8
from matcher.colour.uncertainty import ellipse_95, plus_minus_95
from ui.show.literal import literal_in_plot
from ui.show.swatches import figures

if TYPE_CHECKING:
    from matcher.suggest.suggestion import Suggestion
    from matcher.trials.trial import Target, Trial

GREY, GRID, INK = "#898989", "#9c9c9c", "#1c1c1c"
QUIET = {"displayModeBar": False, "scrollZoom": False, "doubleClick": False, "showAxisDragHandles": False}


def show_plots(
    target: Target, trials: Sequence[Trial], nearest: Sequence[int], predicted: Sequence[Suggestion] = ()
) -> None:
    """Draw both plots side by side, one above the other on a phone.

    nearest: numbers of the plates to set off. predicted: what could be made, as squares.
    """
    squares = " Squares are the predicted recipes of the list." if predicted else ""
    left, right = st.columns([1.7, 1], gap="medium")
    with left:
        st.plotly_chart(plane(target, trials, nearest, predicted), theme=None, config=QUIET, key="plot-plane")
        st.html(
            '<p class="pm-soft">Redder to the right, yellower upwards. '
            "The diamond is the target; its own a*, b* lie in the black-edged ring with 95 %. White-edged dots are the "
            f"nearest plates.{squares}</p>"
        )
    with right:
        st.plotly_chart(strip(target, trials, nearest, predicted), theme=None, config=QUIET, key="plot-strip")
        st.html('<p class="pm-soft">Lighter upwards. The pale band holds the target’s own L* with 95 %.</p>')


def plane(target: Target, trials: Sequence[Trial], nearest: Sequence[int], predicted: Sequence[Suggestion] = ()) -> Any:
    """Return the a*b* plane as a figure."""
    import plotly.graph_objects as go

    figure = base_figure("a*", "b*", height=430)
    figure.add_trace(
        _plates(go, [t.reading.lab[1] for t in trials], [t.reading.lab[2] for t in trials], trials, nearest)
    )
    outline = ellipse_95(target.reading.lab, target.reading.covariance)
    for colour, width in (("#000000", 3.5), ("#ffffff", 1.5)):
        figure.add_trace(
            go.Scatter(
                x=outline[:, 0], y=outline[:, 1], mode="lines", line={"color": colour, "width": width}, hoverinfo="skip"
            )
        )
    figure.add_trace(_predicted(go, [i.lab[1] for i in predicted], [i.lab[2] for i in predicted], predicted))
    figure.add_trace(_target(go, target, [target.reading.lab[1]], [target.reading.lab[2]]))
    figure.update_yaxes(scaleanchor="x", scaleratio=1)
    return figure


def strip(target: Target, trials: Sequence[Trial], nearest: Sequence[int], predicted: Sequence[Suggestion] = ()) -> Any:
    """Return L* of the plates in the order of logging, as a figure."""
    import plotly.graph_objects as go

    figure = base_figure("plates, oldest first", "L*", height=430)
    figure.update_xaxes(showticklabels=False, showgrid=False)
    along = list(range(1, len(trials) + 1))
    figure.add_trace(_plates(go, along, [t.reading.lab[0] for t in trials], trials, nearest))
    lightness = float(target.reading.lab[0])
    reach = float(plus_minus_95(target.reading.covariance)[0])
    figure.add_hrect(
        lightness - reach, lightness + reach, fillcolor="#ffffff", opacity=0.28, line_width=0, layer="below"
    )
    figure.add_hline(lightness, line={"color": "#ffffff", "width": 1.5})
    after = [len(trials) + 6 + len(trials) // 15] * len(predicted)
    figure.add_trace(_predicted(go, after, [i.lab[0] for i in predicted], predicted))
    figure.add_trace(_target(go, target, [len(trials) + 2], [lightness]))
    return figure


def base_figure(across: str, up: str, height: int) -> Any:
    """Return an empty figure on neutral grey, named along its axes."""
    import plotly.graph_objects as go

    font = {"family": "Source Sans, Source Sans Pro, sans-serif", "size": 15, "color": INK}
    figure = go.Figure()
    figure.update_layout(
        height=height,
        margin={"l": 52, "r": 12, "t": 10, "b": 46},
        showlegend=False,
        dragmode=False,
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor=GREY,
        font=font,
        hoverlabel={"font": {"size": 15}, "bgcolor": "#f6f6f6"},
    )
    axis = {"gridcolor": GRID, "zeroline": False, "fixedrange": True, "title": {"standoff": 8}}
    figure.update_xaxes(title_text=across, **axis)
    figure.update_yaxes(title_text=up, **axis)
    return figure


def _plates(go: Any, x: Sequence[float], y: Sequence[float], trials: Sequence[Trial], nearest: Sequence[int]) -> Any:
    named = set(nearest)
    return go.Scatter(
        x=x,
        y=y,
        mode="markers",
        hovertext=[_hover(trial) for trial in trials],
        hoverinfo="text",
        marker={
            "size": [15 if trial.id in named else 10 for trial in trials],
            "color": [rgb(trial.reading.lab) for trial in trials],
            "line": {
                "width": [2 if trial.id in named else 0.6 for trial in trials],
                "color": ["#ffffff" if trial.id in named else "#4a4a4a" for trial in trials],
            },
        },
    )


def _predicted(go: Any, x: Sequence[float], y: Sequence[float], predicted: Sequence[Suggestion]) -> Any:
    return go.Scatter(
        x=x,
        y=y,
        mode="markers",
        hovertext=[f"Predicted<br>{figures(item.lab)}" for item in predicted],
        hoverinfo="text",
        marker={
            "size": 13,
            "symbol": "square",
            "color": [rgb(item.lab) for item in predicted],
            "line": {"width": 2, "color": "#ffffff"},
        },
    )


def _target(go: Any, target: Target, x: Sequence[float], y: Sequence[float]) -> Any:
    return go.Scatter(
        x=x,
        y=y,
        mode="markers",
        hovertext=[f"Target: {literal_in_plot(target.name)}"],
        hoverinfo="text",
        marker={
            "size": 20,
            "symbol": "diamond",
            "color": rgb(target.reading.lab),
            "line": {"color": "#000000", "width": 2.5},
        },
    )


def _hover(trial: Trial) -> str:
    lab = trial.reading.lab
    return f"Plate {trial.id}<br>{figures(lab)}"


def rgb(lab: Any) -> str:
    """Return a CIELAB colour as plotly takes it."""
    red, green, blue = lab_to_srgb8(lab)
    return f"rgb({red},{green},{blue})"
