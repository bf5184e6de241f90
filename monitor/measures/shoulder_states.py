"""Passive or active through a hold, as far as cells can tell.

Cells see changes, not postures. A rise of the centre of mass is the shoulder blades drawn down, a fall is letting them
go: the sign of the last travel says which. A hold without any change keeps the state that is given from outside, or
none.
"""

from __future__ import annotations

import itertools
import math

from monitor.records.hold_result import Kind, StateSpan, Travel

LEAST_RANGE_mm = 15.0
"""Less travel is no change of posture: shoulder blades move a body by some centimetres (common practice, no
source)."""

LEAST_STEP_mm, LEAST_STEP_U = 8.0, 2.0
"""A single travel counts from this size and so many of its standard uncertainties (common practice, no source)."""

LARGE_mm, LARGE_SHARE = 24.0, 0.5
"""A travel that is smaller than the first is a change of posture only from this share of the hold's largest on (common
practice, no source)."""

CERTAINTY_OF_A_GIVEN_START = 0.97
CERTAINTY_BETWEEN_SIGNS, CERTAINTY_AT_THE_ENDS, CERTAINTY_AFTER_A_MISSED = 0.97, 0.9, 0.6
"""How often a state is right whose travels are sure: between two of opposite sign, before the first or after the last,
and next to a travel that must have been missed. Judged on simulated curves (common practice, no source)."""


def heights_mm(travel: list[Travel]) -> list[float]:
    """Return the height of the centre of mass before each travel and after the last, from the start of the hold."""
    return [0.0, *itertools.accumulate(one.travel_mm for one in travel)]


def steps_of(travel: list[Travel]) -> list[Travel]:
    """Return the travels that change the state, those of one pull in two parts as one."""
    large_mm = min(LARGE_mm, LARGE_SHARE * max((abs(one.travel_mm) for one in travel), default=0.0))
    steps = [one for one in travel if abs(one.travel_mm) >= max(LEAST_STEP_mm, LEAST_STEP_U * one.u_mm)]
    joined: list[Travel] = []
    for number, one in enumerate(steps):
        if joined and _same_sign(joined[-1], one):
            whole = _together(joined[-1], one)
            beside = [*joined[-2:-1], *steps[number + 1 : number + 2]]
            if any(_undo(whole, other) for other in beside):
                joined[-1] = whole
                continue
        joined.append(one)
    return [one for one in joined if abs(one.travel_mm) >= large_mm]


def _same_sign(a: Travel, b: Travel) -> bool:
    return (a.travel_mm > 0) == (b.travel_mm > 0)


def _together(a: Travel, b: Travel) -> Travel:
    """Return two parts of one pull as one, at the instant of the second: only then the shoulders are drawn down."""
    return Travel(b.start_s, b.end_s, a.travel_mm + b.travel_mm, math.hypot(a.u_mm, b.u_mm))


def _undo(a: Travel, b: Travel) -> bool:
    """Say whether two travels bring the body back to where it was."""
    return abs(a.travel_mm + b.travel_mm) < max(LEAST_STEP_mm, LEAST_STEP_U * math.hypot(a.u_mm, b.u_mm))


def sign_certainty(one: Travel) -> float:
    """Return the probability that a travel's sign is right: its error is normal with its standard uncertainty."""
    return 0.5 * (1.0 + math.erf(abs(one.travel_mm) / (max(one.u_mm, 1e-6) * math.sqrt(2.0))))


def state_after(travel: list[Travel]) -> tuple[str, float] | None:
    """Return the state after the last travel, with its certainty; None where nothing has moved enough."""
    steps = steps_of(travel)
    heights = heights_mm(travel)
    if not steps or max(heights) - min(heights) < LEAST_RANGE_mm:
        return None
    last = steps[-1]
    return ("active" if last.travel_mm > 0 else "passive"), CERTAINTY_AT_THE_ENDS * sign_certainty(last)


def travel_was_missed(travel: list[Travel]) -> bool:
    """Say whether two travels of the same sign follow one another that are no pull in two parts."""
    return any(_same_sign(a, b) for a, b in itertools.pairwise(steps_of(travel)))


def states_of(
    onset_s: float, release_s: float, travel: list[Travel], given_start: str | None = None
) -> tuple[list[StateSpan], Kind | None]:
    """Return the stretches of passive and active and the hold's kind; ``([], None)`` if neither is known.

    Between two travels of the same sign that are no pull in two parts one was missed: the state changes back somewhere
    in between, and both halves are uncertain.

    Parameters
    ----------
    travel : list of Travel, in order of time
    given_start : "passive", "active" or None
        The coach's or the programme's word on the start of the hold.
    """
    steps, heights = steps_of(travel), heights_mm(travel)
    if not steps or max(heights) - min(heights) < LEAST_RANGE_mm:
        if given_start is None:
            return [], None
        kind: Kind = "active" if given_start == "active" else "passive"
        return [StateSpan(onset_s, release_s, kind, CERTAINTY_OF_A_GIVEN_START)], kind
    middles_s = [(one.start_s + one.end_s) / 2 for one in steps]
    before, after = _state(steps[0], before=True), _state(steps[-1])
    first = CERTAINTY_AT_THE_ENDS * sign_certainty(steps[0])
    if given_start is not None:
        before, first = given_start, CERTAINTY_OF_A_GIVEN_START
    spans = [StateSpan(onset_s, middles_s[0], before, first)]
    for (a, b), (start_s, end_s) in zip(itertools.pairwise(steps), itertools.pairwise(middles_s), strict=True):
        sure = sign_certainty(a) * sign_certainty(b)
        if not _same_sign(a, b):
            spans.append(StateSpan(start_s, end_s, _state(a), CERTAINTY_BETWEEN_SIGNS * sure))
        else:
            half_s = (start_s + end_s) / 2
            spans.append(StateSpan(start_s, half_s, _state(a), CERTAINTY_AFTER_A_MISSED * sure))
            spans.append(StateSpan(half_s, end_s, _state(b, before=True), CERTAINTY_AFTER_A_MISSED * sure))
    spans.append(StateSpan(middles_s[-1], release_s, after, CERTAINTY_AT_THE_ENDS * sign_certainty(steps[-1])))
    names = {span.state for span in spans}
    if len(names) == 2:
        return _merged(spans), "mixed"
    return _merged(spans), "active" if "active" in names else "passive"


def _state(one: Travel, *, before: bool = False) -> str:
    """Return the state after a travel, or before it."""
    return "active" if (one.travel_mm > 0) != before else "passive"


def _merged(spans: list[StateSpan]) -> list[StateSpan]:
    """Return the spans with neighbours of one state as one, as certain as the less certain of them."""
    merged: list[StateSpan] = []
    for span in spans:
        if merged and merged[-1].state == span.state:
            last = merged.pop()
            span = StateSpan(last.start_s, span.end_s, span.state, min(last.certainty, span.certainty))
        merged.append(span)
    return merged
