"""Bodyweight from the session itself: what bar and platform carry together while the body is quiet."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from monitor.signals.sensitivity import Sensitivity, independent, load_sensitivity
from monitor.signals.session_loads import Array, SessionLoads
from monitor.signals.windows import ON_ONE_PART, PRESENT_N, Windows, windows_of
from monitor.signals.zeros import Zeros
from monitor.statistics import median

FEWEST_STANDING = 3
FEWEST_HANGING = 6
"""Quiet windows that must agree before they weigh somebody (common practice, no source)."""

LEAST_AGREEING = 0.33
"""Share of a hang that must be one body with the stance; the rest may lean on a third support (common practice, no
source)."""

HANN = np.hanning(11)[1:-1] / np.hanning(11).sum()
"""Weights of the windows over which a hang is averaged: four and a half seconds, several beats of any swing."""

SAME_BODY = 0.006
"""Hang and stance are one body within this; a larger difference is a third support or a bad cell (common practice, no
source)."""

SAME_LEVEL, SAME_LEVEL_N = 0.004, 2.0
"""Windows agree on a level within this share of it, or this much if that is more (common practice, no source)."""

Source = Literal["given", "standing", "hang"]


@dataclass(frozen=True)
class Bodyweight:
    """Bodyweight and its standard uncertainty in N, its source, and the sensitivities of its error."""

    bodyweight_N: float
    u_N: float
    source: Source
    sensitivity: Sensitivity


def given_bodyweight(session: SessionLoads, bodyweight_N: float, u_N: float) -> Bodyweight:
    """Return a bodyweight that somebody stated, independent of the rig."""
    return Bodyweight(bodyweight_N, u_N, "given", independent(session, u_N**2))


def read_bodyweight(session: SessionLoads, zeros: Zeros) -> Bodyweight | None:
    """Weigh the person of a session whose zeros are corrected; None if nothing was quiet long enough.

    Standing quietly counts most: only the platform carries the body then. Hanging adds the bar's cells to the average,
    where it agrees; the two are weighted by their covariance (generalised least squares), since cells that were
    calibrated with the same masses err together. A rig without a platform cannot know what the feet carry, so it weighs
    nobody. A platform alone takes the heaviest level on which ``FEWEST_STANDING`` windows agree: hands on a bar that
    nobody weighs only ever make the feet lighter.
    """
    if not session.rig.has_platform:
        return None
    windows = windows_of(session)
    heavy = windows.quiet & (windows.sum_N > PRESENT_N)
    if not session.rig.has_bar:
        top = _level(session, windows, heavy & _heaviest(windows.sum_N, heavy), FEWEST_STANDING)
        return None if top is None else _weighed(session, zeros, [top], "standing")
    stance = heavy & (windows.feet_N > ON_ONE_PART * windows.sum_N)
    standing = _level(session, windows, stance, FEWEST_STANDING)
    on_the_bar = windows.whole & (windows.sum_N > PRESENT_N) & (windows.bar_N > ON_ONE_PART * windows.sum_N)
    averaged, hang = _over_beats(windows, on_the_bar)
    shared = 1.0 / float(np.sum(HANN**2))
    if hang.sum() < FEWEST_HANGING:
        averaged, hang, shared = windows, heavy & on_the_bar, 1.0
    if standing is None:
        if heavy.sum() < FEWEST_HANGING:
            return None
        mixed = hang if hang.sum() >= FEWEST_HANGING else heavy
        alone = _level(session, averaged, mixed, FEWEST_HANGING, shared)
        return None if alone is None else _weighed(session, zeros, [alone], "hang")
    near = hang & (np.abs(averaged.sum_N / standing.level_N - 1) < SAME_BODY)
    hanging = _level(session, averaged, near, FEWEST_HANGING, shared)
    if hanging is None or near.sum() < LEAST_AGREEING * hang.sum():
        return _weighed(session, zeros, [standing], "standing")
    return _weighed(session, zeros, [standing, hanging], "standing")


def read_hold_bodyweight(
    session: SessionLoads, zeros: Zeros, windows: Windows, body: Bodyweight, since_s: float, span_s: tuple[float, float]
) -> Bodyweight | None:
    """Weigh whoever made one hold, where that is not the body of the session; else None.

    Another person, or the same with a vest, stands on the platform before the hold with the weight that hangs in it.
    Only where stance and hang agree with each other, and not with the session's bodyweight, is that another body; a
    coach on the platform or a door frame changes the hang alone.

    Parameters
    ----------
    windows : Windows
        Of the session.
    since_s : float
        End of the hold before, or the session's start: the stance lies between it and the onset.
    span_s : (float, float)
        Onset and release.
    """
    if not (session.rig.has_platform and session.rig.has_bar) or body.source == "given":
        return None
    heavy = windows.whole & (windows.sum_N > PRESENT_N)
    hung = heavy & (windows.t_s > span_s[0] + 1.0) & (windows.t_s < span_s[1] - 1.0)
    stance = windows.quiet & heavy & (windows.feet_N > ON_ONE_PART * windows.sum_N)
    stance &= (windows.t_s > since_s) & (windows.t_s < span_s[0])
    if hung.sum() < FEWEST_HANGING or stance.sum() < FEWEST_STANDING:
        return None
    hung_N = median(windows.sum_N[hung])
    if abs(hung_N / body.bodyweight_N - 1) < SAME_BODY:
        return None
    near = stance & (np.abs(windows.sum_N / hung_N - 1) < 2 * SAME_BODY)
    own = _level(session, windows, near, FEWEST_STANDING)
    if own is None or abs(own.level_N / body.bodyweight_N - 1) < SAME_BODY:
        return None
    return _weighed(session, zeros, [own], "standing")


def _over_beats(windows: Windows, among: NDArray[np.bool_]) -> tuple[Windows, NDArray[np.bool_]]:
    """Return the windows with S averaged over ``HANN`` about each, and where all of those are ``among``.

    In a swing S beats, and is quiet only where the beat turns: quiet half seconds of a swing are too light or too
    heavy. But nothing accelerates a body on the average that stays on the bar (Newton II), so a mean over some beats
    weighs it, whatever it does; smooth weights leave less than a hundredth of a beat of 0.6 Hz and more.
    """
    if len(among) < len(HANN):
        return windows, np.zeros_like(among)
    whole = np.convolve(among, np.ones(len(HANN)), "same") > len(HANN) - 0.5
    return replace(windows, sum_N=np.convolve(windows.sum_N, HANN, "same")), whole


@dataclass(frozen=True)
class _Level:
    """A level of S in N on which windows agree, and its sensitivities."""

    level_N: float
    sensitivity: Sensitivity


def _weighed(session: SessionLoads, zeros: Zeros, levels: list[_Level], source: Source) -> Bodyweight:
    """Return the weighted mean of one or two levels; weights stay between 0 and 1."""
    share = 1.0
    if len(levels) > 1:
        first, second = (level.sensitivity.variance(session, zeros) for level in levels)
        apart = levels[0].sensitivity.plus(levels[1].sensitivity.times(-1.0)).variance(session, zeros)
        # Of two numbers the mean with the smallest variance gives the first (v2 - c) / (v1 + v2 - 2 c).
        common = 0.5 * (first + second - apart)
        share = float(np.clip((second - common) / apart, 0.0, 1.0)) if apart > 0 else 0.5
    parts = [level.sensitivity.times(part) for level, part in zip(levels, (share, 1.0 - share), strict=False)]
    weight_N = sum(level.level_N * part for level, part in zip(levels, (share, 1.0 - share), strict=False))
    sensitivity = parts[0] if len(parts) == 1 else parts[0].plus(parts[1])
    return Bodyweight(weight_N, sensitivity.u(session, zeros), source, sensitivity)


def _level(
    session: SessionLoads, windows: Windows, mask: NDArray[np.bool_], fewest: int, shared: float = 1.0
) -> _Level | None:
    """Return the level on which ``fewest`` windows or more agree, each ``shared`` by so many others; else None."""
    if mask.sum() < fewest:
        return None
    agreeing = agreeing_level(windows.sum_N[mask], fewest)
    if agreeing is None:
        return None
    level_N, variance_N2, near = agreeing
    rows = np.flatnonzero(mask)[near]
    scatter_N2 = variance_N2 / max(1.0, len(rows) / shared)
    cells_N, everything = windows.cells_N[rows].mean(axis=0), session.rig.bar_index + session.rig.platform_index
    return _Level(level_N, load_sensitivity(session, everything, cells_N, windows.t_s[rows], scatter_N2))


def agreeing_level(sum_N: Array, fewest: int) -> tuple[float, float, NDArray[np.bool_]] | None:
    """Return the level on which ``fewest`` or more of some quiet loads (n,) agree, or None.

    Returns
    -------
    (float, float, (n,) bool) or None
        Their mean (N), their variance (N^2), and which ones they are.
    """
    if len(sum_N) < fewest:
        return None
    near = _is_near(sum_N, _densest_half(sum_N))
    if near.sum() < fewest:
        return None
    return float(sum_N[near].mean()), float(np.var(sum_N[near])), near


def _is_near(sum_N: Array, level_N: float) -> NDArray[np.bool_]:
    return np.asarray(np.abs(sum_N - level_N) < max(SAME_LEVEL_N, SAME_LEVEL * level_N))


def _heaviest(values: Array, mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return where values lie near the largest on which ``FEWEST_STANDING`` of the masked ones agree."""
    for centre in np.sort(values[mask])[::-1].tolist():
        near = _is_near(values, centre)
        if (near & mask).sum() >= FEWEST_STANDING:
            # Around its median, so that not only the heavier half of a level counts.
            return _is_near(values, median(values[near & mask]))
    return np.zeros_like(mask)


def _densest_half(values: Array) -> float:
    """Return the middle of the shortest interval that holds half of the values (the half-sample mode's first step).

    Bickel and Fruehwirth, On a fast, robust estimator of the mode, Computational Statistics and Data Analysis 50
    (2006) 3500-3530 (citation from memory).
    """
    ordered = np.sort(values)
    half = (len(ordered) + 1) // 2
    widths = ordered[half - 1 :] - ordered[: len(ordered) - half + 1]
    start = int(np.argmin(widths))
    return median(ordered[start : start + half])
