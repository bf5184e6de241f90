"""Plots of the accuracy check, in the notebook's hand."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.reports import notebook as nb
from monitor.reports.plot import notebook_settings
from tests.accuracy.comparison import Deviation
from tests.accuracy.runs import Record
from tests.accuracy.summary import rows

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDTH_in = 7.2
SMALLEST = 1e-3
MOST_POINTS = 700


def all_plots(records: list[Record]) -> dict[str, bytes]:
    """Return the SVG of every plot by its name; the same bytes for the same records."""
    drawn = {}
    for name, draw in (("measures", _measures), ("edges", _edges), ("swing", _swing), ("travel", _travel)):
        out = io.BytesIO()
        with notebook_settings():
            draw(records).savefig(
                out, format="svg", metadata={"Date": None, "Creator": None, "Title": f"Accuracy: {name}"}
            )
        drawn[name] = out.getvalue()
    return drawn


def _deviations(records: list[Record], *names: str) -> list[Deviation]:
    return [one for r in records for one in r.deviations if one.measure in names and np.isfinite(one.error)]


def _figure(height_in: float, left: float = 0.1) -> tuple[Figure, Any]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_in, height_in))
    axes = figure.add_axes((left, 0.62 / height_in, 0.96 - left, 1 - 1.1 / height_in))
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure, axes


def _title(figure: Figure, text: str) -> None:
    height_in = float(figure.get_size_inches()[1])
    figure.text(0.02, 1 - 0.26 / height_in, text, fontsize=nb.LARGE_pt, color=nb.INK)


def _measures(records: list[Record]) -> Figure:
    """Draw each measure's errors as shares of its floor: median, 95 %, largest; aim and bound as ticks."""
    shown = [
        r
        for r in rows(records, hard=False)
        if r.limit and r.limit.floor > 0 and len(r.errors) and "invented" not in r.measure
    ]
    shown = [r for r in shown if r.limit is not None and r.limit.kind in ("largest", "rms")]
    figure, axes = _figure(0.24 * len(shown) + 1.3, left=0.24)
    _title(figure, "Errors as shares of the floor, ordinary sessions")
    for y, row in enumerate(shown):
        assert row.limit is not None
        finite = np.minimum(row.errors, 10 * row.limit.floor)
        median, most, largest = (
            max(SMALLEST, float(x) / row.limit.floor)
            for x in (np.median(finite), np.quantile(finite, 0.95), finite.max())
        )
        axes.plot([median, largest], [y, y], color=nb.HANDS, linewidth=nb.FINE_pt, solid_capstyle="butt")
        axes.plot([median], [y], "o", color=nb.HANDS, markersize=4)
        axes.plot([most], [y], "|", color=nb.HANDS, markersize=8)
        axes.plot([largest], [y], "o", markerfacecolor=nb.PAPER, markeredgecolor=nb.HANDS, markersize=4)
        axes.plot([row.limit.aim / row.limit.floor] * 2, [y - 0.32, y + 0.32], color=nb.FEET, linewidth=nb.PEN_pt)
        if row.bound:
            axes.plot([max(SMALLEST, row.bound / row.limit.floor)], [y], "x", color=nb.QUIET, markersize=4)
    axes.axvline(1.0, color=nb.ATTENTION, linewidth=nb.PEN_pt)
    axes.set_xscale("log")
    axes.set_xlim(SMALLEST * 0.8, 12)
    axes.set_xticks([0.001, 0.01, 0.1, 1.0, 10.0], ["0.001", "0.01", "0.1", "1", "10"])
    axes.set_ylim(len(shown) - 0.4, -0.6)
    axes.set_yticks(range(len(shown)), [row.measure for row in shown])
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(
        "dot: median, bar: 95 %, ring: largest; cross: statistical bound; short line: aim; long line: floor"
    )
    return figure


