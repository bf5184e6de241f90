"""What the benchmarks run on: an hour of the recorded curves, end to end."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from monitor.newtons.curve_file import read_curve
from monitor.newtons.load_block import LoadBlock
from monitor.rig import Rig

CURVES = Path(__file__).parents[1] / "recordings" / "curves"
RATE_Hz = 80.0


def long_record(seconds: float) -> tuple[Rig, np.ndarray, np.ndarray]:
    """Return (rig, t_s (n,), load_N (n, 6)): the curves one after the other, again and again, without gaps."""
    curves = [read_curve(path) for path in sorted(CURVES.glob("s[1-7]_*.csv.gz"))]
    loads = np.concatenate([c.load_N for c in curves])
    rows = int(seconds * RATE_Hz)
    load_N = np.tile(loads, (rows // len(loads) + 1, 1))[:rows]
    return curves[0].rig, np.arange(1, rows + 1) / RATE_Hz, load_N


def cut(t_s: np.ndarray, load_N: np.ndarray, rows: int) -> list[LoadBlock]:
    """Return the record in blocks of ``rows`` rows."""
    return [LoadBlock(t_s[i : i + rows], load_N[i : i + rows]) for i in range(0, len(t_s), rows)]
