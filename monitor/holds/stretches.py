"""Holds that a person marked out: stretches on the bar that are joined, or cut off within a hold."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

from monitor.holds.edges import HoldEdges
from monitor.signals.session_loads import Array

Spans = Sequence[tuple[float, float]]
"""What a hold is made of: begin and end of each stretch on the bar (s), in order of time."""

SAME_EDGE_S = 0.1
"""An end this close to an edge of a hold, or outside of it, is that edge: edges move by less when measured again
(common practice, no source)."""


@dataclass(frozen=True, slots=True)
class MarkedHold:
    """A hold between given instants.

    Attributes
    ----------
    edges : HoldEdges
        From the first onset to the last release; all time off the bar in between is a gap.
    first, last : HoldEdges
        The holds that it begins and ends in, as found.
    cut_start, cut_end : bool
        Whether it begins or ends within a hold, at an instant that a person chose.
    """

    edges: HoldEdges
    first: HoldEdges
    last: HoldEdges
    cut_start: bool
    cut_end: bool


def marked_hold(t_s: Array, holds: Sequence[HoldEdges], spans: Spans) -> MarkedHold | None:
    """Return the hold that spans mark out in a session with these holds; None where nobody was on the bar in one.

    Parameters
    ----------
    t_s : (n,) float, s
        Of the session.
    holds : sequence of HoldEdges
        As found in the session, in order of time.
    spans : sequence of (float, float)
    """
    parts: list[HoldEdges] = []
    for start_s, end_s in spans:
        inside = [_within(one, t_s, start_s, end_s) for one in holds if one.onset_s < end_s and one.release_s > start_s]
        if not inside:
            return None
        parts += inside
    first = next(one for one in holds if one.release_s > spans[0][0])
    last = next(one for one in reversed(holds) if one.onset_s < spans[-1][1])
    begin, end = parts[0], parts[-1]
    gaps = [gap for part in parts for gap in part.gaps]
    gaps += [
        (one.release_s, other.onset_s) for one, other in itertools.pairwise(parts) if other.onset_s > one.release_s
    ]
    edges = replace(
        begin,
        release_s=end.release_s,
        last=end.last,
        ends_inside=end.ends_inside,
        gaps=tuple(sorted(gaps)),
    )
    return MarkedHold(edges, first, last, begin.onset_s > first.onset_s, end.release_s < last.release_s)


def _within(hold: HoldEdges, t_s: Array, start_s: float, end_s: float) -> HoldEdges:
    """Return the part of a hold between two instants; an edge near an instant stays that edge."""
    if start_s > hold.onset_s + SAME_EDGE_S:
        gaps = tuple((max(a, start_s), b) for a, b in hold.gaps if b > start_s)
        hold = replace(hold, onset_s=start_s, first=int(t_s.searchsorted(start_s)), gaps=gaps, begins_inside=True)
    if end_s < hold.release_s - SAME_EDGE_S:
        gaps = tuple((a, min(b, end_s)) for a, b in hold.gaps if a < end_s)
        hold = replace(hold, release_s=end_s, last=int(t_s.searchsorted(end_s)), gaps=gaps, ends_inside=True)
    return hold
