"""A load curve with its holds, as a page of a laboratory notebook (SVG)."""

from __future__ import annotations

import io
import math
import os
import textwrap
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from monitor.errors import MonitorError
from monitor.measures.result import HoldResult, RecordResult
from monitor.reports import notebook as nb
from monitor.reports.words import duration_words, flag_words, record_words, share_words
from monitor.uncertainty import with_u

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.ticker import Locator

_Array = NDArray[np.float64]

WIDTH_in, LEFT_in, RIGHT_in = 10.5, 0.95, 1.05
HEAD_in, HOLDS_in, LOADS_in, SWING_in, LANE_in, FOOT_in, GAP_in, NOTE_in = 0.75, 0.45, 3.3, 0.75, 0.21, 0.6, 0.14, 0.16
HIGHEST_BODYWEIGHTS = 1.6
"""Loads above this many bodyweights (a hard catch) are cut off and told by number, so that the hold stays readable."""
LONG_s = 600.0
"""A record longer than this has minutes on its axis."""

_settings = threading.Lock()  # the drawing library's settings belong to the whole process


class PlotNotWritten(MonitorError):
    """The plot's file cannot be written."""

    code = "plot-not-written"


@dataclass(frozen=True, slots=True)
class Mark:
    """A short mark in a lane under the curve, with a word or number behind it."""

    start_s: float
    end_s: float
    word: str = ""
    level: float = 0.5
    unsure: bool = False


def plot_curve(
    path: str | os.PathLike[str],
    title: str,
    t_s: _Array,
    bar_N: _Array,
    feet_N: _Array | None,
    result: RecordResult,
) -> None:
    """Write a curve and what was found in it as SVG.

    Parameters
    ----------
    path : path
        Written over if it is there.
    title : str
    t_s : (n,) float, s
        Times of the load on the time axis of ``result``.
    bar_N, feet_N : (n,) float, N
        Sums of the bar's and of the platform's cells, NaN where a reading failed; None without a platform.
    result : RecordResult

    Raises
    ------
    PlotNotWritten
    ValueError
        The arrays differ in length.
    """
    svg = curve_svg(title, t_s, bar_N, feet_N, result)
    try:
        Path(path).write_bytes(svg)
    except OSError as error:
        raise PlotNotWritten(
            what=f"The plot {path} cannot be written: {error.strerror or error}.",
            means="The analysis is not affected.",
            do="Give a path in a folder that is there and may be written to.",
        ) from error


def curve_svg(title: str, t_s: _Array, bar_N: _Array, feet_N: _Array | None, result: RecordResult) -> bytes:
    """Return the SVG of ``plot_curve``: the same bytes for the same input."""
    out = io.BytesIO()
    with _hand():
        figure = curve_figure(title, t_s, bar_N, feet_N, result)
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Title": _line(title)})
    return out.getvalue()


@contextmanager
def _hand() -> Iterator[None]:
    import matplotlib as mpl

    with _settings, mpl.rc_context(nb.SETTINGS):
        yield


def curve_figure(title: str, t_s: _Array, bar_N: _Array, feet_N: _Array | None, result: RecordResult) -> Figure:
    """Draw the page, within the notebook's settings."""
    from matplotlib.figure import Figure

    if len(bar_N) != len(t_s) or (feet_N is not None and len(feet_N) != len(t_s)):
        raise ValueError("Times and loads must have the same length.")
    lanes = _lanes(result.holds)
    course = [row for hold in result.holds if hold.swing for row in hold.swing.course]
    has_swing = any(row[1] is not None for row in course)
    notes = textwrap.wrap(flag_words(result), 150)
    gaps_in = GAP_in * (1 + (has_swing and bool(lanes)))
    under_in = gaps_in + SWING_in * has_swing + LANE_in * len(lanes) + FOOT_in + NOTE_in * len(notes)
    height_in = HEAD_in + HOLDS_in + LOADS_in + under_in
    figure = Figure(figsize=(WIDTH_in, height_in))
    page = _Page(figure, height_in, *_span(t_s))
    page.words(0.33, _line(title), nb.TITLE_pt)
    page.words(0.56, record_words(result), nb.SMALL_pt, nb.QUIET)
    page.y_in = HEAD_in
    _draw_holds(page.axes(HOLDS_in), page, result.holds)
    loads = page.axes(LOADS_in)
    _draw_loads(loads, page, t_s, bar_N, feet_N, result)
    page.y_in += GAP_in
    if has_swing:
        _draw_swing(page.axes(SWING_in), page, result.holds)
        page.y_in += GAP_in if lanes else 0.0
    for name, (colour, marks) in lanes.items():
        _draw_lane(page.axes(LANE_in), page, name, colour, marks)
    page.time_axis()
    page.edges(HEAD_in + HOLDS_in, result.holds)
    for number, note in enumerate(notes):
        page.words(page.y_in + FOOT_in - 0.06 + NOTE_in * number, note, nb.SMALL_pt, nb.QUIET)
    return figure


