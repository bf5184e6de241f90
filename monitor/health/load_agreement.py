"""Whether the loads agree: between corners, and between bar and platform, for the same person."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.health.verdict import Verdict, graded
from monitor.newtons.calibration import Calibration

Array = NDArray[np.float64]

AGREE = 0.005
"""Half a percent between corners, or between bar and platform (common practice, no source)."""


@dataclass(frozen=True)
class Standing:
    """The mean loads (channels,) of a person who kept still, in newtons, this check's zeros subtracted."""

    cells_N: Array

    @property
    def sum_N(self) -> float:
        """Return the total load."""
        return float(self.cells_N.sum())


def u_of_ratio(calibration: Calibration, one: Standing, other: Standing) -> float:
    """Return the standard uncertainty of the ratio of two sums (near 1) from the spans and their covariance.

    d(S1 / S2) = sum((c1_i / S1 - c2_i / S2) s_i) to first order (JCGM 100:2008, 5.2.2): what the two have in common
    cancels.
    """
    n = len(calibration.channels)
    lever = one.cells_N / one.sum_N - other.cells_N / other.sum_N
    return math.sqrt(max(0.0, float(lever @ calibration.covariance_of(range(n))[:n, :n] @ lever)))


def corner_verdict(part: str, places: Mapping[str, Standing | None], calibration: Calibration | None) -> Verdict:
    """Say whether a person weighs the same at every place of a part (eccentric load)."""
    key, title = f"corners:{part}", f"The places of the {part} agree"
    if calibration is None:
        return Verdict(key, title, "not_told", "There is no calibration yet.", "Calibrate the rig, then check again.")
    measured = {place: standing for place, standing in places.items() if standing is not None}
    missed = [place for place in places if place not in measured]
    if len(measured) < 2:
        return Verdict(key, title, "not_told", f"Nobody kept still at: {', '.join(missed)}.", "Check again.")
    sums = {place: standing.sum_N for place, standing in measured.items()}
    mean_N = float(np.mean(list(sums.values())))
    far = max(sums, key=lambda place: abs(sums[place] - mean_N))
    off = sums[far] / mean_N - 1
    pairs = [(a, b) for a in measured.values() for b in measured.values()]
    u = max(u_of_ratio(calibration, a, b) for a, b in pairs)
    outcome = graded(abs(off), max(AGREE, 2 * u), 2 * max(AGREE, 2 * u))
    words = (
        f"The same person weighs {min(sums.values()):.1f} to {max(sums.values()):.1f} N; {far} is off by {off:+.2%}."
    )
    if missed:
        words += f" Not tried: {', '.join(missed)}."
        outcome = "doubtful" if outcome == "good" else outcome
    do = ""
    if outcome != "good":
        do = f"See that nothing touches the {part} near {far}, that no stop is too near, then calibrate its cells."
    return Verdict(key, title, outcome, words, do, {"largest": off, "u": u, **{f"{p}_N": n for p, n in sums.items()}})


def closure_verdict(
    standing: Standing | None, hanging: Sequence[tuple[str, Standing | None]], calibration: Calibration | None
) -> Verdict:
    """Say whether bar and platform give the same person the same weight (misclosure)."""
    key, title = "closure", "Bar and platform close the account"
    if calibration is None:
        return Verdict(key, title, "not_told", "There is no calibration yet.", "Calibrate the rig, then check again.")
    hangs = [(label, hang) for label, hang in hanging if hang is not None]
    if standing is None or not hangs:
        words = "Nobody stood still on the platform." if standing is None else "Nobody hung still from the bar."
        return Verdict(key, title, "not_told", words, "Check again, with a person who stands and hangs.")
    open_by = {label: hang.sum_N / standing.sum_N - 1 for label, hang in hangs}
    u = max(u_of_ratio(calibration, hang, standing) for _, hang in hangs)
    label = max(open_by, key=lambda one: abs(open_by[one]))
    off = open_by[label]
    limit = max(AGREE, 2 * u)
    outcome = graded(abs(off), limit, 2 * limit)
    words = f"{label}, the rig carries {off:+.2%} of what it carries while standing (u = {u:.2%})."
    do = ""
    if outcome != "good":
        do = (
            "Something else carries: a sling that is too tight, a foot, the frame."
            if off < 0
            else "Something pulls down."
        )
        do += " If nothing does, calibrate bar and platform with the same masses."
    numbers = {
        "standing_N": standing.sum_N,
        "u": u,
        **{f"misclosure, {name}": value for name, value in open_by.items()},
    }
    return Verdict(key, title, outcome, words, do, numbers)
