"""What the readings of one part of a rig say: spans, creep, hysteresis, and comparisons with OIML R 60."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from monitor.newtons.budget import Budget, Contribution
from monitor.newtons.calibrating.assembly_fit import AssemblyFit, fit_assembly
from monitor.newtons.calibrating.averaging import Reading
from monitor.newtons.calibrating.limits import allowed_creep_N, allowed_error_N, allowed_return_N
from monitor.newtons.calibrating.plan import Place, Plan, Step
from monitor.newtons.calibrating.plausibility import StepReading
from monitor.rig import Part, Rig

Array = NDArray[np.float64]
Verdict = Literal["pass", "fail", "unsure"]


@dataclass(frozen=True, slots=True)
class Check:
    """One comparison with a limit, all in newtons.

    ``pass`` where the value lies within the limit by twice its uncertainty, ``fail`` where it lies beyond by as much,
    ``unsure`` between: masses and noise are then too large to decide.
    """

    name: str
    value_N: float
    u_N: float
    limit_N: float
    source: str

    @property
    def verdict(self) -> Verdict:
        """Return the verdict."""
        if abs(self.value_N) + 2 * self.u_N <= self.limit_N:
            return "pass"
        return "fail" if abs(self.value_N) - 2 * self.u_N > self.limit_N else "unsure"


@dataclass(frozen=True, slots=True)
class PartFigures:
    """The results of one part.

    Attributes
    ----------
    part : Part
    steps : tuple of Step
        Loaded steps, rows of the fit's arrays.
    fit : AssemblyFit
    budgets : tuple of Budget
        One a cell: contributions to its relative span.
    u_rel_sum : float
        Relative standard uncertainty of an evenly shared load.
    repeatability_N, hysteresis_N : float or None
        Spread of one load hung repeatedly; largest difference falling minus rising. None where it was not tried.
    creep_rel, u_creep_rel : (k,) float
        Change under a steady load as a share of it, and its noise; ``creep_s`` is how long was watched, 0: never.
    zero_drift_N, zero_span_s : (k,) float, float
        Last zero minus first zero, and the time between.
    noise_N : (k,) float
        White noise of one reading.
    checks : tuple of Check
    """

    part: Part
    steps: tuple[Step, ...]
    fit: AssemblyFit
    budgets: tuple[Budget, ...]
    u_rel_sum: float
    repeatability_N: float | None
    hysteresis_N: float | None
    creep_rel: Array
    u_creep_rel: Array
    creep_s: float
    zero_drift_N: Array
    zero_span_s: float
    noise_N: Array
    checks: tuple[Check, ...]

    @property
    def verdict(self) -> Verdict:
        """Return the worst of the checks' verdicts."""
        verdicts = [c.verdict for c in self.checks]
        return "fail" if "fail" in verdicts else "unsure" if "unsure" in verdicts else "pass"


def _repeats(steps: Sequence[Step], measured_N: Array) -> tuple[float | None, float | None]:
    """Return the largest spread of equal loads, and the largest difference between falling and rising."""
    groups: dict[tuple[Place, tuple[str, ...], str], list[float]] = {}
    for step, load_N in zip(steps, measured_N.tolist(), strict=True):
        groups.setdefault((step.place, step.masses, step.direction), []).append(load_N)
    spreads = [max(g) - min(g) for g in groups.values() if len(g) > 1]
    differences = []
    for (place, masses, direction), rising in groups.items():
        falling = groups.get((place, masses, "falling"))
        if direction == "rising" and falling:
            differences.append(float(np.mean(falling) - np.mean(rising)))
    return max(spreads, default=None), max(differences, key=abs, default=None)


def _creep(taken: Sequence[StepReading], loaded: Sequence[StepReading], fit: AssemblyFit) -> tuple[Array, Array, float]:
    """Return each cell's change over its first good dwell as a share of the load, its noise, and the dwell's length."""
    creep, u = np.zeros(len(fit.index)), np.zeros(len(fit.index))
    dwells = [p for p, t in enumerate(loaded) if t.step.dwell_s > 0]
    if not dwells:
        return creep, u, 0.0
    for k, column in enumerate(fit.index):
        # The first of the heavier ones: later the cell still recovers from what it carried before.
        heavy = max(abs(fit.deflection[p, k]) for p in dwells)
        p = next(p for p in dwells if abs(fit.deflection[p, k]) >= 0.7 * heavy)
        reading, (rate, u_rate) = loaded[p].reading, _zero_rate(taken, loaded[p], column)
        creep[k] = (reading.crept_counts[column] - rate * reading.seconds) / fit.deflection[p, k]
        u_counts = math.hypot(_u_change(reading, column), u_rate * reading.seconds)
        u[k] = u_counts / abs(fit.deflection[p, k])
    return creep, u, max(loaded[p].reading.seconds for p in dwells)


def _u_change(reading: Reading, column: int) -> float:
    """Return how well a change is known: by a straight line sqrt(12) times less than the mean of the same readings."""
    return math.sqrt(12 / reading.n) * float(reading.noise_counts[column])


