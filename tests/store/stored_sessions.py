"""Sessions kept with their journals: recorded curves, with zeros that the calibration does not know."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from journals_by_hand import write_journal
from numpy.typing import NDArray

from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.calibration import calibration_to_dict
from monitor.newtons.curve_file import read_curve
from monitor.records.stored_hold import StoredHold
from monitor.rig import rig_to_dict
from monitor.store import DataFolder, Store
from monitor.store.maintenance.rebuild import rebuild_session

CURVES = Path(__file__).parents[1] / "recordings" / "curves"
ZERO_N = np.array([2.5, 3.5, -1.0, 0.5, 1.5, 2.0])
"""What the cells of the recorded rig read beside the load, by cell: 6 N on the bar, 3 N on the platform."""


def recorded(name: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return a recorded curve: times (n,), loads (n, 6)."""
    curve = read_curve(next(CURVES.glob(f"{name}_*.csv.gz")))
    return curve.t_s, curve.load_N


def two_neighbours() -> NDArray[np.float64]:
    """Return the loads of a session with two holds: a recorded one, and after 10 s of standing the same again."""
    t_s, load_N = recorded("s1")
    return np.concatenate([load_N[t_s < 53.0], load_N[t_s > 8.0]])


def keep_session(
    store: Store, folder: DataFolder, load_N: NDArray[np.float64], uid: str = "session-1"
) -> list[StoredHold]:
    """Keep a session of the recorded rig, with its journal and its measured holds, which are returned."""
    rig = read_curve(next(CURVES.glob("s1_*.csv.gz"))).rig
    path = folder.new_journal(uid, 0)
    calibration = write_journal(path, rig, load_N + ZERO_N)
    store.begin_session(0, rig_to_dict(rig), calibration_to_dict(calibration), uid=uid)
    return list(rebuild_session(store, path, uid, 0, AnalysisSettings()).holds)
