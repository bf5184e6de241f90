"""New clock segments, long gaps, a wrapping board clock, and the rows that a result is made of."""

from __future__ import annotations

import numpy as np
import pytest
from load_stories import BODYWEIGHT_N, RIG, TWO_SESSIONS, blocks_of, loads

from firmware_bridge.counts import NO_READING, CountBlock
from monitor.analysis import whole_result
from monitor.event_analyser import EventAnalyser
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.calibration import BadCalibration, Calibration, ChannelCalibration
from monitor.newtons.load_block import LoadBlock
from monitor.pipeline import Output, Pipeline, SessionBegan, SessionMeasured

N_PER_COUNT = 0.002
CALIBRATION = Calibration(tuple(ChannelCalibration(name, 1000.0, N_PER_COUNT) for name in RIG.names))


def run(pipeline: Pipeline, blocks: list[LoadBlock]) -> list[SessionMeasured]:
    outputs = [*(pipeline.push_load(block) for block in blocks), pipeline.flush()]
    return [e for out in outputs for e in out.events if isinstance(e, SessionMeasured) and e.final]


def counts_of(load_N: np.ndarray) -> np.ndarray:
    counts = np.rint(load_N / N_PER_COUNT + 1000.0)
    return np.where(np.isnan(load_N), NO_READING, counts).astype(np.int32)


def test_a_new_segment_interrupts_the_session_and_begins_another():
    t_s, load_N = loads(TWO_SESSIONS)
    # The board starts anew in mid-hang, 14 s after the beginning; its clock begins at zero again.
    half = 14 * 80
    blocks = [
        LoadBlock(t_s[:half], load_N[:half], 0),
        LoadBlock(t_s[half:] - t_s[half] + 0.5, load_N[half:], 1),
    ]
    before, after, last = run(Pipeline(RIG, 80.0, AnalysisSettings()), blocks)
    assert (before.interrupted, after.interrupted, last.interrupted) == (True, False, False)
    assert [before.session, after.session, last.session] == [1, 2, 3]
    (first_part,), (second_part,) = before.result.holds, after.result.holds
    assert "record_ends_in_hold" in first_part.flags
    assert "record_begins_in_hold" in second_part.flags
    assert first_part.release_s == pytest.approx(t_s[half - 1], abs=0.02)
    assert second_part.onset_s == pytest.approx(0.5, abs=0.02)
    # No duration crosses from one clock to the other.
    assert first_part.duration_s == pytest.approx(14 - 6.1, abs=0.05)
    assert second_part.duration_s == pytest.approx(18.05 - 14, abs=0.05)


@pytest.mark.parametrize(("gap_s", "sessions"), [(9.9, 1), (10.1, 2)])
def test_a_gap_beyond_ten_seconds_interrupts_a_shorter_one_is_bridged_aloud(gap_s, sessions):
    t_s, load_N = loads(
        [(0, 0, 0), (2, 0, 0), (2.2, 0, 1), (5, 0, 1), (5.2, 1, 0), (40, 1, 0), (40.2, 0, 1), (44, 0, 1)]
    )
    first, rows = 12 * 80, round(gap_s * 80)
    measured = run(Pipeline(RIG, 80.0, AnalysisSettings()), blocks_of(t_s, load_N, [(first, rows)]))
    assert [m.interrupted for m in measured] == [True, False][-sessions:]
    holds = [hold for m in measured for hold in m.result.holds]
    if sessions == 1:
        assert holds[0].duration_s == pytest.approx(40.1 - 5.1, abs=0.05)
        assert "data_missing" in holds[0].flags
        assert measured[0].result.quality.lost == rows
    else:
        assert ["record_ends_in_hold" in h.flags for h in holds] == [True, False]
        assert ["record_begins_in_hold" in h.flags for h in holds] == [False, True]


def test_a_record_cut_off_by_a_long_gap_says_so():
    t_s, load_N = loads(TWO_SESSIONS)
    pipeline = Pipeline(RIG, 80.0, AnalysisSettings())
    outputs = [pipeline.push_load(b) for b in blocks_of(t_s, load_N, [(12 * 80, 11 * 80)])] + [pipeline.flush()]
    result = whole_result(outputs, pipeline.samples, pipeline.lost, pipeline.spikes, 80.0)
    assert {"interrupted", "several_sessions"} <= set(result.flags)


def test_the_session_begins_with_the_first_load_and_keeps_the_empty_rig_before_it():
    t_s, load_N = loads(TWO_SESSIONS)
    out = Pipeline(RIG, 80.0, AnalysisSettings()).push_load(LoadBlock(t_s, load_N))
    first, second = [e for e in out.events if isinstance(e, SessionBegan)]
    assert first.from_s == 0.0
    assert first.at_s == pytest.approx(2.0, abs=0.11)
    assert second.at_s == pytest.approx(26.0, abs=0.11)
    assert second.at_s - second.from_s == pytest.approx(8.0)


