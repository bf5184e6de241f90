"""Swing and travel of the running hold: a pull during a swing is a pull, and the swing itself is none."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.measures.live.motion import LiveMotion, RecentLoads
from monitor.measures.swing import Pendulum, beat_from_amplitude

W, RATE_Hz, GRAVITY = 700.0, 80.0, 9.80665
SWING_Hz = 0.5
PULL_S, RISE_mm = 24.0, 40.0


def after_a_hold(amplitude_deg: float, rise_mm: float) -> LiveMotion:
    """Look once a second, as the view does, at 30 s of a hang that began at 0."""
    t_s = np.arange(0, 30, 1 / RATE_Hz)
    u = np.clip((t_s - PULL_S) / 0.9 + 0.5, 0.0, 1.0)
    acceleration = (60 * u - 180 * u**2 + 120 * u**3) * 1e-3 * rise_mm / 0.9**2
    beat = float(beat_from_amplitude(np.radians(amplitude_deg)))
    sum_N = W * (1 + acceleration / GRAVITY + beat * np.cos(2 * np.pi * 2 * SWING_Hz * t_s))
    sum_N += np.random.default_rng(2).standard_normal(len(t_s))
    motion = LiveMotion()
    for end_s in range(9, 31):
        now = (t_s > end_s - 16) & (t_s < end_s)
        recent = RecentLoads(t_s[now], sum_N[now], np.zeros(now.sum()), sum_N[now, None], [], [], RATE_Hz)
        motion.look_for_swing(recent, 0.0, 0.0, W, Pendulum())
        motion.look_for_travel(recent.since(end_s - 12.0), 0.0, W, GRAVITY)
    return motion


def test_a_swing_alone_is_no_travel():
    motion = after_a_hold(8.0, 0.0)
    assert motion.swing_deg is not None
    assert motion.swing_deg[0] == pytest.approx(8.0, abs=3 * motion.swing_deg[1])
    assert motion.travel_mm is None


@pytest.mark.parametrize("amplitude_deg", [0.0, 4.0, 8.0])
def test_a_pull_during_a_swing_has_the_height_of_the_pull(amplitude_deg):
    assert after_a_hold(amplitude_deg, RISE_mm).travel_mm == pytest.approx(RISE_mm, abs=6.0)
