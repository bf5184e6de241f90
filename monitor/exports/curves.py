"""A load curve as CSV, in the form that an analysis reads back."""

from __future__ import annotations

import csv
import itertools
import math
from collections.abc import Sequence
from typing import TextIO

import numpy as np
from numpy.typing import NDArray

from monitor.exports.cells import cell


def curve_csv(t_s: NDArray[np.float64], names: Sequence[str], load_N: NDArray[np.float64], out: TextIO) -> None:
    """Write a curve: ``t_s`` to the microsecond, one column ``<name>_N`` for each channel to 0.1 mN.

    Parameters
    ----------
    t_s : (n,) float, s, increasing
        Instants at which the readings were ready (not the times of the load: an analysis takes the delay off).
        A lost sample has no row.
    names : sequence of str
        The channels' names as in the rig description; ``bar_left``, ``foot_fl`` and their like are read back.
    load_N : (n, channels) float, N
        NaN where a reading failed: an empty field.
    out : text file
        Opened with ``newline=""``.

    Raises
    ------
    ValueError
        The shapes do not belong together, or times do not increase.
    """
    if load_N.shape != (len(t_s), len(names)):
        raise ValueError(f"{len(t_s)} times and {len(names)} names do not fit loads of shape {load_N.shape}.")
    times = [f"{t:.6f}" for t in t_s.tolist()]
    if not np.all(np.isfinite(t_s)) or any(float(a) >= float(b) for a, b in itertools.pairwise(times)):
        raise ValueError("Times must be numbers and increase by a microsecond or more; write each segment by itself.")
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["t_s", *(cell(f"{name}_N") for name in names)])
    for t, row in zip(times, load_N.tolist(), strict=True):
        table.writerow([t, *(f"{x:.4f}" if math.isfinite(x) else "" for x in row)])


def stamps_of(t_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the stamps (n,) of a load curve file whose loads are at the instants ``t_s`` (n,), in seconds.

    A reading is the mean over the interval before its stamp: readers of such a file take half an interval off again.
    """
    if len(t_s) < 2:
        return t_s
    return np.asarray(t_s + 0.5 * float(np.median(np.diff(t_s))))
