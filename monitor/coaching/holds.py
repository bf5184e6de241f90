"""Kept holds as the endurance model needs them."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.coaching.bout import LEAST_BETA, Bout, Ending
from monitor.store import StoredHold

REACHED = 0.97
"""A hold of this share of its target ended because the target was reached (common practice, no source)."""

SHORTEST_s = 3.0
"""Anything shorter is no attempt (common practice, no source)."""

_DAY_ns = 86_400 * 10**9


def ending_of(hold: StoredHold) -> Ending:
    """Return why a hold ended: what was told; else by its target; else ``other``.

    A hold short of its target is taken to have ended because the person could not hold on. Without a target nothing
    is known, and the hold only says "at least so long".
    """
    if hold.ending in ("exhausted", "target", "other"):
        return hold.ending  # type: ignore[return-value]
    if hold.target_s is None:
        return "other"
    return "target" if hold.result.duration_s >= REACHED * hold.target_s else "exhausted"


def bouts_of(holds: Sequence[StoredHold], now_utc_ns: int, kind: str | None = None) -> list[Bout]:
    """Return the holds that say something of endurance.

    Parameters
    ----------
    kind : str or None
        ``passive`` or ``active`` leaves out holds of the other kind; mixed and unknown ones stay.
    """
    found = []
    for hold in holds:
        result = hold.result
        other = kind is not None and result.kind in ("passive", "active") and result.kind != kind
        if other or result.beta_mean is None or result.duration_s < SHORTEST_s or "interrupted" in result.flags:
            continue
        age_days = max(0.0, (now_utc_ns - hold.onset_utc_ns) / _DAY_ns)
        found.append(Bout(result.duration_s, _loads(hold), ending_of(hold), age_days))
    return found


def _loads(hold: StoredHold) -> tuple[float, ...]:
    """Return the load's course as far as the result knows it: its mean, and the spread that the 95 % tells.

    Assistance that sometimes reaches ``alpha_p95`` around its mean is laid out as a triangle of three loads with the
    right mean; without it the mean stands alone.
    """
    mean = max(hold.result.beta_mean or 0.0, LEAST_BETA)
    p95 = hold.result.alpha_p95
    if p95 is None or hold.result.alpha_mean is None:
        return (mean,)
    # For a normal course the 95 % lies 1.645 standard deviations out; three points at +-1.2247 sd have the same sd.
    reach = max(0.0, p95 - hold.result.alpha_mean) / 1.645 * 1.2247
    return tuple(max(mean + k * reach, LEAST_BETA) for k in (-1.0, 0.0, 1.0))
