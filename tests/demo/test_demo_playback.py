"""Recorded curves played again: every row in its place, holes and failures kept."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_bridge.counts import NO_READING
from monitor.demo import curve_conversions
from monitor.errors import BadInput

NAMES = ["bar_left", "bar_right", "foot_fl", "foot_fr", "foot_rl", "foot_rr"]
RATE_Hz = 80.0


def curve(rows=4000, first=1, seed=0):
    """Make a curve on a grid with jitter, lost rows and empty fields; return times, loads and each row's place."""
    rng = np.random.default_rng(seed)
    load_N = rng.uniform(-20, 900, (rows, 6)).round(3)
    load_N[rng.random((rows, 6)) < 0.002] = np.nan
    place = np.arange(rows)
    t_s = (place + first) / RATE_Hz + rng.normal(0, 3e-4, rows)
    present = rng.random(rows) > 0.003
    present[0] = True
    present[700:760] = False
    return t_s[present].round(4), load_N[present], place[present]


def test_every_row_comes_back_at_its_place():
    t_s, load_N, place = curve()
    playback = curve_conversions(t_s, load_N, NAMES)
    counts, missed = playback.conversions(10_000)
    assert len(counts) == place[-1] + 1
    np.testing.assert_array_equal(np.flatnonzero(~missed), place)
    back_N = playback.calibration.newtons(counts[place])
    np.testing.assert_array_equal(np.isnan(back_N), np.isnan(load_N))
    assert np.isnan(load_N).any()
    # Half a count.
    half = 0.5 * playback.calibration.channels[0].N_per_count
    assert np.nanmax(np.abs(back_N - load_N)) <= half * 1.0001
    assert half < 1e-3


def test_a_failed_reading_is_no_reading():
    load_N = np.full((10, 6), 5.0)
    load_N[4, 2] = np.nan
    counts, missed = curve_conversions(np.arange(1, 11) / 80, load_N, NAMES).conversions(10)
    assert not missed.any()
    assert np.argwhere(counts == NO_READING).tolist() == [[4, 2]]


def test_the_rate_is_found_from_the_rows():
    t_s, load_N, _ = curve()
    # Jitter of 0.3 ms over 50 s leaves the rate known to some 1e-7; 1e-5 is required.
    assert curve_conversions(t_s, load_N, NAMES).rate_Hz == pytest.approx(RATE_Hz, rel=1e-5)
    stretched = curve_conversions(t_s * 1.02, load_N, NAMES)
    assert stretched.rate_Hz == pytest.approx(RATE_Hz / 1.02, rel=1e-5)


@pytest.mark.parametrize(("first", "start_s"), [(1, 0.0), (0, -1 / 80), (3, 0.0), (4000, 3999 / 80)])
def test_the_curves_time_is_the_boards_time_and_a_start(first, start_s):
    t_s, load_N, place = curve(first=first)
    playback = curve_conversions(t_s, load_N, NAMES, rate_Hz=RATE_Hz)
    _, missed = playback.conversions(10_000)
    assert playback.start_s == pytest.approx(start_s, abs=1e-12)
    # Conversion k is ready k + 1 intervals after the board began.
    ready_s = playback.start_s + (np.flatnonzero(~missed) + 1) / RATE_Hz
    assert np.abs(ready_s - t_s).max() < 2e-3
    assert len(ready_s) == len(place)


def test_it_ends_after_the_last_row_however_it_is_cut():
    t_s, load_N, _ = curve(rows=1000)
    whole, mask = curve_conversions(t_s, load_N, NAMES).conversions(5000)
    playback = curve_conversions(t_s, load_N, NAMES)
    pieces = [playback.conversions(7) for _ in range(150)]
    np.testing.assert_array_equal(np.concatenate([counts for counts, _ in pieces]), whole)
    np.testing.assert_array_equal(np.concatenate([missed for _, missed in pieces]), mask)
    assert playback.conversions_left == 0
    assert len(playback.conversions(10)[0]) == 0


@pytest.mark.parametrize(
    ("t_s", "load_N"),
    [
        ([0.1, 0.1, 0.2], np.zeros((3, 6))),
        ([0.3, 0.2, 0.1], np.zeros((3, 6))),
        ([0.1, np.nan, 0.2], np.zeros((3, 6))),
        ([0.1], np.zeros((1, 6))),
        ([0.1, 0.2, 0.3], np.zeros((3, 5))),
        ([0.1, 0.2, 0.201, 0.3, 0.4, 0.5], np.zeros((6, 6))),
    ],
    ids=["repeated", "backwards", "no number", "one row", "a column short", "two rows in one place"],
)
def test_what_cannot_be_played_is_refused_with_a_reason(t_s, load_N):
    with pytest.raises(BadInput) as caught:
        curve_conversions(t_s, load_N, NAMES)
    assert caught.value.what
    assert caught.value.do
