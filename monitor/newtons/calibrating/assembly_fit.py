"""All cells of a bar or platform in one fit: spans from known loads at known places.

For every load p the cells i must together carry it, and must balance it where the places are known:

    sum s_i d_pi = F_p        sum x_i s_i d_pi = F_p x_p        sum y_i s_i d_pi = F_p y_p

with d_pi the deflection in counts from the zero, drawn between the zeros before and after. The s_i are solved by
generalised least squares; the covariance holds what the points share: plates that hang in many of them, zeros, places.
What the points scatter beyond it is estimated so that chi-square equals its expectation (R. C. Paule and J. Mandel,
Consensus values and weighting factors, Journal of Research of the National Bureau of Standards 87 (1982) 377-385;
citation from memory) and counts as an uncertainty of every single reading.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.newtons.calibrating.averaging import Reading
from monitor.newtons.calibrating.plan import Plan, Step
from monitor.newtons.least_squares import SIGNIFICANCE, FitNotPossible, LeastSquares, least_squares
from monitor.rig import Channel

Array = NDArray[np.float64]

FEWEST_LOADS_FOR_A_BEND = 4


@dataclass(frozen=True, slots=True)
class AssemblyFit:
    """Spans of all cells of one part.

    Attributes
    ----------
    index : (k,) int
        Columns of the cells.
    span_N_per_count, bend_per_N : (k,) float
        Bends are zero where a straight line does.
    covariance : (2 k, 2 k) float
        Of the relative spans, then of the bends (1/N); creep is not in it.
    shares : mapping of str to (k,) float
        Relative standard uncertainty of each span by source: masses, gravity, places, noise, scatter.
    mass_effects : mapping of str to (k,) float
        By how much one standard error of each mass changes each relative span.
    load_N, residual_N, u_residual_N, u_noise_N : (n,) float
        Known loads, known minus measured, the latter's standard uncertainty from masses and noise, from noise alone.
    deflection : (n, k) float
        Counts from zero.
    scatter_N : float
        What a single cell's reading scatters beyond noise (standard deviation).
    dof : int
    bend_chance : float
        Probability that chance alone shows such a bend; 1 where it was not tried.
    """

    index: tuple[int, ...]
    span_N_per_count: Array
    bend_per_N: Array
    covariance: Array
    shares: Mapping[str, Array]
    mass_effects: Mapping[str, Array]
    load_N: Array
    residual_N: Array
    u_residual_N: Array
    u_noise_N: Array
    deflection: Array
    scatter_N: float
    dof: int
    bend_chance: float

    @property
    def u_rel_span(self) -> Array:
        """Return the spans' relative standard uncertainties."""
        return np.asarray(np.sqrt(np.diag(self.covariance)[: len(self.index)]))


def zero_weights(steps: Sequence[Step], t_s: Array) -> tuple[list[int], Array]:
    """Return which readings are loads, and the matrix (loads, readings) that takes the zero off each of them.

    The zero at a load's time is drawn as a straight line between the zeros before and after.

    Raises
    ------
    FitNotPossible
        There is no zero.
    """
    zeros = [i for i, s in enumerate(steps) if not s.masses]
    loads = [i for i, s in enumerate(steps) if s.masses]
    if not zeros:
        raise FitNotPossible(
            what="No zero was read.",
            means="It is not known how far a load moves the reading.",
            do="Read the empty rig before and after the loads.",
        )
    taken = np.zeros((len(loads), len(steps)))
    for row, i in enumerate(loads):
        taken[row, i] = 1.0
        before = [z for z in zeros if z < i]
        after = [z for z in zeros if z > i]
        if before and after:
            a, b = before[-1], after[0]
            share = (t_s[i] - t_s[a]) / (t_s[b] - t_s[a])
            taken[row, a] -= 1 - share
            taken[row, b] -= share
        else:
            taken[row, before[-1] if before else after[0]] -= 1.0
    return loads, taken


