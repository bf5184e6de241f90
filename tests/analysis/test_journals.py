"""A journal gives what the same loads give as a curve; what cannot be analysed is told."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journals_by_hand import READING_DELAY_us, calibration_of, write_journal
from load_stories import RIG, TWO_SESSIONS, blocks_of, loads, with_faults

from firmware_bridge.counts import CountBlock
from firmware_bridge.errors import JournalNotFound, NotAJournal
from firmware_bridge.sources import Note
from monitor.analysis import analyse_file, joined, read_load_curve, rig_of_journal
from monitor.errors import BadInput
from monitor.event_analyser import RigUnknown
from monitor.measures.session_analysis import AnalysisSettings
from monitor.pipeline import Pipeline, SessionMeasured
from monitor.records.session_result import SessionResult
from monitor.rig import Rig, WrongBoard, rig_from_columns

T_s, LOAD_N = loads(TWO_SESSIONS)
LOAD_N = with_faults(LOAD_N)
WRAP_us = 2**32


def as_a_curve() -> list[SessionResult]:
    """Return the sessions' results of the same loads, their delay taken off as the board tells it."""
    blocks = blocks_of(T_s - READING_DELAY_us * 1e-6, LOAD_N)
    pipeline = Pipeline(RIG, 80.0, AnalysisSettings())
    outputs = [*(pipeline.push_load(b) for b in blocks), pipeline.flush()]
    return [e.result for o in outputs for e in o.events if isinstance(e, SessionMeasured)]


@pytest.mark.parametrize("start_us", [0, WRAP_us - 14_000_000], ids=["from boot", "through the wrap of the clock"])
def test_a_journal_gives_what_the_curve_gives(tmp_path, start_us):
    write_journal(tmp_path / "a.journal", RIG, LOAD_N, start_us=start_us)
    analysis = analyse_file(tmp_path / "a.journal")
    wanted = [hold for result in as_a_curve() for hold in result.holds]
    assert len(analysis.result.holds) == len(wanted) == 2
    for computed, hold in zip(analysis.result.holds, wanted, strict=True):
        # Counts round to a thousandth of a newton, stamps to a microsecond.
        assert computed.onset_s - start_us * 1e-6 == pytest.approx(hold.onset_s, abs=1e-4)
        assert computed.duration_s == pytest.approx(hold.duration_s, abs=1e-4)
        assert computed.alpha_mean == pytest.approx(hold.alpha_mean, abs=1e-5)
        assert computed.flags == hold.flags
        assert len(computed.regrips) == len(hold.regrips)
    assert analysis.result.quality.samples == len(T_s)
    assert analysis.result.quality.spikes > 10
    assert analysis.curve.t_s.shape == T_s.shape
    bad = np.isnan(LOAD_N)
    load_N = analysis.curve.load_N
    np.testing.assert_array_equal(np.isnan(load_N), bad)
    # The zeros that were read are taken off: what is left is the made-up load, as far as its noise lets it be read.
    np.testing.assert_allclose(load_N[~bad], LOAD_N[~bad], atol=1.0)
    assert analysis.result.quality.zero_bar_N is not None


def test_loads_and_rig_can_be_read_without_analysing(tmp_path):
    calibration = write_journal(tmp_path / "a.journal", RIG, LOAD_N)
    curve = read_load_curve(tmp_path / "a.journal")
    assert (curve.rig, curve.load_N.shape) == (RIG, LOAD_N.shape)
    assert curve.t_s[0] == pytest.approx(-READING_DELAY_us * 1e-6)
    assert rig_of_journal(tmp_path / "a.journal") == (RIG, calibration)


def test_a_journal_that_does_not_say_of_which_rig_needs_it_given(tmp_path):
    path = tmp_path / "a.journal"
    write_journal(path, RIG, LOAD_N, note=False)
    for ask in (analyse_file, read_load_curve, rig_of_journal):
        with pytest.raises(RigUnknown) as caught:
            ask(path)
        assert "--rig" in caught.value.do
    analysis = analyse_file(path, rig=RIG, calibration=calibration_of(RIG))
    assert len(analysis.result.holds) == 2


