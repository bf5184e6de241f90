"""Passive or active through a hold, as far as cells can tell.

Cells see changes, not postures. The centre of mass rises as the shoulder blades are drawn down and sinks as they are
let go; the lower end of the range is taken as passive and the upper one as active. A hold without a change has the
state that was given for its start, or none.
"""

from __future__ import annotations

import itertools

from monitor.records.hold_result import Kind, StateSpan, Travel

ACTIVE_ABOVE = 0.5
"""Share of the hold's own range of travel above which the shoulders count as drawn down (common practice, no
source)."""

LEAST_RANGE_mm = 15.0
"""Less travel is no change of posture: shoulder blades move a body by some centimetres (common practice, no
source)."""

CERTAINTY_OF_A_GIVEN_START = 0.97
CERTAINTY_OF_BOTH_SIGNS = 0.9
CERTAINTY_OF_ONE_SIGN = 0.7
"""How often the states are right: judged on invented curves (no source)."""


def heights_mm(travel: list[Travel]) -> list[float]:
    """Return the height of the centre of mass before each travel and after the last, from the start of the hold."""
    return [0.0, *itertools.accumulate(one.travel_mm for one in travel)]


def is_active(height_mm: float, heights: list[float]) -> bool:
    """Say whether the shoulders are drawn down at one of a hold's heights."""
    low, high = min(heights), max(heights)
    return height_mm - low > ACTIVE_ABOVE * (high - low)


def certainty_of(travel: list[Travel]) -> float:
    """Return how certain the states are that some travels show: more so if both drawing down and letting go were."""
    return CERTAINTY_OF_BOTH_SIGNS if len({one.travel_mm > 0 for one in travel}) == 2 else CERTAINTY_OF_ONE_SIGN


def states_of(
    onset_s: float, release_s: float, travel: list[Travel], given_start: str | None = None
) -> tuple[list[StateSpan], Kind | None]:
    """Return the stretches of passive and active and the hold's kind; ``([], None)`` if neither is known.

    Parameters
    ----------
    travel : list of Travel, in order of time
    given_start : "passive", "active" or None
        The coach's or the programme's word on the start of the hold.
    """
    heights = heights_mm(travel)
    if max(heights) - min(heights) < LEAST_RANGE_mm:
        if given_start is None:
            return [], None
        kind: Kind = "active" if given_start == "active" else "passive"
        return [StateSpan(onset_s, release_s, kind, CERTAINTY_OF_A_GIVEN_START)], kind
    certainty = certainty_of(travel) if given_start is None else CERTAINTY_OF_A_GIVEN_START
    spans: list[StateSpan] = []
    start_s = onset_s
    for number, height in enumerate(heights):
        end_s = release_s if number == len(travel) else (travel[number].start_s + travel[number].end_s) / 2
        state = "active" if is_active(height, heights) else "passive"
        if spans and spans[-1].state == state:
            spans[-1] = StateSpan(spans[-1].start_s, end_s, state, certainty)
        else:
            spans.append(StateSpan(start_s, end_s, state, certainty))
        start_s = end_s
    names = {s.state for s in spans}
    if len(names) == 2:
        return spans, "mixed"
    return spans, "active" if "active" in names else "passive"
