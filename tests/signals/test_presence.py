"""Somebody comes, somebody leaves."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.signals.presence import LONGEST_SESSION_S, Came, Left, Presence

TICK_S = 0.05


def steps(*parts: tuple[float, float], platform: bool = True, cut: int = 10**9) -> list[Came | Left]:
    """Return what loads (N) held for spans (s) tell."""
    ticks = np.concatenate([np.full(round(span_s / TICK_S), load_N) for load_N, span_s in parts])
    presence = Presence(TICK_S, has_platform=platform)
    return [step for a in range(0, len(ticks), cut) for step in presence.push(ticks[a : a + cut])]


def test_a_person_comes_at_the_first_tick_with_load_and_leaves_after_three_seconds_without():
    assert steps((0, 2), (700, 10), (0, 5)) == [Came(40), Left(40 + 200 + 60 - 1)]


@pytest.mark.parametrize("cut", [1, 3, 7])
def test_cuts_never_show(cut):
    parts = [(0, 2), (700, 10), (0, 2.9), (700, 1), (0, 5), (90, 4), (0, 3)]
    assert steps(*parts, cut=cut) == steps(*parts)
    assert len(steps(*parts)) == 4


def test_a_bag_thrown_down_or_a_blow_is_nobody():
    assert steps((0, 2), (900, 0.25), (0, 2)) == []


def test_a_jump_to_the_bar_is_no_leaving():
    assert steps((700, 3), (0, 2.9), (700, 3)) == [Came(0)]


def test_without_a_platform_the_rig_waits_between_two_hangs_of_a_set():
    story = ((700, 8), (0, 10), (700, 8), (0, 13))
    assert steps(*story, platform=False) == [Came(0), Left(160 + 200 + 160 + 240 - 1)]
    assert [type(s) for s in steps(*story, platform=True)] == [Came, Left, Came, Left]


def test_ticks_without_readings_change_nothing():
    assert steps((700, 3), (np.nan, 60), (700, 3)) == [Came(0)]


def test_a_forgotten_load_does_not_stay_for_ever():
    came, left, again = steps((400, LONGEST_SESSION_S + 10))
    assert (came, again) == (Came(0), Came(left.tick + 1))
    assert left.tick * TICK_S == pytest.approx(LONGEST_SESSION_S, abs=1)
