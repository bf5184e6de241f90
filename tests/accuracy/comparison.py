"""A result against its truth: one error for each thing that was measured."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.accuracy import bounds
from tests.physics.truth import Truth

Span = tuple[float, float]
WINDOW_S = 8.0
"""The stretch over which an amplitude is taken as one number."""
SHORTEST_GAP_S = 0.05
"""A gap of the grip that 80 readings a second must show."""
SLOW_N_s = 1000.0
"""Below this the bar is taken over so gently that half a newton of noise is two per cent of the rise."""
RATE_RESOLVED_REL = 0.01
"""A rate of loading that is told with a larger relative standard uncertainty is not resolved by the readings."""
NOTHING = float("inf")
"""The error of a number that should be there and is null."""


@dataclass(frozen=True, slots=True)
class Deviation:
    """An error (always positive) of a measure; for found/missed measures 0 or 1, for false alarms their number.

    ``exposure_s`` is the time in which a false alarm could have come, ``bound`` the standard deviation in the same
    unit that noise and calibration leave to any estimator, ``value`` the true value of what was measured.
    """

    measure: str
    error: float
    exposure_s: float = 0.0
    bound: float | None = None
    value: float | None = None


def overlap_s(a: Span, b: Span) -> float:
    """Return how long two spans share."""
    return max(0.0, min(a[1], b[1]) - max(a[0], b[0]))


def span_of(thing: dict[str, Any]) -> Span:
    """Return start and end of a result's part."""
    return thing["start_s"], thing["end_s"]


def compare(truth: Truth, result: dict[str, Any]) -> list[Deviation]:
    """Return the errors of one session."""
    deviations = list(_record(truth, result))
    taken: set[int] = set()
    for true_hold in truth["holds"]:
        edges = (true_hold["onset_half_s"], true_hold["release_half_s"])
        shared_s = [overlap_s(edges, (h["onset_s"], h["release_s"])) for h in result["holds"]]
        best = shared_s.index(max(shared_s)) if shared_s else -1
        if best < 0 or best in taken or shared_s[best] <= 0:
            deviations.append(Deviation("hold missed", 1))
            continue
        taken.add(best)
        deviations.append(Deviation("hold missed", 0))
        deviations += _hold(truth, true_hold, result["holds"][best])
    others = [(h["onset_s"], h["release_s"]) for n, h in enumerate(result["holds"]) if n not in taken]
    leans = [span for span in others if hung(truth, span)]
    deviations.append(Deviation("hold invented", len(others) - len(leans), result["quality"]["samples"] / 80.0))
    if not truth["holds"]:
        deviations.append(Deviation("lean that is a hang", len(leans)))
    return deviations


def hung(truth: Truth, span: Span) -> bool:
    """Say whether the bar carried so much for most of a span that it is a hang, though nobody was told to hang."""
    return sum(overlap_s(span, one) for one in truth["bar_hung"]) > 0.5 * (span[1] - span[0])


def _record(truth: Truth, result: dict[str, Any]) -> Iterator[Deviation]:
    if "one cell is wrong" in truth["tags"]:
        flags = {*result["flags"], *(flag for hold in result["holds"] for flag in hold["flags"])}
        yield Deviation("bad cell not told", 0 if any("cell" in flag for flag in flags) else 1)
    weight = result["bodyweight_N"]
    error = NOTHING if weight is None else 100 * abs(weight / truth["bodyweight_N"] - 1)
    yield Deviation("bodyweight", error, bound=100 * bounds.bodyweight_rel(), value=truth["bodyweight_N"])


