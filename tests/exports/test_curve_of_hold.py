"""The curve of a stored hold, cut out of its session's journal."""

from __future__ import annotations

import numpy as np
import pytest
from store_samples import CALIBRATION, RIG, sample_hold

from monitor.exports import hold_curve as hold_curve_module
from monitor.exports.hold_curve import CURVE_MARGIN_S, hold_curve
from monitor.rig import rig_from_columns
from monitor.signals.load_curve import LoadCurve
from monitor.store import DataFolder, open_store

# The board's microseconds wrap at 2**32 (protocol, version 1).
TURN_S = 2**32 / 1e6


@pytest.mark.parametrize("turns", [0, 1, 3])
def test_a_curve_is_there_as_far_as_its_journal_goes(tmp_path, monkeypatch, turns):
    folder = DataFolder.open(tmp_path)
    with open_store(folder.database) as store:
        uid = store.begin_session(0, RIG, CALIBRATION, uid="session-1")
        folder.new_journal(uid, 0).touch()
        hold = store.save_hold(sample_hold(uid))
        onset_s, release_s = hold.result.onset_s, hold.result.release_s

        def journal_from(first_s: float) -> None:
            t_s = np.arange(first_s, release_s + 60.0, 0.0125) - turns * TURN_S
            curve = LoadCurve(rig_from_columns(["bar_left"]), t_s, np.ones((len(t_s), 1)))
            monkeypatch.setattr(hold_curve_module, "read_load_curve", lambda path: curve)

        journal_from(onset_s - 20.0)
        t_s, names, load_N = hold_curve(store, folder, hold.uid)
        assert names == ("bar_left",)
        assert len(t_s) == len(load_N)
        ends = [onset_s - CURVE_MARGIN_S, release_s + CURVE_MARGIN_S]
        assert [t_s[0], t_s[-1]] == pytest.approx(ends, abs=0.02)
        journal_from(release_s + CURVE_MARGIN_S + 1.0)
        assert hold_curve(store, folder, hold.uid) is None
