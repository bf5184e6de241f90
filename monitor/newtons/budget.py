"""Uncertainty budgets: contributions to one number, combined as the Guide says (JCGM 100:2008)."""

from __future__ import annotations

import math
from dataclasses import dataclass


def u_rectangular(half_width: float) -> float:
    """Return the standard uncertainty of a quantity that lies anywhere within +- ``half_width`` (JCGM 100, 4.3.7)."""
    return half_width / math.sqrt(3.0)


def u_arcsine(half_width: float) -> float:
    """Return the standard uncertainty of a quantity that swings like a sine between +- ``half_width``.

    The variance of a sine of random phase, half_width^2 / 2 (JCGM 100, H.1.3.4).
    """
    return half_width / math.sqrt(2.0)


@dataclass(frozen=True, slots=True)
class Contribution:
    """One line of a budget.

    Attributes
    ----------
    name : str
    u : float
        Standard uncertainty of the input, in the input's unit.
    sensitivity : float
        How much the result changes per unit of the input.
    degrees_of_freedom : float
        Infinite where ``u`` is taken as exactly known (type B).
    """

    name: str
    u: float
    sensitivity: float = 1.0
    degrees_of_freedom: float = math.inf

    @property
    def part(self) -> float:
        """Return the contribution to the result's standard uncertainty, in the result's unit."""
        return abs(self.sensitivity) * self.u


@dataclass(frozen=True, slots=True)
class Budget:
    """Independent contributions to one result."""

    contributions: tuple[Contribution, ...]

    @property
    def u(self) -> float:
        """Return the combined standard uncertainty (JCGM 100, equation 10)."""
        return math.sqrt(math.fsum(c.part**2 for c in self.contributions))

    @property
    def degrees_of_freedom(self) -> float:
        """Return the effective degrees of freedom (Welch-Satterthwaite, JCGM 100, equation G.2b); may be infinite."""
        shares = math.fsum(
            c.part**4 / c.degrees_of_freedom for c in self.contributions if math.isfinite(c.degrees_of_freedom)
        )
        return self.u**4 / shares if shares > 0 else math.inf

    def coverage_factor(self, probability: float = 0.95) -> float:
        """Return Student's factor for a coverage probability; degrees of freedom are cut to a whole number (G.4.1)."""
        from scipy.special import ndtri, stdtrit

        dof = self.degrees_of_freedom
        quantile = 0.5 * (1 + probability)
        return float(stdtrit(max(1, math.floor(dof)), quantile) if math.isfinite(dof) else ndtri(quantile))
