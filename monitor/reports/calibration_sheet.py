"""The calibration sheet: one page with the residuals, the budget and the verdict."""

from __future__ import annotations

import io
import os
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from monitor.errors import MonitorError
from monitor.newtons.calibrating.limits import allowed_error_N
from monitor.newtons.calibrating.outcome import Outcome
from monitor.newtons.calibrating.part_figures import PartFigures
from monitor.newtons.gravity import effect_of
from monitor.reports import notebook as nb
from monitor.reports.plot import notebook_settings
from monitor.uncertainty import with_u

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_in, HEIGHT_in = 8.27, 11.69
LEFT_in, RIGHT_in, TOP_in, BOTTOM_in, LINE_in = 0.9, 0.7, 0.75, 0.5, 0.175
PART_in = 1.6
"""What a part takes besides its plot and its rows."""

VERDICTS = {"pass": "within", "fail": "BEYOND", "unsure": "cannot tell"}


class SheetNotWritten(MonitorError):
    """The calibration sheet's file cannot be written."""

    code = "sheet-not-written"


def write_sheet(path: str | os.PathLike[str], outcome: Outcome) -> None:
    """Write the sheet as PDF; an existing file is overwritten.

    Raises
    ------
    SheetNotWritten
    """
    pdf = sheet_pdf(outcome)
    try:
        Path(path).write_bytes(pdf)
    except OSError as error:
        raise SheetNotWritten(
            what=f"The sheet {path} cannot be written: {error.strerror or error}.",
            means="The calibration itself is not affected.",
            do="Give a path in an existing folder that you may write to.",
        ) from error


def sheet_pdf(outcome: Outcome) -> bytes:
    """Return the sheet as PDF, the same bytes for the same outcome."""
    out = io.BytesIO()
    with notebook_settings():
        figure = sheet_figure(outcome)
        title = f"Calibration of {outcome.rig.name}"
        figure.savefig(out, format="pdf", metadata={"CreationDate": None, "Creator": None, "Title": title})
    return out.getvalue()


class _Sheet:
    """Writes from the top of the page downward, in inches."""

    def __init__(self, figure: Figure) -> None:
        self.figure, self.y_in = figure, TOP_in

    def line(self, text: str, size: float = nb.TEXT_pt, colour: str = nb.INK, x_in: float = LEFT_in) -> None:
        self.figure.text(x_in / WIDTH_in, 1 - self.y_in / HEIGHT_in, text, size=size, color=colour, va="baseline")
        self.y_in += LINE_in

    def row(self, cells: list[str], at_in: list[float], size: float = nb.SMALL_pt, colour: str = nb.INK) -> None:
        for text, x_in in zip(cells, at_in, strict=True):
            place = ((LEFT_in + x_in) / WIDTH_in, 1 - self.y_in / HEIGHT_in)
            self.figure.text(*place, text, size=size, color=colour, va="baseline")
        self.y_in += LINE_in * 0.95

    def axes(self, height_in: float) -> Axes:
        bottom = 1 - (self.y_in + height_in) / HEIGHT_in
        width = (WIDTH_in - LEFT_in - RIGHT_in) / WIDTH_in
        axes = self.figure.add_axes((LEFT_in / WIDTH_in, bottom, width, height_in / HEIGHT_in))
        self.y_in += height_in
        return axes


