"""A curve that was written is read back by the analysis' own reader."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.exports.csv_file import curve_csv
from monitor.newtons.curve_file import CURVE_HEADER, read_curve
from monitor.rig import STANDARD_CHANNELS

NAMES = [c.name for c in STANDARD_CHANNELS]


def written(tmp_path, t_s, names, load_N):
    path = tmp_path / "curve.csv"
    with path.open("w", newline="", encoding="utf-8") as out:
        curve_csv(t_s, names, load_N, out)
    return path


def test_the_header_is_the_one_that_the_reader_wants(tmp_path):
    path = written(tmp_path, np.arange(1.0, 10.0), NAMES, np.zeros((9, 6)))
    lines = path.read_text().splitlines()
    assert lines[0] == CURVE_HEADER
    assert lines[1] == "1.000000,0.0000,0.0000,0.0000,0.0000,0.0000,0.0000"


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), channels=st.integers(1, 6), rows=st.integers(8, 60))
def test_a_written_curve_reads_back(tmp_path_factory, seed, channels, rows):
    random = np.random.default_rng(seed)
    t_s = np.cumsum(random.uniform(0.008, 0.017, rows))
    load_N = random.uniform(-50, 3000, (rows, channels))
    load_N[random.random((rows, channels)) < 0.1] = np.nan
    curve = read_curve(written(tmp_path_factory.mktemp("curve"), t_s, NAMES[:channels], load_N))
    assert curve.rig.names == tuple(NAMES[:channels])
    # Half of the last digit that is written.
    np.testing.assert_allclose(curve.t_s, t_s, rtol=0, atol=0.51e-6)
    np.testing.assert_allclose(curve.load_N, load_N, rtol=0, atol=0.51e-4, equal_nan=True)


@pytest.mark.parametrize(
    ("t_s", "names", "load_N"),
    [
        ([1.0, 2.0], ["bar_left"], [[1.0]]),
        ([1.0, 2.0], ["bar_left", "bar_right"], [[1.0], [2.0]]),
        ([1.0, 1.0], ["bar_left"], [[1.0], [2.0]]),
        ([2.0, 1.0], ["bar_left"], [[1.0], [2.0]]),
        ([1.0, np.nan], ["bar_left"], [[1.0], [2.0]]),
    ],
)
def test_what_could_not_be_read_back_is_refused_before_anything_is_written(t_s, names, load_N):
    out = io.StringIO()
    with pytest.raises(ValueError, match=r"[Tt]imes"):
        curve_csv(np.array(t_s), names, np.array(load_N), out)
    assert out.getvalue() == ""


def test_a_channels_name_is_no_formula():
    out = io.StringIO()
    curve_csv(np.array([1.0]), ["=1+1"], np.array([[1.0]]), out)
    assert out.getvalue().splitlines()[0] == "t_s,'=1+1_N"