class _Page:
    """Places strips of equal width one below the other, in inches from the top."""

    def __init__(self, figure: Figure, height_in: float, start_s: float, end_s: float) -> None:
        self.figure, self.height_in, self.start_s, self.end_s = figure, height_in, start_s, end_s
        self.y_in = 0.0
        self.drawn: list[Axes] = []

    @property
    def in_per_s(self) -> float:
        return (WIDTH_in - LEFT_in - RIGHT_in) / (self.end_s - self.start_s)

    def axes(self, height_in: float) -> Axes:
        """Return the next strip: no frame, the page's time scale."""
        bottom = 1 - (self.y_in + height_in) / self.height_in
        width = (WIDTH_in - LEFT_in - RIGHT_in) / WIDTH_in
        axes = self.figure.add_axes((LEFT_in / WIDTH_in, bottom, width, height_in / self.height_in))
        axes.set_xlim(self.start_s, self.end_s)
        axes.spines[:].set_visible(False)
        axes.tick_params(bottom=False, labelbottom=False)
        self.y_in += height_in
        self.drawn.append(axes)
        return axes

    def words(self, y_in: float, text: str, size_pt: float, colour: str = nb.INK) -> None:
        """Write a line that begins at the curve's left edge."""
        self.figure.text(LEFT_in / WIDTH_in, 1 - y_in / self.height_in, text, size=size_pt, color=colour, va="baseline")

    def edges(self, top_in: float, holds: list[HoldResult]) -> None:
        """Draw onsets and releases as fine verticals from ``top_in`` down to the time axis, behind everything."""
        from matplotlib.lines import Line2D
        from matplotlib.transforms import blended_transform_factory

        scale = blended_transform_factory(self.drawn[-1].transData, self.figure.transFigure)
        y = [1 - top_in / self.height_in, 1 - self.y_in / self.height_in]
        for at_s in (edge_s for hold in holds for edge_s in (hold.onset_s, hold.release_s)):
            line = Line2D([at_s, at_s], y, transform=scale, color=nb.INK, linewidth=nb.HAIRLINE_pt, zorder=-1)
            self.figure.add_artist(line)

    def time_axis(self) -> None:
        """Give the lowest strip the time axis."""
        from matplotlib.ticker import FuncFormatter, MaxNLocator

        axes = self.drawn[-1]
        axes.spines.bottom.set_visible(True)
        axes.tick_params(bottom=True, labelbottom=True)
        if self.end_s - self.start_s > LONG_s:
            axes.xaxis.set_major_locator(MaxNLocator(12, steps=[1, 1.2, 2.4, 3, 6, 10], integer=True))
            axes.xaxis.set_major_formatter(FuncFormatter(_minutes))
            axes.set_xlabel("time (min:s)")
        else:
            axes.xaxis.set_major_locator(MaxNLocator(12, steps=[1, 2, 5, 10]))
            axes.set_xlabel("time (s)")


def _draw_holds(axes: Axes, page: _Page, holds: list[HoldResult]) -> None:
    """Draw a dimension line for every hold, with as many words as fit above it."""
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    for number, hold in enumerate(holds, start=1):
        axes.plot([hold.onset_s, hold.release_s], [0.12, 0.12], color=nb.INK, linewidth=nb.FINE_pt)
        for edge_s in (hold.onset_s, hold.release_s):
            axes.plot([edge_s, edge_s], [0, 0.24], color=nb.INK, linewidth=nb.FINE_pt)
        middle_s = 0.5 * (hold.onset_s + hold.release_s)
        room_in = (hold.release_s - hold.onset_s) * page.in_per_s
        count = f"{number}.  " if len(holds) > 1 else ""
        long, short = f"{count}{duration_words(hold)}", f"{hold.duration_s:.0f} s"
        shares = share_words(hold)
        if nb.text_width_in(long, nb.LARGE_pt) <= room_in:
            fits = bool(shares) and nb.text_width_in(shares, nb.SMALL_pt) <= room_in
            axes.text(middle_s, 0.68 if fits else 0.32, long, size=nb.LARGE_pt, ha="center", va="baseline")
            if fits:
                axes.text(middle_s, 0.30, shares, size=nb.SMALL_pt, color=nb.QUIET, ha="center", va="baseline")
        elif nb.text_width_in(short, nb.SMALL_pt) <= room_in:
            axes.text(middle_s, 0.32, short, size=nb.SMALL_pt, ha="center", va="baseline")
        else:
            axes.text(middle_s, 0.32, str(number), size=nb.SMALL_pt, ha="center", va="baseline")