def _edges(records: list[Record]) -> Figure:
    """Draw the shares of onsets and releases that are off by more than so many milliseconds."""
    figure, axes = _figure(3.0)
    _title(figure, "Onsets and releases that are off by more than this")
    for name, colour in (("onset", nb.HANDS), ("release", nb.FEET)):
        errors = np.sort([one.error for one in _deviations(records, name)])
        if not len(errors):
            continue
        left = 1.0 - np.arange(1, len(errors) + 1) / len(errors)
        axes.step(np.maximum(errors, 1e-2), 100 * left, where="post", color=colour, linewidth=nb.PEN_pt)
        axes.annotate(name, (max(errors[len(errors) // 2], 1e-2), 52), color=colour, fontsize=nb.TEXT_pt)
    axes.set_xscale("log")
    axes.set_xticks([0.01, 0.1, 1.0, 10.0, 100.0], ["0.01", "0.1", "1", "10", "100"])
    axes.axvline(25.0, color=nb.ATTENTION, linewidth=nb.PEN_pt)
    axes.axvline(3.0, color=nb.FEET, linewidth=nb.HAIRLINE_pt)
    axes.set_xlabel("ms (brown: aim, red: floor)")
    axes.set_ylabel("% of holds")
    axes.set_ylim(0, 100)
    return figure


def _swing(records: list[Record]) -> Figure:
    """Draw the error of the swing's amplitude over the amplitude, with the bound."""
    figure, axes = _figure(3.2)
    _title(figure, "Swing: error of the amplitude")
    deviations = _deviations(records, "swing from 2 degrees", "swing 1 to 2 degrees")
    value = np.array([one.value for one in deviations], dtype=float)
    error = np.array([one.error for one in deviations]) * np.maximum(1.0, value / 6.0)
    # Every few of them: neighbours in time hardly differ.
    every = max(1, len(deviations) // MOST_POINTS)
    axes.plot(value[::every], error[::every], ".", color=nb.HANDS, markersize=2)
    if len(deviations):
        order = np.argsort(value)
        bound = np.array([one.bound for one in deviations], dtype=float)[order]
        edges = np.linspace(value.min(), value.max(), 25)
        middle = 0.5 * (edges[1:] + edges[:-1])
        place = np.digitize(value[order], edges)
        means = [np.median(bound[place == k]) if (place == k).any() else np.nan for k in range(1, len(edges))]
        axes.plot(middle, means, color=nb.QUIET, linewidth=nb.PEN_pt)
        limit = np.where(
            np.linspace(1, value.max(), 50) < 2, 0.4, np.maximum(0.3, 0.05 * np.linspace(1, value.max(), 50))
        )
        axes.plot(np.linspace(1, value.max(), 50), limit, color=nb.ATTENTION, linewidth=nb.FINE_pt)
    axes.set_xlabel("true amplitude, degrees (grey: statistical bound, one standard deviation; red: floor)")
    axes.set_ylabel("error, degrees")
    axes.set_ylim(bottom=0)
    return figure


def _travel(records: list[Record]) -> Figure:
    """Draw the error of the travel over the true rise of the centre of mass."""
    figure, axes = _figure(3.2)
    _title(figure, "Travel: error of the rise of the centre of mass")
    for names, colour, label in ((("travel",), nb.HANDS, "still"), (("travel (swing)",), nb.FEET, "while swinging")):
        deviations = _deviations(records, *names)
        value = [one.value for one in deviations]
        axes.plot(value, [one.error for one in deviations], "o", color=colour, markersize=3, label=label)
        if deviations:
            order = np.argsort(np.array(value, dtype=float))
            bound = np.array([one.bound for one in deviations], dtype=float)[order]
            axes.plot(np.array(value, dtype=float)[order], bound, ".", color=nb.QUIET, markersize=2)
    axes.legend(frameon=False, fontsize=nb.SMALL_pt)
    axes.axvline(0.0, color=nb.HAIR, linewidth=nb.HAIRLINE_pt)
    axes.set_xlabel("true rise, mm (grey: statistical bound, one standard deviation)")
    axes.set_ylabel("error, mm")
    axes.set_ylim(bottom=0)
    return figure
