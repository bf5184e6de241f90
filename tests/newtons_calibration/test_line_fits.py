"""Fits and budgets against NIST's certified values and the worked examples of the Guide (JCGM 100:2008)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from reference_values import digits, table, values

from monitor.newtons.budget import Budget, Contribution, u_arcsine, u_rectangular
from monitor.newtons.least_squares import FitNotPossible, chance_of, justified_fit, least_squares, polynomial_fit

NIST = values("nist_strd_linear.json")


@pytest.mark.parametrize(("name", "degree"), [("norris", 1), ("pontius", 2)])
def test_nist_reference_data_to_nine_digits(name: str, degree: int):
    # NIST StRD, linear least squares, certified to 15 digits.
    certified = NIST[name]
    fit = polynomial_fit(*table(certified["data"]), degree)
    for result, wanted in zip(fit.coefficients, certified["B"], strict=True):
        assert digits(result, float(wanted)) >= 9
    for result, wanted in zip(fit.solution.u, certified["standard_error"], strict=True):
        assert digits(result, float(wanted)) >= 9
    assert digits(fit.residual_sd, float(certified["residual_sd"])) >= 9
    assert fit.solution.dof == certified.get("residual_degrees_of_freedom", 34)


def test_norris_covariance():
    # Recomputed with 40 digits from the certified data; see tests/reference/nist_strd_linear.json.
    fit = polynomial_fit(*table("nist_strd_norris.csv"))
    assert digits(fit.covariance[0, 1], float(NIST["norris"]["covariance_B0_B1_recomputed"])) >= 9


def test_the_load_cell_needs_its_quadratic_and_the_ozone_meter_does_not():
    # Pontius is certified with a quadratic, Norris with a straight line.
    curve, chance = justified_fit(*table("nist_strd_pontius.csv"))
    assert len(curve.coefficients) == 3
    assert chance < 1e-12
    line, chance = justified_fit(*table("nist_strd_norris.csv"))
    assert len(line.coefficients) == 2
    assert chance > 0.01


def test_straight_lines_are_bent_by_chance_no_more_often_than_stated():
    rng = np.random.default_rng(1)
    x = np.repeat(np.arange(5.0), 2)
    bent = sum(len(justified_fit(x, 2 * x + rng.standard_normal(10))[0].coefficients) == 3 for _ in range(1000))
    # 1 % of 1000 with a binomial standard deviation of 3.1.
    assert 1 <= bent <= 22


def test_h3_thermometer_with_covariance_and_extrapolation():
    # JCGM 100:2008, H.3.4 and H.3.5: rounded as printed; and recomputed to more digits.
    example = values("gum_examples.json")["H3_linear_calibration"]
    fit = polynomial_fit(*table("gum_h3_thermometer.csv"), origin=20.0)
    printed, recomputed = example["published"], example["recomputed"]
    (y1, y2), (s1, s2) = fit.coefficients, fit.solution.u
    correlation = fit.covariance[0, 1] / (s1 * s2)
    b30, u30 = fit.at(30.0)
    assert round(y1, 4) == printed["y1"]
    assert round(s1, 4) == printed["s_y1"]
    assert round(y2, 5) == printed["y2"]
    assert round(s2, 5) == printed["s_y2"]
    assert round(correlation, 2) == printed["r_y1_y2"]
    assert round(fit.residual_sd, 4) == printed["s"]
    assert round(b30, 4) == printed["b_at_30"]
    assert round(u30, 4) == printed["u_b_at_30"]
    assert fit.solution.dof == printed["degrees_of_freedom"]
    assert (y1, y2) == pytest.approx((recomputed["y1"], recomputed["y2"]), rel=1e-9)
    assert (s1, s2) == pytest.approx((recomputed["s_y1"], recomputed["s_y2"]), rel=1e-9)
    assert correlation == pytest.approx(recomputed["r_y1_y2"], abs=1e-7)
    assert (b30, u30) == pytest.approx((recomputed["b_at_30"], recomputed["u_b_at_30"]), rel=1e-7)


def test_h1_gauge_block_budget():
    # JCGM 100:2008, H.1, in nanometres; the degrees of freedom and U_99 are from memory and recomputed.
    example = values("gum_examples.json")["H1_gauge_block_budget"]
    given, printed = example["inputs"], example["published"]
    length = given["l_s"]["value"]
    lines = (
        Contribution("standard", given["l_s"]["u"], 1.0, 18),
        Contribution("repeated readings", given["d0_repeatability"]["u"], 1.0, 24),
        Contribution("comparator, random", given["d1_random"]["u"], 1.0, 5),
        Contribution("comparator, systematic", given["d2_systematic"]["u"], 1.0, 8),
        Contribution("expansion", u_rectangular(given["alpha_s"]["half_width_rectangular"]), 0.0),
        Contribution("bed", math.hypot(given["theta_bar"]["u"], u_arcsine(given["Delta"]["half_width_arcsine"])), 0.0),
        Contribution(
            "difference of expansion",
            u_rectangular(given["d_alpha"]["half_width_rectangular"]),
            length * given["theta_bar"]["value"],
            50,
        ),
        Contribution(
            "difference of temperature",
            u_rectangular(given["d_theta"]["half_width_rectangular"]),
            -length * given["alpha_s"]["value"],
            2,
        ),
    )
    budget = Budget(lines)
    parts = {line.name: line.part for line in lines}
    assert round(parts["difference of temperature"], 1) == printed["contributions"]["d_theta"]
    assert round(parts["difference of expansion"], 1) == printed["contributions"]["d_alpha"]
    assert round(budget.u) == printed["u_c"]
    assert budget.u == pytest.approx(example["recomputed"]["u_c"], abs=0.005)
    assert math.floor(budget.degrees_of_freedom) == example["from_memory_unverified"]["nu_eff"]
    assert budget.degrees_of_freedom == pytest.approx(example["recomputed"]["nu_eff"], abs=0.05)
    assert budget.coverage_factor(0.99) == pytest.approx(example["recomputed"]["t_99_at_16"], abs=5e-5)
    assert budget.u * budget.coverage_factor(0.99) == pytest.approx(example["recomputed"]["U_99"], abs=0.05)
    # The bed's temperature, H.1.3.4: 0.2 degC and a cycle of +-0.5 degC give 0.41 degC.
    assert round(lines[5].u, 2) == 0.41


def test_a_budget_of_well_known_lines_has_the_normal_factor():
    known = Budget((Contribution("a", 1.0), Contribution("b", 2.0)))
    assert known.u == pytest.approx(math.sqrt(5))
    assert known.coverage_factor(0.95) == pytest.approx(1.95996, 1e-5)


def test_weights_are_what_repeated_points_are():
    # A point with half the uncertainty counts like four points: identity of least squares.
    x, y = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.1, 1.3, 1.8, 3.2])
    weighted = polynomial_fit(x, y, u_y=[1.0, 0.5, 1.0, 1.0])
    repeated = polynomial_fit(np.repeat(x, [1, 4, 1, 1]), np.repeat(y, [1, 4, 1, 1]), u_y=np.ones(7))
    np.testing.assert_allclose(weighted.coefficients, repeated.coefficients, rtol=1e-12)
    np.testing.assert_allclose(weighted.covariance, repeated.covariance, rtol=1e-12)


def test_a_common_error_of_all_points_reaches_the_coefficients_whole():
    # All points share one error of the scale: it cannot be averaged away, so u(slope) / slope is just that.
    x = np.arange(1.0, 9.0)
    y = 3.0 * x
    covariance = np.diag(np.full(8, 1e-8)) + np.outer(y, y) * 0.01**2
    solution = least_squares(x[:, None], y, covariance)
    assert solution.u[0] / solution.coefficients[0] == pytest.approx(0.01, rel=1e-4)
    np.testing.assert_allclose(solution.estimator @ y, solution.coefficients, rtol=1e-12)
    through = solution.estimator @ covariance @ solution.estimator.T
    np.testing.assert_allclose(through, solution.covariance, rtol=1e-9)


def test_the_f_test_is_the_square_of_the_t_test():
    # For one added term F = t^2 (identity of linear regression), so both give one probability.
    from scipy.stats import t

    x, y = table("nist_strd_norris.csv")
    line, curve = polynomial_fit(x, y, 1).solution, polynomial_fit(x, y, 2).solution
    ratio = abs(curve.coefficients[2]) / curve.u[2]
    assert chance_of(line, curve) == pytest.approx(2 * t.sf(ratio, curve.dof), rel=1e-6)


@pytest.mark.parametrize(
    ("x", "y", "u"),
    [
        ([1.0], [1.0], None),
        ([1.0, 1.0, 1.0], [1.0, 2.0, 3.0], None),
        ([1.0, 2.0, math.nan], [1.0, 2.0, 3.0], None),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], [1.0, 0.0, 1.0]),
    ],
)
def test_fits_that_cannot_be_are_refused(x, y, u):
    with pytest.raises(FitNotPossible):
        polynomial_fit(x, y, u_y=u)
