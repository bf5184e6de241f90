"""First-order sensitivities of a session's numbers, so that an error that two of them share cancels in their ratio.

A share of bodyweight is a load over a load. Where the same cells weighed both, a wrong span moves both alike and the
share hardly at all. So every load carries its sensitivities, and only what is reported is turned into an uncertainty
(law of propagation with correlations, JCGM 100:2008, 5.2.2).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from monitor.signals.session_loads import Array, SessionLoads
from monitor.signals.zeros import Zeros

POINTS = 24
"""Instants at which the drift of a zero over a stretch of time is evaluated (common practice, no source)."""


@dataclass(frozen=True)
class Course:
    """Sensitivity of a number to a part's zero over time: weights (k,) at instants (k,) s."""

    t_s: Array = field(default_factory=lambda: np.empty(0))
    weight: Array = field(default_factory=lambda: np.empty(0))

    def plus(self, other: Course) -> Course:
        """Return both together."""
        return Course(np.concatenate([self.t_s, other.t_s]), np.concatenate([self.weight, other.weight]))

    def times(self, factor: float) -> Course:
        """Return the course with every weight multiplied."""
        return Course(self.t_s, factor * self.weight)


def mean_course(t_s: Array) -> Course:
    """Return the course of a mean over rows at ``t_s`` (n,), thinned to ``POINTS`` of them."""
    chosen = t_s[np.linspace(0, len(t_s) - 1, min(POINTS, len(t_s))).round().astype(int)]
    return Course(chosen, np.full(len(chosen), 1.0 / max(1, len(chosen))))


@dataclass(frozen=True)
class Sensitivity:
    """First-order sensitivities of a number.

    Attributes
    ----------
    cells : (2 n,) float
        Its change per unit of each cell's relative span error, then per unit (1/N) of each cell's bend.
    bar, feet : Course
        Its change per newton of the parts' zeros.
    own_variance : float
        What no other number shares: noise, the scatter of its own average. Negative where noise is in the number and in
        its zero alike.
    """

    cells: Array
    bar: Course = field(default_factory=Course)
    feet: Course = field(default_factory=Course)
    own_variance: float = 0.0

    def times(self, factor: float) -> Sensitivity:
        """Return the sensitivity of ``factor`` times the number."""
        return Sensitivity(
            factor * self.cells, self.bar.times(factor), self.feet.times(factor), factor**2 * self.own_variance
        )

    def plus(self, other: Sensitivity) -> Sensitivity:
        """Return the sensitivity of the sum of two numbers whose own variances are independent."""
        return Sensitivity(
            self.cells + other.cells,
            self.bar.plus(other.bar),
            self.feet.plus(other.feet),
            self.own_variance + other.own_variance,
        )

    def variance(self, session: SessionLoads, zeros: Zeros) -> float:
        """Return the number's variance from the session's calibration and the zeros that were read in it."""
        spans = max(0.0, float(self.cells @ session.covariance @ self.cells))
        bar, feet = (
            zero.variances(course.t_s, course.weight)
            for zero, course in ((zeros.bar, self.bar), (zeros.feet, self.feet))
        )
        # Noise that is in a load and in its zero alike was counted twice, and is taken off in its own variance.
        return spans + bar[1] + feet[1] + max(0.0, bar[0] + feet[0] + self.own_variance)

    def u(self, session: SessionLoads, zeros: Zeros) -> float:
        """Return the number's standard uncertainty."""
        return math.sqrt(self.variance(session, zeros))


def independent(session: SessionLoads, variance: float) -> Sensitivity:
    """Return the sensitivity of a number that is independent of the rig: a stated bodyweight."""
    return Sensitivity(np.zeros(2 * len(session.rig.channels)), own_variance=variance)


def load_sensitivity(
    session: SessionLoads, index: tuple[int, ...], cells_N: Array, t_s: Array, own_variance: float = 0.0
) -> Sensitivity:
    """Return the sensitivity of the mean load of some cells over some rows.

    Parameters
    ----------
    index : tuple of int
        The cells whose loads are added.
    cells_N : (channels,) float
        Mean load of every cell.
    t_s : (n,) float
        Instants that the mean was taken over.
    own_variance : float, N^2
        Scatter of the mean itself. What a single reading lies off its curve comes on top.
    """
    chosen, n = list(index), len(session.rig.channels)
    cells = np.zeros(2 * n)
    load = cells_N[chosen]
    cells[chosen] = load + 2 * session.bend_per_N[chosen] * load**2
    cells[[n + i for i in chosen]] = load**2
    course = mean_course(t_s)
    bar = course if any(i in session.rig.bar_index for i in index) else Course()
    feet = course if any(i in session.rig.platform_index for i in index) else Course()
    return Sensitivity(cells, bar, feet, own_variance + float(np.sum(session.u_curve_N[chosen] ** 2)))
