"""The load curve that every view draws: loads of a rig's cells, less their zeros."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.rig import Rig
from monitor.signals.session_loads import Array


@dataclass(frozen=True)
class ZeroCourse:
    """The zeros of one session: instants (n,) in s, and the zero of each cell (n, channels) in N."""

    t_s: Array
    zero_N: Array


@dataclass(frozen=True)
class LoadCurve:
    """A load curve whose zeros are taken off.

    Attributes
    ----------
    rig : Rig
    t_s : (n,) float, s
        Instants of the load.
    load_N : (n, channels) float, N
        NaN where a reading failed.
    """

    rig: Rig
    t_s: Array
    load_N: Array

    @property
    def bar_N(self) -> Array:
        """Return (n,) the sum of the bar's cells."""
        return np.asarray(self.load_N[:, list(self.rig.bar_index)].sum(axis=1))

    @property
    def feet_N(self) -> Array | None:
        """Return (n,) the sum of the platform's cells; None without a platform."""
        if not self.rig.has_platform:
            return None
        return np.asarray(self.load_N[:, list(self.rig.platform_index)].sum(axis=1))

    def between(self, start_s: float, end_s: float) -> LoadCurve:
        """Return the part of the curve between two instants, which are not included."""
        near = (self.t_s > start_s) & (self.t_s < end_s)
        return LoadCurve(self.rig, self.t_s[near], self.load_N[near])


def without_zeros(rig: Rig, t_s: Array, load_N: Array, zeros: Sequence[ZeroCourse]) -> LoadCurve:
    """Return a curve as its sessions were measured: less the zeros that were read in them.

    A part that was never free in a session keeps the calibration's zero there, as in the measurement; its holds carry
    ``bar_zero_not_read`` or ``platform_zero_not_read``. Outside of the sessions the nearest zero counts.

    Parameters
    ----------
    rig : Rig
    t_s : (n,) float, s
    load_N : (n, channels) float, N
        As calibrated.
    zeros : sequence of ZeroCourse
        Of the sessions of this curve, in order of time.
    """
    if not zeros:
        return LoadCurve(rig, t_s, load_N)
    at_s, zero_N = zeros[0].t_s, zeros[0].zero_N
    for later in zeros[1:]:
        # A session begins with what was read before somebody came, which may be the end of the one before.
        new = later.t_s > at_s[-1]
        at_s, zero_N = np.concatenate([at_s, later.t_s[new]]), np.concatenate([zero_N, later.zero_N[new]])
    columns = [np.interp(t_s, at_s, zero_N[:, column]) for column in range(load_N.shape[1])]
    return LoadCurve(rig, t_s, load_N - np.column_stack(columns))
