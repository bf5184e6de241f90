"""The strips of the page: dimension lines of the holds, loads, swing."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from monitor.records.hold_result import HoldResult
from monitor.records.session_result import SessionResult
from monitor.reports import notebook as nb
from monitor.reports.page import Page
from monitor.reports.words import duration_words, share_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.ticker import Locator

_Array = NDArray[np.float64]

LOADS_in = 3.3
HIGHEST_BODYWEIGHTS = 1.6
"""Higher loads (a hard catch) are cut off and labelled with their value, so that the hold stays readable."""


def draw_holds(axes: Axes, page: Page, holds: list[HoldResult]) -> None:
    """Draw a dimension line for every hold, with as many words as fit above it."""
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    rooms_in = [(hold.release_s - hold.onset_s) * page.in_per_s for hold in holds]
    crowded = any(nb.text_width_in(duration_words(h), nb.LARGE_pt) > r for h, r in zip(holds, rooms_in, strict=True))
    free_s = -math.inf
    for hold, room_in in zip(holds, rooms_in, strict=True):
        axes.plot([hold.onset_s, hold.release_s], [0.12, 0.12], color=nb.INK, linewidth=nb.FINE_pt)
        for edge_s in (hold.onset_s, hold.release_s):
            axes.plot([edge_s, edge_s], [0, 0.24], color=nb.INK, linewidth=nb.FINE_pt)
        middle_s = 0.5 * (hold.onset_s + hold.release_s)
        shares = share_words(hold)
        if crowded:
            if middle_s >= free_s:
                free_s = middle_s + 1.7 * nb.SMALL_pt / 72.0 / page.in_per_s
                text = f"{hold.duration_s:.1f} s"
                axes.text(middle_s, 0.36, text, size=nb.SMALL_pt, rotation=90, ha="center", va="bottom")
            continue
        fits = bool(shares) and nb.text_width_in(shares, nb.SMALL_pt) <= room_in
        axes.text(middle_s, 0.68 if fits else 0.32, duration_words(hold), size=nb.LARGE_pt, ha="center", va="baseline")
        if fits:
            axes.text(middle_s, 0.30, shares, size=nb.SMALL_pt, color=nb.QUIET, ha="center", va="baseline")


def draw_loads(
    axes: Axes, page: Page, t_s: _Array, bar_N: _Array, feet_N: _Array | None, result: SessionResult
) -> None:
    """Draw hands and feet, the bodyweight as the measure, and the gap where weight is missing."""
    curves = [("hands", nb.HANDS, bar_N)] + ([("feet", nb.FEET, feet_N)] if feet_N is not None else [])
    highest_N = max((float(np.nanmax(c)) for _, _, c in curves if np.any(np.isfinite(c))), default=1.0)
    weight_N = result.bodyweight_N
    top_N = (
        max(highest_N, 1.0)
        if weight_N is None
        else max(1.12 * weight_N, min(highest_N, HIGHEST_BODYWEIGHTS * weight_N))
    )
    lowest_N = min((float(np.nanmin(c)) for _, _, c in curves if np.any(np.isfinite(c))), default=0.0)
    low_N, high_N = min(-0.04 * top_N, max(1.1 * lowest_N, -0.15 * top_N)), 1.04 * top_N
    axes.set_ylim(low_N, high_N)
    axes.set_ylabel("load (N)")
    axes.spines.left.set_visible(True)
    axes.axhline(0, color=nb.HAIR, linewidth=nb.HAIRLINE_pt, zorder=0)
    ends: list[tuple[float, str, str]] = []
    if weight_N is not None:
        u_N = result.bodyweight_u_N or 0.0
        axes.axhspan(weight_N - u_N, weight_N + u_N, color=nb.HAIR, linewidth=0, zorder=0)
        axes.axhline(weight_N, color=nb.QUIET, linewidth=nb.HAIRLINE_pt, zorder=1)
        # A hair higher, so that it stands above a curve that ends on it.
        ends.append((weight_N * 1.01, "bodyweight", nb.QUIET))
    for name, colour, load_N in curves:
        if len(t_s):
            pen_pt = nb.PEN_pt if name == "hands" else nb.FINE_pt
            axes.plot(*nb.thinned(t_s, load_N), color=colour, linewidth=pen_pt, zorder=3, label=name, gid=name)
            known = load_N[np.isfinite(load_N)]
            ends.append((float(np.median(known[-20:])) if len(known) else 0.0, name, colour))
    _label_ends(axes, ends, high_N - low_N)
    _label_cut_peaks(axes, page, t_s, curves, high_N)
    if weight_N is not None and feet_N is not None:
        sum_N = bar_N + feet_N
        for hold in result.holds:
            for gap in hold.third_support:
                inside = (t_s >= gap.start_s) & (t_s <= gap.end_s)
                level_N = weight_N - gap.fraction * weight_N
                axes.fill_between(
                    t_s[inside][[0, -1]] if inside.any() else [],
                    level_N,
                    weight_N,
                    facecolor="none",
                    edgecolor=nb.ATTENTION,
                    hatch="////",
                    linewidth=nb.HAIRLINE_pt,
                    zorder=2,
                )
                axes.plot(
                    *nb.thinned(t_s[inside], sum_N[inside]), color=nb.ATTENTION, linewidth=nb.HAIRLINE_pt, zorder=2
                )


def _label_ends(axes: Axes, ends: list[tuple[float, str, str]], range_N: float) -> None:
    """Write names at the right end of the lines, moved apart where they would touch."""
    apart_N = range_N * (nb.TEXT_pt * 1.25 / 72.0) / LOADS_in
    below_N = -math.inf
    for level_N, name, colour in sorted(ends, key=lambda end: end[0]):
        below_N = max(level_N, below_N + apart_N)
        axes.annotate(
            name,
            (1.0, below_N),
            xycoords=("axes fraction", "data"),
            xytext=(5, 0),
            textcoords="offset points",
            color=colour,
            size=nb.TEXT_pt,
            va="center",
        )


def _label_cut_peaks(axes: Axes, page: Page, t_s: _Array, curves: list[tuple[str, str, _Array]], high_N: float) -> None:
    """Mark each peak that leaves the page with a wedge and its value."""
    peaks: list[tuple[float, float, str]] = []
    for _, colour, load_N in curves:
        over = np.flatnonzero(np.nan_to_num(load_N) > high_N)
        for group in np.split(over, np.flatnonzero(np.diff(t_s[over]) > 1.0) + 1):
            if len(group):
                peak = group[np.argmax(load_N[group])]
                peaks.append((float(t_s[peak]), float(load_N[peak]), colour))
    free_s = [-math.inf, -math.inf]
    for at_s, peak_N, colour in sorted(peaks):
        axes.plot([at_s], [high_N], marker="^", markersize=4, color=colour, linestyle="none", clip_on=False, zorder=4)
        text = f"{peak_N:.0f} N"
        row = next((row for row, free in enumerate(free_s) if at_s >= free), None)
        if row is None:
            continue
        free_s[row] = at_s + (nb.text_width_in(text, nb.SMALL_pt) + 0.2) / page.in_per_s
        axes.annotate(
            text,
            (at_s, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(6, -5 - 11 * row),
            textcoords="offset points",
            size=nb.SMALL_pt,
            color=colour,
            va="center",
            zorder=5,
            bbox={"facecolor": nb.PAPER, "linewidth": 0, "pad": 0.8},
        )


def draw_swing(axes: Axes, page: Page, holds: list[HoldResult]) -> None:
    """Draw the swing's amplitude with its standard uncertainty as a pale band."""
    highest = max(hold.swing.max_deg or 0.0 for hold in holds if hold.swing)
    axes.set_ylim(0, max(2.0, 1.25 * highest))
    axes.set_ylabel("swing (°)")
    axes.yaxis.set_major_locator(_few())
    axes.spines.left.set_visible(True)
    for hold in holds:
        if hold.swing is None or not hold.swing.course:
            continue
        rows = [(t, math.nan if a is None else a, math.nan if u is None else u) for t, a, u in hold.swing.course]
        t_s, amplitude, u = np.array(rows).T
        axes.fill_between(t_s, np.maximum(amplitude - u, 0), amplitude + u, color=nb.HAIR, linewidth=0, zorder=0)
        axes.plot(t_s, amplitude, color=nb.INK, linewidth=nb.FINE_pt, zorder=3)


def _few() -> Locator:
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(2, steps=[1, 2, 5, 10])
