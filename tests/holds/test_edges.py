"""Edges of holds on loads made by hand: half-level crossings, bridged gaps, tugs, leaning.

The 50 % reference level instants are those of IEEE Std 181-2011 (definition as in docs/measurement.md); 1.0 s for a
bridged gap and 0.3 s for a tug are the design's own.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from monitor.holds.edges import HoldEdges, crossing_s, find_holds, regrip_gaps, runs_above

W = 700.0
RATE_Hz = 80.0


def bar(*points: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Return times and a bar load that joins points (s, share of bodyweight) by straight lines."""
    t, share = np.array(points, dtype=float).T
    t_s = np.arange(t[0], t[-1], 1 / RATE_Hz)
    return t_s, W * np.interp(t_s, t, share)


def pulse(start_s: float, end_s: float, share: float = 1.0) -> tuple[tuple[float, float], ...]:
    """Return points of a load that rises within a millisecond at ``start_s`` and falls likewise at ``end_s``."""
    return ((start_s - 0.001, 0.0), (start_s, share), (end_s, share), (end_s + 0.001, 0.0))


def holds(*points: tuple[float, float], bodyweight_N: float = W) -> list[HoldEdges]:
    return find_holds(*bar(*points), bodyweight_N)


@pytest.mark.parametrize("share", [1.0, 0.6, 0.3])
def test_the_edges_are_the_crossings_of_half_of_the_settled_level(share):
    """The load rises from 0 to ``share`` between 2 and 3 s and falls between 10 and 12 s: half lies at 2.5 and 11 s."""
    (hold,) = holds((0, 0), (2, 0), (3, share), (10, share), (12, 0), (15, 0))
    assert hold.settled_N == pytest.approx(share * W)
    assert hold.onset_s == pytest.approx(2.5, abs=1e-9)
    assert hold.release_s == pytest.approx(11.0, abs=1e-9)
    assert hold.duration_s == pytest.approx(8.5, abs=1e-9)
    assert hold.gaps == ()
    assert not hold.begins_inside
    assert not hold.ends_inside
    t_s, _ = bar((0, 0), (15, 0))
    assert t_s[hold.first - 1] <= hold.onset_s < t_s[hold.first]
    assert t_s[hold.last - 1] < hold.release_s <= t_s[hold.last]


@settings(deadline=None, max_examples=40)
@given(
    share=st.floats(0.3, 1.2),
    rise_s=st.floats(0.05, 1.5),
    fall_s=st.floats(0.05, 1.5),
    hang_s=st.floats(6.0, 30.0),
    scale=st.floats(0.3, 3.0),
)
def test_edges_of_any_ramp_and_any_person(share, rise_s, fall_s, hang_s, scale):
    """Half of the level is reached half way up a straight ramp; who hangs does not matter."""
    end_s = 4 + rise_s + hang_s
    t_s, load_N = bar((0, 0), (4, 0), (4 + rise_s, share), (end_s, share), (end_s + fall_s, 0), (end_s + 6, 0))
    (hold,) = find_holds(t_s, scale * load_N, scale * W)
    # A ramp's two corners lie between samples: the line through them misses the ramp by less than a sample's worth.
    assert hold.onset_s == pytest.approx(4 + rise_s / 2, abs=0.5 / RATE_Hz)
    assert hold.release_s == pytest.approx(end_s + fall_s / 2, abs=0.5 / RATE_Hz)


def test_the_level_is_the_holds_own_not_the_bodyweights():
    """A hang that grows from 0.3 to 0.9 W: the median is 0.6 W, so the edges lie at 0.3 W, not at half of W."""
    (hold,) = holds((0, 0), (2, 0), (2.6, 0.6), (3.2, 0.3), (3.3, 0.6), (20, 0.6), (20.6, 0), (25, 0))
    assert hold.settled_N == pytest.approx(0.6 * W, rel=1e-6)
    assert hold.onset_s == pytest.approx(2.3, abs=1e-6)
    assert hold.release_s == pytest.approx(20.3, abs=1e-6)


