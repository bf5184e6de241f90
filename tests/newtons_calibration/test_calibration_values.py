"""The calibration as a value: its file, its covariance, its curve, what it says of a load."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pytest

from firmware_bridge.counts import NO_READING
from monitor.newtons.calibration import (
    BadCalibration,
    Calibration,
    CalibrationExists,
    ChannelCalibration,
    calibration_from_dict,
    calibration_to_dict,
    in_order,
    latest_calibration,
    save_calibration,
)

LEFT = ChannelCalibration("left", 1000.0, 5e-4, 40.0, 3e-3, "2026-03-02", "2026-02-11", 0.0, 0.1)
RIGHT = ChannelCalibration("right", -500.0, -6e-4, 50.0, 4e-3, "2026-03-02", "2026-02-11", 2e-6, 0.2)
COVARIANCE = (
    (9e-6, 6e-6, 0.0, 1e-11),
    (6e-6, 16e-6, 0.0, 0.0),
    (0.0, 0.0, 0.0, 0.0),
    (1e-11, 0.0, 0.0, 1e-14),
)
FULL = Calibration((LEFT, RIGHT), "one", COVARIANCE, 9.8126, 21.5)


def test_a_file_holds_all_of_it(tmp_path):
    path = save_calibration(tmp_path, FULL, dt.datetime(2026, 3, 2, 10, 15, tzinfo=dt.UTC))
    assert latest_calibration(tmp_path) == FULL
    with pytest.raises(CalibrationExists):
        save_calibration(tmp_path, FULL, dt.datetime(2026, 3, 2, 10, 15, tzinfo=dt.UTC))
    assert path.stat().st_mode & 0o077 == 0


def test_an_old_file_is_read_and_written_as_it_was():
    old = {
        "id": "2026-03-02T101500Z",
        "channels": [
            {
                "channel": "bar",
                "zero_counts": 84210.0,
                "N_per_count": 0.000702,
                "u_zero_counts": 35.0,
                "u_rel_span": 0.0004,
                "zero_at": "2026-03-02T10:15:00Z",
                "span_at": "2026-02-11",
            }
        ],
    }
    assert calibration_to_dict(calibration_from_dict(old)) == old


def test_the_order_of_channels_takes_the_covariance_along():
    swapped = in_order(FULL, ["right", "left"])
    assert swapped.span_covariance[0][0] == 16e-6
    assert swapped.span_covariance[2][2] == 1e-14
    assert swapped.span_covariance[3][2] == 0.0
    assert swapped.span_covariance[2][1] == 1e-11
    assert in_order(swapped, ["left", "right"]) == FULL
    assert in_order(FULL, ["right"]).span_covariance == ((16e-6, 0.0), (0.0, 1e-14))
    assert swapped.u_load_N([300.0, 200.0]) == pytest.approx(FULL.u_load_N([200.0, 300.0]), rel=1e-12)


def test_a_bent_cell_is_straightened():
    counts = np.array([[1000, -500 - 1_000_000], [NO_READING, -500]], dtype=np.int32)
    load_N = FULL.newtons(counts)
    # 600 N by the line, and 2e-6 / N of its square: 0.72 N more.
    assert load_N[0] == pytest.approx([0.0, 600.72], abs=1e-9)
    assert math.isnan(load_N[1, 0])
    assert load_N[1, 1] == 0.0


def test_the_uncertainty_of_a_load_is_the_law_of_propagation():
    # By hand, JCGM 100:2008, 5.2.2: span and bend of left 200 N and right 300 N, their zeros and curves.
    slope_right = 300 + 2 * 2e-6 * 300**2
    variance = 200**2 * 9e-6 + 2 * 200 * slope_right * 6e-6 + slope_right**2 * 16e-6
    variance += 300**4 * 1e-14 + 2 * 200 * 300**2 * 1e-11
    variance += (40 * 5e-4) ** 2 + (50 * 6e-4) ** 2 + 0.1**2 + 0.2**2
    assert FULL.u_load_N([200.0, 300.0]) == pytest.approx(math.sqrt(variance), rel=1e-12)
    alone = FULL.u_load_N(np.array([[200.0, 300.0], [0.0, 0.0]]), [0])
    assert alone == pytest.approx([math.sqrt((200 * 3e-3) ** 2 + 0.02**2 + 0.1**2), math.hypot(0.02, 0.1)])


def test_cells_that_err_together_do_not_average_out():
    common = replace(FULL, span_covariance=((9e-6, 9e-6), (9e-6, 9e-6)))
    assert common.u_rel_span_of([0, 1]) == pytest.approx(3e-3)
    independent = Calibration((LEFT, replace(RIGHT, u_rel_span=3e-3)))
    assert independent.u_rel_span_of([0, 1]) == pytest.approx(3e-3 / math.sqrt(2))
    assert independent.u_rel_span_of([0, 1], [500.0, 0.0]) == pytest.approx(3e-3)
    assert independent.u_rel_span_of([]) == 0.0


def test_a_new_zero_leaves_the_spans():
    fresh = FULL.with_zeros([1100.0, -480.0], [10.0, 12.0], "2026-03-03T08:00:00Z")
    assert [c.zero_counts for c in fresh.channels] == [1100.0, -480.0]
    assert [c.zero_at for c in fresh.channels] == ["2026-03-03T08:00:00Z"] * 2
    assert [c.span_at for c in fresh.channels] == ["2026-02-11"] * 2
    assert fresh.span_covariance == FULL.span_covariance
    assert fresh.id == "", "it is another calibration and gets a name of its own when it is saved"


@pytest.mark.parametrize(
    "matrix",
    [
        [[1e-6]],
        [[1e-6, 2e-6], [0.0, 1e-6]],
        [[-1e-6, 0.0], [0.0, 1e-6]],
        [["a", 0.0], [0.0, 1e-6]],
        [[1e-6, 0.0], [0.0]],
        "much",
    ],
)
def test_what_is_no_covariance_is_refused(matrix):
    with pytest.raises(BadCalibration):
        calibration_from_dict({**calibration_to_dict(FULL), "span_covariance": matrix})
