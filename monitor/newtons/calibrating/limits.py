"""Pass marks: the error envelope and the creep limits of OIML R 60 for load cells."""

from __future__ import annotations

import math

P_LC = 0.7
"""Share of a whole instrument's error that a load cell may use up (R 60-1:2021, 5.1.2, the usual value)."""

ENVELOPE_v: dict[str, tuple[float, float, float]] = {
    "A": (50_000, 200_000, math.inf),
    "B": (5_000, 20_000, 100_000),
    "C": (500, 2_000, 10_000),
    "D": (50, 200, 1_000),
}
"""Loads, in intervals v, up to which 0.5, 1.0 and 1.5 times p_LC v are allowed (R 60-1:2021, table 4)."""


def interval_N(capacity_N: float, intervals: int) -> float:
    """Return the verification interval v: the capacity divided by the number of intervals."""
    return capacity_N / intervals


def allowed_error_N(load_N: float, capacity_N: float, *, grade: str = "C", intervals: int = 1000) -> float:
    """Return the largest allowed error of a cell at a load (OIML R 60-1:2021, 5.3.2; upper limits inclusive).

    Beyond the last limit the last step goes on.
    """
    v = interval_N(capacity_N, intervals)
    first, second, _ = ENVELOPE_v[grade]
    load_v = abs(load_N) / v
    factor = 0.5 if load_v <= first else 1.0 if load_v <= second else 1.5
    return factor * P_LC * v


def allowed_creep_N(load_N: float, capacity_N: float, *, grade: str = "C", intervals: int = 1000) -> float:
    """Return how far a reading may creep in 30 minutes under a steady load: 0.7 of the allowed error (5.5.1)."""
    return 0.7 * allowed_error_N(load_N, capacity_N, grade=grade, intervals=intervals)


def allowed_late_creep_N(load_N: float, capacity_N: float, *, grade: str = "C", intervals: int = 1000) -> float:
    """Return how far it may creep from the 20th to the 30th minute: 0.15 of the allowed error (5.5.1)."""
    return 0.15 * allowed_error_N(load_N, capacity_N, grade=grade, intervals=intervals)


def allowed_return_N(capacity_N: float, *, intervals: int = 1000) -> float:
    """Return how far the zero may lie from where it was, after 30 minutes under load: half an interval (5.5.2)."""
    return 0.5 * interval_N(capacity_N, intervals)
