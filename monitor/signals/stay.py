"""A stay on the rig as arrays: everything between stepping up and walking away, with its sums."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from monitor.rig import Rig

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Stay:
    """One stay, uniform in time.

    Attributes
    ----------
    rig : Rig
    t_s : (n,) float, s
        Instants of the load.
    load_N : (n, channels) float, N
        Despiked; NaN where a reading is missing.
    u_zero_N, u_rel_span : (channels,) float
        Standard uncertainties of each channel's zero (N) and span (relative).
    """

    rig: Rig
    t_s: Array
    load_N: Array
    u_zero_N: Array
    u_rel_span: Array

    def __len__(self) -> int:
        return len(self.t_s)

    @cached_property
    def rate_Hz(self) -> float:
        """Return the measured rate in rows per second; the rig's nominal one for a stay too short to tell."""
        if len(self.t_s) < 3:
            return self.rig.nominal_rate_Hz
        return float((len(self.t_s) - 1) / (self.t_s[-1] - self.t_s[0]))

    @cached_property
    def valid(self) -> NDArray[np.bool_]:
        """Return (n,) True where every cell has a reading."""
        return np.asarray(~np.isnan(self.load_N).any(axis=1))

    @cached_property
    def filled_N(self) -> Array:
        """Return (n, channels) loads with missing readings bridged by straight lines, for filters only."""
        if self.valid.all():
            return self.load_N
        filled = self.load_N.copy()
        index = np.arange(len(filled))
        for column in range(filled.shape[1]):
            good = ~np.isnan(filled[:, column])
            filled[:, column] = np.interp(index, index[good], filled[good, column]) if good.any() else 0.0
        return filled

    @cached_property
    def bar_N(self) -> Array:
        """Return (n,) B, the sum of the bar's cells."""
        return np.asarray(self.filled_N[:, list(self.rig.bar_index)].sum(axis=1))

    @cached_property
    def feet_N(self) -> Array:
        """Return (n,) P, the sum of the platform's cells; zeros where there is no platform."""
        return np.asarray(self.filled_N[:, list(self.rig.platform_index)].sum(axis=1))

    @cached_property
    def sum_N(self) -> Array:
        """Return (n,) S = B + P."""
        return np.asarray(self.bar_N + self.feet_N)

    def rows(self, seconds: float) -> int:
        """Return the number of rows nearest to a time span, at least one."""
        return max(1, round(seconds * self.rate_Hz))

    def part_u_zero_N(self, index: tuple[int, ...]) -> float:
        """Return the standard uncertainty of the zero of a sum of independent cells (JCGM 100, 5.1.2)."""
        return float(np.sqrt(np.sum(self.u_zero_N[list(index)] ** 2)))

    def part_u_rel_span(self, index: tuple[int, ...]) -> float:
        """Return the relative uncertainty of the span of a sum, its load shared evenly by independent cells."""
        return float(np.sqrt(np.sum(self.u_rel_span[list(index)] ** 2))) / len(index) if index else 0.0

    def with_load(self, load_N: Array) -> Stay:
        """Return the stay with other loads (n, channels)."""
        return Stay(self.rig, self.t_s, load_N, self.u_zero_N, self.u_rel_span)

    def minus(self, zero_N: Array) -> Stay:
        """Return the stay with zeros (n, channels) or (channels,) taken off."""
        return Stay(self.rig, self.t_s, self.load_N - zero_N, self.u_zero_N, self.u_rel_span)


def even_times(t_s: Array, largest_jitter_s: float = 0.003) -> Array:
    """Return stamps freed of their jitter: a straight line through them, where they lie within ``largest_jitter_s``.

    A converter counts evenly; it is the stamping that trembles. Where the stamps do not follow one line (a gap of
    unknown length, a changed rate) they are returned as they are.
    """
    n = len(t_s)
    if n < 8:
        return t_s
    index = np.arange(n) - 0.5 * (n - 1)
    slope = float(index @ t_s) / float(index @ index)
    line = t_s.mean() + slope * index
    return line if np.max(np.abs(line - t_s)) < largest_jitter_s else t_s
