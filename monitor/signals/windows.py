"""A session in half-second windows: what a person on the rig does in each, and how quiet it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.signals import sliding
from monitor.signals.session_loads import Array, SessionLoads

WINDOW_S = 0.5
CALM_S = 0.1
PRESENT_N = 80.0
"""Less is nobody: a rig's cells do not drift by 8 kgf, and no person who hangs weighs less."""

OFF_ZERO_N = 6.0
"""A bar that carries no hands, or a platform without feet, reads less than this after calibration (60 gf a cell and
more by drift); more is a load, or a zero that must be read anew. Common practice, no source."""

QUIET_OF_LOAD = 0.005
QUIET_FLOOR_N = 2.0


@dataclass(frozen=True)
class Windows:
    """Means and standard deviations of bar, feet and sum (N) in windows of ``rows`` rows; masks of the same length."""

    rows: int
    t_s: Array
    cells_N: Array
    bar_N: Array
    feet_N: Array
    sum_N: Array
    bar_sd_N: Array
    feet_sd_N: Array
    sum_sd_N: Array
    whole: NDArray[np.bool_]

    @property
    def quiet(self) -> NDArray[np.bool_]:
        """Return where the body hardly accelerates: the sum's scatter is below 0.5 % of it (and 2 N)."""
        return np.asarray(self.whole & (self.sum_sd_N < QUIET_FLOOR_N + QUIET_OF_LOAD * np.abs(self.sum_N)))

    @property
    def empty(self) -> NDArray[np.bool_]:
        """Return where nobody is on the rig."""
        return np.asarray(self.quiet & (np.abs(self.sum_N) < PRESENT_N / 2))

    @property
    def standing(self) -> NDArray[np.bool_]:
        """Return where a person stands quietly with the hands off the bar."""
        off = (np.abs(self.bar_N) < OFF_ZERO_N) & (self.bar_sd_N < QUIET_FLOOR_N)
        return np.asarray(self.quiet & off & (self.feet_N > PRESENT_N))

    @property
    def hanging_free(self) -> NDArray[np.bool_]:
        """Return where a person hangs quietly with the feet off the platform."""
        off = (np.abs(self.feet_N) < OFF_ZERO_N) & (self.feet_sd_N < QUIET_FLOOR_N)
        return np.asarray(self.quiet & off & (self.bar_N > PRESENT_N))


def windows_of(session: SessionLoads) -> Windows:
    """Cut a stay into windows; a rest shorter than one is left out."""
    rows = max(4, session.rows(WINDOW_S))
    count = len(session) // rows
    used = count * rows

    def split(signal: Array) -> Array:
        return np.asarray(signal[:used].reshape(count, rows, *signal.shape[1:]))

    bar, feet, total = split(session.bar_N), split(session.feet_N), split(session.sum_N)
    # A mean over a tenth of a second is blind to mains hum, which no body makes, also where sampling folds it down.
    calm = max(1, session.rows(CALM_S))
    bar_calm, feet_calm, sum_calm = (
        split(sliding.mean(x, calm)) for x in (session.bar_N, session.feet_N, session.sum_N)
    )
    return Windows(
        rows=rows,
        t_s=split(session.t_s).mean(axis=1),
        cells_N=split(session.filled_N).mean(axis=1),
        bar_N=bar.mean(axis=1),
        feet_N=feet.mean(axis=1),
        sum_N=total.mean(axis=1),
        bar_sd_N=bar_calm.std(axis=1),
        feet_sd_N=feet_calm.std(axis=1),
        sum_sd_N=sum_calm.std(axis=1),
        whole=split(session.valid.astype(float)).mean(axis=1) > 0.8,
    )
