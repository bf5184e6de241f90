"""The result of a calibration: spans, figures, verdict, and the calibration that is saved."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from monitor.newtons.budget import Budget, Contribution, u_rectangular
from monitor.newtons.calibrating.assembly_fit import AssemblyFit, fit_assembly
from monitor.newtons.calibrating.averaging import Reading
from monitor.newtons.calibrating.limits import allowed_creep_N, allowed_error_N, allowed_return_N
from monitor.newtons.calibrating.plan import Place, Plan, Step
from monitor.newtons.calibrating.plausibility import StepReading
from monitor.newtons.calibrating.refusals import SpanTooUncertain
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.rig import Part, Rig

Array = NDArray[np.float64]
Verdict = Literal["pass", "fail", "unsure"]

CELL_ALLOWANCE = 5.0
"""A single cell may be this much less certain than the sum is required to be (common practice, no source)."""


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


@dataclass(frozen=True, slots=True)
class Outcome:
    """A finished calibration.

    ``flags`` says in words what was not done or looks odd; ``change_rel`` how far each channel's span lies from the
    last calibration's.
    """

    calibration: Calibration
    rig: Rig
    plan: Plan
    parts: tuple[PartFigures, ...]
    flags: tuple[str, ...]
    at: str
    change_rel: Mapping[str, float]


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


def _refuse_uncertain(rig: Rig, plan: Plan, figures: PartFigures) -> None:
    """Refuse spans that are not worth saving, and say what would make them better."""
    u_cells = np.array([b.u for b in figures.budgets])
    worst = int(np.argmax(u_cells))
    too_loose = figures.u_rel_sum > plan.wanted_u_rel
    if not too_loose and u_cells[worst] <= CELL_ALLOWANCE * plan.wanted_u_rel:
        return
    u_rel = figures.u_rel_sum if too_loose else float(u_cells[worst])
    wanted = plan.wanted_u_rel * (1.0 if too_loose else CELL_ALLOWANCE)
    name = f"the {figures.part}" if too_loose else rig.names[figures.fit.index[worst]]
    main = max(figures.budgets[worst].contributions, key=lambda c: c.part)
    heaviest_kg = float(figures.fit.load_N.max()) / plan.gravity_m_s2
    needed_kg = math.ceil(heaviest_kg * u_rel / wanted)
    # Creep that does not stand out of the noise is noise.
    creep_is_noise = abs(figures.creep_rel[worst]) < 3 * figures.u_creep_rel[worst]
    cause = "noise" if main.name == "creep" and creep_is_noise else main.name
    do = {
        "masses": f"Weigh the plates on a scale that is right to {wanted / 2:.1%}, and give tolerance_kg.",
        "gravity": "Give latitude_deg in the plan, or gravity_m_s2 in rig.toml.",
        "places": "Place the loads more exactly (u_at_m), or hang them from one cell at a time.",
        "creep": f"Let the rig warm up for half an hour, hang at least {needed_kg} kg; a cell that creeps on is worn.",
    }.get(cause, f"Hang at least {needed_kg} kg, wait until it is still, read again.")
    raise SpanTooUncertain(
        what=f"With these loads the scale factor of {name} is known to {u_rel:.2%} only; {wanted:.2%} was wanted. "
        f"Most of it comes from {cause}.",
        means="Every load would be uncertain by as much, and nothing was saved.",
        do=f"{do} Or accept it: set wanted_u_rel = {math.ceil(u_rel * 1e3 + 0.1) / 1e3:g} in the plan.",
    )


def evaluate(
    rig: Rig,
    plan: Plan,
    taken: Sequence[StepReading],
    *,
    at: str,
    previous: Calibration | None = None,
    flags: Sequence[str] = (),
) -> Outcome:
    """Return the calibration that the readings give, with its figures.

    Parameters
    ----------
    taken : sequence of StepReading
    at : str
        ISO 8601 date and time of the calibration.
    previous : Calibration, optional
        Gives what this plan does not touch; in the order of the rig's channels.

    Raises
    ------
    FitNotPossible, SpanTooUncertain, BadCalibration
    """
    parts = tuple(part_figures(rig, plan, part, taken) for part in plan.parts)
    for figures in parts:
        _refuse_uncertain(rig, plan, figures)
    fresh: dict[int, ChannelCalibration] = {}
    n = len(rig.channels)
    covariance = np.zeros((2 * n, 2 * n))
    if previous is not None:
        covariance = previous.covariance_of(range(n))
    for figures in parts:
        fit = figures.fit
        k, columns = len(fit.index), list(fit.index)
        zero = [t.reading for t in taken if t.step.part == figures.part and not t.step.masses][-1]
        both = columns + [n + i for i in columns]
        own = fit.covariance + np.diag(np.concatenate([figures.creep_rel**2, np.zeros(k)]))
        covariance[both, :] = covariance[:, both] = 0.0
        covariance[np.ix_(both, both)] = own
        for c, column in enumerate(columns):
            wandered = u_rectangular(abs(float(figures.zero_drift_N[c] / fit.span_N_per_count[c])))
            fresh[column] = ChannelCalibration(
                channel=rig.names[column],
                zero_counts=float(zero.counts[column]),
                N_per_count=float(fit.span_N_per_count[c]),
                u_zero_counts=math.hypot(float(zero.u_counts[column]), wandered),
                u_rel_span=math.sqrt(float(own[c, c])),
                zero_at=at,
                span_at=at,
                bend_per_N=float(fit.bend_per_N[c]),
                u_curve_N=fit.scatter_N,
            )
    # Masses and gravity of one calibration are common to bar and platform.
    if len(parts) == 2:
        _common(covariance, plan, parts, n)
    known = [i for i in range(n) if i in fresh or previous is not None]
    channels = tuple(fresh[i] if i in fresh else previous.channels[i] for i in known)  # type: ignore[union-attr]
    bent = any(c.bend_per_N for c in channels)
    rows = known + [n + i for i in known] if bent else known
    matrix = covariance[np.ix_(rows, rows)]
    matrix = (matrix + matrix.T) / 2
    change = {
        c.channel: c.N_per_count / previous.channels[i].N_per_count - 1
        for i, c in fresh.items()
        if previous is not None
    }
    return Outcome(
        calibration=Calibration(
            channels,
            span_covariance=tuple(tuple(row) for row in matrix.tolist()),
            gravity_m_s2=plan.gravity_m_s2,
            temperature_degC=plan.temperature_degC,
        ),
        rig=rig,
        plan=plan,
        parts=parts,
        flags=(*flags, *_remarks(parts, change), *_untouched(rig, fresh, previous)),
        at=at,
        change_rel=change,
    )


def _common(covariance: Array, plan: Plan, parts: Sequence[PartFigures], n: int) -> None:
    """Add what bar and platform share: gravity wholly, and the masses that hung on both."""
    first, second = parts
    u_gravity2 = (plan.u_gravity_m_s2 / plan.gravity_m_s2) ** 2
    for (a, i), (b, j) in itertools.product(enumerate(first.fit.index), enumerate(second.fit.index)):
        effects = (  # one standard error of each mass that hung on both
            (u[a], second.fit.mass_effects[name][b])
            for name, u in first.fit.mass_effects.items()
            if name in second.fit.mass_effects
        )
        shared = u_gravity2 + math.fsum(float(one * other) for one, other in effects)
        covariance[i, j] += shared
        covariance[j, i] += shared


def _untouched(rig: Rig, fresh: Mapping[int, object], previous: Calibration | None) -> list[str]:
    """Return what was not calibrated, and where its numbers are from."""
    left = [i for i in range(len(rig.channels)) if i not in fresh]
    if not left:
        return []
    names = ", ".join(rig.names[i] for i in left)
    if previous is None:
        return [f"not calibrated: {names}; the rig needs them, calibrate them too"]
    return [f"as in the last calibration: {names}"]


def _remarks(parts: Sequence[PartFigures], change: Mapping[str, float]) -> list[str]:
    remarks = []
    for figures in parts:
        if not figures.creep_s:
            remarks.append(f"{figures.part}: creep was not watched")
        if figures.repeatability_N is None:
            remarks.append(f"{figures.part}: no load was repeated, so repeatability is not known")
        if figures.fit.bend_per_N.any():
            remarks.append(
                f"{figures.part}: the cells are bent; a quadratic is used (chance {figures.fit.bend_chance:.1g})"
            )
    remarks += [f"{name}: span {c:+.1%} from the last calibration" for name, c in change.items() if abs(c) > 0.02]
    return remarks
