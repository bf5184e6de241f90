"""The page: strips of one time scale, one below the other, sizes in inches."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from monitor.records.hold_result import HoldResult
from monitor.reports import notebook as nb

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_in, LEFT_in, RIGHT_in = 10.5, 1.1, 1.0
LONG_s = 600.0
"""A record longer than this has minutes on its axis."""


class Page:
    """Places strips of equal width one below the other, in inches from the top."""

    def __init__(self, figure: Figure, height_in: float, start_s: float, end_s: float) -> None:
        self.figure, self.height_in, self.start_s, self.end_s = figure, height_in, start_s, end_s
        self.y_in = 0.0
        self.drawn: list[Axes] = []

    @property
    def in_per_s(self) -> float:
        """Return the time scale."""
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
        from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

        axes = self.drawn[-1]
        axes.spines.bottom.set_visible(True)
        axes.tick_params(bottom=True, labelbottom=True)
        if self.end_s - self.start_s > LONG_s:
            axes.xaxis.set_major_locator(MultipleLocator(_minute_step_s(self.end_s - self.start_s)))
            axes.xaxis.set_major_formatter(FuncFormatter(minutes))
            axes.set_xlabel("time (min:s)")
        else:
            axes.xaxis.set_major_locator(MaxNLocator(12, steps=[1, 2, 5, 10]))
            axes.set_xlabel("time (s)")


def span(t_s: NDArray[np.float64]) -> tuple[float, float]:
    """Return the page's first and last second."""
    if len(t_s) == 0:
        return 0.0, 1.0
    start_s, end_s = float(math.floor(t_s.min())), float(math.ceil(t_s.max()))
    return start_s, max(end_s, start_s + 1.0)


def _minute_step_s(span_s: float) -> float:
    """Return the distance of ticks: whole minutes, at most about twelve of them."""
    steps_s = (60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0)
    return next((step for step in steps_s if span_s / step <= 12), 3600.0 * math.ceil(span_s / 3600.0 / 12))


def minutes(seconds: float, _position: int | None = None) -> str:
    """Return seconds as ``min:s``."""
    sign, whole = ("−" if seconds < 0 else ""), abs(round(seconds))
    return f"{sign}{whole // 60}:{whole % 60:02d}"
