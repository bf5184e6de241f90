"""C3D and EDF+ are read back by other libraries: ezc3d and c3d, pyEDFlib."""

from __future__ import annotations

import io
import json
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.exports.c3d_file import c3d_bytes
from monitor.exports.edf_file import data_record, edf_bytes
from monitor.exports.export_format import ExportedCurve, ExportLibraryMissing
from monitor.exports.recording import CurveNotEven, recording
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult, Touch
from monitor.records.stored_hold import StoredHold

NAMES = ("bar_left", "bar_right", "foot_fl", "foot_fr", "foot_rl", "foot_rr")
PLACES = [(-0.55, 0.0), (0.55, 0.0), (-0.25, 0.3), (0.25, 0.3), (-0.25, -0.1), (0.25, -0.1)]
RIG = {
    "name": "Hall",
    "channels": [
        {"name": n, "part": "bar" if n.startswith("bar") else "platform", "x_m": x, "y_m": y}
        for n, (x, y) in zip(NAMES, PLACES, strict=True)
    ],
}
CALIBRATION = {"channels": [{"channel": "bar_left", "N_per_count": 0.001, "u_rel_span": 3e-4, "span_at": "2026-04-01"}]}
RATE_Hz = 80.02
ONSET_NS = 1_780_000_000 * 10**9


def made(seconds: float = 12.0, start_s: float = 7.0, rate_Hz: float = RATE_Hz, lost: tuple[int, ...] = (), rig=RIG):
    """Return a recording whose loads are smooth known functions, and its time axis."""
    t_s = start_s + np.arange(round(seconds * rate_Hz)) / rate_Hz
    u = t_s - start_s
    load_N = np.column_stack([300 + 5 * k + (10 + k) * np.sin(0.7 * u + k) for k in range(6)])
    load_N[5, 2] = np.nan
    keep = np.setdiff1d(np.arange(len(t_s)), lost)
    result = HoldResult(start_s + 2.0, start_s + 9.5, 7.5, 0.01, touches=[Touch(start_s + 4.0, start_s + 4.3, 0.1)])
    hold = StoredHold("h-1", "s-1", 1, ONSET_NS, 700.0, 0.5, result, MEASUREMENT_VERSION)
    curve = ExportedCurve(hold, t_s[keep], NAMES, load_N[keep], rig, CALIBRATION)
    return recording(curve, "1.2.3"), load_N


def test_the_grid_is_that_of_the_times_and_gaps_are_marked():
    even, truth = made(lost=(40, 41, 300))
    assert even.rate_Hz == pytest.approx(RATE_Hz, rel=1e-9)
    assert len(even.load_N) == len(truth)
    assert np.flatnonzero(~even.measured).tolist() == [5, 40, 41, 300]
    good = np.isfinite(truth)
    # By hand: between neighbours 1/80 s apart, a sine of 15 N and 0.7 rad/s bends by less than 15 (0.7 / 80)^2.
    assert np.abs(even.load_N - truth)[good].max() < 0.005
    assert np.array_equal(even.load_N[100:200], truth[100:200])


def test_times_that_fit_no_grid_are_told():
    even, _ = made()
    with pytest.raises(CurveNotEven):
        recording(ExportedCurve(even.hold, np.array([0.0]), NAMES, np.zeros((1, 6)), RIG, None))
    with pytest.raises(CurveNotEven):
        recording(ExportedCurve(even.hold, np.array([0.0, 0.0, 1.0]), NAMES, np.zeros((3, 6)), RIG, None))


@pytest.fixture
def ezc3d():
    return pytest.importorskip("ezc3d", reason="no wheel for this machine")


def read_with_ezc3d(ezc3d, tmp_path, content: bytes):
    path = tmp_path / "hold.c3d"
    path.write_bytes(content)
    return ezc3d.c3d(str(path), extract_forceplat_data=True)


def test_c3d_is_read_by_ezc3d_with_its_units_events_and_facts(ezc3d, tmp_path):
    even, _ = made()
    back = read_with_ezc3d(ezc3d, tmp_path, c3d_bytes(even))
    parameters = back["parameters"]
    assert parameters["ANALOG"]["LABELS"]["value"][:7] == [*NAMES, "measured"]
    assert parameters["ANALOG"]["UNITS"]["value"][:7] == ["N"] * 6 + ["-"]
    assert back["header"]["analogs"]["frame_rate"] == pytest.approx(RATE_Hz, rel=1e-6)
    analog = back["data"]["analogs"][0]
    # Single precision.
    np.testing.assert_allclose(analog[:6].T, even.load_N, rtol=2e-7)
    assert np.array_equal(analog[6].astype(bool), even.measured)
    events = parameters["EVENT"]
    assert events["LABELS"]["value"] == ["onset", "touch", "release"]
    np.testing.assert_allclose(events["TIMES"]["value"][1], [2.0, 4.0, 9.5], atol=1e-5)
    own = parameters["HANG_MONITOR"]
    assert own["PROGRAM"]["value"] == ["hang-monitor 1.2.3"]
    assert own["DURATION_S"]["value"][0] == pytest.approx(7.5)
    assert json.loads(own["CAL_BAR_LEFT"]["value"][0])["span_at"] == "2026-04-01"


