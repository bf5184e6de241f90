"""The mode of a density: against SciPy's minimizer and worked by hand; what coaching imports of SciPy."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from scipy import optimize, special

from monitor.coaching.endurance.mode import find_mode

RNG = np.random.default_rng(6)


def test_the_mode_and_its_precision_are_found_from_far_away():
    """Reference: scipy's minimizer (Nelder and Mead's simplex, which asks for no derivative).

    Logistic regression on invented numbers with a normal prior; its curvature by hand: X' diag(p (1 - p)) X + 1.
    """
    x = RNG.standard_normal((40, 3))
    y = RNG.random(40) < 0.3

    def log_density(points):
        logit = x @ points.T
        return (y[:, None] * logit - np.logaddexp(0, logit)).sum(axis=0) - 0.5 * (points**2).sum(axis=1)

    mode = find_mode(log_density, np.array([8.0, -9.0, 7.0]))
    simplex = optimize.minimize(
        lambda p: -log_density(p[None])[0], np.zeros(3), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-15}
    )
    assert mode.at == pytest.approx(simplex.x, abs=1e-7)
    p = special.expit(x @ mode.at)
    assert mode.precision == pytest.approx((x.T * (p * (1 - p))) @ x + np.eye(3), rel=1e-5, abs=1e-5)
    assert mode.width == pytest.approx(np.sqrt(np.diag(np.linalg.inv(mode.precision))))


def test_a_density_that_bends_upwards_at_the_start_is_climbed_all_the_same():
    """By hand: -x**4 + 2 x**2 bends upwards at 0.1 and has its modes at -1 and 1, with second derivative -8."""
    mode = find_mode(lambda p: (-(p**4) + 2 * p**2).sum(axis=1), np.array([0.1, -0.1]))
    assert mode.at == pytest.approx([1.0, -1.0], abs=1e-7)
    assert mode.precision == pytest.approx(8 * np.eye(2), abs=1e-4)


def test_coaching_imports_neither_the_optimizers_nor_linear_algebra_of_scipy():
    """In a child process, since this one has imported them: holds, trend, trial, reserve, hyperbola, comparison."""
    program = """
import sys
from monitor.coaching.endurance.effort import Effort
from monitor.coaching.progress.comparison import compare_periods
from monitor.coaching.endurance.critical_load import compare, fit_critical_load
from monitor.coaching.endurance.curve import fit_endurance
from monitor.coaching.endurance.forecast import RunningReserve, least_assistance
from monitor.coaching.endurance.trend import fit_trend
from monitor.coaching.prescribing.trial import trial_day
ends = ("exhausted", "unsure", "target")
loads = (0.6, 0.7, 0.8, 0.9, 1.0)
bouts = [Effort(15 / (loads[k % 5] - 0.3), (loads[k % 5],), ends[k % 3], 2.0 * k) for k in range(15)]
posterior, trend = fit_endurance(bouts), fit_trend(bouts)
assert trend is not None and fit_critical_load([b for b in bouts if b.ending == "exhausted"]) is not None
trial_day(posterior, trend), least_assistance(posterior, 18.0), compare(posterior, fit_critical_load(bouts))
reserve = RunningReserve(posterior)
reserve.push(0.9, 5.0)
reserve.now()
compare_periods([1.0, 2.0, 4.0], [3.0, 5.0, 6.0, 9.0])
print([name for name in ("scipy.optimize", "scipy.linalg", "scipy.signal", "scipy.stats") if name in sys.modules])
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
