"""Stored holds as efforts of the endurance model."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monitor.coaching.endurance.effort import LEAST_BETA, Effort, Ending, effort_from_course
from monitor.records.stored_hold import StoredHold

REACHED = 0.97
"""A hold of this share of its target ended because the target was reached (common practice, no source)."""

SHORTEST_s = 3.0
"""Anything shorter is no attempt (common practice, no source)."""

COVERED = 0.8
"""Share of a hold's seconds that its load course must cover to stand for the whole (common practice, no source)."""

UNKNOWN_SD = 0.03
"""Spread of the load within a hold of which only the mean is known (common practice, no source)."""

_DAY_ns = 86_400 * 10**9


def ending_of(hold: StoredHold) -> Ending:
    """Return why a hold ended: what somebody said; else by its target; else ``other``.

    A hold short of its target is ``unsure``: mostly the person could not hold on, but it may have been the coach's
    "enough", a pain or a slip. Without a target nothing is known, and the hold only says "at least so long".
    """
    if hold.ending in ("exhausted", "target", "other"):
        return hold.ending  # type: ignore[return-value]
    if hold.target_s is None:
        return "other"
    return "target" if hold.result.duration_s >= REACHED * hold.target_s else "unsure"


def efforts_of(holds: Sequence[StoredHold], now_utc_ns: int, kind: str | None = None) -> list[Effort]:
    """Return the holds that say something of endurance.

    Parameters
    ----------
    kind : str or None
        ``passive`` or ``active`` leaves out holds of the other kind; mixed and unknown ones stay.
    """
    efforts = []
    for hold in holds:
        result = hold.result
        other = kind is not None and result.kind in ("passive", "active") and result.kind != kind
        if other or result.beta_mean is None or result.duration_s < SHORTEST_s or "interrupted" in result.flags:
            continue
        if not result.is_of_one_body:
            continue
        age_days = max(0.0, (now_utc_ns - hold.onset_utc_ns) / _DAY_ns)
        efforts.append(Effort(result.duration_s, _loads(hold, result.duration_s), ending_of(hold), age_days))
    return efforts


def _loads(hold: StoredHold, duration_s: float) -> tuple[float, ...]:
    """Return the load's course as far as the result knows it, as quantiles.

    The measured mean, with the changes around it that follow from the assistance second by second. Where that course
    is absent or covers less than ``COVERED`` of the hold (a result of an earlier version, a part of a hold): three
    loads with the measured mean and a spread that matches ``alpha_p95``; without that, ``UNKNOWN_SD``.
    """
    mean = max(hold.result.beta_mean or 0.0, LEAST_BETA)
    alphas = [alpha for _, alpha, _ in hold.result.assistance_course if alpha is not None]
    if len(alphas) >= COVERED * duration_s and len(alphas) >= SHORTEST_s:
        course = np.asarray(alphas)
        return effort_from_course(duration_s, mean + course.mean() - course, "other").betas
    p95 = hold.result.alpha_p95
    if p95 is None or hold.result.alpha_mean is None:
        return tuple(max(mean + k * UNKNOWN_SD * 1.2247, LEAST_BETA) for k in (-1.0, 0.0, 1.0))
    # The 95 % quantile of a normal distribution is 1.645 sd out; three points at 0 and +-sqrt(3/2) sd have that sd.
    reach = max(0.0, p95 - hold.result.alpha_mean) / 1.645 * 1.2247
    return tuple(max(mean + k * reach, LEAST_BETA) for k in (-1.0, 0.0, 1.0))