def test_the_force_platform_puts_force_and_centre_of_pressure_where_they_are(ezc3d, tmp_path):
    """ezc3d computes the centre of pressure from corners and moments; the truth is sum(x_i P_i) / P of the cells."""
    even, _ = made()
    back = read_with_ezc3d(ezc3d, tmp_path, c3d_bytes(even))
    platform = back["data"]["platform"][0]
    feet, place_mm = even.load_N[:, 2:], 1000 * np.array(PLACES[2:])
    truth = feet @ place_mm / feet.sum(axis=1)[:, None]
    np.testing.assert_allclose(platform["center_of_pressure"][:2].T, truth, atol=0.01)
    force = platform["force"]
    np.testing.assert_allclose(np.abs(force[2]), feet.sum(axis=1), rtol=1e-6)
    assert np.abs(force[:2]).max() < 1e-3
    corners = platform["corners"]
    assert corners[0].min() == -250
    assert corners[1].max() == 300


def test_c3d_is_read_by_c3d_too():
    c3d = pytest.importorskip("c3d")
    even, _ = made()
    reader = c3d.Reader(io.BytesIO(c3d_bytes(even)))
    analog = np.concatenate([frame for _, _, frame in reader.read_frames()], axis=1)
    np.testing.assert_allclose(analog[:6].T, even.load_N, rtol=2e-7)
    assert [label.strip() for label in reader.analog_labels][:6] == list(NAMES)


def test_a_long_fast_recording_fits_the_header(ezc3d, tmp_path):
    even, _ = made(seconds=130.0, rate_Hz=1000.0)
    back = read_with_ezc3d(ezc3d, tmp_path, c3d_bytes(even))
    assert back["header"]["analogs"]["frame_rate"] == pytest.approx(1000.0, rel=1e-6)
    np.testing.assert_allclose(back["data"]["analogs"][0][:6].T, even.load_N[: 130_000 // 4 * 4], rtol=2e-7)


def test_a_rig_without_platform_has_no_force_platform(ezc3d, tmp_path):
    bare = {"channels": [{**c, "part": "bar"} for c in RIG["channels"]]}
    back = read_with_ezc3d(ezc3d, tmp_path, c3d_bytes(made(rig=bare)[0]))
    assert back["parameters"]["FORCE_PLATFORM"]["USED"]["value"][0] == 0
    assert back["data"]["platform"] == []


@pytest.mark.parametrize("rate_Hz", [RATE_Hz, 80.0, 79.9873, 319.77, 1000.03])
def test_edf_is_read_by_pyedflib(tmp_path, rate_Hz):
    pyedflib = pytest.importorskip("pyedflib")
    pytest.importorskip("edfio")
    even, _ = made(rate_Hz=rate_Hz)
    path = tmp_path / "hold.edf"
    path.write_bytes(edf_bytes(even))
    with pyedflib.EdfReader(str(path)) as back:
        assert back.getSignalLabels() == list(NAMES)
        assert back.getPhysicalDimension(0) == "N"
        assert back.getSampleFrequency(0) == pytest.approx(rate_Hz, rel=1e-6)
        for channel in range(6):
            step_N = (back.getPhysicalMaximum(channel) - back.getPhysicalMinimum(channel)) / 65535
            read = back.readSignal(channel)[: len(even.load_N)]
            assert np.abs(read - even.load_N[:, channel]).max() <= 0.5 * step_N * (1 + 1e-6)
            assert step_N < 0.01
        times, _, words = back.readAnnotations()
        marks = dict(zip(words.tolist(), times.tolist(), strict=True))
        # pyEDFlib cuts times to 1e-7 s.
        assert marks["onset"] == pytest.approx(2.0, abs=2e-6)
        assert marks["release"] == pytest.approx(9.5, abs=2e-6)
        assert marks["touch"] == pytest.approx(4.0, abs=2e-6)
        assert f"RATE_HZ: {even.rate_Hz:.9g}" in marks
        assert "PROGRAM: hang-monitor 1.2.3" in marks
        assert back.getPatientName() in ("", "X")


@settings(max_examples=200, deadline=None)
@given(rate_Hz=st.floats(50, 1000), rows=st.integers(2, 1_000_000), channels=st.integers(1, 8))
def test_data_records_meet_any_rate(rate_Hz, rows, channels):
    """Half a unit of the last of eight characters, over a length of at least 10 ms and mostly of seconds."""
    samples, record_s = data_record(rate_Hz, rows, channels)
    assert len(repr(record_s).removesuffix(".0")) <= 8
    assert samples * 4 >= rows
    assert samples / record_s == pytest.approx(rate_Hz, rel=1e-5)


def test_a_missing_edf_writer_is_told(monkeypatch):
    monkeypatch.setitem(sys.modules, "edfio", None)
    with pytest.raises(ExportLibraryMissing) as refusal:
        edf_bytes(made()[0])
    assert "[edf]" in refusal.value.do
