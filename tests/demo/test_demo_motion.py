"""Smooth moves, restless noise and breathing, against their definitions."""

from __future__ import annotations

import math

import numpy as np
import pytest

from monitor.demo.motion import Breathing, Restless, Track, minimum_jerk, minimum_jerk_acceleration

FINE_s = 1 / 960


def twice_integrated(acceleration, step_s):
    """Midpoint rule for the speed at the steps' ends, then the heights at their middles."""
    speed = np.concatenate(([0.0], np.cumsum(acceleration) * step_s))
    height = np.concatenate(([0.0], np.cumsum((speed[1:] + speed[:-1]) / 2) * step_s))
    return (height[1:] + height[:-1]) / 2, speed


def test_minimum_jerk_is_the_quintic_at_rest_at_both_ends():
    # Flash and Hogan 1985 (from memory): the quintic through 0 and 1 with no velocity, no acceleration at its ends.
    s = np.linspace(0, 1, 2001)
    way = minimum_jerk(s)
    speed = np.gradient(way, s)
    assert (way[0], way[-1]) == (0.0, 1.0)
    assert abs(speed[0]) < 1e-5
    assert abs(speed[-1]) < 1e-5
    assert speed.max() == pytest.approx(1.875, abs=1e-4)
    np.testing.assert_allclose(np.gradient(speed, s)[5:-5], minimum_jerk_acceleration(s)[5:-5], atol=0.02)
    assert minimum_jerk_acceleration(np.array([-0.5, 1.5])).tolist() == [0.0, 0.0]


def test_a_tracks_acceleration_integrates_back_to_its_moves():
    track = Track(0.3)
    track.to(0.345, 1.0, 0.8)
    track.to(0.31, 2.2, 1.1)
    t_s = (np.arange(4 * 960) + 0.5) * FINE_s
    height, speed = twice_integrated(track.acceleration(t_s), FINE_s)
    np.testing.assert_allclose(height + 0.3, track.value(t_s), atol=1e-6)
    assert abs(speed[-1]) < 1e-6
    assert track.final == pytest.approx(0.31)


def test_a_track_is_the_same_in_pieces():
    track = Track(1.0)
    track.by(-0.4, 0.31, 0.9)
    track.by(0.7, 0.9, 2.0)
    t_s = (np.arange(4000) + 0.5) / 1000
    for read in (track.value, track.acceleration):
        pieces = np.concatenate([read(piece) for piece in np.split(t_s, [1, 310, 900, 901, 2600])])
        np.testing.assert_allclose(pieces, read(t_s), atol=1e-12)


@pytest.mark.parametrize("slope", [0.0, 1.0])
def test_restless_noise_has_rms_one_within_its_band(slope):
    noise = Restless(np.random.default_rng(4), 6.3, 11.5, tones=18, slope=slope)
    rate_Hz, seconds = 80, 400
    value = noise.value(np.arange(rate_Hz * seconds) / rate_Hz)
    assert value.std() == pytest.approx(1.0, abs=0.03)
    power = np.abs(np.fft.rfft(value * np.hanning(len(value)))) ** 2
    frequency = np.fft.rfftfreq(len(value), 1 / rate_Hz)
    inside = (frequency > 6.2) & (frequency < 11.6)
    assert power[inside].sum() / power.sum() > 0.999


def test_breathing_moves_the_body_by_its_amplitude_at_its_pace():
    breathing = Breathing(0.25, 1e-3, 0.4)
    t_s = (np.arange(240 * 200) + 0.5) / 200
    acceleration = breathing.acceleration(t_s)
    spectrum = np.fft.rfft(acceleration * np.hanning(len(t_s)))
    frequency = np.fft.rfftfreq(len(t_s), 1 / 200)
    # Twice divided by -w^2 in the frequency domain: back to the height.
    passed = frequency > 0.1
    height = np.zeros_like(spectrum)
    height[passed] = -spectrum[passed] / (2 * math.pi * frequency[passed]) ** 2
    middle = np.fft.irfft(height)[len(t_s) // 2 - 4000 : len(t_s) // 2 + 4000]
    assert middle.max() == pytest.approx(1e-3, rel=0.05)
    assert middle.min() == pytest.approx(-1e-3, rel=0.05)
    pace = frequency[passed][np.argmax(np.abs(height[passed]))]
    # Adults at rest: 12 to 20 breaths a minute (general references).
    assert 12 / 60 <= pace <= 20 / 60
    assert pace == pytest.approx(0.25, abs=0.035)