def test_another_rig_than_the_boards_is_refused(tmp_path):
    write_journal(tmp_path / "a.journal", RIG, LOAD_N, note=False)
    other = rig_from_columns(["bar_left", "bar_right"])
    with pytest.raises(WrongBoard, match="6 channels; the rig description has 2"):
        analyse_file(tmp_path / "a.journal", rig=other, calibration=calibration_of(other))


def test_a_torn_journal_is_analysed_up_to_the_tear_and_left_alone(tmp_path):
    path = tmp_path / "a.journal"
    write_journal(path, RIG, LOAD_N)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) * 2 // 3])
    torn = path.read_bytes()
    result = analyse_file(path).result
    assert len(result.holds) == 1
    assert 0.6 * len(T_s) < result.quality.samples < 0.7 * len(T_s)
    assert path.read_bytes() == torn


def test_a_file_that_is_no_journal_is_reported(tmp_path):
    with pytest.raises(JournalNotFound):
        analyse_file(tmp_path / "none.journal")
    (tmp_path / "letter.journal").write_text("Dear coach,\nhang in there.\n")
    with pytest.raises(NotAJournal):
        analyse_file(tmp_path / "letter.journal")
    write_journal(tmp_path / "silent.journal", RIG, LOAD_N[:0])
    for ask in (analyse_file, read_load_curve):
        with pytest.raises(BadInput, match="holds no readings"):
            ask(tmp_path / "silent.journal")


def test_a_bar_on_one_cell_is_measured_as_far_as_it_goes(tmp_path):
    rig = Rig("one", (RIG.channels[0],))
    _, load_N = loads(TWO_SESSIONS, rig=rig)
    write_journal(tmp_path / "a.journal", rig, load_N)
    plain = analyse_file(tmp_path / "a.journal").result
    assert plain.bodyweight_N is None
    assert "bodyweight_unknown" in plain.flags
    assert [h.alpha_mean for h in plain.holds] == [None, None]
    assert plain.holds[0].duration_s == pytest.approx(18.05 - 6.1, abs=0.03)
    given = analyse_file(tmp_path / "a.journal", AnalysisSettings(bodyweight_N=700.0)).result
    first, second = given.holds
    assert not first.alpha_direct
    assert {"alpha_inferred", "hands_not_told_apart", "swing_needs_platform", "travel_needs_platform"} <= set(
        first.flags
    )
    assert (first.misclosure, first.lateral_m, first.tremor_N, first.swing) == (None, None, None, None)
    assert second.alpha_mean == pytest.approx(0.2, abs=0.01)
    assert second.support == "assisted"


@settings(deadline=None, max_examples=100)
@given(data=st.data())
def test_readings_that_follow_on_are_joined_and_nothing_else_moves(data):
    """Rows, losses, segments and other events stand in the order they came in (worked out by counting rows)."""
    events, row = [], 0
    kind = st.sampled_from(["rows", "rows", "rows", "rows", "lost", "segment", "note"])
    segment = 0
    for number, what in enumerate(data.draw(st.lists(kind, max_size=40))):
        if what == "note":
            events.append(Note({"number": number}))
            continue
        segment += what == "segment"
        n = data.draw(st.integers(1, 9))
        rows = np.arange(row, row + n)
        events.append(
            CountBlock(segment, rows / 80.0, rows[:, None].astype(np.int32), 3 * (what == "lost"), 1 << number, n)
        )
        row += n
    out = list(joined(events))

    def message(sequence):
        """Return each row with its segment and what was lost before it, and notes at their places."""
        computed = []
        for event in sequence:
            if isinstance(event, Note):
                computed.append(event)
                continue
            lost = [event.lost_before] + [0] * (len(event) - 1)
            rows = zip(event.board_s.tolist(), event.counts[:, 0].tolist(), lost, strict=True)
            computed += [(event.segment, *row) for row in rows]
        return computed

    assert message(out) == message(events)
    blocks = [e for e in out if isinstance(e, CountBlock)]
    assert sum(b.damaged for b in blocks) == row
    assert sum(b.status for b in blocks) == sum(e.status for e in events if isinstance(e, CountBlock))
    for before, after in itertools.pairwise(out):
        if isinstance(before, CountBlock) and isinstance(after, CountBlock):
            assert after.lost_before or after.segment != before.segment
