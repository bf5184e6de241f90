"""The load of a bar without cells, inferred while the person's feet are on the platform below it.

A platform alone weighs only the feet. While the body is quiet the hands carry the rest, B = W - P (Newton's second
law); once the feet are off for long, a free hang looks like an empty platform and nothing is known.
"""

from __future__ import annotations

import numpy as np

from monitor.runs import runs_of
from monitor.signals.session_loads import Array, SessionLoads
from monitor.signals.windows import ON_ONE_PART, PRESENT_N

CONTACT_N = PRESENT_N / 2
"""Less on the platform is no foot (common practice, no source)."""

FEET_OFF_S = 1.0
"""Feet that are off for longer: the person may hang free or may be gone (common practice, no source)."""

STANDS_S = 0.5
"""The feet carry the body for at least this long (common practice, no source)."""

LEAST_INFERRED_S = 1.5
"""A shorter stretch may be a jump: in the air nothing is on the platform, and nobody hangs (common practice, no
source)."""


def inferred_bar_N(session: SessionLoads, bodyweight_N: float) -> Array:
    """Return (n,) W - P where it can be known, else 0: between two stretches of standing, feet on the platform.

    Stepping on and off passes through every share of bodyweight, so rows before the first and after the last standing
    are left out, as are stretches with the feet off for longer than ``FEET_OFF_S``.
    """
    feet_N = session.feet_N
    standing = [(a, b) for a, b in runs_of(feet_N > ON_ONE_PART * bodyweight_N) if b - a >= session.rows(STANDS_S)]
    bar_N = np.zeros(len(session))
    if not standing:
        return bar_N
    between = slice(standing[0][0], standing[-1][1])
    bar_N[between] = bodyweight_N - feet_N[between]
    for first, last in runs_of(feet_N < CONTACT_N):
        if last - first > session.rows(FEET_OFF_S):
            bar_N[first:last] = 0.0
    return bar_N
