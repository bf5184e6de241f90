"""The shares of bodyweight that hands and feet carry in one hold, and how well they are known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from monitor.measures.assistance import Assistance, assistance, means_between, seconds_of, u_share
from monitor.measures.disturbance import near_spans
from monitor.measures.hold_context import Stretch
from monitor.measures.misclosure import FEWEST_ROWS, quiet_misclosure
from monitor.records.hold_result import ThirdSupport
from monitor.signals.sensitivity import Sensitivity, load_sensitivity
from monitor.signals.session_loads import Array
from monitor.signals.zeros import CREEP_REL

U_CREEP_REL = 0.3 * CREEP_REL / math.sqrt(3.0)
"""Standard uncertainty of a part's load as a share of what it carries or carried before: of half an hour's creep some
0.3 comes within a hold, of either sign (JCGM 100:2008, 4.3.7; the share is common practice, no source)."""

QUIET_GAIN_m_s = 0.03
"""Speed that a quiet body may have gained or lost by the end of its quiet rows (common practice, no source): over a few
seconds its mean load is not its weight (Newton II)."""

ZERO_INSTANTS = 6
"""Instants of a hold at which the zero's variance is computed; between them it is a straight line (common practice,
no source)."""

HALF_READ = 0.5
"""A second of which less was read has no share (common practice, no source)."""


def shares_of(hold: Stretch, flags: list[str]) -> Assistance:
    """Return the shares of the hold; flags say what they are based on."""
    rig = hold.rig
    if not rig.has_platform:
        flags.append("alpha_inferred")
    return assistance(
        hold.t,
        hold.bar,
        hold.feet if rig.has_platform else None,
        onset_s=hold.edges.onset_s,
        release_s=hold.edges.release_s,
        bodyweight_N=hold.W,
        alpha_max=hold.context.alpha_max,
    )


def assistance_course(hold: Stretch) -> list[tuple[float, float | None, float | None]]:
    """Return the assistance over each whole second of the hold: its middle (s), alpha, standard uncertainty.

    A second with less than half of its readings has no number. u combines the zero at that time, the noise of a
    second's mean, and the uncertainties of bodyweight and spans (taken as independent: slightly too wide).
    """
    rig, session = hold.rig, hold.session
    start_s = seconds_of(hold.edges.onset_s, hold.edges.release_s)
    if not len(start_s):
        return []
    index, load_N, zero = rig.bar_index, hold.bar, hold.context.zeros.bar
    if rig.has_platform:
        index, load_N, zero = rig.platform_index, hold.feet, hold.context.zeros.feet
    share = means_between(hold.t, load_N / hold.W, start_s, start_s + 1.0)
    read = means_between(hold.t, session.valid[hold.part].astype(float), start_s, start_s + 1.0)
    middle_s = start_s + 0.5
    # A zero wanders slowly: a few instants and straight lines between them suffice.
    some_s = middle_s[np.linspace(0, len(middle_s) - 1, min(len(middle_s), ZERO_INSTANTS)).round().astype(int)]
    zero_N2 = [sum(zero.variances(np.array([at_s]), np.ones(1))) for at_s in some_s]
    scale_rel = np.hypot(session.part_u_rel_span(index), hold.body.u_N / hold.W)
    noise_N2 = session.noise_N(index) ** 2 / hold.rate_Hz
    u = np.sqrt((np.interp(middle_s, some_s, zero_N2) + noise_N2) / hold.W**2 + (scale_rel * share) ** 2)
    alpha = share if rig.has_platform else 1.0 - share
    rows = zip(middle_s.tolist(), alpha.tolist(), u.tolist(), (read >= HALF_READ).tolist(), strict=True)
    return [(t, a, v) if known else (t, None, None) for t, a, v, known in rows]


def u_shares(hold: Stretch, share: Assistance) -> tuple[float, float]:
    """Return the standard uncertainties of beta and alpha."""
    bar = _between_edges(hold, hold.rig.bar_index, hold.bar)
    u_beta = u_share(share.beta_mean, bar, hold.body, hold.session, hold.context.zeros)
    return u_beta, u_feet_share(hold, share) if share.direct else u_beta


def u_feet_share(hold: Stretch, share: Assistance) -> float:
    """Return the standard uncertainty of an alpha that the platform weighed."""
    feet = _between_edges(hold, hold.rig.platform_index, hold.feet)
    return u_share(share.alpha_mean, feet, hold.body, hold.session, hold.context.zeros)


def misclosure_of(
    hold: Stretch, quiet: NDArray[np.bool_], third: list[ThirdSupport]
) -> tuple[float | None, float | None]:
    """Return the misclosure outside of third supports; over the whole hold if one never ends."""
    free = quiet & ~near_spans(hold.t, [(x.start_s, x.end_s) for x in third], 1.0)
    if free.sum() >= FEWEST_ROWS:
        quiet = free
    if not quiet.any():
        return None, None
    closure = quiet_misclosure(hold.sum, hold.W, quiet)
    if closure is None:
        return None, None
    everything = _mean_load(hold, hold.rig.bar_index + hold.rig.platform_index, quiet)
    gained_N = hold.W / hold.rig.gravity_m_s2 * QUIET_GAIN_m_s * hold.rate_Hz / float(quiet.sum())
    everything = replace(everything, own_variance=everything.own_variance + gained_N**2)
    return closure, u_share(1.0 + closure, everything, hold.body, hold.session, hold.context.zeros)


def _between_edges(hold: Stretch, index: tuple[int, ...], load_N: Array) -> Sensitivity:
    """Return the sensitivity of the mean of a part's load over the hold, edges included."""
    mean_N, edges = float(load_N[hold.inside].mean()), hold.edges
    cut = [
        u_s * (float(np.interp(at_s, hold.t, load_N)) - mean_N) / edges.duration_s
        for u_s, at_s in zip(hold.u_edges_s, (edges.onset_s, edges.release_s), strict=True)
    ]
    load = _mean_load(hold, index, hold.inside)
    zero = hold.context.zeros.bar if index == hold.rig.bar_index else hold.context.zeros.feet
    # Creep in the rows that the zero was read from has gone with it; between them it is interpolated.
    creep_N = U_CREEP_REL * hold.W * (1.0 - min(1.0, zero.overlap(hold.t[hold.inside]))) ** 2
    return replace(load, own_variance=load.own_variance + cut[0] ** 2 + cut[1] ** 2 + creep_N**2)


def _mean_load(hold: Stretch, index: tuple[int, ...], rows: NDArray[np.bool_] | slice) -> Sensitivity:
    """Return the sensitivity of the mean load of some cells over some rows."""
    bar, feet = (tuple(i for i in index if i in part) for part in (hold.rig.bar_index, hold.rig.platform_index))
    noise_N2, t_s = 0.0, hold.t[rows]
    for part, zero in ((bar, hold.context.zeros.bar), (feet, hold.context.zeros.feet)):
        if part:
            # Noise of rows that the zero was read from cancels: twice the covariance is subtracted.
            noise_N2 += hold.session.noise_N(part) ** 2 * (1.0 - 2.0 * zero.overlap(t_s))
    return load_sensitivity(hold.session, index, hold.cells[rows].mean(axis=0), t_s, noise_N2 / max(1, len(t_s)))