@pytest.mark.parametrize(("gap_s", "count"), [(0.2, 1), (0.95, 1), (1.05, 2), (2.0, 2)])
def test_gaps_shorter_than_a_second_are_bridged_and_listed(gap_s, count):
    result = holds((0, 0), *pulse(2, 8), *pulse(8 + gap_s, 14), (18, 0))
    assert len(result) == count
    assert result[0].onset_s == pytest.approx(2, abs=0.013)
    assert result[-1].release_s == pytest.approx(14, abs=0.013)
    if count == 1:
        ((start_s, end_s),) = result[0].gaps
        assert start_s == pytest.approx(8, abs=0.013)
        assert end_s == pytest.approx(8 + gap_s, abs=0.013)
    else:
        assert [hold.gaps for hold in result] == [(), ()]
        assert result[0].release_s == pytest.approx(8, abs=0.013)


def test_several_regrips_are_one_hold():
    points = [p for k in range(4) for p in pulse(2 + 3 * k, 4.5 + 3 * k)]
    (hold,) = holds((0, 0), *points, (20, 0))
    assert len(hold.gaps) == 3
    assert hold.release_s == pytest.approx(13.5, abs=0.013)


@pytest.mark.parametrize(("tug_s", "count"), [(0.1, 0), (0.27, 0), (0.35, 1)])
def test_a_tug_alone_is_no_hold(tug_s, count):
    assert len(holds((0, 0), *pulse(5, 5 + tug_s), (10, 0))) == count


def test_a_tug_does_not_start_a_hold():
    (hold,) = holds((0, 0), *pulse(3, 3.2), *pulse(4, 12), (16, 0))
    assert hold.onset_s == pytest.approx(4, abs=0.013)
    assert hold.gaps == ()


def test_a_tug_does_not_bridge_two_holds():
    """Gaps of 0.8 s on both sides of a tug of 0.2 s: together 1.8 s without a hold."""
    first, second = holds((0, 0), *pulse(2, 8), *pulse(8.8, 9.0), *pulse(9.8, 15), (20, 0))
    assert first.release_s == pytest.approx(8, abs=0.013)
    assert second.onset_s == pytest.approx(9.8, abs=0.013)


def test_a_short_grasp_within_a_bridged_gap_belongs_to_the_regrip():
    (hold,) = holds((0, 0), *pulse(2, 8), *pulse(8.3, 8.5), *pulse(8.9, 15), (20, 0))
    assert len(hold.gaps) == 2


def test_the_rebound_of_a_jump_belongs_to_the_hold_when_the_hands_stay_on():
    """The catch rings: above half for 0.2 s, down to 0.3 W for 0.2 s, then the hang. The hands never leave the bar."""
    points = (
        (0, 0),
        (2.999, 0),
        (3, 1.4),
        (3.2, 1.4),
        (3.201, 0.3),
        (3.4, 0.3),
        (3.401, 1),
        (12, 1),
        (12.001, 0),
        (16, 0),
    )
    (hold,) = holds(*points)
    assert hold.onset_s == pytest.approx(3, abs=0.013)
    assert len(hold.gaps) == 1


@pytest.mark.parametrize("share", [0.05, 0.15, 0.22])
def test_leaning_on_the_bar_is_no_hold(share):
    assert holds((0, 0), (2, 0), (2.5, share), (20, share), (20.5, 0), (25, 0)) == []


def test_leaning_before_and_after_a_hang_is_not_part_of_it():
    (hold,) = holds((0, 0), (1, 0), (1.1, 0.2), (6, 0.2), (6.2, 1), (16, 1), (16.2, 0.2), (22, 0.2), (22.1, 0), (25, 0))
    # Between 0.2 and 1.0 the ramp of 0.2 s crosses 0.5 after 0.075 s.
    assert hold.onset_s == pytest.approx(6.075, abs=0.002)
    assert hold.release_s == pytest.approx(16.125, abs=0.002)


