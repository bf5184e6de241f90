"""What follows on what: sequence numbers and missed counters modulo 65536, times modulo 2**32 us (wire protocol 1)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest
from bridge_streams import INTERVAL_256US, ramp
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_bridge.continuity import FrameContinuity, Judgement, LineContinuity
from firmware_bridge.messages import Samples
from firmware_bridge.text_lines import format_line, parse_line

ROWS = 4
INTERVAL_US = INTERVAL_256US // 256


@dataclass(frozen=True)
class Sent:
    """A sample frame of an invented board, before anything happens to it on the wire."""

    sequence: int
    samples: Samples
    conversion: int


def run_of_frames(missed_before: list[int], *, sequence: int = 1, start_us: int = 0, missed: int = 0) -> list[Sent]:
    """Return one frame for each number of conversions that the board misses directly before it."""
    sent, conversion = [], 0
    for number, skipped in enumerate(missed_before):
        conversion += skipped
        missed += skipped
        first_us = (start_us + conversion * INTERVAL_US) % 2**32
        samples = Samples(first_us, INTERVAL_256US, missed % 65536, ramp(conversion, ROWS))
        sent.append(Sent((sequence + number) % 65536, samples, conversion))
        conversion += ROWS
    return sent


def judge(frames: list[Sent]) -> list[Judgement]:
    continuity = FrameContinuity()
    return [continuity.samples(one.sequence, one.samples) for one in frames]


FOLLOWS = Judgement("follows", 0)


def test_an_undisturbed_run_loses_nothing():
    assert judge(run_of_frames([0] * 50)) == [FOLLOWS] * 50


@pytest.mark.parametrize("sequence", [65530, 65535, 0])
def test_the_sequence_number_wraps_without_a_loss(sequence):
    assert judge(run_of_frames([0] * 20, sequence=sequence)) == [FOLLOWS] * 20


def test_the_boards_time_wraps_without_a_loss():
    assert judge(run_of_frames([0] * 20, start_us=2**32 - 5 * ROWS * INTERVAL_US - 7)) == [FOLLOWS] * 20


@pytest.mark.parametrize("missed", [0, 65530, 65535])
def test_conversions_missed_by_the_board_are_counted_across_the_wrap_of_its_counter(missed):
    skips = [0, 3, 0, 0, 10, 1, 0]
    assert [one.lost for one in judge(run_of_frames(skips, missed=missed))] == skips


def test_more_misses_than_the_counter_holds_are_counted_by_time():
    # 70,000 conversions are 14.6 minutes at 80 per second; the 16-bit counter alone would say 4,464.
    assert [one.lost for one in judge(run_of_frames([0, 70_000, 0]))] == [0, 70_000, 0]


def test_the_counter_is_believed_where_the_boards_rate_is_a_little_off():
    # 400 misses at a rate 0.2 % off its own statement: by time 401, and the board knows better.
    frames = run_of_frames([0, 400])
    late = replace(frames[1].samples, first_us=frames[1].samples.first_us + INTERVAL_US)
    assert judge([frames[0], replace(frames[1], samples=late)]) == [FOLLOWS, Judgement("follows", 400)]


@pytest.mark.parametrize("dropped", [1, 2, 17, 255])
def test_frames_lost_on_the_wire_are_counted_in_conversions(dropped):
    frames = run_of_frames([0] * 300)
    stored = frames[:10] + frames[10 + dropped :]
    assert [one.lost for one in judge(stored)] == [0] * 10 + [dropped * ROWS] + [0] * (len(stored) - 11)


@given(
    st.lists(st.integers(0, 5), min_size=2, max_size=60),
    st.sets(st.integers(1, 59), max_size=30),
    st.integers(0, 65535),
    st.integers(0, 2**32 - 1),
    st.integers(0, 65535),
)
@settings(max_examples=200)
def test_whatever_is_lost_on_board_or_wire_is_counted_exactly(skips, dropped, sequence, start_us, missed):
    frames = run_of_frames(skips, sequence=sequence, start_us=start_us, missed=missed)
    stored = [one for number, one in enumerate(frames) if number not in dropped]
    judgements = judge(stored)
    for before, after, judgement in zip(stored, stored[1:], judgements[1:], strict=False):
        assert judgement == Judgement("follows", after.conversion - before.conversion - ROWS)


def test_a_long_absence_is_bridged_by_time_where_it_can_be_true():
    # 2,000 frames of 4 rows lost: sequence and time tell the same story, so it is one run of the board.
    frames = run_of_frames([0] * 2010)
    assert judge([*frames[:5], frames[2005]])[-1] == Judgement("follows", 2000 * ROWS)


@pytest.mark.parametrize("distance", [1, 2, 30])
def test_a_frame_that_comes_again_is_dropped(distance):
    frames = run_of_frames([0] * 60)
    doubled = [*frames[:40], frames[40 - distance], *frames[40:]]
    verdicts = [one.verdict for one in judge(doubled)]
    assert verdicts == ["follows"] * 40 + ["repeated"] + ["follows"] * 20
    assert all(one.lost == 0 for one in judge(doubled))


def test_a_frame_of_another_kind_takes_a_sequence_number_too():
    frames = run_of_frames([0] * 4)
    continuity = FrameContinuity()
    assert continuity.samples(1, frames[0].samples) == FOLLOWS
    assert continuity.other(2)
    assert not continuity.other(2)  # the same frame twice
    assert continuity.samples(3, frames[1].samples) == FOLLOWS


def test_a_frame_lost_before_one_of_another_kind_is_not_hidden_by_it():
    # Sample frames 1 and 4, an echo between them with number 3: frame 2, of a single row, was lost.
    first = Samples(0, INTERVAL_256US, 0, ramp(0, ROWS))
    after = Samples((ROWS + 1) * INTERVAL_US, INTERVAL_256US, 0, ramp(ROWS + 1, ROWS))
    continuity = FrameContinuity()
    continuity.samples(1, first)
    continuity.other(3)
    assert continuity.samples(4, after) == Judgement("follows", 1)


@pytest.mark.parametrize(
    ("sequence", "start_us"),
    [(0, 0), (1, 5_000), (5, 1_000_000), (40_050, 0), (40_060, 5_000)],
    ids=["from zero", "a moment after boot", "a second after boot", "as if nothing was missing", "as if little was"],
)
def test_time_that_runs_backwards_is_a_restart(sequence, start_us):
    old = run_of_frames([0] * 50, sequence=40_000, start_us=10_000_000)
    new = run_of_frames([0] * 3, sequence=sequence, start_us=start_us)
    assert [one.verdict for one in judge(old + new)] == ["follows"] * 50 + ["restart"] + ["follows"] * 2


def test_after_a_restart_frames_like_those_of_the_old_run_are_new():
    old = run_of_frames([0] * 3, sequence=1, start_us=0)
    assert [one.verdict for one in judge(old + old)] == ["follows"] * 3 + ["repeated"] * 3
    ahead = run_of_frames([0] * 3, sequence=30_000, start_us=500_000_000)
    assert [one.verdict for one in judge(ahead + old)] == ["follows"] * 3 + ["restart"] + ["follows"] * 2


def test_what_the_old_run_sent_is_forgotten_after_a_restart():
    old = run_of_frames([0] * 10)
    # The new run has the very same third frame, and it comes after a loss.
    first = Sent(1, Samples(0, INTERVAL_256US, 0, ramp(0, ROWS - 1)), 0)
    assert [one.verdict for one in judge([*old, first, old[2]])][-2:] == ["restart", "follows"]


def test_numbers_that_leap_without_time_to_match_are_a_restart():
    old = run_of_frames([0] * 5, sequence=100)
    # 20,000 frames cannot have been sent within half a second at 80 conversions per second.
    new = run_of_frames([0] * 2, sequence=20_100, start_us=500_000)
    assert [one.verdict for one in judge(old + new)][5:] == ["restart", "follows"]


def test_another_number_of_channels_is_a_restart():
    frames = run_of_frames([0] * 2)
    other = Samples(frames[1].samples.first_us, INTERVAL_256US, 0, ramp(4, ROWS, channels=2))
    continuity = FrameContinuity()
    continuity.samples(1, frames[0].samples)
    assert continuity.samples(2, other).verdict == "restart"


def line(board_us: int, channels: int = 2) -> Samples:
    samples = parse_line(format_line(board_us, list(range(channels))).rstrip())
    assert samples is not None
    return samples


def take(lines: list[Samples]) -> tuple[list[tuple[str, int, int]], LineContinuity]:
    continuity = LineContinuity()
    reported = [
        (judgement.verdict, judgement.lost, samples.first_us)
        for one in lines
        for judgement, samples in continuity.line(one)
    ]
    return reported, continuity


STEADY = [line(k * INTERVAL_US) for k in range(100)]


def test_lines_follow_and_their_interval_is_their_median_step():
    reported, continuity = take(STEADY)
    assert reported == [("follows", 0, k * INTERVAL_US) for k in range(100)]
    assert continuity.interval_us == INTERVAL_US
    assert take(STEADY[:16])[1].interval_us == 0.0  # 15 steps are not enough


def test_missing_lines_are_counted_once_the_interval_is_known():
    reported, _ = take(STEADY[:50] + STEADY[57:])
    assert [one[1] for one in reported] == [0] * 50 + [7] + [0] * 42


def test_lines_cross_the_wrap_of_the_boards_time():
    lines = [line((2**32 - 30 * INTERVAL_US + k * INTERVAL_US) % 2**32) for k in range(60)]
    reported, continuity = take(lines)
    assert [one[:2] for one in reported] == [("follows", 0)] * 60
    assert continuity.damaged == 0


def test_a_line_that_comes_twice_is_dropped():
    reported, continuity = take([*STEADY[:20], STEADY[19], *STEADY[20:]])
    assert len(reported) == 100
    assert continuity.repeated == 1


@pytest.mark.parametrize("wrong_us", [3, 10**9], ids=["cut at its front", "far ahead"])
def test_a_single_line_with_an_absurd_time_is_damage_and_no_restart(wrong_us):
    reported, continuity = take([*STEADY[:40], line(wrong_us), *STEADY[41:]])
    assert [one[0] for one in reported] == ["follows"] * 99
    assert [one[1] for one in reported] == [0] * 40 + [1] + [0] * 58
    assert continuity.damaged == 1


def test_two_lines_of_a_new_run_are_a_restart():
    reported, continuity = take(STEADY + STEADY[:10])
    assert [one[0] for one in reported] == ["follows"] * 100 + ["restart"] + ["follows"] * 9
    assert continuity.damaged == 0


def test_another_number_of_channels_in_lines_is_a_restart_when_it_lasts():
    more = [line((100 + k) * INTERVAL_US, channels=4) for k in range(5)]
    assert [one[0] for one in take(STEADY + more)[0]][100:] == ["restart"] + ["follows"] * 4
    reported, continuity = take([*STEADY[:40], more[0], *STEADY[41:]])
    assert [one[0] for one in reported] == ["follows"] * 99
    assert continuity.damaged == 1
