"""How well an edge of a hold is known: noise, stamps, channels read one after the other, and the edge's own bend."""

from __future__ import annotations

import math

import numpy as np

from monitor.signals.stay import Stay

LEAST_SLOPE_N = 0.1
"""Least change from row to row that a crossing is read from (N)."""


def u_crossing_s(stay: Stay, at_s: float) -> float:
    """Return the standard uncertainty of the instant at which the bar's load crosses half of its level.

    Contributions (JCGM 100:2008, 5.1.2): the noise of the two readings that the straight line between them is drawn
    through, over its slope; the stamps; the skew of the channels, anywhere within its range, since nobody knows which
    cell bears how much of the edge (JCGM 100, 4.3.7); and what the cubic that the crossing was read from
    (``bend_shift_s``) leaves of the edge's bend: 3/128 of the fourth difference, the remainder of Lagrange's
    interpolation half-way between two of four readings.
    """
    row = int(np.clip(np.searchsorted(stay.t_s, at_s), 3, len(stay) - 3))
    near = stay.bar_N[row - 3 : row + 3]
    step_s = 1.0 / stay.rate_Hz
    slope_N = max(abs(float(near[3] - near[2])), LEAST_SLOPE_N)
    share = float(np.clip((at_s - stay.t_s[row - 1]) / step_s, 0.0, 1.0))
    noise_N = stay.noise_N(stay.rig.bar_index or stay.rig.platform_index) * math.hypot(share, 1.0 - share)
    bent_N = 3.0 / 128.0 * float(np.abs(np.diff(near, 4)).mean())
    skew_s = stay.known.skew_s / math.sqrt(12.0)
    return math.sqrt((math.hypot(noise_N, bent_N) / slope_N * step_s) ** 2 + stay.known.u_stamp_s**2 + skew_s**2)
