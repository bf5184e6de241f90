"""Where between the bar's cells the load hangs."""

from __future__ import annotations

import math

import numpy as np

from monitor.signals.sensitivity import mean_course
from monitor.signals.session_loads import Array, SessionLoads
from monitor.signals.zeros import Zeros

U_PLACE_M = 0.002
"""Standard uncertainty of a cell's place on the rig, measured with a tape (common practice, no source)."""


def lateral(session: SessionLoads, zeros: Zeros, t_s: Array, cells_N: Array) -> tuple[float, float]:
    """Return the mean of sum(x_i B_i) / B over a hold and its standard uncertainty, in metres.

    To first order (JCGM 100:2008, 5.2.2) with x the result: each cell's error moves it by (x_i - x) / B, each cell's
    place by its share of the load. Channels that are read one after the other sample the load at different instants,
    which moves a mean over a hold by at most the change of the load within the skew over the hold's length.

    Parameters
    ----------
    t_s, cells_N : (n,), (n, channels) float
        The hold's rows.
    """
    index = session.rig.bar_index
    x_m = np.array([session.rig.channels[i].x_m for i in index])
    means = cells_N.mean(axis=0)
    bar_N = float(means[list(index)].sum())
    x = float(means[list(index)] @ x_m) / bar_N
    lever = (x_m - x) / bar_N
    course = mean_course(t_s)
    # The zeros of the cells wander independently: each has its share of the part's variance.
    wandering = sum(zeros.bar.variances(course.t_s, course.weight)) / len(index) * float(lever @ lever)
    spans = np.zeros(2 * len(means))
    loads = means[list(index)]
    spans[list(index)] = lever * (loads + 2 * session.bend_per_N[list(index)] * loads**2)
    spans[[len(means) + i for i in index]] = lever * loads**2
    curves = float(np.sum((lever * session.u_curve_N[list(index)]) ** 2))
    places = (U_PLACE_M / bar_N) ** 2 * float(loads @ loads)
    skew_s = session.known.skew_s
    skewed = float(np.max(np.abs(x_m - x))) * skew_s / max(float(t_s[-1] - t_s[0]), skew_s, 1e-9)
    return x, math.sqrt(float(spans @ session.covariance @ spans) + wandering + curves + places + skewed**2)
