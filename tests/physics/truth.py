"""What really happened: every measure taken from the noise-free simulation, by the definitions of the result format.

Nothing here comes from the estimators' code: the definitions are written down a second time, on 960 rows a second and
with the positions that no load cell sees.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.signal import butter, sosfiltfilt

from tests.physics.body import BELLY, STEP_HZ, GRAVITY_m_s2
from tests.physics.engine import Course
from tests.physics.people import hanging_pendulum
from tests.physics.script import Script

Array = NDArray[np.float64]
Truth = dict[str, Any]

BRIDGED_s, TUG_s = 1.0, 0.3
TOUCHED = 0.05
"""Above this share of its level a foot still touches."""
UNCLEAR = 0.1
"""So near to half of the range a shoulder is neither passive nor active."""
TREMOR_Hz = (6.0, 12.0)
CATCH_s, LET_GO_s = 2.0, 0.5
SETTLED = 0.05
TOUCH_LEAST_N = 4.0
READING_ROWS = 13
"""Touches are those of a mean over 13.5 ms: what is shorter, no converter of 80 readings a second shows."""
PEAK_ROWS = 12
"""A peak is the largest mean over 12.5 ms, wherever those begin."""
LOADING_ROWS = 48
"""The rate of loading is the steepest rise over 50 ms of the load itself."""
LOADING_FROM_s, LOADING_TO_s = -0.2, 0.5
COURSE_STEP_s = 0.05


def crossings(t_s: Array, x: Array, level: float) -> list[tuple[float, float]]:
    """Return the stretches with ``x`` above a level, the crossings on straight lines between rows."""
    above = x > level
    rows = np.flatnonzero(above[1:] != above[:-1])
    times = (t_s[rows] + (level - x[rows]) / (x[rows + 1] - x[rows]) * (t_s[rows + 1] - t_s[rows])).tolist()
    if above[0]:
        times.insert(0, float(t_s[0]))
    if above[-1]:
        times.append(float(t_s[-1]))
    return list(zip(times[::2], times[1::2], strict=True))


def half_level_stretches(
    t_s: Array,
    x: Array,
    first_level: float,
    *,
    bridged_s: float,
    shortest_s: float,
    held: NDArray[np.bool_] | None = None,
) -> tuple[list[tuple[float, float]], float]:
    """Return the stretches above half of the settled level and that level (median between first and last edge).

    A short stretch belongs to a session that the hands never left: ``held`` (n,) is 1 where one holds the bar. Without
    it the load itself tells that.
    """
    level = first_level
    stretches: list[tuple[float, float]] = []
    for _ in range(20):
        every = crossings(t_s, x, level / 2)
        runs = [r for r in every if r[1] - r[0] >= shortest_s]
        groups: list[list[tuple[float, float]]] = []
        for run in runs:
            if groups and run[0] - groups[-1][-1][1] < bridged_s:
                groups[-1].append(run)
            else:
                groups.append([run])
        if not groups:
            return [], level
        stretches = max(groups, key=lambda g: g[-1][1] - g[0][0])
        # The catch may ring: a short stretch belongs to the session if the hands never let go after it.
        for short in reversed([r for r in every if r[1] - r[0] < shortest_s and r[1] <= stretches[0][0]]):
            between = (t_s >= short[1]) & (t_s <= stretches[0][0])
            if held[between].all() if held is not None else x[between].min() > TOUCHED * level:
                stretches = [short, *stretches]
        inside = (t_s >= stretches[0][0]) & (t_s <= stretches[-1][1])
        new = float(np.median(x[inside]))
        if abs(new - level) < 1e-6 * abs(level):
            break
        level = new
    return stretches, level


def _mean(t_s: Array, x: Array, a: float, b: float) -> float:
    """Return the mean of ``x`` between two instants."""
    total = np.concatenate([[0.0], np.cumsum(0.5 * (x[1:] + x[:-1])) / STEP_HZ])
    return float((np.interp(b, t_s, total) - np.interp(a, t_s, total)) / (b - a))


def slope_at(t_s: Array, x: Array, at_s: float) -> float:
    """Return how steeply a course crosses an instant, over 12.5 ms to either side (N/s)."""
    a, b = np.interp([at_s - 0.0125, at_s + 0.0125], t_s, x)
    return float(abs(b - a) / 0.025)


def swing_course(course: Course, a: float, b: float) -> Truth | None:
    """Return the course of the fore-aft swing: angle of the line from the hands to the centre of mass.

    In windows of two periods a sine that grows or dies is fitted beside a drift; every half second.
    """
    inside = (course.t_s > a + 1.0) & (course.t_s < b - 0.3)
    away = course.com_m[inside] - course.hands_m[inside]
    angle = np.degrees(np.arctan2(away[:, 1], -away[:, 2]))
    t = course.t_s[inside][::16]
    angle = angle[::16]
    if len(t) < 10 * STEP_HZ / 16:
        return None
    rate = STEP_HZ / 16
    band = sosfiltfilt(butter(2, (0.3, 0.7), "bandpass", fs=rate, output="sos"), angle)
    spectrum = np.abs(np.fft.rfft(band * np.hanning(len(band)), 1 << 16))
    guess = float(np.fft.rfftfreq(1 << 16, 1 / rate)[np.argmax(spectrum)])
    window = round(2.0 / guess * rate)
    x = np.linspace(-1, 1, window)
    frequency = guess
    for _ in range(4):
        phase = 2 * np.pi * frequency * (np.arange(window) - 0.5 * (window - 1)) / rate
        cosine, sine = np.cos(phase), np.sin(phase)
        design = np.column_stack([cosine, sine, x * cosine, x * sine, np.ones(window), x, x**2])
        inverse = np.linalg.pinv(design)
        starts = np.arange(0, len(t) - window, round(0.5 * rate))
        fits = np.array([inverse @ angle[s : s + window] for s in starts])
        phasor = fits[:, 0] - 1j * fits[:, 1]
        middle = t[starts] + 0.5 * (window - 1) / rate
        turned = phasor * np.exp(-2j * np.pi * frequency * (middle - middle[0]))
        weight = np.abs(turned) ** 2
        unwrapped = np.unwrap(np.angle(turned))
        since = middle - np.average(middle, weights=weight)
        slope = float((weight * since) @ unwrapped / ((weight * since) @ since))
        frequency += slope / (2 * np.pi)
    return {
        "t_s": middle.round(4).tolist(),
        "amplitude_deg": np.abs(phasor).round(4).tolist(),
        "frequency_Hz": frequency,
        "largest_deg": float(np.abs(angle - np.median(angle)).max()),
    }


def _travel(course: Course, event: Truth) -> float:
    """Return how far a pull raised the centre of mass (mm), breathing left out: from 1.2 s before to 1.2 s after."""
    height = course.com_m[:, 2] - BELLY * course.belly_m
    before = (course.t_s > event["t_s"] - 1.3) & (course.t_s < event["t_s"] - 0.05)
    end = event["t_s"] + event["duration_s"]
    after = (course.t_s > end + 0.15) & (course.t_s < end + 1.4)
    return float(1e3 * (height[after].mean() - height[before].mean()))


def _hand_change_s(course: Course, event: Truth) -> float | None:
    """Return when both sides last carried alike, as means over 0.3 s, before the new hand's side kept the load."""
    span = (course.t_s > event["t_s"]) & (course.t_s < event["retained_s"])
    t = course.t_s[span]
    difference = uniform_filter1d(course.load_N[:, 0] - course.load_N[:, 1], int(0.3 * STEP_HZ) | 1)[span]
    rows = np.flatnonzero(np.signbit(difference[1:]) != np.signbit(difference[:-1]))
    if not len(rows):
        return None
    row = int(rows[-1])
    return float(t[row] - difference[row] * (t[row + 1] - t[row]) / (difference[row + 1] - difference[row]))


