"""Swing and travel of one hold, each measured with the other removed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monitor.measures.disturbance import PULL_REACH_S, near_spans
from monitor.measures.hold_context import Stretch
from monitor.measures.settling import bounce_Hz
from monitor.measures.swing import LEAST_DEG, beat_wave, swing_course
from monitor.measures.travel import is_restless, travels
from monitor.records.hold_result import Swing, ThirdSupport, Travel
from monitor.runs import runs_of
from monitor.signals.session_loads import Array

DISTURBED_MOST = 0.6
"""No swing is read where more than this share of a hold is disturbed (common practice, no source)."""

MOTION_TURNS = 2
"""Swing and travel are read anew with the other taken out so many times; the second time changes little (common
practice, no source)."""


def motion_of(
    hold: Stretch,
    disturbed: NDArray[np.bool_],
    body: NDArray[np.bool_],
    third: list[ThirdSupport],
    flags: list[str],
    *,
    unassisted: bool,
    direct: bool,
) -> tuple[Swing | None, list[Travel]]:
    """Return swing and travel, each measured with the other removed.

    A pull has a swing's rhythm, and a swing's beat a pull's time scale. So pulls are detected first, the swing is
    measured between them, its beat is subtracted, and both are measured again.
    """
    travel = _travel(hold, hold.sum, disturbed, body, third, flags, direct)
    if not (unassisted and direct):
        flags.append("swing_only_with_free_feet" if hold.rig.has_platform else "swing_needs_platform")
        return None, travel
    bounce = bounce_Hz(hold.t, hold.sum, hold.W, hold.edges.onset_s)
    breaks_s = [x for one in third for x in (one.start_s, one.end_s)]
    before: NDArray[np.bool_] | None = None
    for _ in range(MOTION_TURNS):
        apart = disturbed | near_spans(hold.t, [(x.start_s, x.end_s) for x in travel], PULL_REACH_S)
        if before is not None and np.array_equal(apart, before):
            break  # the same pulls leave the same swing
        before = apart
        swing, beat_Hz, reason = _swing(hold, apart, body, breaks_s, bounce)
        if beat_Hz is None:
            break
        wave = np.zeros_like(hold.sum)
        wave[body] = hold.W * beat_wave(hold.sum[body] / hold.W - 1.0, ~apart[body], beat_Hz, hold.rate_Hz)
        travel = _travel(hold, hold.sum - wave, disturbed, body, third, flags, direct)
    if reason:
        flags.append(reason)
    return swing, travel


def _swing(
    hold: Stretch,
    disturbed: NDArray[np.bool_],
    body: NDArray[np.bool_],
    breaks_s: list[float],
    bounce: float | None,
) -> tuple[Swing | None, float | None, str]:
    """Return the swing, its beat's frequency where it stands out, and why something is missing."""
    if body.sum() < 8:
        return None, None, "too_short_for_swing"
    if disturbed[body].mean() > DISTURBED_MOST:
        return None, None, "swing_disturbed"
    course = swing_course(
        hold.t[body],
        hold.sum[body],
        hold.W,
        hold.rate_Hz,
        disturbed[body],
        breaks_s,
        bounce,
        hold.context.pendulum,
    )
    if course is None:
        return None, None, "too_short_for_swing"
    known = np.isfinite(course.amplitude_deg)
    amplitude = course.amplitude_deg[known]
    rows = [
        (float(t), None if np.isnan(a) else float(a), None if np.isnan(a) else float(u))
        for t, a, u in zip(course.t_s, course.amplitude_deg, course.u_deg, strict=True)
    ]
    if not known.any():
        return Swing(None, None, None, rows), None, "swing_below_noise" if course.drowned else "swing_disturbed"
    largest = float(amplitude.max())
    if largest < LEAST_DEG:
        return Swing(None, None, None, []), None, "swing_below_0.8_deg"
    if course.frequency_Hz is None:
        # Without a line in the spectrum it may be any slow movement.
        return Swing(None, None, None, []), None, "swing_frequency_unclear"
    rms = float(np.sqrt(np.mean(amplitude**2) / 2))
    kappa, kappa_u = hold.context.pendulum.kappa, hold.context.pendulum.kappa * hold.context.pendulum.u_rel
    return Swing(largest, rms, course.frequency_Hz, rows, kappa, kappa_u), 2 * course.frequency_Hz, ""


def _travel(
    hold: Stretch,
    sum_N: Array,
    disturbed: NDArray[np.bool_],
    body: NDArray[np.bool_],
    third: list[ThirdSupport],
    flags: list[str],
    direct: bool,
) -> list[Travel]:
    if not direct:
        flags.append("travel_needs_platform")
        return []
    withheld = disturbed | near_spans(hold.t, [(x.start_s, x.end_s) for x in third], 1.5)
    if third:
        flags.append("travel_withheld_while_account_open")
    if is_restless(sum_N[body], hold.W, hold.rate_Hz):
        flags.append("travel_not_readable")
    pulls: list[Travel] = []
    free = body & ~withheld
    for a, b in runs_of(free):
        pulls += travels(hold.t[a:b], sum_N[a:b], hold.W, hold.rig.gravity_m_s2, hold.rate_Hz)
    return pulls
