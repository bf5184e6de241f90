"""The hyperbola is found again, and the statement says where the two models part."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.coaching.endurance.critical_load import compare, fit_critical_load, fit_hyperbola
from monitor.coaching.endurance.curve import fit_endurance
from monitor.coaching.endurance.effort import Effort


def test_the_published_hyperbola_is_recovered(endurance_models):
    """Monod and Scherrer's model, example of the reference file: CP 400, W' 25500, points computed from it."""
    example = endurance_models["monod_scherrer_1965_critical_power"]
    points = example["synthetic_check"]
    result = fit_hyperbola(points["P"], points["t_s"])
    assert (result.critical, result.reserve) == pytest.approx((points["CP"], points["W_prime"]), rel=1e-5)
    published = example["published_example"]
    assert result.time_s(published["P"]) == pytest.approx(published["t_computed_s"], rel=1e-3)
    assert result.time_s(published["CP"] - 1) == float("inf")
    assert result.spread < 1e-5


def test_its_uncertainties_are_those_of_repeated_trials():
    """Invented: 300 people with the same curve and a spread of 5 %; stated and actual standard deviations agree."""
    rng = np.random.default_rng(4)
    loads = np.array([0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 0.55, 0.75])
    fits = [fit_hyperbola(loads, 15.0 / (loads - 0.3) * np.exp(0.05 * rng.standard_normal(8))) for _ in range(300)]
    assert np.mean([f.critical for f in fits]) == pytest.approx(0.3, abs=0.005)
    assert np.mean([f.u_critical for f in fits]) == pytest.approx(np.std([f.critical for f in fits]), rel=0.15)
    assert np.mean([f.u_reserve for f in fits]) == pytest.approx(np.std([f.reserve for f in fits]), rel=0.15)


def test_too_little_is_no_fit():
    assert fit_hyperbola([0.5, 1.0], [60.0, 20.0]) is None
    held = [Effort(20.0, (b,), "exhausted") for b in (0.95, 0.96, 0.97, 0.98, 1.0)]
    assert fit_critical_load(held) is None
    assert fit_critical_load([Effort(20.0, (b,), "target") for b in (0.4, 0.6, 0.8, 1.0)]) is None
    # Times that fall less steeply than 1 / load need a critical load below 0: there is none.
    assert fit_hyperbola([0.4, 0.6, 0.8, 1.0], [30.0, 26.0, 23.0, 21.0]) is None


def power_law(betas, b=-1.61):
    return [Effort(33.55 * beta**b, (beta,), "exhausted") for beta in betas]


def test_the_statement_names_the_loads_at_which_the_models_differ():
    """A power law of the published exponent looks like a hyperbola over the upper loads and not below them."""
    efforts = power_law([1.0, 0.95, 0.9, 0.85, 0.8, 0.75, 0.7])
    comparison = compare(fit_endurance(efforts), fit_critical_load(efforts))
    upper = [row for row in comparison.rows if row[0] >= 0.7]
    assert all(row[2] == pytest.approx(row[1], rel=0.1) for row in upper)
    assert "differ by more than a quarter at" in comparison.statement
    assert "No hold lighter than 70%" in comparison.statement
    assert "30%" in comparison.statement
    assert any(row[2] is None for row in comparison.rows), "below the critical load there is no end"


def test_without_a_hyperbola_the_statement_gives_the_reason():
    comparison = compare(fit_endurance(power_law([1.0])), None)
    assert "cannot be fitted" in comparison.statement
    assert all(row[2] is None for row in comparison.rows)
