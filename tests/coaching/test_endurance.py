"""The endurance model against a library for survival times, brute force, and the published table."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy import stats

from monitor.coaching.endurance.curve import FLAT, MEMORY_DAYS, PRIOR, Prior, fit_endurance
from monitor.coaching.endurance.effort import Effort, effort_from_course, log_equivalent
from monitor.coaching.endurance.forecast import TRUSTED_BETA, time_at

JOINTS = ["general", "ankle", "knee", "trunk", "shoulder", "elbow", "hand_grip"]


def invented_efforts(count: int, seed: int = 1, target_s: float = 45.0) -> list[Effort]:
    """Return steady holds of one invented person; those who reach the target stop there."""
    rng = np.random.default_rng(seed)
    efforts = []
    for _ in range(count):
        beta = float(rng.uniform(0.5, 1.0))
        able_s = float(np.exp(3.3 - 1.7 * np.log(beta) + 0.25 * rng.standard_normal()))
        ending = "target" if able_s > target_s else "exhausted"
        efforts.append(Effort(min(able_s, target_s), (beta,), ending))
    return efforts


def test_the_mode_under_flat_priors_is_that_of_a_library_for_survival_times():
    """Reference: lifelines, LogNormalAFTFitter, maximum likelihood with right-censored times."""
    import lifelines
    import pandas

    efforts = invented_efforts(60)
    assert 15 < sum(b.ending == "exhausted" for b in efforts) < 45, "both sorts of ending are needed"
    table = pandas.DataFrame(
        {
            "T": [b.duration_s for b in efforts],
            "E": [b.ending == "exhausted" for b in efforts],
            "ln_beta": [np.log(b.beta_mean) for b in efforts],
        }
    )
    reference = lifelines.LogNormalAFTFitter(penalizer=0.0).fit(table, "T", event_col="E", formula="ln_beta")
    mu, sigma = reference.params_["mu_"], reference.params_["sigma_"]
    result = fit_endurance(efforts, prior=FLAT).mode
    assert result == pytest.approx((mu["Intercept"], mu["ln_beta"], sigma["Intercept"]), abs=2e-4)


def test_weights_of_age_are_those_of_the_library():
    """Reference: lifelines again, with weights; a hold of 28 days counts for 1/e."""
    import lifelines
    import pandas

    efforts = [dataclasses.replace(b, age_days=2.0 * k) for k, b in enumerate(invented_efforts(40, seed=2))]
    table = pandas.DataFrame(
        {
            "T": [b.duration_s for b in efforts],
            "E": [b.ending == "exhausted" for b in efforts],
            "ln_beta": [np.log(b.beta_mean) for b in efforts],
            "w": [np.exp(-b.age_days / 28.0) for b in efforts],
        }
    )
    reference = lifelines.LogNormalAFTFitter(penalizer=0.0)
    with pytest.warns(match="weights"):
        reference.fit(table, "T", event_col="E", weights_col="w", formula="ln_beta")
    mu = reference.params_["mu_"]
    assert fit_endurance(efforts, prior=FLAT).mode[:2] == pytest.approx((mu["Intercept"], mu["ln_beta"]), abs=5e-4)


@pytest.mark.parametrize("ending", ["exhausted", "target", "unsure"])
def test_two_holds_of_half_the_weight_are_one_hold(ending):
    """A hold aged ln 2 times the memory has half the weight: the whole posterior is the same, not only its mode."""
    once = [dataclasses.replace(b, ending=ending if k % 2 else "exhausted") for k, b in enumerate(invented_efforts(12))]
    aged = [dataclasses.replace(b, age_days=MEMORY_DAYS * np.log(2.0)) for b in once]
    one, halves = fit_endurance(once), fit_endurance(aged + aged)
    assert halves.mode == pytest.approx(one.mode, abs=1e-3)
    for parameter in ("a", "b", "sigma"):
        levels = [0.1, 0.5, 0.9]
        ours = halves.quantiles(getattr(halves, parameter), levels)
        sd = np.sqrt(one.mean(getattr(one, parameter) ** 2) - one.mean(getattr(one, parameter)) ** 2)
        assert ours == pytest.approx(one.quantiles(getattr(one, parameter), levels), abs=0.03 * sd)


@pytest.mark.parametrize("count", [1, 6, 30])
def test_the_grid_is_the_posterior_itself(count):
    """Reference: a brute-force grid of another lay-out, with scipy's own log-normal density and survival function."""
    efforts = invented_efforts(count, seed=3)
    a, b, s = np.meshgrid(
        np.linspace(1.0, 6.0, 161), np.linspace(-3.2, 0.0, 65), np.linspace(np.log(0.03), np.log(1.6), 49),
        indexing="ij",
    )  # fmt: skip
    log_p = (
        stats.norm.logpdf(a, PRIOR.a, PRIOR.a_sd)
        + stats.norm.logpdf(b, PRIOR.b, PRIOR.b_sd)
        + stats.norm.logpdf(s, PRIOR.log_sigma, PRIOR.log_sigma_sd)
    )
    for effort in efforts:
        curve = stats.lognorm(s=np.exp(s), scale=np.exp(a + b * np.log(effort.beta_mean)))
        log_p += curve.logpdf(effort.duration_s) if effort.ending == "exhausted" else curve.logsf(effort.duration_s)
    p = np.exp(log_p - log_p.max())
    p /= p.sum()
    result = fit_endurance(efforts)
    for ours, theirs in ((result.a, a), (result.b, b), (np.log(result.sigma), s)):
        mean = float((p * theirs).sum())
        sd = float(np.sqrt((p * (theirs - mean) ** 2).sum()))
        assert result.mean(ours) == pytest.approx(mean, abs=0.02 * sd)
        assert np.sqrt(result.mean((ours - result.mean(ours)) ** 2)) == pytest.approx(sd, rel=0.02)