def _zero_rate(taken: Sequence[StepReading], at: StepReading, column: int) -> tuple[float, float]:
    """Return how fast the zero wandered before a load, counts/s, and how well that is known: a drift is no creep.

    A zero does not wander steadily: its rates from zero to zero differ, and the further a load is from the zero that
    was watched, the more of that difference is the rate's uncertainty.
    """
    zeros = [t for t in taken if not t.step.masses]
    watched = [t.reading for t in zeros if t.step.dwell_s > 0 and t.reading.t_s < at.reading.t_s]
    rates = [
        float((b.reading.counts - a.reading.counts)[column] / (b.reading.t_s - a.reading.t_s))
        for a, b in itertools.pairwise(zeros)
    ]
    rate, u_noise, nearness = 0.0, 0.0, 1.0
    if watched:
        spacing_s = (zeros[-1].reading.t_s - zeros[0].reading.t_s) / max(1, len(rates))
        nearness = min(1.0, (at.reading.t_s - watched[-1].t_s) / spacing_s) if rates else 1.0
        rate = float(watched[-1].crept_counts[column] / watched[-1].seconds)
        u_noise = _u_change(watched[-1], column) / watched[-1].seconds
    unsteady = math.sqrt(math.fsum((r - rate) ** 2 for r in rates) / len(rates)) if rates else 0.0
    return rate, math.hypot(u_noise, nearness * unsteady)


def _checks(
    rig: Rig,
    plan: Plan,
    fit: AssemblyFit,
    creep: tuple[Array, Array, float],
    zero_drift_N: Array,
    repeats: tuple[float | None, float | None],
) -> tuple[Check, ...]:
    """Compare with OIML R 60; the capacity is the rated one, or the heaviest load where no rating is known."""
    rated = [rig.channels[i].rated_N for i in fit.index]
    heaviest = float(fit.load_N.max())
    capacity = math.fsum(r for r in rated if r is not None) if all(rated) else heaviest
    grade = f"OIML R 60 {plan.grade}{plan.intervals / 1000:g}"

    def error(load_N: float) -> float:
        return allowed_error_N(load_N, capacity, grade=plan.grade, intervals=plan.intervals)

    worst = max(range(len(fit.load_N)), key=lambda p: abs(float(fit.residual_N[p])) - error(float(fit.load_N[p])))
    checks = [
        Check(
            f"residual at {fit.load_N[worst]:.0f} N",
            float(fit.residual_N[worst]),
            float(fit.u_residual_N[worst]),
            error(float(fit.load_N[worst])),
            f"{grade}, error envelope",
        )
    ]
    spread, hysteresis = repeats
    u_noise = math.sqrt(2) * float(np.median(fit.u_noise_N))
    if spread is not None:
        checks.append(Check("repeatability", spread, u_noise, error(heaviest), f"{grade}, repeatability"))
    if hysteresis is not None:
        checks.append(Check("falling minus rising", hysteresis, u_noise, error(heaviest), f"{grade}, error envelope"))
    for k, column in enumerate(fit.index):
        name, top_N = rig.names[column], float(np.max(np.abs(fit.deflection[:, k] * fit.span_N_per_count[k])))
        of_cell = rated[k] or top_N
        if creep[2] > 0:
            limit = allowed_creep_N(top_N, of_cell, grade=plan.grade, intervals=plan.intervals)
            source = f"{grade}, creep, its limit for 30 min"
            crept_N, u_N = float(creep[0][k]) * top_N, float(creep[1][k]) * top_N
            checks.append(Check(f"creep of {name} in {creep[2]:.0f} s", crept_N, u_N, limit, source))
        limit = allowed_return_N(of_cell, intervals=plan.intervals)
        drift = float(zero_drift_N[k])
        checks.append(Check(f"zero return of {name}", drift, u_noise, limit, f"{grade}, zero return"))
    return tuple(checks)


def part_figures(rig: Rig, plan: Plan, part: Part, taken: Sequence[StepReading]) -> PartFigures:
    """Return the results of one part's readings.

    Raises
    ------
    FitNotPossible
    """
    index = rig.bar_index if part == "bar" else rig.platform_index
    own = [t for t in taken if t.step.part == part]
    loaded = [t for t in own if t.step.masses]
    fit = fit_assembly([(i, rig.channels[i]) for i in index], plan, [t.step for t in own], [t.reading for t in own])
    creep, u_creep, creep_s = _creep(own, loaded, fit)
    zeros = [t.reading for t in own if not t.step.masses]
    columns, k = list(index), len(index)
    scale = np.abs(fit.span_N_per_count)
    drift_N = (zeros[-1].counts - zeros[0].counts)[columns] * fit.span_N_per_count
    budgets = tuple(
        Budget(
            (
                *(
                    Contribution(name, float(u[c]), 1.0, fit.dof if name == "scatter" else math.inf)
                    for name, u in fit.shares.items()
                ),
                Contribution("creep", abs(float(creep[c]))),
            )
        )
        for c in range(k)
    )
    spans = fit.covariance[:k, :k] + np.diag(creep**2)
    measured_N = fit.load_N - fit.residual_N
    repeats = _repeats([t.step for t in loaded], measured_N)
    return PartFigures(
        part=part,
        steps=tuple(t.step for t in loaded),
        fit=fit,
        budgets=budgets,
        u_rel_sum=math.sqrt(float(spans.sum())) / k,
        repeatability_N=repeats[0],
        hysteresis_N=repeats[1],
        creep_rel=creep,
        u_creep_rel=u_creep,
        creep_s=creep_s,
        zero_drift_N=drift_N,
        zero_span_s=zeros[-1].t_s - zeros[0].t_s,
        noise_N=scale * np.median([t.reading.noise_counts[columns] for t in own], axis=0),
        checks=_checks(rig, plan, fit, (creep, u_creep, creep_s), drift_N, repeats),
    )
