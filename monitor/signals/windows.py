"""A session in half-second windows: what the person on the rig does in each, and how quietly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.signals import sliding
from monitor.signals.session_loads import Array, SessionLoads

WINDOW_S = 0.5
"""Long enough for a mean, short against a pull or a step (common practice, no source)."""

CALM_S = 0.1
"""A mean over a tenth of a second ignores mains hum, which no body makes, even where sampling folds it down (common
practice, no source)."""

PRESENT_N = 80.0
"""Less is nobody: a rig's cells do not drift by 8 kgf, and no person who hangs weighs less (common practice, no
source)."""

OFF_ZERO_N = 6.0
"""A bar without hands, or a platform without feet, reads less than this after calibration (60 gf a cell and
more by drift); more is a load, or a zero that must be read anew. Common practice, no source."""

QUIET_OF_LOAD = 0.005
QUIET_FLOOR_N = 2.0
"""A body is quiet while S scatters by less than this share of it, and this much noise (common practice, no source)."""

ON_ONE_PART = 0.85
"""A body stands or hangs if platform or bar carries more than this share of it (common practice, no source)."""

WHOLE = 0.8
"""A window counts if more than this share of its readings is there (common practice, no source)."""

Loads = TypeVar("Loads", float, Array)
"""A load, or the loads of many windows, N."""


def is_quiet(sum_N: Loads, sum_sd_N: Loads) -> NDArray[np.bool_]:
    """Say whether the body hardly accelerates, by mean and standard deviation of S."""
    return np.asarray(sum_sd_N < QUIET_FLOOR_N + QUIET_OF_LOAD * np.abs(sum_N))


def is_unloaded(part_N: Loads, part_sd_N: Loads) -> NDArray[np.bool_]:
    """Say whether a part carries nothing, by mean and standard deviation of its load."""
    return np.asarray((np.abs(part_N) < OFF_ZERO_N) & (part_sd_N < QUIET_FLOOR_N))


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
        """Return where the body hardly accelerates."""
        return self.whole & is_quiet(self.sum_N, self.sum_sd_N)

    @property
    def empty(self) -> NDArray[np.bool_]:
        """Return where nobody is on the rig."""
        return np.asarray(self.quiet & (np.abs(self.sum_N) < PRESENT_N / 2))

    @property
    def standing(self) -> NDArray[np.bool_]:
        """Return where a person stands quietly with the hands off the bar."""
        return np.asarray(self.quiet & is_unloaded(self.bar_N, self.bar_sd_N) & (self.feet_N > PRESENT_N))

    @property
    def hanging_free(self) -> NDArray[np.bool_]:
        """Return where a person hangs quietly with the feet off the platform."""
        return np.asarray(self.quiet & is_unloaded(self.feet_N, self.feet_sd_N) & (self.bar_N > PRESENT_N))


def windows_of(session: SessionLoads) -> Windows:
    """Cut a session into windows; a remainder shorter than one is left out."""
    rows = max(4, session.rows(WINDOW_S))
    count = len(session) // rows
    used = count * rows

    def split(signal: Array) -> Array:
        return np.asarray(signal[:used].reshape(count, rows, *signal.shape[1:]))

    bar, feet, total = split(session.bar_N), split(session.feet_N), split(session.sum_N)
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
        whole=split(session.valid.astype(float)).mean(axis=1) > WHOLE,
    )
