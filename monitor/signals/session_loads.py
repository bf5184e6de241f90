"""A session on the rig as arrays: everything between stepping up and walking away, with its sums."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from monitor.newtons.calibration import Calibration
from monitor.rig import Rig

Array = NDArray[np.float64]

NOISE_ROWS = 40
"""Noise is read from pieces of half a second at 80 per second (common practice, no source)."""

QUIET_QUARTER = 0.801
"""Lower quartile over mean of the Allan variance of ``NOISE_ROWS`` readings of white noise: chi-square with 25.8
degrees of freedom (``white_noise_dof``), approximated after E. B. Wilson and M. M. Hilferty (1931, from memory)."""


@dataclass(frozen=True)
class CalibrationUncertainty:
    """What is known of a session's cells and stamps beside zeros and spans; None or 0 where nothing is.

    Attributes
    ----------
    covariance : (2 n, 2 n) float or None
        Of the cells' relative spans, then of their bends (1/N); None: spans are independent.
    bend_per_N, u_curve_N : (n,) float or None
        As in ``ChannelCalibration``.
    zero_age_s : float
        How long before the session's first row the calibration's zero was taken.
    skew_s : float
        Largest difference between the instants at which the channels are read.
    u_stamp_s : float
        Standard uncertainty of a row's time within the session.
    """

    covariance: Array | None = None
    bend_per_N: Array | None = None
    u_curve_N: Array | None = None
    zero_age_s: float = 0.0
    skew_s: float = 0.0
    u_stamp_s: float = 0.0


def calibration_uncertainty(calibration: Calibration | None, skew_s: float) -> CalibrationUncertainty:
    """Return what a calibration says of its cells beside zeros and spans; ``skew_s`` is the board's."""
    if calibration is None:
        return CalibrationUncertainty(skew_s=skew_s)
    channels = calibration.channels
    return CalibrationUncertainty(
        covariance=calibration.covariance_of(range(len(channels))),
        bend_per_N=np.array([c.bend_per_N for c in channels]),
        u_curve_N=np.array([c.u_curve_N for c in channels]),
        skew_s=skew_s,
    )


@dataclass(frozen=True)
class SessionLoads:
    """One session, uniform in time.

    Attributes
    ----------
    rig : Rig
    t_s : (n,) float, s
        Instants of the load.
    load_N : (n, channels) float, N
        Despiked; NaN where a reading is missing.
    u_zero_N, u_rel_span : (channels,) float
        Standard uncertainties of each channel's zero (N) and span (relative).
    known : CalibrationUncertainty
        What else is known of the cells and of the board's stamps.
    unweighed_bar_N : (n,) float or None
        Inferred load of a bar without cells.
    """

    rig: Rig
    t_s: Array
    load_N: Array
    u_zero_N: Array
    u_rel_span: Array
    known: CalibrationUncertainty = field(default_factory=lambda: CalibrationUncertainty())
    unweighed_bar_N: Array | None = None
    _noise: dict[tuple[int, ...], float] = field(default_factory=dict, init=False, repr=False, compare=False)

    def __len__(self) -> int:
        return len(self.t_s)

    @cached_property
    def covariance(self) -> Array:
        """Return (2 channels, 2 channels) the covariance of the relative spans, then of the bends (1/N)."""
        n = len(self.rig.channels)
        if self.known.covariance is not None:
            return self.known.covariance
        full = np.zeros((2 * n, 2 * n))
        full[:n, :n] = np.diag(self.u_rel_span**2)
        return full

    @cached_property
    def bend_per_N(self) -> Array:
        """Return (channels,) how the cells are bent (1/N), zeros where nothing is known of it."""
        return np.zeros(len(self.rig.channels)) if self.known.bend_per_N is None else self.known.bend_per_N

    @cached_property
    def u_curve_N(self) -> Array:
        """Return (channels,) what a reading lies off its cell's curve (N), zeros where nothing is known of it."""
        return np.zeros(len(self.rig.channels)) if self.known.u_curve_N is None else self.known.u_curve_N

    @cached_property
    def rate_Hz(self) -> float:
        """Return the measured rate in rows per second; the rig's nominal one for a session too short to tell."""
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
        """Return (n,) B, the sum of the bar's cells; what was inferred where there are none."""
        if self.unweighed_bar_N is not None:
            return self.unweighed_bar_N
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
        """Return the relative uncertainty of the span of a sum, its load shared evenly by its cells.

        Cells that were calibrated with the same masses err together: that does not average out (JCGM 100, 5.2.2).
        """
        if not index:
            return 0.0
        cells = list(index)
        return float(np.sqrt(self.covariance[np.ix_(cells, cells)].sum())) / len(cells)

    def noise_N(self, index: tuple[int, ...]) -> float:
        """Return the white noise of one reading of a sum of cells (N): its Allan deviation at one reading.

        Taken from the quieter pieces of ``NOISE_ROWS`` rows (their lower quartile, corrected for being one), so that
        neither steps nor tremor count as noise; 0 without a whole piece.
        """
        if index not in self._noise:
            self._noise[index] = self._compute_noise_N(index)
        return self._noise[index]

    def _compute_noise_N(self, index: tuple[int, ...]) -> float:
        total = self.load_N[:, list(index)].sum(axis=1)
        pieces = len(total) // NOISE_ROWS
        if not index or not pieces:
            return 0.0
        steps = np.diff(total[: pieces * NOISE_ROWS].reshape(pieces, NOISE_ROWS), axis=1)
        # The overlapping Allan variance at one reading is half of the mean square of successive differences.
        variance = np.mean(steps**2, axis=1) / 2
        variance = variance[~np.isnan(variance)]
        return float(np.sqrt(np.quantile(variance, 0.25) / QUIET_QUARTER)) if len(variance) else 0.0

    def with_load(self, load_N: Array) -> SessionLoads:
        """Return the session with other loads (n, channels)."""
        return replace(self, load_N=load_N)

    def minus(self, zero_N: Array) -> SessionLoads:
        """Return the session with zeros (n, channels) or (channels,) taken off."""
        return replace(self, load_N=self.load_N - zero_N)


UNEVEN_STAMP_S = 3e-4
"""Standard uncertainty of a stamp off such a line (common practice, no source)."""


def even_times(t_s: Array, largest_jitter_s: float = 0.003) -> tuple[Array, float]:
    """Return stamps freed of their jitter, and the standard uncertainty of a time between two of them.

    A converter counts evenly; only its stamps jitter. If they lie within ``largest_jitter_s`` of one straight line, the
    line is taken; its middle is known to the jitter over the root of their number, its ends to twice that. Otherwise (a
    gap of unknown length, a changed rate) the stamps are returned as they are.
    """
    n = len(t_s)
    if n < 8:
        return t_s, UNEVEN_STAMP_S
    index = np.arange(n) - 0.5 * (n - 1)
    slope = float(index @ t_s) / float(index @ index)
    line = t_s.mean() + slope * index
    away = line - t_s
    if np.max(np.abs(away)) >= largest_jitter_s:
        return t_s, UNEVEN_STAMP_S
    return line, 2.0 * float(np.sqrt(away @ away / (n - 2) / n))