class _Equations:
    """The equations of one part: rows are forces, then moments, of all loads."""

    def __init__(self, cells: Sequence[tuple[int, Channel]], plan: Plan, steps: Sequence[Step], read: list[Reading]):
        self.index = tuple(i for i, _ in cells)
        loads, self.taken = zero_weights(steps, np.array([r.t_s for r in read]))
        self.steps = [steps[i] for i in loads]
        counts = np.array([r.counts[list(self.index)] for r in read])
        self.u_counts = np.array([r.u_counts[list(self.index)] for r in read])
        self.deflection = self.taken @ counts
        self.load_N = np.array([plan.load_N(s) for s in self.steps])
        self.levers = [np.ones(len(cells))]
        known = {"x": [s.place.x_m for s in self.steps], "y": [s.place.y_m for s in self.steps]}
        rows = [(0, p, 1.0) for p in range(len(self.steps))]
        for axis, place in (("x", [c.x_m for _, c in cells]), ("y", [c.y_m for _, c in cells])):
            if len(set(place)) < 2:
                continue
            self.levers.append(np.array(place))
            rows += [(len(self.levers) - 1, p, at) for p, at in enumerate(known[axis]) if at is not None]
        self.lever = np.array([self.levers[kind] for kind, _, _ in rows])
        self.point = np.array([p for _, p, _ in rows])
        self.kind = np.array([kind for kind, _, _ in rows])
        self.at = np.array([at for _, _, at in rows])
        self.target = self.at * self.load_N[self.point]
        self.plan = plan

    def design(self, bent: bool) -> Array:
        d = self.deflection[self.point]
        linear = self.lever * d
        return np.hstack([linear, linear * d]) if bent else linear

    def masses(self) -> tuple[list[str], Array]:
        """Return the masses and (rows, masses) what one standard error of each does: alike wherever it hangs."""
        names = sorted({name for s in self.steps for name in s.masses})
        held = np.array([[name in self.steps[p].masses for name in names] for p in self.point], dtype=np.float64)
        return names, held * self.at[:, None] * np.array([self.plan.u_mass_N(name) for name in names])

    def places(self) -> Array:
        """Return the same from the places: one error a place, however often it is loaded."""
        total = np.zeros((len(self.target), len(self.target)))
        for place in {s.place for s in self.steps}:
            for kind in range(1, len(self.levers)):
                here = np.array([self.steps[p].place == place for p in self.point]) & (self.kind == kind)
                arm = np.where(here, self.load_N[self.point] * place.u_m, 0.0)
                total += np.outer(arm, arm)
        return total

    def readings(self, variance: Callable[[int], Array]) -> Array:
        """Return the covariance of the measured side; ``variance(i)`` (readings,) is that of cell i in N^2."""
        total = np.zeros((len(self.target), len(self.target)))
        for i in range(len(self.index)):
            part = (self.taken * variance(i)) @ self.taken.T
            total += np.outer(self.lever[:, i], self.lever[:, i]) * part[np.ix_(self.point, self.point)]
        return total


@dataclass(slots=True)
class _Solved:
    solution: LeastSquares
    scatter2: float
    sources: dict[str, Array]


def _chi2(design: Array, target: Array, covariance: Array) -> float:
    """Return chi-square of the best fit alone: the search for the scatter needs it often."""
    both = np.column_stack([design / np.abs(design).max(axis=0), target])
    white = np.linalg.solve(np.linalg.cholesky(covariance), both)
    q, _ = np.linalg.qr(white[:, :-1])
    rest = white[:, -1] - q @ (q.T @ white[:, -1])
    return float(rest @ rest)


def _solve(equations: _Equations, bent: bool) -> _Solved:
    """Solve the spans; weights depend on them, so three rounds."""
    from scipy.optimize import brentq

    k = len(equations.index)
    design = equations.design(bent)
    first = np.linalg.lstsq(design / np.abs(design).max(axis=0), equations.target, rcond=None)[0]
    spans = first[:k] / np.abs(design).max(axis=0)[:k]
    each = equations.masses()[1]
    fixed = {"masses": each @ each.T, "places": equations.places()}
    ones = equations.readings(lambda i: np.ones(len(equations.u_counts)))
    dof: int = len(equations.target) - design.shape[1]
    scatter2, solution = 0.0, None
    for _ in range(3):
        noise = equations.readings(lambda i, s=spans: (s[i] * equations.u_counts[:, i]) ** 2)  # type: ignore[misc]
        known = fixed["masses"] + fixed["places"] + noise

        def excess(variance: float, known: Array = known) -> float:
            return _chi2(design, equations.target, known + variance * ones) - float(dof)

        scatter2, top = 0.0, float(np.diag(noise).max()) or 1e-12
        if dof > 0 and excess(0.0) > 0:
            while excess(top) > 0:
                top *= 4
            scatter2 = float(brentq(excess, 0.0, top, rtol=1e-4))
        solution = least_squares(design, equations.target, known + scatter2 * ones)
        spans = solution.coefficients[:k]
    assert solution is not None
    return _Solved(solution, scatter2, {**fixed, "noise": noise, "scatter": scatter2 * ones})


