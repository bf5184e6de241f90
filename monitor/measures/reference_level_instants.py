"""Reference level instants of a hold (IEEE Std 181) and their uncertainty: noise, stamps, channel skew, bend."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from monitor.holds.edges import HoldEdges
from monitor.signals.session_loads import Array, SessionLoads

LEAST_SLOPE_N = 0.1
"""Least change from row to row that a crossing is read from (N). Common practice, no source."""

REACH_S, FEWEST_BESIDE = 0.05, 4
"""A cubic is drawn through the readings so far before and after an edge, four to each side at least (common
practice, no source)."""

AS_NOISE = 1.5
"""It explains them where it leaves no more than this, in standard deviations of their noise (common practice, no
source)."""

NEAR_ROWS = 1.0
"""The cubic's crossing lies no further than a row from where it was read before (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Edge:
    """An instant (s) at which the load crosses half of the settled level, and its standard uncertainty (s)."""

    at_s: float
    u_s: float


def sharpened(session: SessionLoads, edges: HoldEdges) -> tuple[HoldEdges, tuple[float, float]]:
    """Return the hold with edges fitted to many readings where one smooth curve explains them, and the edges' u."""
    level_N = edges.settled_N / 2
    onset = edge_of(session, edges.onset_s, None if edges.begins_inside else level_N)
    release = edge_of(session, edges.release_s, None if edges.ends_inside else level_N)
    return replace(edges, onset_s=onset.at_s, release_s=release.at_s), (onset.u_s, release.u_s)


def edge_of(session: SessionLoads, at_s: float, level_N: float | None) -> Edge:
    """Return an edge from the cubic that fits the readings about it by least squares.

    If a bar is loaded or unloaded over some tenths of a second, the load is smooth over eight readings and their noise
    averages out, unlike on a straight line through two of them. Readings are means over their intervals, so the load is
    the cubic less 1/24 of its second derivative (Taylor's theorem). Where a cubic does not explain the readings as well
    as noise allows (hands that close or open at once), and where ``level_N`` is None, the edge stays where it is.
    """
    fitted = None if level_N is None else _on_a_cubic(session, at_s, level_N)
    return fitted or Edge(at_s, u_crossing_s(session, at_s))


def _on_a_cubic(session: SessionLoads, at_s: float, level_N: float) -> Edge | None:
    row, beside = int(np.searchsorted(session.t_s, at_s)), max(FEWEST_BESIDE, round(REACH_S * session.rate_Hz))
    if row < beside or row + beside > len(session):
        return None
    near_N = session.bar_N[row - beside : row + beside]
    noise_N = session.noise_N(session.rig.bar_index or session.rig.platform_index)
    powers = np.vander((np.arange(2 * beside) - beside + 0.5) / beside, 4, increasing=True)
    onto = np.linalg.pinv(powers)
    fit = onto @ near_N
    left_N = near_N - powers @ fit
    if left_N @ left_N > (AS_NOISE * noise_N) ** 2 * (2 * beside - 4):
        return None
    # In rows from the middle between the two readings about the edge.
    cubic = np.polynomial.Polynomial(fit / float(beside) ** np.arange(4))
    load = cubic - cubic.deriv(2) / 24 - level_N
    roots = np.roots(load.coef[::-1])
    begins = (at_s - float(session.t_s[row - 1])) * session.rate_Hz - 0.5
    real: Array = roots[np.abs(roots.imag) < 1e-9].real
    real = real[np.abs(real - begins) <= NEAR_ROWS]
    if not len(real):
        return None
    at = float(real[np.argmin(np.abs(real - begins))])
    slope_N = max(abs(float(load.deriv()(at))), LEAST_SLOPE_N)
    felt = (at / beside) ** np.arange(4) - np.array([0, 0, 2, 6 * at / beside]) / (24 * beside**2)
    u_rows = (
        math.hypot(noise_N * float(np.linalg.norm(felt @ onto)), _left_of_bend_N(near_N, at / beside, noise_N))
        / slope_N
    )
    return Edge(
        float(session.t_s[row - 1]) + (at + 0.5) / session.rate_Hz, _with_stamps(session, u_rows / session.rate_Hz)
    )


def _left_of_bend_N(near_N: Array, at: float, noise_N: float) -> float:
    """Return what a cubic leaves of the load's bend at a place (-1 to 1 across the readings), N.

    The next degree's share there, by the orthonormal polynomial of degree four, less what noise makes of it.
    """
    places = (np.arange(len(near_N)) + 0.5) / (0.5 * len(near_N)) - 1.0
    powers = np.vander(np.append(places, at), 5, increasing=True)
    q, r = np.linalg.qr(powers[:-1])
    here = float(np.linalg.solve(r.T, powers[-1])[4])
    share_N = here * float(q[:, 4] @ near_N)
    return math.sqrt(max(0.0, share_N**2 - (here * noise_N) ** 2))


def _with_stamps(session: SessionLoads, u_s: float) -> float:
    """Return an edge's uncertainty with that of the stamps and of the channels' skew."""
    return math.sqrt(u_s**2 + session.known.u_stamp_s**2 + (session.known.skew_s / math.sqrt(12.0)) ** 2)


def u_crossing_s(session: SessionLoads, at_s: float) -> float:
    """Return the standard uncertainty of the instant at which the bar's load crosses half of its level.

    Contributions (JCGM 100:2008, 5.1.2): the noise of the two readings that the straight line between them is drawn
    through, over its slope; the stamps; the skew of the channels, anywhere within its range, since nobody knows which
    cell bears how much of the edge (JCGM 100, 4.3.7); and what the cubic that the crossing was read from
    (``bend_shift_s``) leaves of the edge's bend: 3/128 of the fourth difference, the remainder of Lagrange's
    interpolation half-way between two of four readings.
    """
    row = int(np.clip(np.searchsorted(session.t_s, at_s), 3, len(session) - 3))
    near = session.bar_N[row - 3 : row + 3]
    step_s = 1.0 / session.rate_Hz
    slope_N = max(abs(float(near[3] - near[2])), LEAST_SLOPE_N)
    share = float(np.clip((at_s - session.t_s[row - 1]) / step_s, 0.0, 1.0))
    noise_N = session.noise_N(session.rig.bar_index or session.rig.platform_index) * math.hypot(share, 1.0 - share)
    bent_N = 3.0 / 128.0 * float(np.abs(np.diff(near, 4)).mean())
    return _with_stamps(session, math.hypot(noise_N, bent_N) / slope_N * step_s)
