"""Touches: short contacts of a foot in a hang that the feet do not assist."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.holds.edges import Run, runs_above
from monitor.signals.stay import Array

LEAST_FRACTION = 0.012
"""Peak of a touch as a share of bodyweight; less is the platform's own noise and the air of a swinging leg."""

SIGMAS = 6.0
APART_S = 0.08


@dataclass(frozen=True, slots=True)
class FootContact:
    """A contact between its half-level crossings; ``peak_N`` and ``impulse_N_s`` are the feet's, zero taken off."""

    start_s: float
    end_s: float
    peak_N: float
    impulse_N_s: float


def foot_contacts(t_s: Array, feet_N: Array, bodyweight_N: float, noise_N: float) -> list[FootContact]:
    """Return the contacts in a platform load (n,) whose zero is corrected.

    Parameters
    ----------
    noise_N : float, N
        Standard deviation of the platform's sum while nobody touches it.
    """
    threshold_N = max(LEAST_FRACTION * bodyweight_N, SIGMAS * noise_N)
    runs: list[Run] = []
    for run in runs_above(t_s, feet_N, threshold_N):
        if runs and run.start_s - runs[-1].end_s < APART_S:
            runs[-1] = Run(runs[-1].start_s, run.end_s, runs[-1].first, run.last)
        else:
            runs.append(run)
    contacts = []
    for run in runs:
        inside = feet_N[run.first : run.last]
        level_N = float(np.median(inside)) / 2
        low, high = max(0, run.first - 40), min(len(t_s), run.last + 40)
        near = [
            r
            for r in runs_above(t_s[low:high], feet_N[low:high], level_N)
            if r.first + low < run.last and r.last + low > run.first
        ]
        if not near:
            continue
        impulse = float(np.trapezoid(feet_N[low:high], t_s[low:high]))
        contacts.append(FootContact(near[0].start_s, near[-1].end_s, float(inside.max()), impulse))
    return contacts
