"""Small charts as plain data: what a page draws, in fractions of its box, x to the right and y upwards."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.records.hold_result import HoldResult
from monitor.reports.notebook import thinned

_Array = NDArray[np.float64]

POINTS = 700
"""Most points of a curve in a report: about four for each millimetre of its width."""

MARGIN_s = 3.0
"""What is shown before and after a hold."""


def round_step(span: float, ticks: int) -> float:
    """Return the step 1, 2 or 5 times a power of ten that divides a span into at most about ``ticks`` parts."""
    rough = max(span, 1e-12) / max(ticks, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= rough * (1 - 1e-9))


def ticks(low: float, high: float, count: int = 4, unit: str = "") -> list[tuple[float, str]]:
    """Return ticks as (fraction, label); the unit stands at the last one."""
    step = round_step(high - low, count)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    labelled = [((k * step - low) / (high - low), f"{k * step:.{places}f}") for k in range(first, last + 1)]
    return _with_unit(labelled, unit)


def _with_unit(labelled: list[tuple[float, str]], unit: str) -> list[tuple[float, str]]:
    return [*labelled[:-1], (labelled[-1][0], f"{labelled[-1][1]} {unit}")] if labelled and unit else labelled


def day_ticks(first: dt.date, last: dt.date, count: int = 4) -> list[tuple[float, str]]:
    """Return ticks at whole days (weeks where the span is long) as (fraction, label)."""
    days = max((last - first).days, 1)
    step = next((s for s in (1, 2, 7, 14, 28, 56, 91, 182, 364) if days / s <= count), 728)
    return [(k / days, short_date(first + dt.timedelta(days=k))) for k in range(0, days + 1, step)]


def short_date(day: dt.date) -> str:
    """Return a day as ``3 Sep``, whatever the machine's language."""
    return f"{day.day} {_MONTHS[day.month - 1]}"


def long_date(day: dt.date) -> str:
    """Return a day as ``3 September 2026``."""
    return f"{day.day} {_LONG_MONTHS[day.month - 1]} {day.year}"


_LONG_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_MONTHS = tuple(name[:3] for name in _LONG_MONTHS)


def scatter(
    first: dt.date,
    last: dt.date,
    points: Sequence[tuple[float, float, float, str]],
    title: str,
    unit: str,
    least_top: float = 1.0,
) -> dict[str, Any]:
    """Return a chart of single holds over the days of a period.

    Parameters
    ----------
    first, last : date
        Both included.
    points : sequence of (day, value, u, style)
        ``day`` in days since midnight of ``first``; ``style`` is ``passive``, ``active`` or ``other``.
    title, unit : str
    least_top : float
        The scale goes at least so far, so that noise about nothing does not look like something.
    """
    days = max((last - first).days + 1, 1)
    top = max(1.08 * max((v + u for _, v, u, _ in points), default=0.0), least_top)
    marks = [
        {"x": x / days, "y": v / top, "low": max(v - u, 0.0) / top, "high": (v + u) / top, "style": style}
        for x, v, u, style in points
    ]
    x_ticks = [(f * (last - first).days / days + 0.5 / days, label) for f, label in day_ticks(first, last)]
    return {"title": title, "x": x_ticks, "y": ticks(0.0, top, 4, unit), "marks": marks}


def day_bars(
    first: dt.date, last: dt.date, minutes: dict[dt.date, tuple[float, float]], goal_min: float | None
) -> dict[str, Any]:
    """Return the minutes of each day (on the rig, by hand) as bars, with the programme's minutes as a line."""
    days = (last - first).days + 1
    top = 1.1 * max([sum(pair) for pair in minutes.values()] + [goal_min or 0.0, 1.0])
    bars = [
        {"x": (day - first).days / days, "width": 1.0 / days, "rig": rig / top, "hand": hand / top}
        for day, (rig, hand) in sorted(minutes.items())
    ]
    x_ticks = [(f * (last - first).days / days + 0.5 / days, label) for f, label in day_ticks(first, last, 8)]
    return {
        "x": x_ticks,
        "y": ticks(0.0, top, 3, "min"),
        "bars": bars,
        "goal": None if goal_min is None else goal_min / top,
    }


def hold_curve_chart(
    t_s: _Array, bar: _Array, feet: _Array | None, weight: float | None, unit: str, result: HoldResult
) -> dict[str, Any]:
    """Return the curve of one hold: time counted from its onset.

    Parameters
    ----------
    t_s : (n,) float, s
        On the time axis of ``result``.
    bar, feet : (n,) float, in ``unit``
        NaN where a reading failed; ``feet`` None without a platform.
    weight : float or None
        Bodyweight in ``unit``.
    unit : str
    result : HoldResult
    """
    start_s, end_s = result.onset_s - MARGIN_s, result.release_s + MARGIN_s
    near = (t_s >= start_s) & (t_s <= end_s)
    span_s = end_s - start_s
    known = [float(np.nanmax(c[near])) for c in (bar, feet) if c is not None and np.isfinite(c[near]).any()]
    # A hard catch must not flatten the rest of the hold: the words give its peak.
    top = 1.04 * max(known, default=1.0)
    if weight is not None:
        top = max(1.15 * weight, min(top, 1.45 * weight))
    low = -0.04 * top

    def line(load: _Array) -> list[list[list[float]]]:
        times, loads = thinned(t_s[near], load[near], POINTS)
        pieces: list[list[list[float]]] = [[]]
        for t, value in zip(times.tolist(), loads.tolist(), strict=True):
            if math.isfinite(value):
                y = min(max((value - low) / (top - low), 0.0), 1.0)
                pieces[-1].append([round((t - start_s) / span_s, 5), round(y, 4)])
            elif pieces[-1]:
                pieces.append([])
        return [piece for piece in pieces if len(piece) > 1]

    def level(load: _Array) -> float:
        inside = (t_s >= result.onset_s) & (t_s <= result.release_s) & np.isfinite(load)
        return (float(np.median(load[inside])) - low) / (top - low) if inside.any() else 0.0

    lines = [{"style": "hands", "label": "hands", "pieces": line(bar), "level": level(bar)}]
    if feet is not None:
        lines.append({"style": "feet", "label": "feet", "pieces": line(feet), "level": level(feet)})

    def at(second: float) -> float:
        return (second - start_s) / span_s

    below = [{"from": at(t.start_s), "to": at(t.end_s), "label": "touch"} for t in result.touches]
    below += [{"from": at(t.start_s), "to": at(t.end_s), "label": f"{t.travel_mm:+.0f} mm"} for t in result.travel]
    below += [{"from": at(r.start_s), "to": at(r.end_s), "label": "regrip"} for r in result.regrips]
    below += [{"from": at(s.start_s), "to": at(s.end_s), "label": "third support"} for s in result.third_support]
    below.sort(key=lambda mark: float(str(mark["from"])))
    step_s = round_step(result.duration_s, 8)
    marks = range(int(result.duration_s / step_s) + 1)
    seconds = _with_unit([(at(result.onset_s + k * step_s), f"{k * step_s:g}") for k in marks], "s")
    y_ticks = ticks(low, top, 3, unit)
    if weight is not None:
        levels = ((0.0, "0"), (weight / 2, _digits(weight / 2)), (weight, f"{_digits(weight)} {unit}"))
        y_ticks = [((value - low) / (top - low), label) for value, label in levels]
    return {
        "x": seconds,
        "y": y_ticks,
        "lines": lines,
        "weight": None if weight is None else (weight - low) / (top - low),
        "edges": [at(result.onset_s), at(result.release_s)],
        "below": below[:12],
    }


def _digits(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.1f}"
