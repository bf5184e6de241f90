"""One hold cut out of its session: its loads with a margin, and the inputs that its measures share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.holds.edges import HoldEdges
from monitor.measures.swing import ANYBODY, Pendulum
from monitor.signals.bodyweight import Bodyweight
from monitor.signals.session_loads import Array, SessionLoads
from monitor.signals.zeros import Zeros

ALPHA_MAX = 0.10
"""Assistance that counts as light unless the coach says otherwise (common practice, no source)."""

CATCH_S = 2.0
LET_GO_S = 0.5
"""How long the catch rings, and how long before the release the hands begin to open (common practice, no
source)."""

MARGIN_S = 10.0
"""Seconds around a hold that its measures may look at (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class HoldContext:
    """What the measures of a hold need beside its loads.

    ``clock_rate`` is true seconds per second of the record, with its standard uncertainty ``u_clock_rate``;
    ``alpha_max`` the allowed assistance; ``given_start`` the coach's word on the shoulders at the start; ``stuck`` the
    columns of cells that were stuck during the hold; ``pendulum`` the body's own kappa where it is known; ``flags``
    what is known of the hold beforehand.
    """

    bodyweight: Bodyweight | None
    zeros: Zeros
    clock_rate: float = 1.0
    u_clock_rate: float = 5e-5
    alpha_max: float = ALPHA_MAX
    given_start: str | None = None
    stuck: tuple[int, ...] = ()
    pendulum: Pendulum = ANYBODY
    flags: tuple[str, ...] = ()


class Stretch:
    """One hold whose bodyweight is known: rows from ``MARGIN_S`` before the onset to as long after the release.

    Attributes
    ----------
    t, bar, feet, sum : (n,) float
        Times (s), B, P and S (N).
    cells : (n, channels) float, N
    body, W : Bodyweight, float
        Bodyweight with the sensitivities of its error, and in N.
    part, inside : slice
        Its rows of the session; the rows between the edges, counted from the stretch's first.
    u_edges_s : (float, float)
        Standard uncertainties of the edges.
    """

    def __init__(
        self,
        session: SessionLoads,
        edges: HoldEdges,
        context: HoldContext,
        body: Bodyweight,
        u_edges_s: tuple[float, float],
    ) -> None:
        self.session, self.edges, self.context, self.u_edges_s = session, edges, context, u_edges_s
        self.rig, self.rate_Hz = session.rig, session.rate_Hz
        self.body, self.W = body, body.bodyweight_N
        margin = session.rows(MARGIN_S)
        self.part = slice(max(0, edges.first - margin), min(len(session), edges.last + margin))
        self.t, self.bar, self.feet, self.sum = (
            x[self.part] for x in (session.t_s, session.bar_N, session.feet_N, session.sum_N)
        )
        self.cells = session.filled_N[self.part]
        begin, end = self.t.searchsorted(edges.onset_s), self.t.searchsorted(edges.release_s, "right")
        self.inside = slice(int(begin), int(end))

    def between_catch_and_letting_go(self) -> NDArray[np.bool_]:
        """Return the rows between the catch's ringing and the letting go."""
        return np.asarray((self.t > self.edges.onset_s + CATCH_S) & (self.t < self.edges.release_s - LET_GO_S))

    def sides(self) -> tuple[Array, Array] | None:
        """Return the loads left and right of the bar's middle; None where the rig cannot tell them apart."""
        rig = self.rig
        left = [i for i in rig.bar_index if rig.channels[i].x_m < 0]
        right = [i for i in rig.bar_index if rig.channels[i].x_m > 0]
        if not left or not right:
            return None
        load = self.cells
        return load[:, left].sum(axis=1), load[:, right].sum(axis=1)

    def lateral_course_m(self) -> Array | None:
        """Return (n,) the lateral offset through the hold; None where the bar's cells cannot tell."""
        rig = self.rig
        if len({rig.channels[i].x_m for i in rig.bar_index}) < 2:
            return None
        x_m = np.array([rig.channels[i].x_m for i in rig.bar_index])
        return np.asarray(self.cells[:, list(rig.bar_index)] @ x_m / np.maximum(self.bar, 0.1 * self.W))
