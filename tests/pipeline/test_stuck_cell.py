"""A cell that repeats one value: what it does not show is no third support, and the hold says so."""

from __future__ import annotations

import numpy as np
import pytest
from load_stories import RIG, TWO_SESSIONS, blocks_of, loads

from monitor.measures.session_analysis import AnalysisSettings
from monitor.pipeline import Pipeline, SessionMeasured
from monitor.records.hold_result import HoldResult


def holds_of(load_N: np.ndarray, t_s: np.ndarray) -> list[HoldResult]:
    pipeline = Pipeline(RIG, 80.0, AnalysisSettings(bodyweight_N=700.0))
    outputs = [pipeline.push_load(block) for block in blocks_of(t_s, load_N)] + [pipeline.flush()]
    measured = [event for out in outputs for event in out.events if isinstance(event, SessionMeasured)]
    return [hold for session in measured for hold in session.result.holds]


@pytest.mark.parametrize("channel", [0, 1, 3])
def test_the_hold_in_which_a_cell_sticks_is_flagged_and_no_other(channel: int):
    t_s, load_N = loads(TWO_SESSIONS)
    sticks = (t_s > 29.0) & (t_s < 32.0)
    load_N[sticks, channel] = load_N[sticks, channel][0]
    first, second = holds_of(load_N, t_s)
    assert "cell_stuck" not in first.flags
    assert "cell_stuck" in second.flags
    assert second.third_support == []