def _touch(course: Course, event: Truth, feet: Array) -> Truth | None:
    """Return half-level edges, peak and impulse of a foot's contact."""
    span = (course.t_s > event["t0_s"] - 1.0) & (course.t_s < event["t1_s"] + 1.0)
    t, x = course.t_s[span], uniform_filter1d(feet[span], READING_ROWS)
    if x.max() < TOUCH_LEAST_N:
        return None
    stretches, level = half_level_stretches(t, x, float(x.max()), bridged_s=0.08, shortest_s=0.02)
    if not stretches:
        return None  # a foot that sprang off before it stood
    return {
        **event,
        "start_s": stretches[0][0],
        "end_s": stretches[-1][1],
        "level_N": level,
        "slopes_N_s": [slope_at(t, x, stretches[0][0]), slope_at(t, x, stretches[-1][1])],
        "peak_N": float(x.max()),
        "impulse_N_s": float(np.trapezoid(x, t)),
    }


def loading_N_s(t_s: Array, bar_N: Array, onset_s: float) -> float:
    """Return the steepest rise of the bar's load over 50 ms, from 0.2 s before to 0.5 s after the onset (N/s)."""
    near = bar_N[(t_s >= onset_s + LOADING_FROM_s) & (t_s <= onset_s + LOADING_TO_s)]
    return float((near[LOADING_ROWS:] - near[:-LOADING_ROWS]).max() * STEP_HZ / LOADING_ROWS)


