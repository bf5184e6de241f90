"""Colours, pens and resolution of the printed pages."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

# The three accents and the two tones are those of the live page by day.
PAPER = "#f7f4ec"
INK = "#1b1e23"
QUIET = "#5a5d62"
HAIR = "#d9d4c6"
HANDS = "#0b4f8a"
FEET = "#9a5200"
ATTENTION = "#bf3063"

SMALL_pt, TEXT_pt, LARGE_pt, TITLE_pt = 7.5, 8.5, 11.0, 13.0
HAIRLINE_pt, FINE_pt, PEN_pt = 0.5, 0.7, 1.0

GAP_s = 0.1
"""A curve is broken where readings are missing for longer than this."""

POINTS = 3000
"""Most points of one curve, about four for each point of the page's width."""

SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",  # keep text as text: searchable, readable aloud, in the reader's own font
    "svg.hashsalt": "hang-monitor",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": TEXT_pt,
    "text.color": INK,
    "text.parse_math": False,
    "axes.unicode_minus": True,
    "axes.linewidth": HAIRLINE_pt,
    "axes.edgecolor": INK,
    "axes.labelcolor": QUIET,
    "axes.facecolor": "none",
    "figure.facecolor": PAPER,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": SMALL_pt,
    "ytick.labelsize": SMALL_pt,
    "xtick.major.width": HAIRLINE_pt,
    "ytick.major.width": HAIRLINE_pt,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "lines.solid_joinstyle": "round",
    "hatch.linewidth": 0.5,
}


def text_width_in(text: str, size_pt: float) -> float:
    """Return about how wide (inches) a line of text will be; on the safe side for common fonts."""
    return 0.6 * size_pt / 72.0 * len(text)


def thinned(
    t_s: NDArray[np.float64], load_N: NDArray[np.float64], points: int = POINTS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return a curve with at most about ``points`` points that looks the same on paper.

    Keeps the lowest and the highest reading of each short stretch in their order, so no peak is lost. NaN breaks the
    line where readings are missing for longer than ``GAP_s``.

    Parameters
    ----------
    t_s, load_N : (n,) float
        Times in seconds; NaN loads where a reading failed.
    """
    steps_s = np.diff(t_s)
    # A restarted board counts from zero: the line must not run back.
    cuts = np.flatnonzero((steps_s > GAP_s) | (steps_s <= 0)) + 1
    pieces_t: list[NDArray[np.float64]] = []
    pieces_N: list[NDArray[np.float64]] = []
    stretch = max(1, -(-2 * len(t_s) // points))
    for times, loads in zip(np.split(t_s, cuts), np.split(load_N, cuts), strict=True):
        rows = _extremes(loads, stretch) if len(t_s) > points else np.arange(len(loads))
        pieces_t += [times[rows], times[-1:]]
        pieces_N += [loads[rows], np.full(len(times[-1:]), np.nan)]
    return np.concatenate(pieces_t)[:-1], np.concatenate(pieces_N)[:-1]


def _extremes(loads: NDArray[np.float64], stretch: int) -> NDArray[np.intp]:
    """Return the indices of the lowest and highest value of every stretch, and of both ends, in order."""
    rows = -(-len(loads) // stretch)
    padded = np.full(rows * stretch, np.nan)
    padded[: len(loads)] = loads
    grid = padded.reshape(rows, stretch)
    starts = np.arange(rows) * stretch
    lowest = starts + np.argmin(np.where(np.isnan(grid), np.inf, grid), axis=1)
    highest = starts + np.argmax(np.where(np.isnan(grid), -np.inf, grid), axis=1)
    return np.unique(np.concatenate([[0], lowest, highest, [len(loads) - 1]]))
