"""The record of an edition: what was signed off, every cast with how near it came, the control charts, what to know."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.platypus import Flowable, KeepTogether

from matcher.commissions.commission import HANDOVER, Area, Commission, JournalLine
from matcher.commissions.control_chart import SOURCE, ControlChart, in_words
from matcher.commissions.sign_off import SignOff
from matcher.commissions.wording import delivery_in_words
from matcher.dates import SHORT
from matcher.dates import shown as day_of
from matcher.recipe.recipe import steps_in_words
from matcher.sheets.drawn import Finishes, Shown
from matcher.sheets.paper import A4, INK, LINE, MM, PLAIN, SOFT, Paper, fitted, gap, said, sheet, table, use_type
from matcher.suggest.wording import NEARNESS
from matcher.trials.trial import Trial
from matcher.words import capital, counted

AXES = ("L*", "a*", "b*")
FOOT = "Local codes, safety data sheets and licensed practice come first."


@dataclass(frozen=True, eq=False)
class AreaRecord:
    """One area of the edition: its sign-off, None while nothing is signed; its casts' chart; the plates by number."""

    area: Area
    sign_off: SignOff | None = None
    chart: ControlChart | None = None
    plates: tuple[tuple[int, Trial], ...] = ()
    shown: tuple[Shown, ...] = ()


def edition_record(
    commission: Commission,
    areas: Sequence[AreaRecord],
    journal: Sequence[JournalLine] = (),
    with_recipe: bool = False,
    studio: str = "",
    paper: Paper = A4,
) -> bytes:
    """Return the PDF of an edition's record.

    with_recipe: whether recipes are printed; they are the studio's own, and kept back unless asked for.
    """
    story: list[Flowable] = [said(f"{commission.title}: record of the edition", "title")]
    about = [("Client:", commission.client), ("Alloy:", commission.alloy), ("Size:", commission.size)]
    story += [said(text, lead=lead) for lead, text in about if text]
    story.append(said(counted(commission.casts, "cast"), lead="Edition:"))
    gone = [delivery_in_words(commission, delivery) for delivery in commission.deliveries]
    story += [said(f"{line}.", lead="Delivered:" if at == 0 else "") for at, line in enumerate(gone)]
    for record in areas:
        story += _area(record, with_recipe, paper)
    notes = [line for line in journal if line.kind == HANDOVER]
    if notes:
        story.append(said("To know when it is handed on", "heading"))
        story += [said(f"{line.text} ({day_of(line.at)}{f', {line.who}' if line.who else ''})") for line in notes]
    return sheet(story, f"Edition: {commission.title}", paper, (studio, "Edition"), FOOT)


def _area(record: AreaRecord, with_recipe: bool, paper: Paper) -> list[Flowable]:
    head = said(capital(record.area.name), "heading")  # as on the page
    if record.sign_off is None:
        return [KeepTogether([head, said("Nothing is signed off yet.")])]
    signed = record.sign_off
    story: list[Flowable] = [
        KeepTogether(
            [
                head,
                *([Finishes(record.shown, side_mm=26, mat_mm=5)] if record.shown else []),
                said(
                    f"Plate {signed.trial_id}, approved by {signed.signed_by} on {day_of(signed.at)} in {signed.light}."
                ),
            ]
        )
    ]
    if with_recipe:
        story += [said(line, "soft") for line in steps_in_words(signed.recipe)]
    if record.chart is None or not record.chart.points:
        return [*story, said("No cast is logged yet.")]
    story += [gap(2), _casts(record, paper), gap(2), said(in_words(record.chart))]
    story += [KeepTogether([gap(2), Charts(record.chart, paper.inner_mm[0]), said(SOURCE, "soft")])]
    return story


def _casts(record: AreaRecord, paper: Paper) -> Flowable:
    by_number = dict(record.plates)
    rows = []
    for point in record.chart.points if record.chart else ():
        trial = by_number.get(point.number)
        low, high = point.interval
        rows.append(
            (
                point.label,
                "" if trial is None else f"plate {trial.id}",
                day_of(point.made_at, SHORT),
                "" if trial is None else trial.made_by,
                f"{point.delta_e00:.1f} ({low:.1f} to {high:.1f})",
                NEARNESS[point.stands] + (", more than chance" if point.beyond else ""),
            )
        )
    heads = ("Cast", "Log", "Made", "By", "ΔE00 from the approved plate, 95 %", "How near")
    return table(heads, rows, (1.1, 1.2, 1.6, 2.2, 2.4, 2.4), paper)


class Charts(Flowable):  # type: ignore[misc]  # reportlab has no types
    """The control chart of L*, a* and b*, one above the other: points in order, the approved plate, the limits."""

    def __init__(self, chart: ControlChart, width_mm: float, each_mm: float = 24.0) -> None:
        super().__init__()
        use_type()
        self.chart, self.width, self.each = chart, width_mm * MM, each_mm * MM
        self.height = 3 * (self.each + 5 * MM)

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        for axis in range(3):
            self.canv.saveState()
            self.canv.translate(0, self.height - (axis + 1) * (self.each + 5 * MM) + 4 * MM)
            self._one(axis)
            self.canv.restoreState()

    def _one(self, axis: int) -> None:
        page, chart = self.canv, self.chart
        approved = float(chart.approved.lab[axis])
        limits = chart.limits(axis)
        least, most = min(low for low, _ in limits), max(high for _, high in limits)
        values = [float(point.reading.lab[axis]) for point in chart.points]
        low, high = min(least, *values) - 0.5, max(most, *values) + 0.5
        left, width = 22 * MM, self.width - 26 * MM

        def up(value: float) -> float:
            return (value - low) / (high - low) * self.each

        page.setFont(PLAIN, 7)
        page.setFillColor(SOFT)
        page.setStrokeColor(LINE)
        page.setLineWidth(0.5)
        page.line(left, up(approved), left + width, up(approved))
        for value in (least, approved, most):
            page.drawRightString(left - 1.5 * MM, up(value) - 2, f"{value:.1f}")
        each = width / len(values)
        page.setDash(2, 2)
        for k, ends in enumerate(limits):
            for value in ends:
                page.line(left + each * k, up(value), left + each * (k + 1), up(value))
        page.setDash()
        page.drawString(0, self.each / 2 - 2, AXES[axis])
        places = [left + width * (k + 0.5) / len(values) for k in range(len(values))]
        page.setStrokeColor(INK)
        for k in range(1, len(values)):
            page.line(places[k - 1], up(values[k - 1]), places[k], up(values[k]))
        every = -(-len(values) // 16)
        for k, (place, value) in enumerate(zip(places, values, strict=True)):
            page.setFillColor(INK)
            page.circle(place, up(value), 1.6, fill=0 if chart.points[k].beyond else 1)
            if chart.points[k].beyond:
                page.circle(place, up(value), 3.2, fill=0)
            if axis == 2 and k % every == 0:
                page.setFillColor(SOFT)
                label = fitted(chart.points[k].label, 6.5, width / len(values) * every)
                page.drawCentredString(place, -3.4 * MM, label)