def _hold(truth: Truth, true: Truth, hold: dict[str, Any]) -> Iterator[Deviation]:
    tags = set(truth["tags"])
    on, off = true["onset_half_s"], true["release_half_s"]
    weight = truth["bodyweight_N"]
    up, down = (bounds.crossing_s(slope, 2 * true["half_level_N"], 2) for slope in true["slopes_N_s"])
    yield Deviation("onset", 1e3 * abs(hold["onset_s"] - on), bound=1e3 * up, value=true["slopes_N_s"][0])
    yield Deviation("release", 1e3 * abs(hold["release_s"] - off), bound=1e3 * down, value=true["slopes_N_s"][1])
    if "one cell is wrong" not in tags:
        alpha, beta = hold["alpha_mean"], hold["beta_mean"]
        u_weight, share = bounds.bodyweight_rel(), true["assist_fraction_half"]
        # A zero is read for three seconds, a level for the whole hold; span and bodyweight scale what there is.
        u_alpha = math.hypot(bounds.level_N(4, 3.0) / weight, share * u_weight)
        u_beta = math.hypot(bounds.level_N(2, 3.0) / weight, true["bar_fraction_half"] * u_weight)
        yield Deviation(
            "assistance", NOTHING if alpha is None else 100 * abs(alpha - share), bound=100 * u_alpha, value=share
        )
        error = NOTHING if beta is None else 100 * abs(beta - true["bar_fraction_half"])
        yield Deviation("bar's share", error, bound=100 * u_beta, value=true["bar_fraction_half"])
        u_peak = math.hypot(bounds.part_noise_N(2) / true["peak_N"], bounds.bodyweight_rel() * math.sqrt(3.0))
        peak_error = abs(hold["peak_N"] / true["peak_N"] - 1)
        resolved = "peak_not_resolved" not in hold["flags"]
        yield Deviation("peak not resolved", 0 if resolved else 1)
        if resolved:
            yield Deviation("peak", 100 * peak_error, bound=100 * u_peak, value=true["peak_N"])
        else:
            yield Deviation("peak, not resolved", 100 * peak_error)
        yield Deviation("peak over u", peak_error * true["peak_N"] / hold["peak_u_N"])
    if "quiet" in tags:
        tremor = hold["tremor_N"]
        rms = true["tremor_6_12Hz_rms_N"]
        bound = 100 * bounds.tremor_rel(rms, off - on - 2.5)
        yield Deviation("tremor", NOTHING if tremor is None else 100 * abs(tremor / rms - 1), bound=bound, value=rms)
    yield from _loading(true, hold)
    if "one cell is wrong" not in tags:
        yield from _by_the_second(weight, true, hold)
    if "settles" in tags:
        settled = hold["settle_s"]
        yield Deviation("settling time", NOTHING if settled is None else abs(settled - true["settle_s"]))
    yield from _travel(truth, true, hold)
    yield from _swing(truth, true, hold)
    yield from _hands(truth, true, hold)
    yield from _contacts(truth, true, hold)
    yield from _third(truth, true, hold)
    gaps = true["gaps"]
    for gap in (g for g in gaps if g[1] - g[0] > SHORTEST_GAP_S):
        met = [r for r in hold["regrips"] if overlap_s(span_of(r), (gap[0], gap[1])) > 0]
        yield Deviation("regrip missed", 0 if met else 1)
    false = [r for r in hold["regrips"] if not any(overlap_s(span_of(r), (g[0], g[1])) > 0 for g in gaps)]
    yield Deviation("regrip invented", len(false), off - on)


def _loading(true: Truth, hold: dict[str, Any]) -> Iterator[Deviation]:
    rate, real = hold["loading_N_s"], true["loading_N_s"]
    u_rate = bounds.line_slope_N_s(0.05, 2)
    error = NOTHING if rate is None else 100 * abs(rate / real - 1)
    known = rate is None or hold["loading_u_N_s"] <= RATE_RESOLVED_REL * rate
    name = "loading rate, slow" if real < SLOW_N_s else "loading rate" if known else "loading rate, not resolved"
    yield Deviation(name, error, bound=100 * u_rate / real, value=real)
    if real >= SLOW_N_s:
        yield Deviation("loading rate not resolved", 0 if known else 1)
    if rate is not None:
        yield Deviation("loading rate over u", abs(rate - real) / hold["loading_u_N_s"])


def _by_the_second(weight_N: float, true: Truth, hold: dict[str, Any]) -> Iterator[Deviation]:
    """Hold each second of the course of assistance against the mean of the same second."""
    course = true["assist_by_second"]
    for middle_s, alpha, u in hold["assistance_course"]:
        if alpha is None or not course["t_s"][0] <= middle_s <= course["t_s"][-1]:
            continue
        share = float(np.interp(middle_s, course["t_s"], course["mean"]))
        error = abs(alpha - share)
        # The zero is read for three seconds; bodyweight and span scale what there is.
        zero_N = bounds.level_N(4, 3.0)
        bound = math.hypot(math.hypot(bounds.level_N(4, 1.0), zero_N) / weight_N, share * bounds.bodyweight_rel())
        yield Deviation("assistance by the second", 100 * error, bound=100 * bound, value=share)
        yield Deviation("assistance by the second over u", error / u)


