"""Units at the edge, and numbers as people read them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.units import LOAD_UNITS, BodyweightUnknown, UnknownUnit, kgf, lbf, load_in, percent_of_bodyweight, told


def test_units_agree_with_published_factors():
    # NIST SP 811, appendix B.8, from memory: 1 kgf = 9.806 65 N (exact), 1 lbf = 4.448 222 N, 1 lb = 0.453 592 37 kg.
    assert kgf(9.80665) == 1.0
    assert lbf(4.448222) == pytest.approx(1.0, abs=1e-7)
    assert lbf(1000.0) * 0.45359237 == pytest.approx(kgf(1000.0), rel=1e-15)
    assert percent_of_bodyweight(70.0, 700.0) == 10.0
    assert [load_in(unit, 490.3325, 980.665) for unit in LOAD_UNITS] == pytest.approx([490.3325, 50.0, 110.2311, 50.0])


@pytest.mark.parametrize("bodyweight_N", [None, 0.0, -700.0, math.nan, math.inf])
def test_a_share_needs_a_bodyweight(bodyweight_N):
    with pytest.raises(BodyweightUnknown):
        load_in("%BW", 1.0, bodyweight_N)


def test_an_unknown_unit_is_told():
    with pytest.raises(UnknownUnit, match="kgf"):
        load_in("stone", 1.0)


@pytest.mark.parametrize(
    ("value", "u", "unit", "text"),
    [
        (12.413, 0.31, "%", "12.4 ± 0.3 %"),
        (12.413, 0.14, "%", "12.41 ± 0.14 %"),
        (12.413, 0.096, "%", "12.41 ± 0.10 %"),
        (0.9996, 0.002, "", "1.000 ± 0.002"),
        (1234.0, 42.0, "N", "1230 ± 40 N"),
        (1234.0, 120.0, "N", "1230 ± 120 N"),
        (-12.4, 0.3, "N", "−12.4 ± 0.3 N"),
        (-0.01, 0.3, "N", "0.0 ± 0.3 N"),
        (5.0, None, "s", "5.000 s"),
        (5.0, 0.0, "s", "5.000 s"),
        (5.12345, 1e-6, "s", "5.123 s"),
        (5.12345, 0.0012, "s", "5.123 ± 0.001 s"),
        (None, 0.1, "s", "not known"),
        (math.nan, 0.1, "s", "not known"),
    ],
)
def test_digits_are_cut_to_what_the_uncertainty_allows(value, u, unit, text):
    assert told(value, u, unit) == text


@given(st.floats(-5000, 5000), st.floats(1e-3, 500))
def test_a_told_number_is_off_by_less_than_its_uncertainty_and_shows_two_digits_of_it_at_most(value, u):
    number, u_told = told(value, u).replace("−", "-").split(" ± ")
    assert abs(float(number) - value) <= 0.51 * u
    assert float(u_told) == pytest.approx(u, rel=0.35)
    assert len(str(float(u_told)).replace(".", "").strip("0")) <= 2
