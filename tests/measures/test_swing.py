"""Swing against a rod whose motion and pivot force follow the exact law, not the small-angle one that is fitted.

Source of the law: tests/reference/physical_pendulum.json (published for the rod; kappa = 3/4).
"""

from __future__ import annotations

import functools
import json
from pathlib import Path

import numpy as np
import pytest

from monitor.measures.swing import (
    KAPPA,
    U_KAPPA_REL,
    Pendulum,
    _on_lines,
    amplitude_from_beat,
    beat_from_amplitude,
    swing_course,
)

REFERENCE = Path(__file__).parents[1] / "reference"
PENDULUM = json.loads((REFERENCE / "physical_pendulum.json").read_text(encoding="utf-8"))
HANGING = json.loads((REFERENCE / "hanging_body_pendulum.json").read_text(encoding="utf-8"))
KAPPA_ROD = PENDULUM["general"]["kappa_rod"]
TABLE = PENDULUM["table_by_amplitude_deg"]
W = 700.0
RATE_Hz = 80.0
NOISE_N = 0.7
ROD_m = 1.8
"""About as slow as a hanging body: a rod of 1 m has a period of 1.638226 s (same source)."""

REST_PERIOD_s = PENDULUM["rod_1_m_standard_gravity_period_s"] * ROD_m**0.5
STIFF_Hz = 1e6
"""Bounce of a rod that does not stretch."""


AMPLITUDES_deg = (2, 5, 10, 20)


@functools.cache
def rods(seconds: float = 40.0, fine: int = 2) -> tuple[np.ndarray, np.ndarray]:
    """Return times (n,) and V / W (n, amplitudes) of rods released at rest: exact motion, exact pivot force."""
    w2, theta0 = (2 * np.pi / REST_PERIOD_s) ** 2, np.radians(AMPLITUDES_deg)
    step_s = 1 / (RATE_Hz * fine)
    state, angles = np.array([theta0, 0 * theta0]), []

    def slope(s: np.ndarray) -> np.ndarray:
        return np.array([s[1], -w2 * np.sin(s[0])])

    for _ in range(round(seconds * RATE_Hz * fine)):
        angles.append(state[0])
        k1 = slope(state)
        k2 = slope(state + step_s / 2 * k1)
        k3 = slope(state + step_s / 2 * k2)
        k4 = slope(state + step_s * k3)
        state = state + step_s / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
    theta = np.array(angles)[::fine]
    along = np.cos(theta) + 2 * KAPPA_ROD * (np.cos(theta) - np.cos(theta0))
    across = (1 - KAPPA_ROD) * np.sin(theta)
    return np.arange(len(theta)) / RATE_Hz, along * np.cos(theta) + across * np.sin(theta)


@pytest.fixture(params=range(len(AMPLITUDES_deg)), ids=[f"{a} degrees" for a in AMPLITUDES_deg])
def swinging(request: pytest.FixtureRequest) -> tuple[int, np.ndarray, np.ndarray]:
    t_s, force = rods()
    return AMPLITUDES_deg[request.param], t_s, force[:, request.param]


def test_the_rods_force_is_the_published_one(swinging):
    amplitude_deg, _, force = swinging
    row = TABLE[str(amplitude_deg)]
    assert force.max() == pytest.approx(row["rod_max_V_over_W"], abs=2e-6)
    assert force.min() == pytest.approx(row["rod_min_V_over_W"], abs=2e-5)


def test_the_beats_amplitude_gives_the_angle(swinging):
    """The second harmonic of the exact force over ten whole periods: the expansion gives the angle back."""
    amplitude_deg, t_s, force = swinging
    period_s = REST_PERIOD_s * TABLE[str(amplitude_deg)]["period_ratio"]
    phase = 4 * np.pi * t_s / period_s
    design = np.column_stack([np.ones_like(t_s), *(f(k * phase) for k in (1, 2, 3) for f in (np.cos, np.sin))])
    solution, *_ = np.linalg.lstsq(design, force, rcond=None)
    theta = np.degrees(amplitude_from_beat(np.hypot(solution[1], solution[2]), KAPPA_ROD))
    assert theta == pytest.approx(amplitude_deg, rel=3e-4)
    assert beat_from_amplitude(np.radians(amplitude_deg), KAPPA_ROD) == pytest.approx(
        np.hypot(solution[1], solution[2]), rel=6e-4
    )


