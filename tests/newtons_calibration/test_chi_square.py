"""Quantiles of chi-square against SciPy's and against the printed table."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import chdtrc, chdtri

from monitor.newtons.chi_square import exceeded_by_chance, upper_tail


@settings(deadline=None, max_examples=200)
@given(dof=st.floats(1.0, 1e5), chance=st.floats(1e-9, 0.05))
def test_they_are_scipys(dof, chance):
    value = exceeded_by_chance(dof, chance)
    assert value == pytest.approx(float(chdtri(dof, chance)), rel=1e-11)
    assert upper_tail(value, dof) == pytest.approx(float(chdtrc(dof, value)), rel=1e-9)


@pytest.mark.parametrize(("dof", "value"), [(1, 10.828), (2, 13.816), (10, 29.588), (100, 149.449)])
def test_they_are_the_printed_tables(dof, value):
    """NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4, column 0.001 (from memory)."""
    assert exceeded_by_chance(dof, 0.001) == pytest.approx(value, abs=5e-4)


@pytest.mark.parametrize(("dof", "chance"), [(0.5, 0.01), (5.0, 0.0), (5.0, 0.5), (float("nan"), 0.01)])
def test_what_is_out_of_reach_is_refused(dof, chance):
    with pytest.raises(ValueError, match="not tabulated"):
        exceeded_by_chance(dof, chance)
