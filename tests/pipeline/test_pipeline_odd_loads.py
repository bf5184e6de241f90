"""Whatever loads come, there is a result without a not-a-number in it, and no exception: bad data is data."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from load_stories import RIG, blocks_of, eight_cells, loads, with_faults

from monitor.measures.session_analysis import AnalysisSettings
from monitor.pipeline import Pipeline, SessionMeasured
from monitor.rig import rig_from_columns

RIGS = [RIG, eight_cells(), rig_from_columns(["bar_left"]), rig_from_columns(["bar_left", "bar_right", "foot_fl"])]
SHARES = st.sampled_from([0.0, 0.1, 0.3, 0.5, 0.9, 1.0, 1.5, -0.2, 10.0])
STEPS = st.sampled_from([0.02, 0.1, 0.3, 1.0, 4.0, 12.0])


@pytest.mark.filterwarnings("error")
@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(
    rig=st.sampled_from(RIGS),
    moves=st.lists(st.tuples(STEPS, SHARES, SHARES), min_size=2, max_size=12),
    noise_N=st.sampled_from([0.0, 0.4, 3.0, 40.0]),
    faults=st.sampled_from([0, 3, 20, 150]),
    dead=st.sampled_from(["no cell", "one cell", "all cells", "all cells for a while"]),
    bodyweight_N=st.sampled_from([None, None, 60.0, 700.0, 4000.0]),
    live=st.booleans(),
)
def test_any_loads(rig, moves, noise_N, faults, dead, bodyweight_N, live):
    points, now_s = [(0.0, 0.0, 0.0)], 0.0
    for step_s, bar, feet in moves:
        now_s += step_s
        points.append((now_s, bar, feet))
    t_s, load_N = loads(points, rig=rig, noise_N=noise_N)
    n = len(t_s)
    if faults and n > 20:
        load_N = with_faults(load_N, every=faults)
    if dead == "one cell":
        load_N[:, 0] = np.nan
    elif dead.startswith("all cells"):
        load_N[n // 3 : 2 * n // 3 if dead.endswith("while") else n] = np.nan
    lost = [(n // 2, min(900, n // 4))] if n > 40 else []
    pipeline = Pipeline(rig, 80.0, AnalysisSettings(bodyweight_N=bodyweight_N), live=live)
    outputs = [*(pipeline.push_load(block) for block in blocks_of(t_s, load_N, lost)), pipeline.flush()]
    for result in (e.result for o in outputs for e in o.events if isinstance(e, SessionMeasured)):
        json.dumps(result.as_dict(), allow_nan=False)
        for hold in result.holds:
            assert 0 < hold.duration_s == pytest.approx(hold.release_s - hold.onset_s)
            assert hold.duration_u_s > 0