def _inside(truth: Truth, true: Truth, *kinds: str) -> list[Truth]:
    return [
        e
        for e in truth["events"]
        if e["kind"] in kinds and true["onset_half_s"] - 1 < e.get("t_s", e.get("t0_s", 0)) < true["release_half_s"]
    ]


def _travel(truth: Truth, true: Truth, hold: dict[str, Any]) -> Iterator[Deviation]:
    tags = set(truth["tags"])
    if "travel not judged" in tags:
        return
    got = list(hold["travel"])
    suffix = " (swing)" if "swing with pulls" in tags else ""
    for event in _inside(truth, true, "passive_to_active", "active_to_passive"):
        middle = event["t_s"] + event["duration_s"] / 2
        near = [g for g in got if g["start_s"] - 0.5 < middle < g["end_s"] + 0.5]
        yield Deviation("pull missed" + suffix, 0 if near else 1)
        if near:
            best = max(near, key=lambda g: abs(g["travel_mm"]))
            got.remove(best)
            bound = 1e3 * bounds.travel_m(truth["bodyweight_N"], event["duration_s"])
            error = abs(best["travel_mm"] - event["com_rise_mm"])
            yield Deviation("travel" + suffix, error, bound=bound, value=event["com_rise_mm"])
            if best["u_mm"]:
                yield Deviation("travel over u", abs(best["travel_mm"] - event["com_rise_mm"]) / best["u_mm"])
    yield Deviation("pull invented" + suffix, len(got), true["release_half_s"] - true["onset_half_s"])
    if "states not seen" not in tags and true["states_clear"] and len(true["states"]) > 1:
        total = true["release_half_s"] - true["onset_half_s"]
        right = sum(
            overlap_s(span_of(g), (s["t0_s"], s["t1_s"]))
            for s in true["states"]
            for g in hold["states"]
            if g["state"] == s["state"]
        )
        yield Deviation("state wrong" + suffix, 100 * (1 - right / total))


def _swing(truth: Truth, true: Truth, hold: dict[str, Any]) -> Iterator[Deviation]:
    tags = set(truth["tags"])
    swing, given = true["swing"], hold["swing"] or {}
    course = [c for c in given.get("course", []) if c[1] is not None]
    if not swing or "swing not judged" in tags or "unassisted" not in tags:
        return
    if "swing" not in tags:
        if swing["largest_deg"] < 0.8:
            # A quiet body: whatever is told from 0.8 degrees up is invented.
            claimed = [c for c in course if c[1] >= 0.8]
            yield Deviation("swing invented", 1 if claimed else 0, true["release_half_s"] - true["onset_half_s"])
        return
    pairs = list(zip(swing["t_s"], swing["amplitude_deg"], strict=True))
    start = next(e["t_s"] for e in truth["events"] if e["kind"] == "swing") + 4.0
    for t_s, degrees in pairs:
        if not start < t_s < min(pairs[-1][0], true["release_half_s"]) - 2 or degrees < 1:
            continue
        near = [c for c in course if abs(c[0] - t_s) <= 0.6]
        if "swing with pulls" in tags:
            # Around a pull the swing may be withheld; how often is told beside.
            yield Deviation("swing withheld near pulls", 0 if near else 1)
            if near:
                error = abs(min(near, key=lambda c: abs(c[0] - t_s))[1] - degrees)
                yield Deviation("swing beside pulls", error * min(1.0, 6.0 / degrees))
            continue
        error = abs(min(near, key=lambda c: abs(c[0] - t_s))[1] - degrees) if near else NOTHING
        name = "swing from 2 degrees" if degrees >= 2 else "swing 1 to 2 degrees"
        bound = bounds.swing_deg(degrees, truth["bodyweight_N"], truth["person"]["kappa"], WINDOW_S)
        yield Deviation(name, error * min(1.0, 6.0 / degrees), bound=bound, value=degrees)
    frequency = given.get("frequency_Hz")
    used = [d for t, d in pairs if t > start]
    rms_deg = math.sqrt(sum(d * d for d in used) / len(used))
    length_s = pairs[-1][0] - start
    bound = 1e3 * bounds.swing_frequency_Hz(rms_deg, truth["bodyweight_N"], truth["person"]["kappa"], length_s)
    error = NOTHING if frequency is None else 1e3 * abs(frequency - swing["frequency_Hz"])
    yield Deviation("swing frequency", error, bound=bound, value=swing["frequency_Hz"])


