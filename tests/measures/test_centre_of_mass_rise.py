"""The rise between two rests: closed forms, and draws of the process that it is taken out of."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from monitor.measures import centre_of_mass_rise
from monitor.measures.centre_of_mass_rise import MEANS_Hz, rise_of, velocity_and_rise
from monitor.measures.travel import minimum_jerk_acceleration

RATE_Hz, MOVE_s = 80.0, 0.8


def moved(middle_s: float, seconds: float = 30.0, rise_m: float = 0.04) -> np.ndarray:
    """Return the acceleration of one minimum-jerk movement in a stretch without anything else."""
    acceleration = np.zeros(round(seconds * RATE_Hz))
    move = rise_m * minimum_jerk_acceleration(MOVE_s, RATE_Hz)
    first = round(middle_s * RATE_Hz) - len(move) // 2
    acceleration[first : first + len(move)] = move
    return acceleration


@pytest.mark.parametrize("off_s", [-0.1, -0.03, 0.0, 0.04, 0.1])
def test_a_movement_without_anything_else_keeps_its_rise_wherever_it_was_found(off_s: float) -> None:
    """The double integral of the closed form is 40 mm.

    Means of a tenth of a second are exact for it but for ``a dt^2 / 12`` at both ends, where nothing moves.
    """
    result = rise_of(moved(15.0), (round((15.0 + off_s) * RATE_Hz), MOVE_s), [], RATE_Hz, 1e-4)
    assert result is not None
    assert result.rise_m == pytest.approx(0.04, abs=4e-5)


def test_a_level_that_is_wrong_and_a_drift_of_it_are_no_rise() -> None:
    """A level off by 0.5 % of g would alone be 0.05 T^2 / 2 = 36 mm over 1.2 s.

    The drift is that of a cell that is warming up, 0.0033 N/s (``monitor.signals.zeros``), under 65 kg.
    """
    row = round(15.0 * RATE_Hz)
    t_s = np.arange(len(moved(15.0))) / RATE_Hz
    result = rise_of(moved(15.0) + 0.05 + 0.00005 * (t_s - 15.0), (row, MOVE_s), [], RATE_Hz, 0.01)
    assert result is not None
    assert result.rise_m == pytest.approx(0.04, abs=1e-4)


def test_breath_of_any_phase_is_taken_off() -> None:
    """Breathing by 2 mm at 15 a minute moves a body by up to 2.8 mm within a second: that is not the pull's."""
    t_s = np.arange(round(30.0 * RATE_Hz)) / RATE_Hz
    breath = 0.002 * (2 * np.pi * 0.25) ** 2
    for phase in np.arange(8) * np.pi / 4:
        acceleration = moved(15.0) + breath * np.sin(2 * np.pi * 0.25 * t_s + phase)
        result = rise_of(acceleration, (round(15.0 * RATE_Hz), MOVE_s), [], RATE_Hz, 0.003)
        assert result is not None
        assert result.rise_m == pytest.approx(0.04, abs=4e-4)


def test_error_over_u_is_one_for_draws_of_the_process_itself() -> None:
    """300 draws of the model, drawn from its spectrum as sums of cosines, not from its covariance.

    The root mean square of 300 is known to 4 % (one over the root of 600).
    """
    rng, n, each = np.random.default_rng(3), 140, 24
    t_s = np.arange(n) / MEANS_Hz
    parts = [
        (centre_of_mass_rise.BREATHING_m_s2, centre_of_mass_rise.BREATHING_Hz),
        (centre_of_mass_rise.BEAT_m_s2, centre_of_mass_rise.BEAT_BAND_Hz),
        (centre_of_mass_rise.BOUNCE_m_s2, centre_of_mass_rise.BOUNCE_Hz),
    ]
    noise, over_u = 0.006, []
    for _ in range(300):
        y = centre_of_mass_rise.LEVEL_m_s2 * rng.standard_normal() + noise * rng.standard_normal(n)
        for size, band_Hz in parts:
            cosines = np.cos(
                2 * np.pi * rng.uniform(*band_Hz, each)[:, None] * t_s + rng.uniform(0, 2 * np.pi, each)[:, None]
            )
            y += size * np.sqrt(2 / each) * cosines.sum(axis=0)
        result = rise_of(y, (70, MOVE_s), [], MEANS_Hz, noise)
        assert result is not None
        over_u.append(result.rise_m / result.u_m)
    assert np.sqrt(np.mean(np.square(over_u))) == pytest.approx(1.0, abs=0.1)


def test_covariance_of_a_band_is_the_integral_of_its_spectrum() -> None:
    """Wiener and Khinchin: the covariance is the cosine transform of the spectrum; here by quadrature."""
    lags_s = np.array([0.0, 0.1, 0.7, 3.0])
    for low_Hz, high_Hz in (
        centre_of_mass_rise.BREATHING_Hz,
        centre_of_mass_rise.BEAT_BAND_Hz,
        centre_of_mass_rise.BOUNCE_Hz,
    ):
        wanted = [
            quad(lambda f, t=t: np.cos(2 * np.pi * f * t), low_Hz, high_Hz)[0] / (high_Hz - low_Hz) for t in lags_s
        ]
        assert centre_of_mass_rise._band(lags_s, low_Hz, high_Hz) == pytest.approx(wanted, abs=1e-9)


def test_no_rest_no_rise() -> None:
    acceleration = moved(15.0)
    for row in (0, round(0.5 * RATE_Hz), len(acceleration) - round(0.5 * RATE_Hz)):
        assert rise_of(acceleration, (row, MOVE_s), [], RATE_Hz, 0.003) is None
    assert rise_of(acceleration, (round(0.8 * RATE_Hz), MOVE_s), [], RATE_Hz, 0.003) is not None


def test_another_movement_beside_it_is_no_breath() -> None:
    acceleration = moved(15.0) - moved(17.5)
    rows = [round(x * RATE_Hz) for x in (15.0, 17.5)]
    known = rise_of(acceleration, (rows[0], MOVE_s), [(rows[1], MOVE_s)], RATE_Hz, 0.003)
    assert known is not None
    assert known.rise_m == pytest.approx(0.04, abs=1e-4)
    unknown = rise_of(acceleration, (rows[0], MOVE_s), [], RATE_Hz, 0.003)
    assert unknown is not None
    assert unknown.u_m > 3 * known.u_m


def test_two_rows_of_accelerations_are_integrated_each_by_itself() -> None:
    velocity, height = velocity_and_rise(np.array([[2.0, 2.0], [0.0, 4.0]]), 1.0)
    assert velocity.tolist() == [[0.0, 2.0, 4.0], [0.0, 0.0, 4.0]]
    assert height.tolist() == [[0.0, 1.0, 4.0], [0.0, 0.0, 2.0]]
