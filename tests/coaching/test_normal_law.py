"""What coaching needs of a statistics library, without its packages: against the library itself and worked by hand."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from scipy import optimize, special, stats

from monitor.coaching.endurance import normal_law, root
from monitor.coaching.endurance.mode import find_mode
from monitor.coaching.progress.comparison import student_reach

RNG = np.random.default_rng(6)
FAR = np.concatenate([np.linspace(-38.0, 8.0, 2000), RNG.standard_normal(2000)])


def test_the_integral_is_scipys_to_the_bit():
    assert np.array_equal(normal_law.chance_below(FAR), special.ndtr(FAR))
    assert np.array_equal(normal_law.log_chance_below(FAR), special.log_ndtr(FAR))


def test_its_inverse_is_scipys_from_the_smallest_number_up():
    chances = np.concatenate([10.0 ** -np.linspace(0.001, 307.5, 3000), RNG.random(3000), 1 - 10.0 ** -np.arange(1, 9)])
    assert normal_law.exceeded_by(chances) == pytest.approx(special.ndtri(chances), rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("strange", [None, lambda *_: np.zeros(2), lambda: None])
def test_other_answers_than_the_laws_send_to_the_front_door(monkeypatch, strange):
    class Module:
        ndtr = log_ndtr = staticmethod(strange) if strange else None

    monkeypatch.setattr(normal_law, "compiled_module", lambda *_: Module)
    laws = normal_law._laws.__wrapped__()
    assert laws == (special.ndtr, special.log_ndtr)


@pytest.mark.parametrize("strange", [None, lambda *_: 1.0, lambda: None])
def test_another_search_sends_to_the_front_door(monkeypatch, strange):
    class Module:
        _brentq = staticmethod(strange) if strange else None

    monkeypatch.setattr(root, "compiled_module", lambda *_: Module)
    search = root._search.__wrapped__()
    assert search is root.front_door_search
    assert search(np.cos, 0.0, 3.0, 1e-12) == pytest.approx(np.pi / 2, abs=1e-12)


def test_the_search_is_scipys_to_the_bit():
    assert root._search() is not root.front_door_search
    for within in (1e-5, 1e-12):
        assert root.root_between(lambda x: x**3 - x - 1, 1.0, 2.0, within) == optimize.brentq(
            lambda x: x**3 - x - 1, 1.0, 2.0, xtol=within
        )
    with pytest.raises(ValueError, match="sign"):
        root.root_between(np.cosh, -1.0, 1.0, 1e-5)


@pytest.mark.parametrize("freedom", [1.0, 2.0, 2.37, 5.0, 29.4, 1e3, 2e4])
def test_students_reach_is_scipys(freedom):
    assert student_reach(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=1e-10)


def test_a_mode_is_found_from_far_away_with_its_precision():
    """Reference: scipy's minimizer (Nelder and Mead's simplex, which asks for no derivative).

    Logistic regression on invented numbers with a normal prior; its curvature by hand: X' diag(p (1 - p)) X + 1.
    """
    x = RNG.standard_normal((40, 3))
    y = RNG.random(40) < 0.3

    def log_density(points):
        told = x @ points.T
        return (y[:, None] * told - np.logaddexp(0, told)).sum(axis=0) - 0.5 * (points**2).sum(axis=1)

    found = find_mode(log_density, np.array([8.0, -9.0, 7.0]))
    simplex = optimize.minimize(
        lambda p: -log_density(p[None])[0], np.zeros(3), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-15}
    )
    assert found.at == pytest.approx(simplex.x, abs=1e-7)
    p = special.expit(x @ found.at)
    assert found.precision == pytest.approx((x.T * (p * (1 - p))) @ x + np.eye(3), rel=1e-5, abs=1e-5)
    assert found.width == pytest.approx(np.sqrt(np.diag(np.linalg.inv(found.precision))))


def test_a_density_that_bends_upwards_at_the_start_is_climbed_all_the_same():
    """By hand: -x**4 + 2 x**2 bends upwards at 0.1 and has its modes at -1 and 1, with second derivative -8."""
    found = find_mode(lambda p: (-(p**4) + 2 * p**2).sum(axis=1), np.array([0.1, -0.1]))
    assert found.at == pytest.approx([1.0, -1.0], abs=1e-7)
    assert found.precision == pytest.approx(8 * np.eye(2), abs=1e-4)


def test_a_prescription_and_a_course_load_none_of_scipys_packages():
    """In a process of its own, since this one has loaded them: holds, trend, trial, reserve, hyperbola, comparison."""
    program = """
import sys
from monitor.coaching.endurance.effort import Effort
from monitor.coaching.progress.comparison import compare_periods
from monitor.coaching.endurance.critical_load import compare, fit_critical_load
from monitor.coaching.endurance.curve import fit_endurance
from monitor.coaching.prescribing.forecast import RunningReserve, least_assistance
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
print([name for name in ("scipy.special", "scipy.optimize", "scipy.linalg", "scipy.stats") if name in sys.modules])
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
