"""Passive and active from travel, and tremor from sine and noise."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.measures.shoulder_states import LEAST_RANGE_mm, states_of, travel_was_missed
from monitor.measures.tremor import tremor_N
from monitor.records.hold_result import StateSpan, Travel


def moves(*travels: tuple[float, float]) -> list[Travel]:
    """Return travels of one second around instants (s, mm)."""
    return [Travel(middle_s - 0.5, middle_s + 0.5, mm, 1.0) for middle_s, mm in travels]


def spans(*args: object, **kwargs: object) -> list[tuple[float, float, str]]:
    result, _ = states_of(*args, **kwargs)
    return [(s.start_s, s.end_s, s.state) for s in result]


def test_drawing_down_and_letting_go_are_passive_active_passive():
    result, kind = states_of(5.0, 65.0, moves((20, 48), (40, -47)))
    assert [(s.start_s, s.end_s, s.state) for s in result] == [
        (5.0, 20.0, "passive"),
        (20.0, 40.0, "active"),
        (40.0, 65.0, "passive"),
    ]
    assert kind == "mixed"
    assert [s.certainty for s in result] == [0.9, 0.97, 0.9]


def test_one_sign_alone_is_less_certain():
    result, kind = states_of(5.0, 65.0, moves((20, 48)))
    assert [s.state for s in result] == ["passive", "active"]
    assert kind == "mixed"
    assert {s.certainty for s in result} == {0.9}
    assert spans(5.0, 65.0, moves((20, -48))) == [(5.0, 20.0, "active"), (20.0, 65.0, "passive")]


def test_a_pull_in_two_halves_is_active_after_the_second():
    assert spans(0.0, 60.0, moves((20, 22), (30, 24), (40, -46))) == [
        (0.0, 30.0, "passive"),
        (30.0, 40.0, "active"),
        (40.0, 60.0, "passive"),
    ]


def test_what_does_not_move_keeps_the_given_start_or_nothing():
    assert states_of(5.0, 65.0, []) == ([], None)
    assert states_of(5.0, 65.0, moves((20, LEAST_RANGE_mm - 1))) == ([], None)
    for word in ("passive", "active"):
        assert states_of(5.0, 65.0, [], word) == ([StateSpan(5.0, 65.0, word, 0.97)], word)


RATE_Hz = 80.0
T_s = np.arange(0, 40, 1 / RATE_Hz)
W = 700.0


def averaged(frequency_Hz: float, amplitude_N: float) -> np.ndarray:
    """Return a sine as a converter reads it: the mean over each interval is less by sin(x) / x, x = pi f / rate."""
    return amplitude_N * np.sinc(frequency_Hz / RATE_Hz) * np.sin(2 * np.pi * frequency_Hz * T_s)


@pytest.mark.parametrize("frequency_Hz", [7.5, 9.0, 10.5])
@pytest.mark.parametrize("noise_N", [0.0, 0.5, 1.0])
def test_tremor_of_a_sine_in_noise(frequency_Hz, noise_N):
    """A sine of amplitude 2 N has an rms of 2 / sqrt(2) = 1.414 N; white noise is known and taken off."""
    noise = noise_N * np.random.default_rng(2).standard_normal(len(T_s))
    assert tremor_N(W + averaged(frequency_Hz, 2.0) + noise, RATE_Hz) == pytest.approx(2 / 2**0.5, rel=0.03)


@pytest.mark.parametrize("frequency_Hz", [0.3, 2.0, 4.0, 16.0])
def test_what_lies_outside_of_the_band_is_no_tremor(frequency_Hz):
    assert tremor_N(W + averaged(frequency_Hz, 2.0), RATE_Hz) < 0.07 * 2 / 2**0.5


def test_a_blow_at_the_very_end_of_a_stretch_is_no_tremor():
    """The filter goes on with a mirror of what it saw: a last reading that is off would count twice, and ring."""
    blow_N = np.zeros(len(T_s))
    blow_N[-1] = 60.0
    calm, struck = (tremor_N(W + averaged(9.0, 2.0) + x, RATE_Hz) for x in (0.0, blow_N))
    assert struck == pytest.approx(calm, rel=0.03)


def test_noise_alone_is_next_to_no_tremor():
    """White noise of 1 N has 6 of its 40 Hz in the band: 0.39 N rms, of which most must go."""
    noise = np.random.default_rng(7).standard_normal(len(T_s))
    assert tremor_N(W + noise, RATE_Hz) < 0.15


def test_too_short_or_too_slow_is_not_measurable():
    assert tremor_N(np.full(150, W), RATE_Hz) is None
    assert tremor_N(np.full(1000, W), 50.0) is None


def test_a_small_pull_beside_large_ones_changes_no_posture():
    """Travels of a simulated body: its small pull is less than half of its large one, up and down (22.2, -21.4 mm)."""
    assert spans(0.0, 60.0, moves((18, 55.9), (30, -56.2), (40, 22.2), (49, -21.4))) == [
        (0.0, 18.0, "passive"),
        (18.0, 30.0, "active"),
        (30.0, 60.0, "passive"),
    ]


def test_two_travels_of_one_sign_say_that_one_was_missed_unless_they_are_one_pull_in_two_parts():
    assert travel_was_missed(moves((20, 57), (25, -59), (35, -48)))
    assert not travel_was_missed(moves((20, 57), (25, -59), (35, 48), (40, -47)))
    assert not travel_was_missed(moves((20, 22), (30, 24), (40, -46)))
