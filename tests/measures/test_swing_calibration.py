"""A person's own kappa from one deliberate swing: the pendulum's law there and back, uncertainties, refusals."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from monitor.measures.swing import KAPPA, U_KAPPA_REL, Pendulum, amplitude_from_beat, beat_from_amplitude
from monitor.measures.swing_calibration import (
    U_DAY_REL,
    MeasuredAngle,
    SwingNotUsable,
    angle_from_reach,
    own_kappa,
    pendulum_of,
)
from monitor.records.hold_result import HoldResult, Swing


def hold(cells_deg: float, u_deg: float = 0.2, kappa: float = KAPPA) -> HoldResult:
    course = [(20.0, cells_deg, u_deg), (20.5, None, None), (21.0, 0.9 * cells_deg, u_deg)]
    return HoldResult(10.0, 40.0, 30.0, 0.01, swing=Swing(cells_deg, 3.0, 0.45, course, kappa, kappa * U_KAPPA_REL))


def test_the_reach_of_the_toes_is_twice_the_sine():
    """Turning points 0.6 m apart, 2.2 m below the bar: asin(0.3 / 2.2) = 7.8374 degrees."""
    angle = angle_from_reach(0.6, 2.2, 0.0, 0.0)
    assert angle.degrees == pytest.approx(7.8374, abs=1e-4)
    assert angle.u_degrees == 0.0
    # d(theta) = d(reach) / (2 L cos theta): 0.01 / (4.4 cos 7.8374 deg) rad = 0.13145 degrees.
    assert angle_from_reach(0.6, 2.2, 0.01, 0.0).u_degrees == pytest.approx(0.13145, abs=1e-4)


@pytest.mark.parametrize("true_kappa", [0.78, 0.85, 0.92])
@pytest.mark.parametrize("true_deg", [5.0, 9.0, 20.0])
def test_the_angle_that_was_measured_gives_the_kappa_behind_the_beat(true_kappa, true_deg):
    """A body of that kappa beats so; read with anybody's kappa its angle is wrong; the measured one mends that."""
    beat = beat_from_amplitude(np.radians(true_deg), true_kappa)
    cells_deg = float(np.degrees(amplitude_from_beat(beat)))
    result = own_kappa(hold(cells_deg), 10.2, MeasuredAngle(true_deg, 0.1))
    assert result.kappa == pytest.approx(true_kappa, rel=1e-6)
    assert result.cells_deg == cells_deg
    assert np.degrees(amplitude_from_beat(beat, result.kappa)) == pytest.approx(true_deg, rel=1e-6)


def test_a_hold_computed_with_an_own_kappa_gives_the_same():
    beat = beat_from_amplitude(np.radians(8.0), 0.9)
    cells_deg = float(np.degrees(amplitude_from_beat(beat, 0.88)))
    assert own_kappa(hold(cells_deg, kappa=0.88), 10.0, MeasuredAngle(8.0)).kappa == pytest.approx(0.9, rel=1e-6)


def test_the_uncertainty_is_twice_that_of_both_angles():
    """0.4 of 8 degrees measured (5 %), 0.08 of 8 told beside kappa's share of 0.12: 2 (0.05^2 + 0.01^2)^0.5."""
    result = own_kappa(hold(8.0, float(np.hypot(0.08, 0.5 * U_KAPPA_REL * 8.0))), 10.0, MeasuredAngle(8.0, 0.4))
    assert result.u_rel == pytest.approx(np.hypot(2 * np.hypot(0.05, 0.01), U_DAY_REL), rel=1e-6)


def test_several_swings_and_what_is_known_of_anybody_are_weighed():
    """Equal uncertainties: the plain mean, surer by the root of their number; never surer than a day's posture."""
    assert pendulum_of([]) == Pendulum()
    u_rel = U_KAPPA_REL * KAPPA / 0.89
    two = pendulum_of([(0.89, u_rel)])
    assert two.kappa == pytest.approx((KAPPA + 0.89) / 2)
    assert two.u_rel * two.kappa == pytest.approx(U_KAPPA_REL * KAPPA / 2**0.5)
    many = pendulum_of([(0.89, 0.01)] * 30)
    assert many.kappa == pytest.approx(0.89, abs=0.001)
    assert many.u_rel == U_DAY_REL


@pytest.mark.parametrize(
    ("after_s", "angle"),
    [
        (10.0, MeasuredAngle(3.0)),
        (10.0, MeasuredAngle(50.0)),
        (10.0, MeasuredAngle(8.0, 0.0)),
        (25.0, MeasuredAngle(8.0)),
        (10.0, MeasuredAngle(12.0)),
    ],
    ids=["too small", "too large", "no uncertainty", "no swing then", "does not fit"],
)
def test_what_gives_no_kappa_is_refused(after_s, angle):
    with pytest.raises(SwingNotUsable):
        own_kappa(hold(8.0), after_s, angle)


def test_a_hold_without_swing_and_absurd_lengths_are_refused():
    with pytest.raises(SwingNotUsable):
        own_kappa(dataclasses.replace(hold(8.0), swing=None), 10.0, MeasuredAngle(8.0))
    for reach_m, length_m in ((0.0, 2.0), (0.6, 0.1), (0.6, 9.0), (3.0, 2.0)):
        with pytest.raises(SwingNotUsable):
            angle_from_reach(reach_m, length_m)


def test_only_amplitudes_near_the_instant_count_and_unread_seconds_do_not():
    # At 20.4 s the nearest second, 20.5 s, was not read: the one of 20.0 s serves.
    assert own_kappa(hold(8.0), 10.4, MeasuredAngle(8.0)).cells_deg == 8.0
    with pytest.raises(SwingNotUsable, match=r"no amplitude of a swing at 25\.0 s"):
        own_kappa(hold(8.0), 25.0, MeasuredAngle(8.0))
