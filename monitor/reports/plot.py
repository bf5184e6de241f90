"""A load curve with its holds, as a page of a laboratory notebook (SVG)."""

from __future__ import annotations

import io
import os
import textwrap
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from monitor.errors import MonitorError
from monitor.records.session_result import SessionResult
from monitor.reports import notebook as nb
from monitor.reports.annotation_tracks import draw_track, tracks_of
from monitor.reports.page import Page, WIDTH_in, span
from monitor.reports.strips import LOADS_in, draw_holds, draw_loads, draw_swing
from monitor.reports.words import flag_words, record_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_Array = NDArray[np.float64]

HEAD_in, HOLDS_in, SWING_in, TRACK_in, FOOT_in, GAP_in, NOTE_in = 0.75, 0.45, 0.75, 0.21, 0.6, 0.14, 0.16

_settings = threading.Lock()  # the drawing library's settings belong to the whole process


class PlotNotWritten(MonitorError):
    """The plot's file cannot be written."""

    code = "plot-not-written"


def plot_curve(
    path: str | os.PathLike[str],
    title: str,
    t_s: _Array,
    bar_N: _Array,
    feet_N: _Array | None,
    result: SessionResult,
) -> None:
    """Write a curve and its result as SVG.

    Parameters
    ----------
    path : path
        An existing file is overwritten.
    title : str
    t_s : (n,) float, s
        Times of the load on the time axis of ``result``.
    bar_N, feet_N : (n,) float, N
        Sums of the bar's and of the platform's cells, NaN where a reading failed; None without a platform.
    result : SessionResult

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
            do="Give a path in an existing folder that you may write to.",
        ) from error


def curve_svg(title: str, t_s: _Array, bar_N: _Array, feet_N: _Array | None, result: SessionResult) -> bytes:
    """Return the SVG of ``plot_curve``: the same bytes for the same input."""
    out = io.BytesIO()
    with notebook_settings():
        figure = curve_figure(title, t_s, bar_N, feet_N, result)
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Title": _line(title)})
    return out.getvalue()


@contextmanager
def notebook_settings() -> Iterator[None]:
    """Apply the notebook's settings to the drawing library, one thread at a time, and restore its own after."""
    import matplotlib as mpl

    with _settings, mpl.rc_context(nb.SETTINGS):
        yield


def curve_figure(title: str, t_s: _Array, bar_N: _Array, feet_N: _Array | None, result: SessionResult) -> Figure:
    """Draw the page, within the notebook's settings."""
    from matplotlib.figure import Figure

    if len(bar_N) != len(t_s) or (feet_N is not None and len(feet_N) != len(t_s)):
        raise ValueError("Times and loads must have the same length.")
    tracks = tracks_of(result.holds)
    course = [row for hold in result.holds if hold.swing for row in hold.swing.course]
    has_swing = any(row[1] is not None for row in course)
    notes = textwrap.wrap(flag_words(result), 150)
    gaps_in = GAP_in * (has_swing + bool(tracks))
    under_in = gaps_in + SWING_in * has_swing + TRACK_in * len(tracks) + FOOT_in + NOTE_in * len(notes)
    height_in = HEAD_in + HOLDS_in + LOADS_in + under_in
    figure = Figure(figsize=(WIDTH_in, height_in))
    page = Page(figure, height_in, *span(t_s))
    page.words(0.33, _line(title), nb.TITLE_pt)
    page.words(0.56, record_words(result), nb.SMALL_pt, nb.QUIET)
    page.y_in = HEAD_in
    draw_holds(page.axes(HOLDS_in), page, result.holds)
    loads = page.axes(LOADS_in)
    draw_loads(loads, page, t_s, bar_N, feet_N, result)
    if has_swing:
        page.y_in += GAP_in
        draw_swing(page.axes(SWING_in), page, result.holds)
    page.y_in += GAP_in if tracks else 0.0
    for name, (colour, marks) in tracks.items():
        draw_track(page.axes(TRACK_in), page, name, colour, marks)
    page.time_axis()
    page.edges(HEAD_in + HOLDS_in, result.holds)
    for number, note in enumerate(notes):
        page.words(page.y_in + FOOT_in - 0.06 + NOTE_in * number, note, nb.SMALL_pt, nb.QUIET)
    return figure


def _line(text: str) -> str:
    """Return text as one printable line of bearable length (a title may be a file's name)."""
    printable = "".join(c if c.isprintable() else " " for c in text)
    return textwrap.shorten(printable, 90, placeholder=" …") if len(printable) > 90 else printable
