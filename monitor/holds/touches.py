"""Touches: short contacts of a foot in a hang that the feet do not assist."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.holds.edges import LET_GO, SUDDEN, Run, runs_above
from monitor.signals.session_loads import Array

LEAST_FRACTION = 0.012
"""Peak of a touch as a share of bodyweight; less is the platform's own noise and the air of a swinging leg (common
practice, no source)."""

SIGMAS = 6.0
"""And at least so many standard deviations of the platform's noise (common practice, no source)."""

APART_S = 0.08
"""Contacts closer together than this are one (common practice, no source)."""

MOST_TURNS = 10
"""Level and edges settle within two or three iterations; after so many the last result stands."""

BOUNCE_S = 0.02
"""A foot that springs off again sooner has not begun to stand (common practice, no source)."""

NEAR_ROWS = 40
"""Rows before and after a contact in which its edges and its impulse lie: half a second at 80 per second (common
practice, no source)."""

STRUCK_ROWS = 4
HIGH = 0.9
"""A strike is over after so many readings; one that comes so near to the highest may have been higher (common
practice, no source)."""


@dataclass(frozen=True, slots=True)
class FootContact:
    """A contact between its half-level crossings; ``peak_N`` and ``impulse_N_s`` are the feet's, zero taken off.

    ``peak_resolved`` is False where a foot struck: the platform then rings faster than the readings.
    """

    start_s: float
    end_s: float
    peak_N: float
    impulse_N_s: float
    peak_resolved: bool = True


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
        low, high = max(0, run.first - NEAR_ROWS), min(len(t_s), run.last + NEAR_ROWS)
        near_N = feet_N[low:high]
        inside, settled_N = slice(run.first - low, run.last - low), 0.0
        # Two blows with nothing between them have no level: their edges are those of the threshold.
        parts = [Run(run.start_s, run.end_s, run.first - low, run.last - low)]
        for _ in range(MOST_TURNS):
            # Level and edges define each other, as for a hold; before the foot really stands there is no level.
            before_N, settled_N = settled_N, float(np.median(near_N[inside]))
            if settled_N == before_N:
                break
            above = runs_above(t_s[low:high], near_N, settled_N / 2)
            parts = [r for r in above if r.first + low < run.last and r.last + low > run.first]
            while len(parts) > 1 and _bounces(parts[0], parts[1], near_N, settled_N):
                parts = parts[1:]
            inside = slice(parts[0].first, parts[-1].last)
        impulse = float(np.trapezoid(near_N, t_s[low:high]))
        peak_N = float(feet_N[run.first : run.last].max())
        resolved = not _struck(near_N, parts[0].first, peak_N)
        contacts.append(FootContact(parts[0].start_s, parts[-1].end_s, peak_N, impulse, resolved))
    return contacts


def _struck(near_N: Array, first: int, peak_N: float) -> bool:
    """Say whether a contact's highest load may be its first blow, whose height lies between the readings.

    A foot that is put down comes up over many readings. One that strikes gains more than ``SUDDEN`` of the peak from
    one reading to the next, and platforms ring above half of the sampling rate (common practice, no source).
    """
    begins_N = near_N[max(0, first - 2) : first + STRUCK_ROWS]
    blow_N = float(near_N[first : first + STRUCK_ROWS].max())
    return float(np.diff(begins_N[: STRUCK_ROWS + 1]).max()) > SUDDEN * peak_N and blow_N > HIGH * peak_N


def _bounces(first: Run, second: Run, near_N: Array, settled_N: float) -> bool:
    """Say whether the foot sprang off between two parts of a contact, the first of which was hardly one."""
    between_N = near_N[first.last : second.first]
    return first.length_s < BOUNCE_S and float(between_N.min()) < LET_GO * settled_N
