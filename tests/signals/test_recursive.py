"""Recursive filters against SciPy's signal package, which the program itself goes without, and against theory."""

from __future__ import annotations

import itertools
import subprocess
import sys

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.signals import recursive
from monitor.signals.recursive import Running, band_pass, both_ways, low_pass, response, rest_state
from monitor.signals.spectrum import power_density

LOW_PASSES = [(2, 2.0, 80.0), (2, 8.0, 80.0), (4, 10.0, 80.02), (4, 10.0, 1000.0), (6, 3.0, 50.0)]
BAND_PASSES = [(2, (0.6, 1.4), 80.0), (4, (6.0, 12.0), 80.02), (4, (6.0, 12.0), 1000.0)]
DESIGNS = [
    *((low_pass(*d), scipy.signal.butter(d[0], d[1], fs=d[2], output="sos"), d[2]) for d in LOW_PASSES),
    *((band_pass(*d), scipy.signal.butter(d[0], d[1], "bandpass", fs=d[2], output="sos"), d[2]) for d in BAND_PASSES),
]


@pytest.mark.parametrize(("own", "sos", "rate_Hz"), DESIGNS)
def test_a_design_has_the_response_of_scipys(own, sos, rate_Hz):
    """Their sections differ (in which pole stands with which zero), the whole does not.

    Both are rounded: a double holds 1e-16, and a slow pole at 1000 per second lies so near to 1 that its response
    takes the rounding of its coefficients some thousandfold.
    """
    f, wanted = scipy.signal.freqz_sos(sos, worN=2000, fs=rate_Hz)
    np.testing.assert_allclose(response(own, f, rate_Hz), wanted, rtol=0, atol=1e-12)


@pytest.mark.parametrize(("order", "band_Hz", "rate_Hz"), BAND_PASSES)
def test_a_bands_ends_pass_half_the_power(order, band_Hz, rate_Hz):
    """The definition of a Butterworth filter's corners."""
    gain = np.abs(response(band_pass(order, band_Hz, rate_Hz), np.array(band_Hz), rate_Hz))
    np.testing.assert_allclose(gain, 2**-0.5, rtol=1e-11)


@pytest.mark.parametrize(("own", "sos", "rate_Hz"), DESIGNS)
def test_both_ways_is_scipys_zero_phase_filter(own, sos, rate_Hz):
    signal = 700 + 20 * np.random.default_rng(1).standard_normal(1500).cumsum()
    wanted = scipy.signal.sosfiltfilt(sos, signal)
    tolerance = 1e-13 * np.abs(signal).max()  # rounding only: a double holds 1e-16, and errors add up along a signal
    np.testing.assert_allclose(both_ways(own, signal), wanted, rtol=0, atol=tolerance)
    np.testing.assert_allclose(both_ways(sos, signal), wanted, rtol=0, atol=tolerance)


def test_both_ways_refuses_what_is_too_short_to_be_continued():
    sections = band_pass(4, (6.0, 12.0), 80.0)
    edge = 3 * (2 * 4 + 1)  # no coefficient of a band-pass is nothing at z^-2
    assert both_ways(sections, np.ones(edge + 1)).shape == (edge + 1,)
    with pytest.raises(ValueError, match=f"More than {edge} samples"):
        both_ways(sections, np.ones(edge))


@pytest.mark.parametrize(("own", "sos", "rate_Hz"), DESIGNS)
def test_forward_is_scipys_filter_to_the_bit_at_every_cut(own, sos, rate_Hz):
    rows = 500 + 30 * np.random.default_rng(2).standard_normal((400, 3)).cumsum(axis=0)
    zi = rest_state(own)[:, :, None] * rows[0]
    wanted, _ = scipy.signal.sosfilt(np.array(own), rows, axis=0, zi=zi)
    for cuts in ([400], [1, 7, 8, 64, 320], [8] * 50):
        stage = Running(own)
        edges = np.cumsum([0, *cuts])
        found = np.concatenate([stage.push(rows[a:b]) for a, b in itertools.pairwise(edges)])
        np.testing.assert_array_equal(found, wanted)


@pytest.mark.parametrize(("own", "sos", "rate_Hz"), DESIGNS)
def test_at_rest_a_filter_gives_its_gain_for_ever(own, sos, rate_Hz):
    np.testing.assert_allclose(rest_state(sos), scipy.signal.sosfilt_zi(sos), rtol=0, atol=1e-13)
    stage = Running(own)
    gain = abs(response(own, np.zeros(1), rate_Hz)[0])
    np.testing.assert_allclose(stage.push(np.full((300, 1), 700.0))[:, 0], 700.0 * gain, rtol=0, atol=1e-6)