def _draw_loads(
    axes: Axes, page: _Page, t_s: _Array, bar_N: _Array, feet_N: _Array | None, result: RecordResult
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
    low_N, high_N = -0.04 * top_N, 1.04 * top_N
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
    _tell_cut_peaks(axes, page, t_s, curves, high_N)
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


def _tell_cut_peaks(axes: Axes, page: _Page, t_s: _Array, curves: list[tuple[str, str, _Array]], high_N: float) -> None:
    """Put a small wedge and the number where a peak leaves the page."""
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


def _draw_swing(axes: Axes, page: _Page, holds: list[HoldResult]) -> None:
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


def _lanes(holds: list[HoldResult]) -> dict[str, tuple[str, list[Mark]]]:
    """Return the lanes that have something to show: name, colour, marks."""

    def all_of(make: Iterable[Mark]) -> list[Mark]:
        return sorted(make, key=lambda mark: mark.start_s)

    # Relaxed shoulders sit high, drawn ones low, as on the live page.
    states = (
        Mark(s.start_s, s.end_s, s.state, 0.8 if s.state == "passive" else 0.2, s.certainty < 0.75)
        for h in holds
        for s in h.states
    )
    travel = (Mark(m.start_s, m.end_s, _travel_words(m.travel_mm, m.u_mm)) for h in holds for m in h.travel)
    touches = (Mark(m.start_s, m.end_s, f"{100 * m.alpha_peak:.0f} %") for h in holds for m in h.touches)
    third = (Mark(m.start_s, m.end_s, f"{100 * m.fraction:.0f} %") for h in holds for m in h.third_support)
    regrips = (Mark(m.start_s, m.end_s, f"{m.end_s - m.start_s:.2f} s") for h in holds for m in h.regrips)
    changes = (Mark(at_s, at_s) for h in holds for at_s in h.grip_changes_s)
    lanes = {
        "shoulders": (nb.INK, all_of(states)),
        "travel": (nb.INK, all_of(travel)),
        "foot touches": (nb.FEET, all_of(touches)),
        "regrips": (nb.HANDS, all_of(regrips)),
        "hand changes": (nb.HANDS, all_of(changes)),
        "third support": (nb.ATTENTION, all_of(third)),
    }
    return {name: lane for name, lane in lanes.items() if lane[1]}


def _draw_lane(axes: Axes, page: _Page, name: str, colour: str, marks: list[Mark]) -> None:
    """Draw short marks with their words; a word that would run into the next one is left out."""
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    axes.annotate(
        name,
        (0.0, 0.5),
        xycoords="axes fraction",
        xytext=(-6, 0),
        textcoords="offset points",
        size=nb.SMALL_pt,
        color=colour,
        ha="right",
        va="center",
    )
    free_s = page.start_s
    for mark, after in zip(marks, [*marks[1:], None], strict=True):
        width_s = max(mark.end_s - mark.start_s, 0.03 / page.in_per_s)
        style = (0, (3, 2)) if mark.unsure else "solid"
        axes.plot(
            [mark.start_s, mark.start_s + width_s],
            [mark.level] * 2,
            color=colour,
            linewidth=2.2,
            linestyle=style,
            solid_capstyle="butt",
            zorder=3,
        )
        word_s = (nb.text_width_in(mark.word, nb.SMALL_pt) + 0.1) / page.in_per_s
        inside = mark.level != 0.5
        at_s = max(
            free_s, mark.start_s + 0.04 / page.in_per_s if inside else mark.start_s + width_s + 0.06 / page.in_per_s
        )
        end_s = min(mark.end_s if inside else page.end_s, page.end_s if after is None or inside else after.start_s)
        if mark.word and at_s + word_s <= end_s:
            level = 0.5 if not inside else 1.0 - mark.level
            axes.text(at_s, level, mark.word, size=nb.SMALL_pt, color=colour, va="center")
            free_s = at_s + word_s


def _travel_words(travel_mm: float, u_mm: float) -> str:
    arrow = "↑" if travel_mm >= 0 else "↓"
    return f"{arrow} {with_u(abs(travel_mm), u_mm, 'mm')}"


def _span(t_s: _Array) -> tuple[float, float]:
    """Return the page's first and last second."""
    if len(t_s) == 0:
        return 0.0, 1.0
    start_s, end_s = float(math.floor(t_s[0])), float(math.ceil(t_s[-1]))
    return start_s, max(end_s, start_s + 1.0)


def _minutes(seconds: float, _position: int | None = None) -> str:
    sign, whole = ("−" if seconds < 0 else ""), abs(round(seconds))
    return f"{sign}{whole // 60}:{whole % 60:02d}"


def _line(text: str) -> str:
    """Return text as one printable line of bearable length (a title may be a file's name)."""
    kept = "".join(c if c.isprintable() else " " for c in text)
    return textwrap.shorten(kept, 90, placeholder=" …") if len(kept) > 90 else kept