def fit_assembly(
    cells: Sequence[tuple[int, Channel]], plan: Plan, steps: Sequence[Step], readings: Sequence[Reading]
) -> AssemblyFit:
    """Return the spans of all cells of a part from its readings.

    A bend of every cell is tried with four different loads or more, and kept where at least one of them is
    significant: |bend| / u beyond Student's quantile at ``SIGNIFICANCE``, shared among the cells; u holds the masses'
    errors, so that plates of unlike quality do not pass for a bend.

    Parameters
    ----------
    cells : sequence of (column, Channel)
    plan : Plan
    steps, readings : sequences of one length
        Of this part, zeros included, in the order of their reading.

    Raises
    ------
    FitNotPossible
    """
    from scipy.special import stdtr

    equations = _Equations(cells, plan, steps, list(readings))
    solved, chance = _solve(equations, False), 1.0
    k = len(equations.index)
    bend = np.zeros(k)
    if len(set(equations.load_N.round(6))) >= FEWEST_LOADS_FOR_A_BEND:
        try:
            bent = _solve(equations, True)
        except FitNotPossible:
            bent = None
        if bent is not None and bent.solution.dof >= 2:
            ratio = float(np.max(np.abs(bent.solution.coefficients[k:]) / bent.solution.u[k:]))
            chance = min(1.0, 2 * k * float(stdtr(bent.solution.dof, -ratio)))
            if chance < SIGNIFICANCE:
                solved = bent
                bend = bent.solution.coefficients[k:] / bent.solution.coefficients[:k] ** 2
    solution = solved.solution
    spans = solution.coefficients[:k]
    to_relative = np.zeros((2 * k, len(solution.coefficients)))
    to_relative[:k, :k] = np.diag(1 / spans)
    if bend.any():
        to_relative[k:, :k] = np.diag(-2 * bend / spans)
        to_relative[k:, k:] = np.diag(1 / spans**2)
    through = to_relative @ solution.estimator
    shares = {name: _u(through @ source @ through.T, k) for name, source in solved.sources.items()}
    u_gravity = plan.u_gravity_m_s2 / plan.gravity_m_s2
    shares["gravity"] = np.full(k, u_gravity)
    covariance = to_relative @ solution.covariance @ to_relative.T
    # Gravity makes all loads wrong by one factor: all relative spans alike, and bends (1/N) the other way.
    common = np.concatenate([np.ones(k), -bend])
    covariance += u_gravity**2 * np.outer(common, common)
    force = equations.kind == 0
    names, each = equations.masses()
    effects = (through @ each)[:k]
    u_noise2, u_mass2 = (np.diag(solved.sources[name])[force] for name in ("noise", "masses"))
    return AssemblyFit(
        index=equations.index,
        span_N_per_count=spans,
        bend_per_N=bend,
        covariance=(covariance + covariance.T) / 2,
        shares=shares,
        mass_effects={name: effects[:, column] for column, name in enumerate(names)},
        load_N=equations.load_N,
        residual_N=solution.residuals[force],
        u_residual_N=np.sqrt(u_noise2 + u_mass2),
        u_noise_N=np.sqrt(u_noise2),
        deflection=equations.deflection,
        scatter_N=math.sqrt(solved.scatter2),
        dof=solution.dof,
        bend_chance=chance,
    )


def _u(covariance: Array, k: int) -> Array:
    return np.asarray(np.sqrt(np.diag(covariance)[:k]))