def test_two_holds_of_different_size_have_their_own_levels():
    first, second = holds((0, 0), (2, 0), (3, 1), (10, 1), (11, 0), (14, 0), (15, 0.4), (25, 0.4), (26, 0), (30, 0))
    assert (first.onset_s, first.release_s) == pytest.approx((2.5, 10.5), abs=1e-6)
    assert (second.onset_s, second.release_s) == pytest.approx((14.5, 25.5), abs=1e-6)
    assert second.settled_N == pytest.approx(0.4 * W)


def test_a_record_that_begins_or_ends_in_a_hold_says_so():
    (hold,) = holds((0, 1), (8, 1), (8.2, 0), (12, 0))
    assert (hold.begins_inside, hold.ends_inside) == (True, False)
    assert hold.onset_s == 0.0
    (hold,) = holds((0, 0), (4, 0), (4.2, 1), (12, 1))
    assert (hold.begins_inside, hold.ends_inside) == (False, True)
    assert hold.release_s == pytest.approx(12 - 1 / RATE_Hz)


def test_an_empty_bar_and_noise_give_nothing():
    noise_N = 3 * np.random.default_rng(1).standard_normal(2000)
    assert find_holds(np.arange(2000) / RATE_Hz, noise_N, W) == []


def test_sparse_rows_end_too():
    """Ten seconds between rows: longer than every margin, and the search must still come to an end."""
    (hold,) = find_holds(np.arange(12) * 10.0, W * np.array([0, 0, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0.0]), W)
    assert hold.onset_s == pytest.approx(15.0)


def test_runs_and_crossings_lie_on_the_straight_line():
    t_s, load_N = np.array([0.0, 1.0, 2.0, 3.0, 4.0]), np.array([0.0, 10.0, 10.0, 4.0, 0.0])
    (run,) = runs_above(t_s, load_N, 5.0)
    assert (run.start_s, run.end_s) == pytest.approx((0.5, 2 + 5 / 6))
    assert (run.first, run.last) == (1, 3)
    assert run.length_s == pytest.approx(2 + 1 / 3)
    assert crossing_s(t_s, load_N, 2, 5.0) == 2.0  # no slope, no line: the row itself
    assert runs_above(t_s, load_N, 20.0) == []


@pytest.mark.parametrize("phase", np.linspace(0, 0.95, 8))
def test_hands_that_open_at_once(phase):
    """A mass on a spring that is let go of: load (cos wt) from the corner on, 30 Hz, dying down.

    Half of the load is left where the closed formula says so; readings are its means over 12.5 ms.
    """
    rate_Hz, fine, level_N = 80.0, 200, 700.0
    opened_s = 10.0 + phase / rate_Hz
    step_s = 1 / (rate_Hz * fine)
    t = (np.arange(round(12 * rate_Hz) * fine) + 0.5) * step_s
    since = np.maximum(0.0, t - opened_s)
    load = level_N * np.where(t < 5.0, 0.0, np.cos(2 * np.pi * 30 * since) * np.exp(-since / 0.02))
    half_s = opened_s + brentq(lambda x: np.cos(2 * np.pi * 30 * x) * np.exp(-x / 0.02) - 0.5, 0.0, 0.008)
    means = load.reshape(-1, fine).mean(axis=1) + 0.4 * np.random.default_rng(1).standard_normal(round(12 * rate_Hz))
    (hold,) = find_holds((np.arange(len(means)) + 0.5) / rate_Hz, means, level_N)
    assert hold.release_s == pytest.approx(half_s, abs=0.0015)


def test_a_gap_within_the_first_second_is_the_catch_and_a_later_one_a_regrip():
    edges = HoldEdges(10.0, 40.0, 800, 3200, 700.0, ((10.3, 10.4), (20.0, 20.5)))
    assert regrip_gaps(edges) == [(20.0, 20.5)]