def _hands(truth: Truth, true: Truth, hold: dict[str, Any]) -> Iterator[Deviation]:
    got = list(hold["grip_changes_s"])
    if "hands not judged" in truth["tags"]:
        return
    for change in truth["grip_changes"]:
        at = change["load_side_change_s"]
        near = min(got, key=lambda x: abs(x - at), default=None)
        met = near is not None and abs(near - at) < 0.5
        yield Deviation("change of hands missed", 0 if met else 1)
        if met:
            got.remove(near)
            bound = 1e3 * bounds.part_noise_N(2) / math.sqrt(0.3 * bounds.RATE_HZ) / change["slope_N_s"]
            yield Deviation("change of hands", 1e3 * abs(near - at), bound=bound, value=change["slope_N_s"])
    yield Deviation("change of hands invented", len(got), true["release_half_s"] - true["onset_half_s"])


def _contacts(truth: Truth, true: Truth, hold: dict[str, Any]) -> Iterator[Deviation]:
    if "touches not judged" in truth["tags"]:
        return
    on, off = true["onset_half_s"], true["release_half_s"]
    got = [x for x in hold["touches"] if x["start_s"] > on + 1 and x["end_s"] < off - 1.2]
    for event in _inside(truth, true, "foot_touch"):
        near = [x for x in got if overlap_s(span_of(x), (event["start_s"], event["end_s"])) > 0]
        yield Deviation("touch missed", 0 if near else 1)
        if near:
            best = near[0]
            got = [x for x in got if x not in near]
            for edge, slope in zip(("start_s", "end_s"), event["slopes_N_s"], strict=True):
                bound = 1e3 * bounds.crossing_s(slope, event["level_N"], 4)
                yield Deviation("touch's edges", 1e3 * abs(best[edge] - event[edge]), bound=bound, value=slope)
            resolved = "touch_peak_not_resolved" not in hold["flags"]
            error = 100 * abs(best["alpha_peak"] * truth["bodyweight_N"] / event["peak_N"] - 1)
            yield Deviation("touch's peak" if resolved else "touch's peak, not resolved", error)
            impulse = best.get("impulse_N_s")
            if impulse is not None:
                bound = 100 * bounds.impulse_N_s(4, event["end_s"] - event["start_s"]) / event["impulse_N_s"]
                error = 100 * abs(impulse / event["impulse_N_s"] - 1)
                yield Deviation("touch's impulse", error, bound=bound, value=event["impulse_N_s"])
    # Feet that bore on the platform without being told to are no invention of the measurement.
    false = [x for x in got if not any(overlap_s(span_of(x), span) > 0 for span in truth["platform_loaded"])]
    yield Deviation("touch invented", len(false), off - on)


def _third(truth: Truth, true: Truth, hold: dict[str, Any]) -> Iterator[Deviation]:
    if "account not judged" in truth["tags"]:
        return
    got = list(hold["third_support"])
    for event in _inside(truth, true, "third_support"):
        span = (event["t0_s"], event["t1_s"])
        near = [x for x in got if overlap_s(span_of(x), span) > 0]
        yield Deviation("third support missed", 0 if near else 1)
        if near:
            best = max(near, key=lambda x: x["end_s"] - x["start_s"])
            got = [x for x in got if x not in near]
            error = 100 * abs(best["fraction"] - event["frac"])
            yield Deviation("third support", error, bound=100 * bounds.bodyweight_rel(), value=event["frac"])
            # A minimum-jerk rise is 1.875 times as steep in its middle as on average.
            slope = 1.875 * event["frac"] * truth["bodyweight_N"] / event["rise_s"]
            bound = bounds.crossing_s(slope, event["frac"] * truth["bodyweight_N"], 6)
            for edge, at in (
                ("start_s", event["t0_s"] + event["rise_s"] / 2),
                ("end_s", event["t1_s"] - event["rise_s"] / 2),
            ):
                yield Deviation("third support's edges", abs(best[edge] - at), bound=bound, value=slope)
    yield Deviation("third support invented", len(got), true["release_half_s"] - true["onset_half_s"])