@pytest.mark.parametrize("joint", JOINTS)
def test_the_published_endurance_table_is_recovered(joint, endurance_models):
    """Source: Frey Law and Avin 2010, table 2; the seconds are computed from its coefficients, to 0.01 s."""
    published = endurance_models["frey_law_avin_2010"]
    coefficients = published["coefficients"][joint]
    efforts = [Effort(t_s, (float(f),), "exhausted") for f, t_s in published["computed_seconds"][joint].items()]
    prior = Prior(a_sd=np.inf, b_sd=np.inf, log_sigma=np.log(0.05), log_sigma_sd=0.1)
    a, b, _ = fit_endurance(efforts, prior=prior).mode
    assert b == pytest.approx(coefficients["b1"], abs=1e-3)
    assert np.exp(a) == pytest.approx(coefficients["b0"], rel=1e-3)


def test_before_any_hold_the_published_exponent_of_the_hand_is_believed(endurance_models):
    """Source: Frey Law and Avin 2010, hand/grip; all joints of that table lie within two prior widths."""
    coefficients = endurance_models["frey_law_avin_2010"]["coefficients"]
    nothing = fit_endurance([])
    assert nothing.mean(nothing.b) == pytest.approx(coefficients["hand_grip"]["b1"], abs=1e-6)
    sd = np.sqrt(nothing.mean((nothing.b - nothing.mean(nothing.b)) ** 2))
    assert all(abs(c["b1"] - nothing.mean(nothing.b)) < 2 * sd for c in coefficients.values())
    assert (nothing.efforts, nothing.exhausted) == (0, 0)


def test_a_time_at_a_low_load_has_the_spread_of_published_measurements(endurance_models):
    """At 15 % Heinzl et al. 2025 measured 456 s where the formulas say 712 s and 928 s: both must be inside."""
    point = endurance_models["measured_points"][0]
    published = endurance_models["frey_law_avin_2010"]["computed_seconds"]["hand_grip"]
    efforts = [Effort(t_s, (float(f),), "exhausted") for f, t_s in published.items() if float(f) >= TRUSTED_BETA]
    time = time_at(fit_endurance(efforts * 3), 0.15)
    assert time.low < point["seconds"] < point["compare"]["rohmert_s"] < time.high


def test_a_course_of_loads_counts_as_its_equivalent_load():
    """Worked by hand: half the time at 1, half at 0.5, b = -2: mean of beta**2 is (1 + 0.25) / 2 = 0.625."""
    (term,) = log_equivalent((1.0, 0.5), [-2.0])
    assert term == pytest.approx(-np.log(0.625))
    equivalent = 0.625**0.5
    course = np.repeat([1.0, 0.5], 100)
    varied = fit_endurance([effort_from_course(40.0, course, "exhausted")], prior=Prior(b=-2.0, b_sd=1e-3))
    steady = fit_endurance([Effort(40.0, (equivalent,), "exhausted")], prior=Prior(b=-2.0, b_sd=1e-3))
    assert varied.mode[0] == pytest.approx(steady.mode[0], abs=1e-3)


def test_a_hold_that_ended_at_its_target_counts_as_at_least_so_long():
    reached = fit_endurance([Effort(40.0, (0.8,), "target")])
    let_go = fit_endurance([Effort(40.0, (0.8,), "exhausted")])
    assert reached.mean(reached.a) > let_go.mean(let_go.a) + 0.3
    assert (reached.exhausted, let_go.exhausted) == (0, 1)


def test_old_holds_count_less():
    efforts = invented_efforts(12)
    long_ago = [dataclasses.replace(b, age_days=90.0) for b in efforts]
    fresh, stale = fit_endurance(efforts), fit_endurance(long_ago)
    assert np.ptp(stale.quantiles(stale.a, (0.1, 0.9))) > 1.5 * np.ptp(fresh.quantiles(fresh.a, (0.1, 0.9)))


@pytest.mark.parametrize("bad", [(0.0, (1.0,)), (10.0, ()), (10.0, (0.0,)), (10.0, (-0.2, 1.0))])
def test_an_effort_without_time_or_load_is_refused(bad):
    with pytest.raises(ValueError, match="above 0"):
        Effort(bad[0], bad[1], "exhausted")