def test_the_course_of_a_rod(swinging):
    amplitude_deg, t_s, force = swinging
    noise_N = NOISE_N * np.random.default_rng(5).standard_normal(len(t_s))
    rod = Pendulum(KAPPA_ROD, U_KAPPA_REL)
    still = np.zeros(len(t_s), dtype=bool)
    course = swing_course(t_s, W * force + noise_N, W, RATE_Hz, still, bounce_Hz=STIFF_Hz, pendulum=rod)
    assert np.isfinite(course.amplitude_deg).all()
    assert np.max(np.abs(course.amplitude_deg - amplitude_deg)) < np.max(2 * course.u_deg)
    # kappa is known for the rod, so only noise is left: the amplitude of a sine among n rows of white noise s is known
    # to s (2 / n)^0.5, and 40 s hold five windows of 8 s.
    u_beat = NOISE_N / W * (2 / (8 * RATE_Hz)) ** 0.5 / 5**0.5
    u_mean_deg = np.degrees(u_beat / (2 * KAPPA_ROD * np.radians(amplitude_deg)))
    assert np.mean(course.amplitude_deg) == pytest.approx(amplitude_deg, abs=0.001 * amplitude_deg + 3 * u_mean_deg)
    # No better than kappa is known, whatever the noise.
    assert (course.u_deg >= 0.5 * U_KAPPA_REL * course.amplitude_deg).all()
    period_s = REST_PERIOD_s * TABLE[str(amplitude_deg)]["period_ratio"]
    assert course.frequency_Hz == pytest.approx(1 / period_s, abs=5e-4)


def test_a_swing_that_dies_down_is_followed():
    t_s = np.arange(0, 60, 1 / RATE_Hz)
    theta_deg = 6 * np.exp(-t_s / 40)
    beat = beat_from_amplitude(np.radians(theta_deg))
    force = 1 - beat * np.cos(2 * np.pi * 0.9 * t_s)
    course = swing_course(t_s, W * force, W, RATE_Hz, np.zeros(len(t_s), dtype=bool), bounce_Hz=STIFF_Hz)
    np.testing.assert_allclose(course.amplitude_deg, 6 * np.exp(-course.t_s / 40), rtol=0.01)
    assert course.frequency_Hz == pytest.approx(0.45, abs=5e-4)


def test_the_bounce_on_the_arms_enlarges_the_beat_and_is_taken_off():
    """An undamped oscillator of 3 Hz driven at 0.9 Hz gives 1 / (1 - 0.3^2) = 1.0989 times as much."""
    t_s = np.arange(0, 30, 1 / RATE_Hz)
    force = 1 - 1.0989 * KAPPA * np.radians(4.0) ** 2 * np.cos(2 * np.pi * 0.9 * t_s)
    course = swing_course(t_s, W * force, W, RATE_Hz, np.zeros(len(t_s), dtype=bool), bounce_Hz=3.0)
    np.testing.assert_allclose(course.amplitude_deg, 4.0, rtol=0.002)


def test_disturbed_rows_and_breaks_are_left_out():
    t_s = np.arange(0, 40, 1 / RATE_Hz)
    force = 1 - KAPPA * np.radians(5.0) ** 2 * np.cos(2 * np.pi * 0.9 * t_s)
    pulled = (t_s > 18) & (t_s < 20)
    course = swing_course(t_s, W * (force + 0.4 * pulled), W, RATE_Hz, pulled, breaks_s=[32.0], bounce_Hz=STIFF_Hz)
    known = np.isfinite(course.amplitude_deg)
    np.testing.assert_allclose(course.amplitude_deg[known], 5.0, rtol=0.03)
    assert not known[np.abs(course.t_s - 32.0) < 3.9].any()
    assert known[course.t_s < 27].all()


def test_a_body_that_hangs_still_has_no_swing():
    t_s = np.arange(0, 30, 1 / RATE_Hz)
    sum_N = W + 1.0 * np.random.default_rng(6).standard_normal(len(t_s))
    course = swing_course(t_s, sum_N, W, RATE_Hz, np.zeros(len(t_s), dtype=bool))
    largest_deg = np.nanmax(course.amplitude_deg) if np.isfinite(course.amplitude_deg).any() else 0.0
    assert largest_deg < 0.8


def test_less_than_a_window_has_no_swing():
    t_s = np.arange(0, 7.9, 1 / RATE_Hz)
    assert swing_course(t_s, np.full(len(t_s), W), W, RATE_Hz, np.zeros(len(t_s), dtype=bool)) is None


def test_the_kappa_in_use_agrees_with_segment_tables_within_its_uncertainty():
    """Source: tests/reference/hanging_body_pendulum.json (derived from two published segment tables)."""
    derived = [body["kappa"] for body in HANGING["results"].values()]
    assert len(derived) == 5
    for kappa in derived:
        assert abs(kappa / KAPPA - 1) < 1.1 * U_KAPPA_REL


def test_amplitudes_are_put_on_lines_and_gaps_stay_gaps():
    """A line stays as it is. Of 7 values the line's middle has 1/7 of their variance, its end, of 4, 0.7 of it.

    Closed form of least squares: at the end of n values 2 (2 n - 1) / (n (n + 1)).
    """
    line = 5.0 - 0.04 * np.arange(40)
    line[20] = np.nan
    np.testing.assert_allclose(_on_lines(line, 3), line, rtol=1e-12)
    noise = np.random.default_rng(3).standard_normal((1000, 31))
    left = np.array([_on_lines(row, 3) for row in noise]).var(axis=0)
    # 1000 values: a variance is known to sqrt(2 / 1000), four of these are 18 %.
    assert left[15] == pytest.approx(1 / 7, rel=0.18)
    assert left[0] == pytest.approx(0.7, rel=0.18)
