"""Edges of holds read from many readings: less noise in them, an uncertainty that fits, and none where hands snap."""

from __future__ import annotations

import numpy as np
import pytest
from load_stories import RIG

from monitor.holds.edges import HoldEdges, find_holds
from monitor.measures.reference_level_instants import sharpened
from monitor.signals.session_loads import SessionLoads

W, RATE_Hz, NOISE_N = 700.0, 80.0, 0.6


def hang(up_s: float, down_s: float, lasts_s: float) -> tuple[SessionLoads, HoldEdges]:
    """Return a hang that is taken over and left along half a cosine of ``lasts_s``: its middle is the half level.

    Readings are means of 32 steps of the load; the noise is that of two cells together.
    """
    fine_s = (np.arange(0, 30 * 32 * RATE_Hz) + 0.5) / (32 * RATE_Hz)
    rise, fall = (np.clip((fine_s - at_s) / lasts_s, -0.5, 0.5) for at_s in (up_s, down_s))
    bar_N = W * 0.5 * (np.sin(np.pi * rise) - np.sin(np.pi * fall))
    readings_N = bar_N.reshape(-1, 32).mean(axis=1)
    load_N = np.zeros((len(readings_N), 6))
    load_N[:, :2] = 0.5 * readings_N[:, None]
    seed = round(1e6 * up_s)
    load_N[:, :2] += NOISE_N / 2**0.5 * np.random.default_rng(seed).standard_normal((len(load_N), 2))
    t_s = (np.arange(len(load_N)) + 0.5) / RATE_Hz
    session = SessionLoads(RIG, t_s, load_N, np.zeros(6), np.zeros(6))
    (edges,) = find_holds(t_s, session.bar_N, W)
    return session, edges


def test_a_slow_edge_is_read_with_less_noise_and_its_uncertainty_fits():
    before, errors, of_u = [], [], []
    for n in range(60):
        up_s, down_s = 5 + 0.0037 * n, 25 - 0.0053 * n
        session, edges = hang(up_s, down_s, 0.5)
        sharp, u_s = sharpened(session, edges)
        for at_s, rough_s, reported_s, u in zip(
            (up_s, down_s), (edges.onset_s, edges.release_s), (sharp.onset_s, sharp.release_s), u_s, strict=True
        ):
            before.append(rough_s - at_s)
            errors.append(reported_s - at_s)
            of_u.append((reported_s - at_s) / u)
    # A cubic's middle over eight readings has 0.53 of a reading's noise (least squares, closed form), a straight line's
    # between two of them 0.71 to 1.
    assert np.std(errors) < 0.75 * np.std(before)
    # 120 errors: a standard deviation is known to 1 / sqrt(240), three of them are 19 %.
    assert np.sqrt(np.mean(np.square(of_u))) == pytest.approx(1.0, abs=0.2)


def test_hands_that_close_at_once_leave_their_edge_where_it_was():
    session, edges = hang(5.003, 25.001, 0.02)
    sharp, _ = sharpened(session, edges)
    assert (sharp.onset_s, sharp.release_s) == (edges.onset_s, edges.release_s)


def test_a_record_that_begins_in_the_hold_has_no_edge_to_sharpen():
    session, edges = hang(5.0, 25.0, 0.5)
    late = SessionLoads(RIG, session.t_s[800:], session.load_N[800:], np.zeros(6), np.zeros(6))
    (inside,) = find_holds(late.t_s, late.bar_N, W)
    sharp, _ = sharpened(late, inside)
    assert inside.begins_inside
    assert sharp.onset_s == inside.onset_s == late.t_s[0]
    assert sharp.release_s == pytest.approx(25.0, abs=0.002)
    assert edges.release_s == pytest.approx(25.0, abs=0.002)
