"""Zero and span: the two-point fit against an example reckoned by hand, and calibrations that are never lost."""

from __future__ import annotations

import datetime as dt
import math
import stat

import numpy as np
import pytest

from firmware_bridge.counts import NO_READING, CountBlock
from monitor.newtons.calibration import (
    BadCalibration,
    Calibration,
    CalibrationExists,
    CalibrationNotFound,
    ChannelCalibration,
    calibration_from_dict,
    calibration_to_dict,
    in_order,
    latest_calibration,
    load_calibration,
    save_calibration,
    two_point_fit,
)
from monitor.newtons.load_block import Newtons

NOON = dt.datetime(2031, 5, 6, 12, 0, 0, tzinfo=dt.UTC)


def a_calibration(**more: float) -> Calibration:
    return Calibration(
        (
            ChannelCalibration("bar_left", 1000.0, 0.002, 5.0, 4e-4, "2031-05-06", "2031-05-01"),
            ChannelCalibration("bar_right", -2000.0, -0.004, **more),
        )
    )


def test_the_two_point_fit_agrees_with_an_example_by_hand():
    """20 kg of plates (known to 10 g) at standard gravity: F = 20 * 9.80665 = 196.133 N, u(F) = 0.0980665 N.

    The counts go from 8000 +- 12 to 106066.5 +- 16, that is by 98066.5 with u = sqrt(12^2 + 16^2) = 20 (JCGM 100:2008,
    5.1.2, equation 10: independent inputs of a difference). Span: 196.133 / 98066.5 = 0.002 N a count. Of a quotient
    the relative variances add (JCGM 100:2008, 5.1.6): (u/span)^2 = (0.0980665 / 196.133)^2 + (20 / 98066.5)^2
    = 2.5e-7 + 4.159e-8, so u/span = 5.400e-4. The zero's own 12 counts are 0.024 N.
    """
    fit = two_point_fit(
        "bar_left",
        zero_counts=8000.0,
        loaded_counts=106066.5,
        load_N=196.133,
        u_zero_counts=12.0,
        u_loaded_counts=16.0,
        u_load_N=0.0980665,
        at="2031-05-06",
    )
    assert fit.N_per_count == pytest.approx(0.002, rel=1e-12)
    assert fit.zero_counts == 8000.0
    assert fit.u_rel_span == pytest.approx(5.400e-4, abs=5e-8)
    assert fit.u_zero_N == pytest.approx(0.024, rel=1e-12)
    assert (fit.zero_at, fit.span_at) == ("2031-05-06", "2031-05-06")


def test_the_fits_span_uncertainty_is_what_many_repetitions_scatter_by():
    """Monte Carlo propagation (JCGM 101:2008) of the same inputs; 20000 draws know a deviation to 0.5 %."""
    random = np.random.default_rng(3)
    n = 20_000
    zero, loaded = 8000 + 12 * random.standard_normal(n), 106066.5 + 16 * random.standard_normal(n)
    load_N = 196.133 + 0.0980665 * random.standard_normal(n)
    span = load_N / (loaded - zero)
    fit = two_point_fit(
        "c",
        zero_counts=8000,
        loaded_counts=106066.5,
        load_N=196.133,
        u_zero_counts=12,
        u_loaded_counts=16,
        u_load_N=0.0980665,
    )
    assert np.std(span) / np.mean(span) == pytest.approx(fit.u_rel_span, rel=0.03)


def test_a_cell_wired_the_other_way_round_gets_a_negative_span():
    fit = two_point_fit("c", zero_counts=500.0, loaded_counts=-9500.0, load_N=20.0, u_zero_counts=3.0)
    assert fit.N_per_count == -0.002
    assert fit.u_rel_span == pytest.approx(3e-4)
    assert fit.u_zero_N == pytest.approx(0.006)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"load_N": 0.0}, "given as 0 N"),
        ({"load_N": -5.0}, "given as -5 N"),
        ({"loaded_counts": 1000.0}, "move c by 0 counts"),
        ({"u_loaded_counts": 2600.0}, "move c by 50000 counts only"),
        ({"zero_counts": math.nan}, "not a number"),
        ({"u_load_N": math.inf}, "not a number"),
    ],
)
def test_readings_without_information_are_refused(change, message):
    good = {"zero_counts": 1000.0, "loaded_counts": 51000.0, "load_N": 100.0}
    assert two_point_fit("c", **good).N_per_count == 0.002
    with pytest.raises(BadCalibration, match=message) as caught:
        two_point_fit("c", **{**good, **change})
    assert caught.value.do


