"""What really happened: holds found in the noise-free loads, to compare the rig's measurements with."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.demo.script import ScriptedEvent

Array = NDArray[np.float64]

LEAST_SHARE = 0.3
"""A session on the bar with a smaller settled level than this share of bodyweight is leaning."""
LEAST_HOLD_s = 1.0
"""A shorter stay above half level is a tug or a try."""
BRIDGED_GAP_s = 1.0
"""Gaps shorter than this are regrips."""
TUG_s = 0.3
"""A stretch above the level that is shorter neither starts nor bridges a hold."""
_TOUCHED_N = 5.0


@dataclass(frozen=True, slots=True)
class HoldTruth:
    """One hold as it was; times of the load in seconds since the first conversion began.

    ``onset_s`` and ``release_s`` are the crossings of half of the settled level (the median bar load between them),
    ``beta_mean`` and ``alpha_mean`` the means of bar and platform load over bodyweight between these crossings.
    ``regrips`` are stretches below half level within; ``events`` what the script did meanwhile, ``swing_max_deg`` the
    largest fore-aft angle.
    """

    person: str
    bodyweight_N: float
    onset_s: float
    release_s: float
    beta_mean: float
    alpha_mean: float
    peak_N: float
    swing_max_deg: float
    regrips: tuple[tuple[float, float], ...] = ()
    events: tuple[ScriptedEvent, ...] = ()

    @property
    def duration_s(self) -> float:
        """From onset to release, s."""
        return self.release_s - self.onset_s


def stretches_above(t_s: Array, bar_N: Array, level_N: float) -> list[tuple[float, float]]:
    """Return (start, end) of the stretches with ``bar_N`` above a level, the crossings interpolated, s.

    Stretches that touch the ends of the record are cut there.
    """
    above = bar_N > level_N
    change = np.flatnonzero(above[1:] != above[:-1])
    share = (level_N - bar_N[change]) / (bar_N[change + 1] - bar_N[change])
    crossing = (t_s[change] + share * (t_s[change + 1] - t_s[change])).tolist()
    if above[0]:
        crossing.insert(0, float(t_s[0]))
    if above[-1]:
        crossing.append(float(t_s[-1]))
    return list(zip(crossing[::2], crossing[1::2], strict=True))


def find_holds(t_s: Array, bar_N: Array, weight_N: float) -> list[list[tuple[float, float]]]:
    """Return each hold as its stretches above half of the settled level (several where it was regripped).

    Parameters
    ----------
    t_s, bar_N : (n,) float
        Noise-free course of a time on the bar, nothing on it at either end.
    weight_N : float
        Bodyweight.

    Returns
    -------
    list of lists of (start_s, end_s). Edges as in IEEE Std 181, 50 % reference level; the level is found by iterating.
    """
    holds = []
    for stretches in _bridged(stretches_above(t_s, bar_N, 0.5 * LEAST_SHARE * weight_N)):
        for _ in range(8):
            onset_s, release_s = stretches[0][0], stretches[-1][1]
            inside = (t_s >= onset_s) & (t_s <= release_s)
            level_N = float(np.median(bar_N[inside])) if inside.any() else 0.0
            around = (t_s > onset_s - BRIDGED_GAP_s) & (t_s < release_s + BRIDGED_GAP_s)
            groups = _bridged(stretches_above(t_s[around], bar_N[around], level_N / 2))
            if not groups:
                break
            fresh = max(groups, key=lambda group: group[-1][1] - group[0][0])
            if fresh == stretches:
                break
            stretches = fresh
        if level_N >= LEAST_SHARE * weight_N and stretches[-1][1] - stretches[0][0] >= LEAST_HOLD_s:
            holds.append(stretches)
    return holds


def _bridged(stretches: Sequence[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    # A catch may ring below the level for a moment; a tug is what stays short after such dips are joined.
    groups = _joined([[stretch] for stretch in stretches], TUG_s)
    lasting = [group for group in groups if group[-1][1] - group[0][0] >= TUG_s]
    return _joined(lasting, BRIDGED_GAP_s)


def _joined(groups: Sequence[list[tuple[float, float]]], gap_s: float) -> list[list[tuple[float, float]]]:
    """Join groups that follow each other within a gap."""
    joined: list[list[tuple[float, float]]] = []
    for group in groups:
        if joined and group[0][0] - joined[-1][-1][1] < gap_s:
            joined[-1] += group
        else:
            joined.append(list(group))
    return joined


class Witness:
    """Collects the noise-free loads while somebody is at the bar and finds the holds when the bar is free again."""

    def __init__(self, person: str, weight_N: float, events: Sequence[ScriptedEvent]) -> None:
        self._person = person
        self._weight_N = weight_N
        self._deeds = tuple(events)
        self._pieces: list[tuple[Array, Array, Array, Array]] = []
        self._touched_s = -np.inf

    def push(self, t_s: Array, bar_N: Array, platform_N: Array, swing_rad: Array) -> list[HoldTruth]:
        """Take the next noise-free loads, (n,) each; return the holds that are over since the last call."""
        self._pieces.append((t_s, bar_N, platform_N, swing_rad))
        touched = np.flatnonzero(bar_N > _TOUCHED_N)
        if len(touched):
            self._touched_s = float(t_s[touched[-1]])
        if t_s[-1] - self._touched_s < BRIDGED_GAP_s + 0.2:
            return []
        pieces, self._pieces = self._pieces, self._pieces[-1:]
        if self._touched_s < pieces[0][0][0]:
            return []
        self._touched_s = -np.inf
        t_s, bar_N, platform_N, swing_rad = (np.concatenate(column) for column in zip(*pieces, strict=True))
        holds = find_holds(t_s, bar_N, self._weight_N)
        return [self._describe(hold, t_s, bar_N, platform_N, swing_rad) for hold in holds]

    def _describe(
        self, hold: list[tuple[float, float]], t_s: Array, bar_N: Array, platform_N: Array, swing_rad: Array
    ) -> HoldTruth:
        onset_s, release_s = hold[0][0], hold[-1][1]
        inside = (t_s >= onset_s) & (t_s <= release_s)
        return HoldTruth(
            person=self._person,
            bodyweight_N=self._weight_N,
            onset_s=onset_s,
            release_s=release_s,
            beta_mean=float(bar_N[inside].mean()) / self._weight_N,
            alpha_mean=float(platform_N[inside].mean()) / self._weight_N,
            peak_N=float(bar_N[inside].max()),
            swing_max_deg=float(np.degrees(np.abs(swing_rad[inside]).max())),
            regrips=tuple((before[1], after[0]) for before, after in itertools.pairwise(hold)),
            events=tuple(deed for deed in self._deeds if onset_s < deed.start_s < release_s),
        )
