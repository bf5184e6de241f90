"""A new zero, proposed while the rig is empty and still; only a person puts it in force."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import NO_READING
from monitor.errors import MonitorError
from monitor.newtons.allan_deviation import FEWEST_VALUES, allan_curve, judge
from monitor.newtons.calibration import Calibration
from monitor.rig import Rig
from monitor.signals.windows import PRESENT_N, QUIET_FLOOR_N
from monitor.statistics import inliers

READ_S = 10.0
"""How long a zero is read (common practice, no source)."""

STILL_PIECES = 10
"""The rig is still where the medians of so many pieces of the reading agree (common practice, no source)."""

USUAL_SHIFT_N = 20.0
"""A cell that moved further since its last zero has been overloaded, moved or loaded (common practice, no source)."""


class RigNotEmpty(MonitorError):
    """Something is on the rig: no zero can be read."""

    code = "rig-not-empty"


class RigNotStill(MonitorError):
    """The rig moves, or a cell gives no readings: no zero can be read."""

    code = "rig-not-still"


class ZeroNotTaken(MonitorError):
    """Nobody confirmed the new zero."""

    code = "zero-not-taken"


@dataclass(frozen=True)
class ZeroReading:
    """A proposed zero: counts and their standard uncertainties, and by how much each cell moves (N)."""

    names: tuple[str, ...]
    counts: tuple[float, ...]
    u_counts: tuple[float, ...]
    shift_N: tuple[float, ...]

    @property
    def unusual(self) -> tuple[str, ...]:
        """Return the cells whose zero moved further than is usual."""
        return tuple(n for n, shift in zip(self.names, self.shift_N, strict=True) if abs(shift) > USUAL_SHIFT_N)

    def as_dict(self) -> dict[str, Any]:
        """Return the reading as plain JSON data."""
        rows = zip(self.names, self.counts, self.u_counts, self.shift_N, strict=True)
        return {n: {"zero_counts": c, "u_zero_counts": u, "shift_N": s} for n, c, u, s in rows}

    def applied(self, calibration: Calibration, at: str) -> Calibration:
        """Return the calibration with these zeros, dated ``at`` (ISO 8601)."""
        return calibration.with_zeros(self.counts, self.u_counts, at)


def read_zero(rig: Rig, calibration: Calibration, counts: NDArray[np.int32], rate_Hz: float) -> ZeroReading:
    """Return the zero that counts (n, channels) of an empty, still rig give.

    The uncertainty of each mean is that of its Allan deviation: white noise shrinks with the number of readings,
    wandering does not.

    Raises
    ------
    RigNotEmpty
        Bar or platform carries about as much as a person.
    RigNotStill
        The loads move, or a cell gives no readings.
    """
    rows = counts.astype(np.float64)
    rows[counts == NO_READING] = np.nan
    load_N = calibration.newtons(counts)
    means, errors = np.empty(len(rig.names)), np.empty(len(rig.names))
    for column, name in enumerate(rig.names):
        good = rows[~np.isnan(rows[:, column]), column]
        if len(good):
            good = good[inliers(good, 1.0)]
        if len(good) < max(FEWEST_VALUES, 0.5 * len(rows)):
            raise _restless(f"{name} gives too few readings.", f"Check the wires of {name}.")
        means[column] = good.mean()
        errors[column] = judge(allan_curve(good, rate_Hz)).standard_error(len(good))
    for part, index in (("bar", rig.bar_index), ("platform", rig.platform_index)):
        total = load_N[:, list(index)].sum(axis=1)
        level = float(np.nanmedian(total)) if index else 0.0
        if abs(level) > PRESENT_N:
            raise RigNotEmpty(
                what=f"The {part} reads {level:.0f} N.",
                means="Somebody or something is on it; a zero now would be wrong by that much. Nothing was changed.",
                do="Take everything off the rig. If nothing is on it, calibrate it anew with known masses.",
            )
        pieces = total[: len(total) // STILL_PIECES * STILL_PIECES].reshape(STILL_PIECES, -1)
        spread = float(np.ptp(np.nanmedian(pieces, axis=1))) if index and pieces.size else 0.0
        if spread > QUIET_FLOOR_N:
            raise _restless(f"The {part} moves by {spread:.1f} N.", "Keep hands, feet and draught away; try again.")
    spans = np.array([c.N_per_count for c in calibration.channels])
    shifts = (means - np.array([c.zero_counts for c in calibration.channels])) * spans
    return ZeroReading(rig.names, tuple(means.tolist()), tuple(errors.tolist()), tuple(shifts.tolist()))


def _restless(what: str, do: str) -> RigNotStill:
    return RigNotStill(what=what, means="A zero from it would not be one. Nothing was changed.", do=do)
