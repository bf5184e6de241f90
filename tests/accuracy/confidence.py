"""Bounds of confidence for shares and rates of rare events."""

from __future__ import annotations

from scipy.stats import beta, chi2

LEVEL = 0.95


def share_bounds(events: int, trials: int, level: float = LEVEL) -> tuple[float, float]:
    """Return the exact two-sided bounds of a share (C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413)."""
    tail = (1.0 - level) / 2.0
    low = 0.0 if events == 0 else float(beta.ppf(tail, events, trials - events + 1))
    high = 1.0 if events == trials else float(beta.ppf(1.0 - tail, events + 1, trials - events))
    return low, high


def rate_bounds(events: int, exposure: float, level: float = LEVEL) -> tuple[float, float]:
    """Return the exact two-sided bounds of a Poisson rate (F. Garwood, Biometrika 28 (1936) 437-442; from memory)."""
    tail = (1.0 - level) / 2.0
    low = 0.0 if events == 0 else float(chi2.ppf(tail, 2 * events)) / 2.0
    return low / exposure, float(chi2.ppf(1.0 - tail, 2 * events + 2)) / 2.0 / exposure