def test_a_wrap_of_the_boards_clock_changes_nothing():
    """The bridge unwraps 32-bit microseconds (4294.967296 s); the result must not feel it but by rounding."""
    t_s, load_N = loads(TWO_SESSIONS)
    counts = counts_of(load_N)
    results = []
    for start_s in (0.0, 2**32 * 1e-6 - 14.0):
        pipeline = Pipeline(RIG, 80.0, AnalysisSettings(), calibration=CALIBRATION, delay_s=0.00625)
        outputs = [
            pipeline.push(CountBlock(0, start_s + t_s[a : a + 8], counts[a : a + 8])) for a in range(0, len(t_s), 8)
        ]
        outputs.append(pipeline.flush())
        results.append([(e.result, start_s) for o in outputs for e in o.events if isinstance(e, SessionMeasured)])
    for (plain, _), (wrapped, start_s) in zip(*results, strict=True):
        assert wrapped.bodyweight_N == pytest.approx(plain.bodyweight_N, rel=1e-9)
        for a, b in zip(plain.holds, wrapped.holds, strict=True):
            assert b.onset_s - start_s == pytest.approx(a.onset_s, abs=1e-8)
            assert b.duration_s == pytest.approx(a.duration_s, abs=1e-8)
            assert b.alpha_mean == pytest.approx(a.alpha_mean, abs=1e-9)
    assert len(results[0]) == 2


def test_times_are_those_of_the_load_and_the_clocks_rate_stretches_durations_only():
    t_s, load_N = loads(TWO_SESSIONS)
    plain = Pipeline(RIG, 80.0, AnalysisSettings(), calibration=CALIBRATION)
    late = Pipeline(RIG, 80.0, AnalysisSettings(), calibration=CALIBRATION, delay_s=0.1)
    late.clock(1.001, 1e-6)
    block = CountBlock(0, t_s, counts_of(load_N))
    one, other = (
        [e.result.holds[0] for o in (p.push(block), p.flush()) for e in o.events if isinstance(e, SessionMeasured)]
        for p in (plain, late)
    )
    for a, b in zip(one, other, strict=True):
        assert b.onset_s == pytest.approx(a.onset_s - 0.1, abs=1e-9)
        assert b.duration_s == pytest.approx(1.001 * a.duration_s, rel=1e-9)
        assert b.clean_s == pytest.approx(1.001 * a.clean_s, rel=1e-9)
        assert b.dose_bw_s == pytest.approx(1.001 * a.dose_bw_s, rel=1e-9)
        assert b.beta_mean == pytest.approx(a.beta_mean, rel=1e-9)


def test_a_given_bodyweight_is_believed():
    t_s, load_N = loads(TWO_SESSIONS)
    out = Pipeline(RIG, 80.0, AnalysisSettings(bodyweight_N=2 * BODYWEIGHT_N)).push_load(LoadBlock(t_s, load_N))
    first = next(e.result for e in out.events if isinstance(e, SessionMeasured))
    assert first.bodyweight_N == 2 * BODYWEIGHT_N
    assert first.holds[0].beta_mean == pytest.approx(0.48, abs=0.03)


def test_an_empty_rig_gives_nothing():
    t_s, load_N = loads([(0, 0, 0), (20, 0, 0)])
    pipeline = Pipeline(RIG, 80.0, AnalysisSettings())
    outputs = [pipeline.push_load(LoadBlock(t_s, load_N)), pipeline.flush()]
    assert [e for out in outputs for e in out.events] == []
    assert whole_result(outputs, pipeline.samples, 0, 0, 80.0).flags == ["nobody_on_the_rig"]
    assert Pipeline(RIG, 80.0, AnalysisSettings()).flush() == Output()


def test_a_board_with_other_channels_is_refused():
    pipeline = Pipeline(RIG, 80.0, AnalysisSettings(), calibration=CALIBRATION)
    with pytest.raises(BadCalibration, match="5 channels"):
        pipeline.push(CountBlock(0, np.arange(3) / 80, np.zeros((3, 5), dtype=np.int32)))
    with pytest.raises(ValueError, match="push_load"):
        Pipeline(RIG, 80.0, AnalysisSettings()).push(CountBlock(0, np.arange(3) / 80, np.zeros((3, 6), dtype=np.int32)))


def test_counts_without_any_rig_are_refused():
    from monitor.event_analyser import RigUnknown

    with pytest.raises(RigUnknown, match="does not say of which rig"):
        EventAnalyser(AnalysisSettings()).take(CountBlock(0, np.arange(3) / 80, np.zeros((3, 6), dtype=np.int32)))
