"""The pass marks against OIML R 60-1:2021 (see tests/reference/weighing_limits.json)."""

from __future__ import annotations

import math

import pytest
from reference_values import values

from monitor.newtons.calibrating.limits import (
    P_LC,
    ENVELOPE_v,
    allowed_creep_N,
    allowed_error_N,
    allowed_late_creep_N,
    allowed_return_N,
)

R60 = values("weighing_limits.json")["OIML_R60_load_cells"]


@pytest.mark.parametrize("grade", sorted(R60["load_limits_in_v"]))
def test_the_envelope_is_table_4_step_by_step(grade: str):
    assert R60["p_LC_default"] == P_LC
    for limit, factor, after in zip(
        R60["load_limits_in_v"][grade], R60["mpe_factor_times_p_LC_v"], [*R60["mpe_factor_times_p_LC_v"][1:], None]
    , strict=True):  # fmt: skip
        if limit is None:
            assert math.isinf(ENVELOPE_v[grade][2])
            continue
        # v = 1 N: capacity and intervals alike; limits are inclusive.
        assert allowed_error_N(limit, 100.0, grade=grade, intervals=100) == pytest.approx(P_LC * factor)
        if after is not None:
            assert allowed_error_N(limit + 0.5, 100.0, grade=grade, intervals=100) == pytest.approx(P_LC * after)


def test_the_worked_creep_limits_of_a_c3_cell():
    # A C3 cell at its capacity: 3000 v of 3000 intervals; v = 1 N here.
    examples = R60["worked_examples_published"]
    assert allowed_creep_N(3000.0, 3000.0, intervals=3000) == pytest.approx(examples["C3_creep_30min_in_v"])
    assert allowed_late_creep_N(3000.0, 3000.0, intervals=3000) == pytest.approx(examples["C3_creep_20_to_30min_in_v"])


@pytest.mark.parametrize(("load_v", "allowed_v"), [(400.0, 0.35), (1500.0, 0.7), (2500.0, 1.05)])
def test_a_part_of_the_capacity_may_creep_as_its_own_error_allows(load_v: float, allowed_v: float):
    # Table 4 for class C (0.35, 0.7 and 1.05 v up to 500, 2000 and more intervals) times 0.7 and 0.15 of 5.5.1.
    assert allowed_creep_N(load_v, 3000.0, intervals=3000) == pytest.approx(0.7 * allowed_v)
    assert allowed_late_creep_N(load_v, 3000.0, intervals=3000) == pytest.approx(0.15 * allowed_v)


def test_the_zero_may_be_half_an_interval_off():
    assert R60["dead_load_output_return"] == "0.5 v"
    assert allowed_return_N(2000.0, intervals=1000) == 1.0
