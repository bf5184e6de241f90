"""Cells and converter: what they do to a load, by their own figures."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_bridge.counts import NO_READING
from monitor.demo.electronics import PERFECT, Electronics, Faults
from monitor.demo.virtual_rig import calibrate, demo_rig

CAPACITY_N = [2000.0, 2000.0, 1500.0, 1500.0, 1500.0, 1500.0]
KGF_N = 9.80665


def only(**faults):
    names = ("noise_kgf", "u_rel_span", "u_zero_N", "drift_kgf_per_min", "creep")
    names += ("spike_rate", "failed_rate", "missed_rate")
    return Faults(**{**{name: getattr(PERFECT, name) for name in names}, **faults})


def make(faults, seed=1, rate_Hz=80.0):
    return Electronics(CAPACITY_N, rate_Hz, seed=seed, faults=faults)


def newtons(electronics, counts):
    return (counts - electronics.zero_counts) / electronics.counts_per_N


def test_perfect_electronics_only_round():
    electronics = make(PERFECT)
    load_N = np.random.default_rng(0).uniform(-50, 1400, (500, 6))
    counts, missed = electronics.convert(load_N)
    assert counts.dtype == np.int32
    assert not missed.any()
    error_counts = (newtons(electronics, counts) - load_N) * electronics.counts_per_N
    assert np.abs(error_counts).max() <= 0.5 + 1e-6
    assert np.abs(error_counts).max() > 0.4


def test_a_cell_fills_half_of_the_converter():
    # 2 mV/V at 5 V is 10 mV at capacity; the converter's full scale at gain 128 and 5 V is 20 mV (HX711 data sheet).
    electronics = make(PERFECT)
    np.testing.assert_allclose(electronics.counts_per_N * CAPACITY_N, 2**23 * 10 / 20, rtol=0.015)


def test_the_converter_saturates_at_the_rails():
    # 24 bits, two's complement, saturating at 7FFFFFh and 800000h (HX711 data sheet).
    counts, _ = make(PERFECT).convert(np.array([[9e4] * 6, [-9e4] * 6]))
    assert counts.tolist() == [[8388607] * 6, [-8388608] * 6]


def test_a_missing_load_is_a_failed_reading():
    load_N = np.full((3, 6), 100.0)
    load_N[1, 4] = np.nan
    counts, missed = make(PERFECT).convert(load_N)
    assert (counts == NO_READING).tolist() == np.isnan(load_N).tolist()
    assert not missed.any()


def test_noise_is_white_with_the_rms_of_each_channel():
    electronics = make(only(noise_kgf=(0.02, 0.05)))
    counts, _ = electronics.convert(np.full((40_000, 6), 300.0))
    error = newtons(electronics, counts) - 300.0
    # Standard error of an rms over n values is 1 / sqrt(2 n): 0.35 %.
    np.testing.assert_allclose(error.std(axis=0), electronics.noise_N, rtol=0.015)
    neighbours = (error[1:] * error[:-1]).mean(axis=0) / error.var(axis=0)
    assert np.abs(neighbours).max() < 5 / np.sqrt(40_000)
    assert (electronics.noise_N >= 0.02 * KGF_N).all()
    assert (electronics.noise_N <= 0.05 * KGF_N).all()


def test_zeros_wander_no_faster_than_stated():
    electronics = make(only(drift_kgf_per_min=0.02), rate_Hz=1.0)
    counts, _ = electronics.convert(np.zeros((7200, 6)))
    zero_N = newtons(electronics, counts)
    assert np.abs(zero_N[0]).max() < 0.01
    per_minute = (zero_N[60:] - zero_N[:-60]) / KGF_N
    assert np.abs(per_minute).max() <= 0.0205
    assert np.abs(per_minute).max(axis=0).min() > 0.005
    # It turns back: after two hours no zero is further away than some hundred grams.
    assert np.abs(zero_N).max() < 0.2 * KGF_N


def test_creep_ends_at_its_share_of_the_load_and_goes_back():
    electronics = make(only(creep=2.5e-4))
    loaded, _ = electronics.convert(np.full((80 * 300, 6), 1000.0))
    unloaded, _ = electronics.convert(np.zeros((80 * 300, 6)))
    crept = newtons(electronics, loaded) - 1000.0
    assert np.abs(crept[0]).max() < 0.01
    assert (np.abs(crept[-1]) <= 0.2501).all()
    assert (np.abs(crept[-1]) > 0.1).all()
    # A lag of first order: 1 - 1/e of it after one time constant, 35 s here.
    np.testing.assert_allclose(crept[80 * 35] / crept[-1], 0.632, atol=0.01)
    assert np.abs(newtons(electronics, unloaded)[-1]).max() < 0.001


def test_spikes_failures_and_misses_are_as_frequent_as_stated_and_counted():
    electronics = make(only(spike_rate=2e-3, failed_rate=1e-3, missed_rate=5e-3))
    n = 40_000
    counts, missed = electronics.convert(np.full((n, 6), 300.0))
    failed = counts == NO_READING
    wild = ~failed & (np.abs(newtons(electronics, counts) - 300.0) > 80.0)
    for count, expected in ((missed.sum(), 5e-3 * n), (failed.sum(), 6e-3 * n), (wild.sum(), 12e-3 * n)):
        # Binomial: five standard deviations.
        assert abs(count - expected) < 5 * np.sqrt(expected)
    assert electronics.missed == missed.sum()
    assert electronics.failed == failed[~missed].sum()
    assert electronics.spikes == wild[~missed].sum()


def test_the_calibration_is_wrong_within_its_own_uncertainties():
    rig = demo_rig()
    off_zero, off_span = [], []
    for seed in range(60):
        electronics = make(Faults(), seed=seed)
        calibration = calibrate(electronics, rig, seed=seed)
        for k, channel in enumerate(calibration.channels):
            off_zero.append((channel.zero_counts - electronics.zero_counts[k]) / channel.u_zero_counts)
            off_span.append((channel.N_per_count * electronics.counts_per_N[k] - 1) / channel.u_rel_span)
    for off in (np.array(off_zero), np.array(off_span)):
        assert np.abs(off).max() <= 2.001
        # Normal, cut at 2: standard deviation 0.96; 360 values.
        assert off.std() == pytest.approx(0.96, abs=0.12)
        assert abs(off.mean()) < 0.2


def test_faults_do_not_depend_on_how_the_load_comes_in_time():
    whole = make(only(creep=2e-4, drift_kgf_per_min=0.02))
    pieces = make(only(creep=2e-4, drift_kgf_per_min=0.02))
    load_N = np.random.default_rng(2).uniform(0, 900, (2000, 6))
    expected, _ = whole.convert(load_N)
    got = np.concatenate([pieces.convert(part)[0] for part in np.split(load_N, [1, 80, 81, 700])])
    assert np.abs(got - expected).max() <= 1
