"""Travel: synthetic pulls, and a published force record of a jump for the double integration."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from monitor.measures.centre_of_mass_rise import velocity_and_rise
from monitor.measures.travel import minimum_jerk_acceleration, travels

REFERENCE = Path(__file__).parents[1] / "reference"
JUMP = json.loads((REFERENCE / "jump_grf.json").read_text(encoding="utf-8"))
FORCE_N = np.loadtxt(REFERENCE / "jump_grf.csv", skiprows=1)
W, g = 700.0, 9.80665
RATE_Hz = 80.0
T_s = np.arange(0, 30, 1 / RATE_Hz)


def pulls(*moves: tuple[float, float, float], noise_N: float = 1.0, seed: int = 1) -> np.ndarray:
    """Return S with minimum-jerk moves (middle s, duration s, rise mm): x'' = (60u - 180u^2 + 120u^3) h / T^2."""
    acceleration = np.zeros(len(T_s))
    for middle_s, duration_s, rise_mm in moves:
        u = (T_s - (middle_s - duration_s / 2)) / duration_s
        inside = (u > 0) & (u < 1)
        acceleration += inside * (60 * u - 180 * u**2 + 120 * u**3) * 1e-3 * rise_mm / duration_s**2
    noise = noise_N * np.random.default_rng(seed).standard_normal(len(T_s))
    return W * (1 + acceleration / g) + noise


@pytest.mark.parametrize("rise_mm", [10, 20, 35, 60, -10, -20, -35, -60])
@pytest.mark.parametrize("duration_s", [0.6, 0.9, 1.2])
def test_a_pull_is_found_and_measured(rise_mm, duration_s):
    if abs(rise_mm) < 15 and duration_s > 1:
        rise_mm *= 2  # 10 mm in 1.2 s is 0.04 m/s^2 at most and drowns: see the next test
    for seed in range(3):
        (result,) = travels(T_s, pulls((15.0, duration_s, rise_mm), seed=seed), W, g, RATE_Hz)
        assert abs(result.travel_mm - rise_mm) < 3 * result.u_mm
        assert result.u_mm < 2
        middle_s = (result.start_s + result.end_s) / 2
        assert middle_s == pytest.approx(15.0, abs=0.1)
        assert result.start_s < 15.0 - duration_s / 4
        assert result.end_s > 15.0 + duration_s / 4


@pytest.mark.parametrize("rise_mm", [10, -10])
def test_a_pull_that_hardly_stands_out_is_absent_rather_than_wrong(rise_mm):
    for seed in range(10):
        for result in travels(T_s, pulls((15.0, 1.2, rise_mm), seed=seed), W, g, RATE_Hz):
            assert abs(result.travel_mm - rise_mm) < 2 * result.u_mm
    assert travels(T_s, pulls((15.0, 1.2, rise_mm), noise_N=4.0), W, g, RATE_Hz) == []


@pytest.mark.parametrize(
    ("rate_Hz", "breath_m_s2", "beat_m_s2"), [(80.0, 0.0, 0.0), (80.0, 0.008, 0.006), (50.0, 0.004, 0.003)]
)
def test_the_uncertainty_is_what_the_travel_scatters_by(rate_Hz, breath_m_s2, beat_m_s2):
    """Monte Carlo over 60 noises, each with a breath and the beat of a swing of their own size, rate and phase.

    Of 60 errors the root mean square is known to 9 % (one over the root of 120); three times that is allowed.
    """
    rng = np.random.default_rng(7)
    t_s = np.arange(0, 30, 1 / rate_Hz)
    u = np.clip((t_s - 14.55) / 0.9, 0, 1)
    over_u = []
    for _ in range(60):
        acceleration = (60 * u - 180 * u**2 + 120 * u**3) * 0.03 / 0.9**2
        for most_m_s2, slowest_Hz, fastest_Hz in ((breath_m_s2, 0.2, 1 / 3), (beat_m_s2, 0.8, 1.1)):
            phase = 2 * np.pi * rng.uniform(slowest_Hz, fastest_Hz) * t_s + rng.uniform(0, 2 * np.pi)
            acceleration += rng.uniform(0, most_m_s2) * np.sin(phase)
        sum_N = W * (1 + acceleration / g) + rng.uniform(0.5, 2.0) * rng.standard_normal(len(t_s))
        (result,) = travels(t_s, sum_N, W, g, rate_Hz)
        over_u.append((result.travel_mm - 30) / result.u_mm)
    assert np.sqrt(np.mean(np.square(over_u))) == pytest.approx(1.0, abs=0.28)


def test_up_and_down_are_two_travels_of_opposite_sign():
    up, down = travels(T_s, pulls((10, 0.8, 40), (18, 0.8, -40)), W, g, RATE_Hz)
    assert up.travel_mm == pytest.approx(40, abs=2 * up.u_mm)
    assert down.travel_mm == pytest.approx(-40, abs=2 * down.u_mm)


@pytest.mark.parametrize("rest_s", [0.2, 0.4])
def test_a_short_rest_between_two_pulls_is_taken_as_it_is(rest_s):
    for seed in range(5):
        result = travels(T_s, pulls((15, 0.8, 40), (15.8 + rest_s, 0.8, -40), seed=seed), W, g, RATE_Hz)
        assert [f.travel_mm for f in result] == pytest.approx([40, -40], abs=3 * max(f.u_mm for f in result))
        assert max(f.u_mm for f in result) < 1


def test_a_pull_within_breathing_and_swing_keeps_its_size():
    """Breathing of 0.3 % at 0.25 Hz and the beat of a 2 degree swing (kappa theta^2 = 0.1 %) at 0.9 Hz."""
    sum_N = pulls((15, 0.8, 40))
    sum_N += W * (0.003 * np.sin(2 * np.pi * 0.25 * T_s) + 0.001 * np.sin(2 * np.pi * 0.9 * T_s))
    (result,) = travels(T_s, sum_N, W, g, RATE_Hz)
    assert abs(result.travel_mm - 40) < 2 * result.u_mm
    assert result.u_mm < 2


@pytest.mark.parametrize("theta_deg", [1, 3, 6, 10])
def test_a_swing_alone_is_no_travel(theta_deg):
    beat = 0.85 * np.radians(theta_deg) ** 2
    sum_N = pulls() - W * beat * np.cos(2 * np.pi * 0.9 * T_s)
    assert travels(T_s, sum_N, W, g, RATE_Hz) == []


def test_noise_breathing_and_slow_sinking_are_no_travel():
    assert travels(T_s, pulls(noise_N=2.0), W, g, RATE_Hz) == []
    assert travels(T_s, pulls() + 0.01 * W * np.sin(2 * np.pi * 0.25 * T_s), W, g, RATE_Hz) == []
    assert travels(T_s, pulls((15, 12.0, -60)), W, g, RATE_Hz) == []
    assert travels(T_s, pulls((15, 0.8, 5)), W, g, RATE_Hz) == []


def test_too_short_a_stretch_has_no_travel():
    assert travels(T_s[:200], pulls()[:200], W, g, RATE_Hz) == []


def test_the_template_moves_by_one_metre():
    acceleration = minimum_jerk_acceleration(0.8, 1000.0)
    velocity, rise = velocity_and_rise(acceleration, 1000.0)
    assert velocity[-1] == pytest.approx(0.0, abs=1e-9)
    assert rise[-1] == pytest.approx(1.0, abs=1e-5)


def test_double_integration_of_a_constant_acceleration():
    """From rest v = a t, x = a t^2 / 2: 2 m/s^2 for 3 s give 6 m/s and 9 m."""
    velocity, rise = velocity_and_rise(np.full(300, 2.0), 100.0)
    assert (velocity[-1], rise[-1]) == pytest.approx((6.0, 9.0))
    assert (velocity[0], rise[0]) == (0.0, 0.0)


def jump(force_N: np.ndarray, mass_kg: float) -> tuple[np.ndarray, np.ndarray]:
    """Return velocity and rise from the published start to the published take-off."""
    rate_Hz = JUMP["sample_rate_hz"]
    start, off = (round(JUMP["recomputed"][key] * rate_Hz) for key in ("start_s", "takeoff_s"))
    acceleration = force_N[start : off + 1] / mass_kg - JUMP["g_used"]
    # Samples there are instants; the mean over each interval between two of them makes trapezoids.
    return velocity_and_rise((acceleration[1:] + acceleration[:-1]) / 2, rate_Hz)


def test_the_published_jump_gives_its_published_velocity_and_rise():
    """Source: tests/reference/jump_grf.json; its recipe takes the offset off the force but not off the mass."""
    wanted = JUMP["recomputed"]
    mass_kg = FORCE_N[:60].mean() / JUMP["g_used"]
    assert mass_kg == pytest.approx(wanted["mass_kg"], rel=1e-9)
    assert FORCE_N.min() == wanted["record_minimum_N"]
    velocity, rise = jump(FORCE_N - FORCE_N.min(), mass_kg)
    assert velocity[-1] == pytest.approx(wanted["takeoff_velocity_m_s_trapezoid"], rel=1e-8)
    assert rise[-1] == pytest.approx(wanted["rise_of_mass_at_takeoff_m"], rel=1e-8)
    assert velocity[-1] ** 2 / (2 * JUMP["g_used"]) == pytest.approx(wanted["height_from_impulse_m"], rel=1e-8)
    assert mass_kg * velocity[-1] == pytest.approx(wanted["impulse_Ns_trapezoid"], rel=1e-8)
    # The mass is lowest where the published notebook says that it is.
    lowest_s = np.argmin(rise) / JUMP["sample_rate_hz"]
    assert lowest_s == pytest.approx(JUMP["published"]["lowest_point_after_start_s"], abs=0.002)


def test_an_offset_of_one_per_cent_spoils_a_double_integration():
    """The lesson of that record: 7.15 N left in the weight, not in the force, add 7.15 N * T / m to the velocity.

    With the zero taken off both, the height from the impulse comes 2 cm nearer to that from the time of flight.
    """
    offset_N, g_there = -FORCE_N.min(), JUMP["g_used"]
    mass_kg = FORCE_N[:60].mean() / g_there
    mixed, _ = jump(FORCE_N + offset_N, mass_kg)
    left_in, _ = jump(FORCE_N, mass_kg)
    seconds = JUMP["recomputed"]["takeoff_s"] - JUMP["recomputed"]["start_s"]
    assert mixed[-1] - left_in[-1] == pytest.approx(offset_N * seconds / mass_kg, rel=1e-6)
    right, _ = jump(FORCE_N + offset_N, (FORCE_N[:60].mean() + offset_N) / g_there)
    flight_m = JUMP["published"]["height_from_flight_time_m"]
    wrong_by_m = mixed[-1] ** 2 / (2 * g_there) - flight_m
    right_by_m = right[-1] ** 2 / (2 * g_there) - flight_m
    assert 0 < right_by_m < wrong_by_m - 0.02
