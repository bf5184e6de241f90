"""The load curve of a stored hold, cut out of its session's journal."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monitor.analysis import clock_turns_s, read_load_curve
from monitor.store import DataFolder, Store

CURVE_MARGIN_S = 3.0


def hold_curve(
    store: Store, folder: DataFolder, uid: str
) -> tuple[NDArray[np.float64], tuple[str, ...], NDArray[np.float64]] | None:
    """Return a stored hold's curve: times (n,) as in its result, channel names, zeroed loads (n, channels) in N.

    None when there is no such hold, or its journal is gone or holds nothing of it.
    """
    hold = store.get_hold(uid)
    session = store.get_session(hold.session_uid) if hold is not None else None
    if hold is None or session is None:
        return None
    path = folder.journal(session.journal)
    if not path.exists():
        return None
    curve = read_load_curve(path)
    turns_s = clock_turns_s(hold.result.onset_s, curve.t_s)
    start_s, end_s = hold.result.onset_s - turns_s - CURVE_MARGIN_S, hold.result.release_s - turns_s + CURVE_MARGIN_S
    near = curve.between(start_s, end_s)
    if not len(near.t_s):  # a journal that begins after this hold: its first frames came too late, or are lost
        return None
    return near.t_s + turns_s, curve.rig.names, near.load_N
