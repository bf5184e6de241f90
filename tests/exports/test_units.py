"""Units at the edge."""

from __future__ import annotations

import math

import pytest

from monitor.units import LOAD_UNITS, BodyweightUnknown, UnknownUnit, kgf, lbf, load_in, percent_of_bodyweight


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