def sheet_figure(outcome: Outcome) -> Figure:
    """Draw the sheet, within the notebook's settings."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_in, HEIGHT_in))
    sheet, plan = _Sheet(figure), outcome.plan
    sheet.line(f"Calibration of {outcome.rig.name}", nb.TITLE_pt)
    sheet.y_in += 0.05
    invented = "  ·  INVENTED RIG, a practice" if outcome.rig.invented else ""
    warm = "" if plan.temperature_degC is None else f"  ·  {plan.temperature_degC:g} °C"
    sheet.line(f"{outcome.at}{warm}{invented}", nb.TEXT_pt, nb.QUIET)
    sheet.line(
        f"gravity {plan.gravity_m_s2:.4f} m/s² ({plan.gravity_from}), {effect_of(plan.gravity_m_s2):+.3%} against "
        "standard gravity; corrected for the air's buoyancy",
        nb.SMALL_pt,
        nb.QUIET,
    )
    masses = ",  ".join(f"{m.name}: {with_u(m.kg, m.u_kg, 'kg')}" for m in plan.masses.values())
    for piece in textwrap.wrap(f"masses  {masses}", 125)[:3]:
        sheet.line(piece, nb.SMALL_pt, nb.QUIET)
    notes = textwrap.wrap("Noted: " + "; ".join(outcome.flags) + ".", 125) if outcome.flags else []
    rows = sum(len(f.budgets) + len(f.checks) for f in outcome.parts)
    taken_in = sheet.y_in + LINE_in * (rows + len(notes) + 2) + PART_in * len(outcome.parts) + BOTTOM_in
    plot_in = min(3.2, max(0.9, (HEIGHT_in - taken_in) / len(outcome.parts)))
    for figures in outcome.parts:
        _draw_part(sheet, outcome, figures, plot_in)
    sheet.y_in += 0.1
    for note in notes:
        sheet.line(note, nb.SMALL_pt, nb.QUIET)
    sheet.line(
        "All ± are standard uncertainties (k = 1). Limits are those of OIML R 60 for load cells, used for the rig.",
        nb.SMALL_pt,
        nb.QUIET,
    )
    return figure


def _draw_part(sheet: _Sheet, outcome: Outcome, figures: PartFigures, plot_in: float) -> None:
    sheet.y_in += 0.2
    dof = figures.fit.dof
    sheet.line(f"{figures.part}: a load is known to {figures.u_rel_sum:.2%}", nb.LARGE_pt)
    sheet.y_in += 0.12
    _draw_residuals(sheet.axes(plot_in), outcome, figures)
    sheet.y_in += 0.55
    names = [c.name for c in figures.budgets[0].contributions]
    at = [0.0, 1.1, 2.75, *(3.4 + 0.55 * i for i in range(len(names)))]
    sheet.row(["cell", "span, N per 1000 counts", "u", *names], at, colour=nb.QUIET)
    for k, column in enumerate(figures.fit.index):
        budget, span = figures.budgets[k], 1000 * float(figures.fit.span_N_per_count[k])
        parts = [f"{c.part:.3%}" if c.part >= 5e-6 else "–" for c in budget.contributions]
        sheet.row([outcome.rig.names[column], with_u(span, abs(span) * budget.u), f"{budget.u:.2%}", *parts], at)
    sheet.y_in += 0.06
    factor = figures.budgets[0].coverage_factor(0.95)
    sheet.line(f"{dof} degrees of freedom; for 95 % take {factor:.2f} u", nb.SMALL_pt, nb.QUIET)
    sheet.y_in += 0.04
    at = [0.0, 1.9, 3.2, 4.0, 4.8]
    sheet.row(["check", "measured", "limit", "verdict", "by"], at, colour=nb.QUIET)
    for check in figures.checks:
        measured = with_u(check.value_N, check.u_N, "N")
        colour = nb.ATTENTION if check.verdict == "fail" else nb.INK
        cells = [check.name, measured, f"{check.limit_N:.2f} N", VERDICTS[check.verdict], check.source]
        sheet.row(cells, at, colour=colour)


def _draw_residuals(axes: Axes, outcome: Outcome, figures: PartFigures) -> None:
    """Draw known minus measured over the load: rising filled, falling open, the allowed envelope hatched outside."""
    fit, plan = figures.fit, outcome.plan
    rated = [outcome.rig.channels[i].rated_N for i in fit.index]
    top_N = float(fit.load_N.max())
    capacity_N = float(sum(r for r in rated if r is not None)) if all(rated) else top_N
    grid = np.linspace(0.0, 1.06 * top_N, 400)
    limit = np.array([allowed_error_N(x, capacity_N, grade=plan.grade, intervals=plan.intervals) for x in grid])
    reach = 1.15 * max(float(np.max(np.abs(fit.residual_N) + fit.u_residual_N)), float(limit.max()))
    for sign in (-1.0, 1.0):
        axes.fill_between(
            grid, sign * limit, sign * reach, facecolor="none", edgecolor=nb.HAIR, hatch="////", linewidth=0
        )
        axes.plot(grid, sign * limit, color=nb.QUIET, linewidth=nb.HAIRLINE_pt, linestyle=(0, (4, 3)))
    axes.axhline(0.0, color=nb.INK, linewidth=nb.HAIRLINE_pt)
    rising = np.array([s.direction == "rising" for s in figures.steps])
    labels = sorted({s.place.label for s in figures.steps})
    # Places that share a load stand side by side, so that their marks do not hide each other.
    shift = {label: (i - (len(labels) - 1) / 2) * 0.014 * top_N for i, label in enumerate(labels)}
    x = fit.load_N + np.array([shift[s.place.label] for s in figures.steps])
    y = fit.residual_N
    axes.errorbar(x, y, fit.u_residual_N, fmt="none", ecolor=nb.QUIET, elinewidth=nb.HAIRLINE_pt, capsize=0)
    for which, filled in ((rising, True), (~rising, False)):
        face = nb.HANDS if filled else nb.PAPER
        axes.plot(x[which], y[which], "o", ms=4.0, mfc=face, mec=nb.HANDS, mew=nb.FINE_pt, ls="none", zorder=3)
    axes.set_xlim(0, 1.06 * top_N)
    axes.set_ylim(-reach, reach)
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_xlabel("load (N)")
    axes.set_ylabel("known − measured (N)")
    beside = ", ".join(labels) if len(labels) < 4 else f"{len(labels)} places"
    axes.annotate(
        "filled: rising, open: falling; bars: u of masses and noise; hatched: beyond the envelope"
        + (f"; side by side: {beside}" if len(labels) > 1 else ""),
        (0.0, 1.02),
        xycoords="axes fraction",
        size=nb.SMALL_pt,
        color=nb.QUIET,
        va="bottom",
    )