def test_a_load_that_moves_the_reading_by_twenty_of_its_uncertainties_is_just_enough():
    good = {"zero_counts": 0.0, "load_N": 100.0, "u_zero_counts": 50.0}
    assert two_point_fit("c", loaded_counts=1000.0, **good).u_rel_span == pytest.approx(0.05)
    with pytest.raises(BadCalibration):
        two_point_fit("c", loaded_counts=999.0, **good)


@pytest.mark.parametrize(
    ("field", "value"),
    [("N_per_count", 0.0), ("N_per_count", math.nan), ("u_rel_span", -0.1), ("zero_counts", math.inf)],
)
def test_nonsense_cannot_become_a_calibration(field, value):
    with pytest.raises(BadCalibration, match="c"):
        ChannelCalibration(**{"channel": "c", "zero_counts": 0.0, "N_per_count": 0.002, field: value})


def test_counts_become_newtons_and_no_reading_becomes_nan():
    counts = np.array([[1000, -2000], [2000, NO_READING], [2**31 - 1, -(2**31) + 1]], dtype=np.int32)
    block = Newtons(a_calibration(), delay_s=0.25).push(CountBlock(7, np.array([1.0, 2.0, 3.0]), counts, lost_before=4))
    assert block.load_N[0].tolist() == [0.0, 0.0]
    assert block.load_N[1, 0] == pytest.approx(2.0)
    assert np.isnan(block.load_N[1, 1])
    # The largest counts are readings, if absurd ones: 32-bit arithmetic must not wrap here.
    assert block.load_N[2].tolist() == pytest.approx([(2**31 - 1 - 1000) * 0.002, (-(2**31) + 1 + 2000) * -0.004])
    assert block.t_s.tolist() == [0.75, 1.75, 2.75]
    assert (block.segment, block.lost_before, len(block)) == (7, 4, 3)


def test_another_number_of_channels_is_refused():
    with pytest.raises(BadCalibration, match="sends 3 channels; the calibration knows 2"):
        a_calibration().newtons(np.zeros((1, 3), dtype=np.int32))


def test_a_saved_calibration_is_dated_private_and_reads_back(tmp_path):
    path = save_calibration(tmp_path / "new", a_calibration(u_rel_span=1e-3), NOON)
    assert path.name == "2031-05-06T120000Z.toml"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    back = load_calibration(path)
    assert back.channels == a_calibration(u_rel_span=1e-3).channels
    assert back.id == "2031-05-06T120000Z"
    assert calibration_from_dict(calibration_to_dict(back)) == back


def test_a_dated_calibration_is_never_overwritten(tmp_path):
    path = save_calibration(tmp_path, a_calibration(), NOON)
    before = path.read_bytes()
    with pytest.raises(CalibrationExists, match="2031-05-06T120000Z"):
        save_calibration(tmp_path, a_calibration(u_rel_span=0.5), NOON)
    # The same instant told in another zone is the same file.
    east = NOON.astimezone(dt.timezone(dt.timedelta(hours=5)))
    with pytest.raises(CalibrationExists):
        save_calibration(tmp_path, a_calibration(u_rel_span=0.5), east)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_the_newest_calibration_is_in_force_in_the_order_of_the_rig(tmp_path):
    with pytest.raises(CalibrationNotFound):
        latest_calibration(tmp_path)
    save_calibration(tmp_path, a_calibration(), NOON)
    save_calibration(tmp_path, a_calibration(u_rel_span=0.25), NOON + dt.timedelta(days=1))
    assert [c.u_rel_span for c in latest_calibration(tmp_path, ["bar_right", "bar_left"]).channels] == [0.25, 4e-4]
    with pytest.raises(BadCalibration, match="says nothing of foot_fl"):
        in_order(a_calibration(), ["bar_left", "foot_fl"])


@pytest.mark.parametrize(
    "text",
    [
        "",
        "channels = []",
        "channels = 3",
        "[[channels]]\nchannel = 'a'\nzero_counts = 1",
        "[[channels]]\nchannel = 'a'\nzero_counts = 'x'\nN_per_count = 1",
        "[[channels]]\nchannel = 'a'\nzero_counts = true\nN_per_count = 1",
        "[[channels]]\nchannel = 'a'\nzero_counts = 1\nN_per_count = nan",
        "[[channels]]\nchannel = 'a'\nzero_counts = 1\nN_per_count = 1\nslope = 3",
        "[[channels",
    ],
)
def test_calibration_files_that_hold_nonsense_are_refused(tmp_path, text):
    path = tmp_path / "c.toml"
    path.write_text(text)
    with pytest.raises(BadCalibration) as caught:
        load_calibration(path)
    assert caught.value.do


def test_a_missing_calibration_is_reported(tmp_path):
    with pytest.raises(CalibrationNotFound, match="No such file"):
        load_calibration(tmp_path / "none.toml")