def test_a_filters_rows_are_never_those_it_was_given():
    rows = np.arange(30.0).reshape(10, 3)
    before = rows.copy()
    Running(low_pass(2, 2.0, 80.0)).push(rows)
    both_ways(low_pass(2, 2.0, 80.0), rows[:, 0].copy())
    np.testing.assert_array_equal(rows, before)
    with pytest.raises(ValueError, match="read-only"):
        low_pass(2, 2.0, 80.0)[0, 0] = 1.0


@pytest.mark.parametrize("order", [0, 1, 3])
def test_odd_orders_and_corners_out_of_reach_are_refused(order):
    with pytest.raises(ValueError, match="even order"):
        low_pass(order, 2.0, 80.0)
    for corner_Hz in (0.0, 40.0, -1.0, float("nan")):
        with pytest.raises(ValueError, match="corner"):
            low_pass(2, corner_Hz, 80.0)


def test_the_front_door_filters_to_the_bit_like_the_loop_alone():
    random = np.random.default_rng(3)
    sections = np.array(low_pass(4, 10.0, 80.0))
    signals, states = random.standard_normal((3, 50)), random.standard_normal((3, 2, 2))
    through, left = signals.copy(), states.copy()
    recursive.core()(sections, signals, states)
    recursive.front_door_core(sections, through, left)
    np.testing.assert_array_equal(through, signals)
    np.testing.assert_array_equal(left, states)


@pytest.mark.parametrize("strange", ["missing", "other_answer", "other_arguments", "other_name"])
def test_a_scipy_that_keeps_its_loop_otherwise_is_asked_through_the_front_door(monkeypatch, tmp_path, strange):
    bodies = {
        "other_answer": "def _sosfilt(sections, signals, states): pass",
        "other_arguments": "def _sosfilt(sections): pass",
        "other_name": "def another(sections, signals, states): pass",
    }
    (tmp_path / "signal").mkdir()
    (tmp_path / "__init__.py").write_text("")
    if strange in bodies:
        (tmp_path / "signal" / "_sosfilt.py").write_text(bodies[strange])
    monkeypatch.setattr("scipy.__file__", str(tmp_path / "__init__.py"))
    monkeypatch.setitem(sys.modules, "scipy.signal._sosfilt", None)  # so that all is afterwards as it was
    monkeypatch.delitem(sys.modules, "scipy.signal._sosfilt")
    assert recursive.core.__wrapped__() is recursive.front_door_core


def test_the_loop_alone_and_the_whole_package_live_together_in_either_order():
    """In a child: this process has loaded SciPy's signal package already. Three threads ask at once, as analyses do."""
    for first, second in (("own()", "theirs()"), ("theirs()", "own()")):
        code = f"""
import threading
import numpy as np
def own():
    from monitor.signals.recursive import Running, core, front_door_core, low_pass
    together, given = threading.Barrier(3), []
    asking = [threading.Thread(target=lambda: (together.wait(), given.append(core()))) for _ in range(3)]
    for thread in asking:
        thread.start()
    for thread in asking:
        thread.join()
    assert len(given) == 3 and front_door_core not in given
    return Running(low_pass(2, 8.0, 80.0)).push(np.eye(20)[:, 3:4])
def theirs():
    import scipy.signal
    zi = np.zeros((1, 2, 1))
    from monitor.signals.recursive import low_pass
    return scipy.signal.sosfilt(np.array(low_pass(2, 8.0, 80.0)), np.eye(20)[:, 3:4], axis=0, zi=zi)[0]
assert ({first} == {second}).all()
print("equal")
"""
        ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
        assert (ran.stdout, ran.returncode) == ("equal\n", 0), ran.stderr


@settings(deadline=None, max_examples=40)
@given(n=st.integers(80, 900), rows=st.integers(8, 80), more=st.integers(0, 50), line=st.booleans())
def test_power_density_is_scipys(n, rows, more, line):
    signal = 700 + np.random.default_rng(n).standard_normal(n).cumsum()
    f, wanted = scipy.signal.welch(
        signal,
        80.0,
        "hann",
        nperseg=rows,
        noverlap=rows // 2,
        nfft=rows + more,
        detrend=(lambda pieces: scipy.signal.detrend(pieces, type="linear")) if line else "constant",
    )
    own_f, own = power_density(signal, 80.0, rows, padded=rows + more, line=line)
    np.testing.assert_allclose(own_f, f, rtol=1e-15)
    np.testing.assert_allclose(own, wanted, rtol=0, atol=1e-11 * wanted.max())


def test_the_power_of_a_known_noise_is_found():
    """White noise of variance v has the one-sided density 2 v / rate (any text on spectra)."""
    noise = 3.0 * np.random.default_rng(5).standard_normal(200_000)
    _, density = power_density(noise, 80.0, 160)
    assert density[2:-1].mean() == pytest.approx(2 * 9.0 / 80.0, rel=0.01)
