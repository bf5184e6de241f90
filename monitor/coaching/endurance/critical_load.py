"""The hyperbolic model ``T = reserve / (beta - critical)`` fitted beside the power law, and where the two disagree.

H. Monod and J. Scherrer, Ergonomics 8 (1965) 329-338: above a critical load the time to exhaustion is a fixed reserve
divided by the excess; at the critical load it is infinite. The power law has no such load. Between the loads that
were tried both may fit equally well; beyond them they diverge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.coaching.endurance.curve import Posterior
from monitor.coaching.endurance.effort import Effort, log_equivalent
from monitor.coaching.endurance.forecast import TRUSTED_BETA, time_at
from monitor.signals.scipy_loops import brentq

LEAST_HOLDS = 4
LEAST_SPAN = 0.15
"""Holds whose loads differ by less (share of bodyweight) do not determine both numbers (common practice, no source)."""

PLACES = 101
"""Candidate critical loads between which the best one is searched; common practice, no source."""

DISAGREE = 1.25
"""Times that differ by more than this factor disagree; common practice, no source."""

SHOWN_BETAS = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3)


@dataclass(frozen=True, slots=True)
class CriticalLoad:
    """The hyperbola through a person's holds.

    Attributes
    ----------
    critical, u_critical : float
        Load (share of bodyweight) below which the model sees no end, and its standard uncertainty.
    reserve, u_reserve : float
        Bodyweight-seconds above it, and its standard uncertainty.
    spread : float
        Standard deviation of ln T around the curve.
    holds : int
    """

    critical: float
    u_critical: float
    reserve: float
    u_reserve: float
    spread: float
    holds: int

    def time_s(self, beta: float) -> float:
        """Return the time (s) to exhaustion at a load; infinite at the critical load and below."""
        return self.reserve / (beta - self.critical) if beta > self.critical else float("inf")


def fit_hyperbola(loads: ArrayLike, times_s: ArrayLike) -> CriticalLoad | None:
    """Return the hyperbola through loads (n,) and times to exhaustion (n,), by least squares in ln T.

    None for fewer than three points, and where no critical load at or above 0 fits: then the times do not bend.
    """
    load: NDArray[np.float64] = np.asarray(loads, dtype=float)
    log_T = np.log(np.asarray(times_s, dtype=float))
    n = len(load)
    if n < 3:
        return None

    def residuals(critical: float) -> NDArray[np.float64]:
        # For a given critical load the best reserve is the mean in logs.
        each = log_T + np.log(load - critical)
        return np.asarray(each - each.mean())

    def squares(critical: float) -> float:
        return float(np.sum(residuals(critical) ** 2))

    def slope(critical: float) -> float:
        return float(-2 * np.sum(residuals(critical) / (load - critical)))

    # The sum of squares is least where its slope turns upwards.
    places = np.linspace(0.0, float(load.min()) * (1 - 1e-4), PLACES)
    up = np.array([slope(place) >= 0 for place in places])
    turns = np.flatnonzero(~up[:-1] & up[1:])
    if not len(turns):
        return None
    critical = min((brentq(slope, places[k], places[k + 1], 1e-12) for k in turns.tolist()), key=squares)
    log_reserve = float(np.mean(log_T + np.log(load - critical)))
    spread = float(np.sqrt(squares(critical) / (n - 2)))
    # Gauss-Newton: derivatives of ln T = ln reserve - ln(load - critical).
    slopes = np.column_stack([1 / (load - critical), np.ones(n)])
    covariance = spread**2 * np.linalg.inv(slopes.T @ slopes)
    reserve = float(np.exp(log_reserve))
    return CriticalLoad(
        critical=critical,
        u_critical=float(np.sqrt(covariance[0, 0])),
        reserve=reserve,
        u_reserve=reserve * float(np.sqrt(covariance[1, 1])),
        spread=spread,
        holds=n,
    )


def fit_critical_load(efforts: Sequence[Effort], exponent: float = -1.61) -> CriticalLoad | None:
    """Return the hyperbola through the holds that ended by exhaustion, at their equivalent loads.

    Those that ended short of their target for an unknown reason count too: this model only stands beside the other
    and decides nothing. None where there are fewer than ``LEAST_HOLDS`` of them, or their loads span less than
    ``LEAST_SPAN``.
    """
    done = [e for e in efforts if e.ending in ("exhausted", "unsure")]
    loads = [float(np.exp(log_equivalent(e.betas, [exponent])[0] / exponent)) for e in done]
    if len(done) < LEAST_HOLDS or max(loads) - min(loads) < LEAST_SPAN:
        return None
    return fit_hyperbola(loads, [e.duration_s for e in done])


@dataclass(frozen=True, slots=True)
class Comparison:
    """Both models side by side.

    Attributes
    ----------
    rows : list of tuple
        Load, time (s) by the power law, time (s) by the hyperbola (None: without end).
    statement : str
        Where they disagree, in words.
    """

    rows: list[tuple[float, float, float | None]]
    statement: str


def compare(posterior: Posterior, hyperbola: CriticalLoad | None) -> Comparison:
    """Return both models' times at a range of loads, and a plain statement of where they disagree."""
    power = [(beta, time_at(posterior, beta)) for beta in SHOWN_BETAS]
    if hyperbola is None:
        return Comparison(
            [(beta, time.value, None) for beta, time in power],
            "The hyperbolic model cannot be fitted: it needs at least "
            f"{LEAST_HOLDS} holds to exhaustion at loads that differ by {LEAST_SPAN:.0%} of bodyweight.",
        )
    rows: list[tuple[float, float, float | None]] = []
    apart = []
    for beta, time in power:
        time_s = hyperbola.time_s(beta)
        rows.append((beta, time.value, time_s if np.isfinite(time_s) else None))
        if not time.value / DISAGREE < time_s < time.value * DISAGREE:
            apart.append(beta)
    return Comparison(rows, _statement(posterior, hyperbola, apart))


def _statement(posterior: Posterior, hyperbola: CriticalLoad, apart: list[float]) -> str:
    tried = posterior.lightest_beta
    parts = []
    if not apart:
        parts.append(f"From {min(SHOWN_BETAS):.0%} of bodyweight up both models agree within a quarter.")
    else:
        where = ", ".join(f"{beta:.0%}" for beta in apart)
        parts.append(f"The models differ by more than a quarter at {where} of bodyweight.")
        below = [beta for beta in apart if beta < tried - 0.05]
        if below:
            parts.append(f"No hold lighter than {tried:.0%} was made: there neither model is tested.")
        if len(below) < len(apart):
            parts.append("Within the loads that were tried the difference is real: take the shorter time.")
    parts.append(
        f"Below {hyperbola.critical:.0%} the hyperbola knows no end and the power law does; "
        f"nothing is prescribed below {TRUSTED_BETA:.0%}."
    )
    return " ".join(parts)