def peak_N(t_s: Array, bar_N: Array, onset_s: float, release_s: float) -> float:
    """Return the largest mean of the bar's load over 12.5 ms whose middle lies between the edges (N)."""
    between = 0.5 * (bar_N[1:] + bar_N[:-1])
    total = np.concatenate([[0.0], np.cumsum(between)])
    means = (total[PEAK_ROWS:] - total[:-PEAK_ROWS]) / PEAK_ROWS
    middle = t_s[PEAK_ROWS // 2 : len(t_s) - PEAK_ROWS // 2]
    return float(means[(middle >= onset_s) & (middle <= release_s)].max())


def course_by_the_second(t_s: Array, x: Array, on_s: float, off_s: float) -> Truth:
    """Return the mean of ``x`` over the second about each of many instants within a hold."""
    total = np.concatenate([[0.0], np.cumsum(0.5 * (x[1:] + x[:-1])) / STEP_HZ])
    middle = np.arange(on_s + 0.5, off_s - 0.5, COURSE_STEP_s)
    means = np.interp(middle + 0.5, t_s, total) - np.interp(middle - 0.5, t_s, total)
    return {"t_s": middle.round(6).tolist(), "mean": means.round(7).tolist()}


def _settling(t: Array, total: Array, weight: float, on: float, off: float) -> float | None:
    """Return how long after the onset S last leaves 5 % of bodyweight about its level."""
    inside = (t >= on) & (t <= min(off, on + 15.0))
    level = float(np.median(total[(t >= on) & (t <= off)]))
    out = np.flatnonzero(np.abs(total[inside] - level) > SETTLED * weight)
    return float(t[inside][out[-1]] - on) if len(out) else 0.0


def truth_of(script: Script, course: Course) -> Truth:
    """Return everything that a measurement of this session is held against, as plain data."""
    weight = course.mass_kg * GRAVITY_m_s2
    t, bar, feet = course.t_s, course.load_N[:, :2].sum(axis=1), course.load_N[:, 2:].sum(axis=1)
    total = bar + feet
    events: list[Truth] = []
    changes = []
    for event in script.events:
        kind = event["kind"]
        if kind in ("passive_to_active", "active_to_passive"):
            events.append({**event, "com_rise_mm": _travel(course, event)})
        elif kind == "hands":
            at = _hand_change_s(course, event)
            if at is not None:
                steep = slope_at(t, course.load_N[:, 0] - course.load_N[:, 1], at)
                changes.append({"load_side_change_s": at, "to": event["to"], "slope_N_s": steep})
        elif kind == "foot_touch":
            touched = _touch(course, event, feet)
            if touched is not None:
                events.append(touched)
        else:
            events.append(dict(event))
    holds: list[Truth] = []
    sos = butter(4, TREMOR_Hz, "bandpass", fs=STEP_HZ, output="sos")
    for begin, end in script.holds:
        span = (t > begin) & (t < end)
        # The level to begin with: the upper half of what the bar carries in this time.
        first = float(np.median(bar[span][bar[span] > 0.1 * weight]))
        held = course.holding[span].any(axis=1)
        stretches, level = half_level_stretches(
            t[span], bar[span], first, bridged_s=BRIDGED_s, shortest_s=TUG_s, held=held
        )
        on, off = stretches[0][0], stretches[-1][1]
        body = (t > on + CATCH_s) & (t < off - LET_GO_s)
        edges = [e for e in events if e["kind"] in ("passive_to_active", "active_to_passive") and on < e["t_s"] < off]
        states, clear = states_of(edges, on, off)
        # Filtered by itself: the steps at catch and release must not ring into it.
        shaking = sosfiltfilt(sos, total[body]) if body.sum() > STEP_HZ else np.zeros(0)
        holds.append(
            {
                "onset_half_s": on,
                "release_half_s": off,
                "half_level_N": level / 2,
                "slopes_N_s": [slope_at(t, bar, on), slope_at(t, bar, off)],
                "bar_fraction_half": _mean(t, bar, on, off) / weight,
                "assist_fraction_half": _mean(t, feet, on, off) / weight,
                "tremor_6_12Hz_rms_N": float(np.sqrt(np.mean(shaking**2))) if len(shaking) else None,
                "assist_by_second": course_by_the_second(t, feet / weight, on, off),
                "peak_N": peak_N(t, bar, on, off),
                "loading_N_s": loading_N_s(t, bar, on),
                "settle_s": _settling(t, total, weight, on, off),
                "states": states,
                "states_clear": clear,
                "gaps": [[a[1], b[0]] for a, b in itertools.pairwise(stretches)],
                "swing": swing_course(course, on, off),
            }
        )
    swing = next((h["swing"] for h in holds if h["swing"] and h["swing"]["largest_deg"] > 0), None)
    return {
        "scenario": script.name,
        "seed": script.seed,
        "person": {
            "stature_m": script.person.stature_m,
            "mass_kg": course.mass_kg,
            "kappa": hanging_pendulum(script.person)[1],
            "table": script.person.table,
            "sex": script.person.sex,
        },
        "tags": sorted(script.tags),
        "bodyweight_N": weight,
        "n_holds": len(holds),
        "holds": holds,
        "grip_changes": changes,
        "events": events,
        "swing_history": swing if swing and "swing" in script.tags else None,
    }


def states_of(pulls: list[Truth], onset_s: float, release_s: float) -> tuple[list[Truth], bool]:
    """Return the stretches of passive and active, and whether each height is clearly one or the other.

    Active is what lies above half of the hold's whole range of travel, as in the truth of
    ``tests/recordings/curves`` (there the smaller pull of s3 counts as passive). Every hold here begins passive.
    """
    heights = np.concatenate([[0.0], np.cumsum([e["com_rise_mm"] for e in pulls])])
    reach = float(np.ptp(heights))
    if reach == 0.0:
        return [{"t0_s": onset_s, "t1_s": release_s, "state": "passive"}], True
    share = (heights - heights.min()) / reach
    turns = [onset_s, *(e["t_s"] + e["duration_s"] / 2 for e in pulls), release_s]
    states: list[Truth] = []
    for level, (start_s, end_s) in zip(share.tolist(), itertools.pairwise(turns), strict=True):
        state = "active" if level > 0.5 else "passive"
        if states and states[-1]["state"] == state:
            states[-1]["t1_s"] = end_s
        else:
            states.append({"t0_s": start_s, "t1_s": end_s, "state": state})
    return states, bool((np.abs(share - 0.5) > UNCLEAR).all())
