"""What a person's report says, as plain data for the template: every word and number is made here."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.endurance.overview import EnduranceOverview
from monitor.coaching.local_time import local_day, zone_of
from monitor.coaching.prescribing.day_prescription import DayPrescription
from monitor.coaching.progress.progress import Best, Progress
from monitor.errors import BadInput
from monitor.measures.flag_words import in_words
from monitor.records.hold_result import HoldResult
from monitor.records.person import Person
from monitor.records.stored_hold import StoredHold
from monitor.records.stored_session import StoredSession
from monitor.reports.charts import day_bars, hold_curve_chart, long_date, scatter
from monitor.reports.rig_words import rig_lines
from monitor.reports.words import duration_words, share_words
from monitor.uncertainty import with_u
from monitor.units import N_PER_KGF, N_PER_LBF

_Array = NDArray[np.float64]
CurveOf = Callable[[str], tuple[_Array, tuple[str, ...], _Array] | None]
"""Gives a hold's curve: times (n,) as in its result, channel names, loads (n, channels) in N; None where it is gone."""

CURVES = 3
MOST_CURVES_TRIED = 40
MOST_PLUMB_LINES = 9
ZERO_NOT_READ = ("bar_zero_not_read", "platform_zero_not_read")
LEAST_u_s, LEAST_u_share = 0.01, 0.0005
"""Smallest uncertainties printed: nobody can use a millisecond or a hundredth of a percent on paper."""


@dataclass(frozen=True, slots=True)
class _Unit:
    name: str
    per_N: float


def report_data(
    coaching: CoachingService,
    uid: str,
    first: dt.date | None,
    last: dt.date | None,
    now: dt.datetime,
    curve_of: CurveOf = lambda _: None,
    version: str = "",
) -> dict[str, Any]:
    """Return a person's report from the first to the last day (both included) as plain data.

    Parameters
    ----------
    first, last : date or None
        In the person's time zone. None: the day of the first hold, and today.
    now : datetime
        When the report is made, with its time zone.
    curve_of : callable
        Where curves come from; the report shows those of at most three key holds.
    version : str
        Of the program.

    Raises
    ------
    UnknownPerson, BadInput
    """
    person = coaching.person(uid)
    zone = zone_of(person.time_zone)
    today = now.astimezone(zone).date()
    end = last or today
    begin = first or _first_day(coaching, uid, zone, end)
    if begin > end:
        raise BadInput(
            what=f"The period ends before it begins ({begin} to {end}).",
            means="No report was written.",
            do="Give the first day with --from and the last day with --to.",
        )
    progress = coaching.progress(uid, begin, end)
    holds = _holds_between(coaching.holds(uid), begin, end, zone)
    prescription, endurance = coaching.prescribe(uid), coaching.endurance(uid)
    goal_min = coaching.programme(uid)[0].day.minutes
    sessions = _sessions(coaching, holds)
    return {
        "person": person.name,
        "period": f"{long_date(begin)} to {long_date(end)}",
        "made": f"{long_date(today)}",
        "version": version,
        "invented": any(session.rig.get("invented") for session in sessions),
        "summary": _summary(progress),
        "bests": _bests(progress, zone),
        "days": day_bars(begin, end, _minutes(progress), goal_min),
        "days_words": _days_words(progress, goal_min),
        "charts": _charts(progress, begin, end, zone),
        "plumb": _plumb_lines(holds, begin, end, zone),
        "curves": _curves(coaching, holds, progress, person, curve_of, zone),
        "change": _change(coaching, uid, begin, end),
        "strength": [bound(line) for line in _strength(endurance, prescription)],
        "next": bound(_next(prescription)),
        "items": _items(prescription),
        "cautions": [bound(line) for line in _cautions(prescription, progress, endurance)],
        "sureness": [bound(line) for line in _sureness(holds)],
        "rig": rig_lines(sessions),
    }


def bound(text: str) -> str:
    """Return words whose numbers keep their unit beside them at the end of a line."""
    return re.sub(r"(\d) ?(%)|(\d) (s|min|mm|kgf|N|lbf)\b", "\\1\\3\N{NO-BREAK SPACE}\\2\\4", text)


def _first_day(coaching: CoachingService, uid: str, zone: ZoneInfo, end: dt.date) -> dt.date:
    holds = coaching.holds(uid)
    return min(local_day(holds[0].onset_utc_ns, zone), end) if holds else end - dt.timedelta(days=29)


def _holds_between(holds: Sequence[StoredHold], begin: dt.date, end: dt.date, zone: ZoneInfo) -> list[StoredHold]:
    return [h for h in holds if begin <= local_day(h.onset_utc_ns, zone) <= end]


def _sessions(coaching: CoachingService, holds: Sequence[StoredHold]) -> list[StoredSession]:
    sessions = (coaching.store.get_session(uid) for uid in dict.fromkeys(h.session_uid for h in holds))
    return [session for session in sessions if session is not None]


# What was done


def _summary(progress: Progress) -> list[list[str]]:
    """Return pairs of a number with its unit and what it counts."""
    rig_min = sum(d.rig_min for d in progress.days)
    hand_min = sum(d.by_hand_min for d in progress.days)
    rows = [
        [str(progress.holds), "hold" if progress.holds == 1 else "holds"],
        [str(len(progress.days)), "day with a hang" if len(progress.days) == 1 else "days with a hang"],
        [f"{rig_min:.0f} min", "on the bar"],
        [f"{progress.dose_bw_s:.0f}", "bodyweight-seconds"],
    ]
    return rows + ([[f"{hand_min:.0f} min", "entered by hand"]] if progress.by_hand else [])


def _bests(progress: Progress, zone: ZoneInfo) -> list[list[str]]:
    rows = [
        ["Longest passive hang without help", *_best(progress.longest_passive, "s")],
        ["Longest active hang without help", *_best(progress.longest_active, "s")],
        ["Least help over 30 s or more", *_least_help(progress.least_assistance)],
    ]
    if progress.longest_alternating is not None:
        turns = progress.longest_alternating
        changes = "" if turns.changes is None else f"{turns.changes} changes of hands"
        rows.append(["Longest alternating hang", f"{turns.total_s:.1f} s", changes])
    if progress.pain:
        latest = progress.pain[-1]
        day = local_day(latest.at_utc_ms * 1_000_000, zone)
        where = f", {latest.place.replace('_', ' ')}" if latest.place else ""
        worst = max(p.pain for p in progress.pain)
        rows.append(["Pain, last entry", f"{latest.pain} of 10{where}", f"{long_date(day)}; highest {worst}"])
    return rows


def _best(best: Best | None, unit: str, scale: float = 1.0) -> tuple[str, str]:
    if best is None:
        return "none yet", ""
    ties = f"; {best.ties} later not distinguishable" if best.ties else ""
    return with_u(best.value, best.u, unit, scale=scale), long_date(dt.date.fromisoformat(best.day)) + ties


def _least_help(best: Best | None) -> tuple[str, str]:
    words, when = _best(best, "% of bodyweight", 100)
    # Zero lies within two standard uncertainties: indistinguishable from no help at all.
    return ("none", when) if best is not None and best.value <= 2 * best.u else (words, when)


def _minutes(progress: Progress) -> dict[dt.date, tuple[float, float]]:
    return {dt.date.fromisoformat(d.day): (d.rig_min, d.by_hand_min) for d in progress.days}


def _days_words(progress: Progress, goal_min: float) -> str:
    done = sum(d.rig_min + d.by_hand_min >= goal_min * 0.999 for d in progress.days)
    words = f"Minutes a day; the line is the programme's {goal_min:g}."
    words += f" Reached on {done} of the days." if done else ""
    return words + (" Open bars were entered by hand." if progress.by_hand else "")


# How it went


def _charts(progress: Progress, begin: dt.date, end: dt.date, zone: ZoneInfo) -> list[dict[str, Any]]:
    start = dt.datetime.combine(begin, dt.time(), zone).timestamp()

    def day_of(utc_ms: int) -> float:
        return (utc_ms / 1000 - start) / 86_400

    times = [(day_of(p.at_utc_ms), p.duration_s, p.u_s, _style(p.kind)) for p in progress.points]
    helped = [
        (day_of(p.at_utc_ms), 100 * max(p.alpha, 0.0), 100 * (p.u_alpha or 0.0), _style(p.kind))
        for p in progress.points
        if p.alpha is not None
    ]
    made = [scatter(begin, end, times, "Time on the bar", "s")] if times else []
    return made + ([scatter(begin, end, helped, "Weight on the feet", "%", least_top=10.0)] if helped else [])


def _style(kind: str | None) -> str:
    return kind if kind in ("passive", "active") else "other"


def _plumb_lines(holds: Sequence[StoredHold], begin: dt.date, end: dt.date, zone: ZoneInfo) -> list[dict[str, Any]]:
    """Return one plumb line for each stretch of the period: what hands and feet carried on an average."""
    days = (end - begin).days + 1
    stretch = max(7, -(-days // MOST_PLUMB_LINES // 7) * 7) if days > 7 else 1
    made = []
    for number in range(-(-days // stretch)):
        from_day = begin + dt.timedelta(days=number * stretch)
        to_day = min(from_day + dt.timedelta(days=stretch - 1), end)
        here = _holds_between(holds, from_day, to_day, zone)
        shares = [(h.result.beta_mean, h.result.duration_s) for h in here if h.result.beta_mean is not None]
        swings = [h.result.swing.rms_deg for h in here if h.result.swing and h.result.swing.rms_deg is not None]
        hung_s = sum(s for _, s in shares)
        hands = sum(b * s for b, s in shares) / hung_s if shares else None
        made.append(
            {
                "label": f"{from_day.day}.{from_day.month}.",
                "hands": None if hands is None else min(max(hands, 0.0), 1.0),
                "words": "–" if hands is None else f"{100 * (1 - min(hands, 1.0)):.0f} %",
                "swing_deg": float(np.mean(swings)) if swings else None,
            }
        )
    return made


def _change(coaching: CoachingService, uid: str, begin: dt.date, end: dt.date) -> list[list[str]]:
    """Return how the second half of the period differs from the first, in the measures that people ask for."""
    half = (end - begin).days // 2
    if half < 6:
        return []
    middle = begin + dt.timedelta(days=half)
    comparison = coaching.compare(uid, (begin, middle), (middle + dt.timedelta(days=1), end))
    rows = []
    for name, label, unit, scale, places in _COMPARED:
        one = comparison[name]
        if one.difference is None or one.low is None or one.high is None:
            continue
        values = [_rounded(scale * v, places) for v in (cast(float, one.before), cast(float, one.after))]
        ends = [_rounded(scale * v, places, "+") for v in (one.difference, one.low, one.high)]
        span = f"{ends[0]} ({ends[1]} to {ends[2]})"
        clear = "a change" if one.low > 0 or one.high < 0 else "no clear change"
        rows.append([label, f"{values[0]} {unit}", f"{values[1]} {unit}", f"{_minus(span)} {unit}", clear])
    return rows


_COMPARED = (
    ("duration", "Time on the bar", "s", 1.0, 1),
    ("assistance", "Weight on the feet", "%", 100.0, 1),
    ("swing", "Swing", "°", 1.0, 2),
    ("travel", "Travel of the shoulders", "mm", 1.0, 0),
)


def _rounded(value: float, places: int, sign: str = "") -> str:
    """Return a rounded number; what rounds to nothing has no sign."""
    text = f"{value:{sign}.{places}f}"
    return f"{0.0:.{places}f}" if float(text) == 0 else text


def _minus(text: str) -> str:
    return text.replace("-", "−")


# Curves


def _curves(
    coaching: CoachingService,
    holds: Sequence[StoredHold],
    progress: Progress,
    person: Person,
    curve_of: CurveOf,
    zone: ZoneInfo,
) -> list[dict[str, Any]]:
    made: list[tuple[int, dict[str, Any]]] = []
    shown: set[str] = set()
    for why, hold in _key_holds(holds, progress)[:MOST_CURVES_TRIED]:
        if hold.uid in shown or len(made) == CURVES:
            continue
        shown.add(hold.uid)
        curve, session = curve_of(hold.uid), coaching.store.get_session(hold.session_uid)
        if curve is None or session is None:
            continue
        day = long_date(local_day(hold.onset_utc_ns, zone))
        words = _hold_words(hold.result)
        chart = _curve_chart(hold, session, curve, person.units)
        made.append((hold.onset_utc_ns, {"title": f"{day}: {why}", "words": words, "chart": chart}))
    return [one for _, one in sorted(made, key=lambda pair: pair[0])]


def _hold_words(result: HoldResult) -> str:
    """Return a hold in one line, with no more digits than a reader can use."""
    floored = replace(
        result,
        duration_u_s=max(result.duration_u_s, LEAST_u_s),
        beta_u=max(result.beta_u or 0.0, LEAST_u_share),
        alpha_u=max(result.alpha_u or 0.0, LEAST_u_share),
    )
    zeros = [in_words(flag) for flag in result.flags if flag in ZERO_NOT_READ]
    return "; ".join([duration_words(floored), share_words(floored), *zeros])


def _key_holds(holds: Sequence[StoredHold], progress: Progress) -> list[tuple[str, StoredHold]]:
    by_uid = {h.uid: h for h in holds}
    bests = (
        ("the longest passive hang", progress.longest_passive),
        ("the longest active hang", progress.longest_active),
        ("the least help", progress.least_assistance),
    )
    keys = [(why, by_uid[b.hold_uid]) for why, b in bests if b is not None and b.hold_uid in by_uid]
    if holds:
        keys += [("the first hold", holds[0]), ("the latest hold", holds[-1])]
    longest = sorted(holds, key=lambda h: -h.result.duration_s)
    return keys + [("one of the longest holds", h) for h in longest]


def _curve_chart(
    hold: StoredHold, session: StoredSession, curve: tuple[_Array, tuple[str, ...], _Array], units: str
) -> dict[str, Any]:
    t_s, names, load_N = curve
    part = {c["name"]: c.get("part") for c in session.rig.get("channels", [])}
    unit = _unit(units, hold.bodyweight_N)
    bar = load_N[:, [part.get(n) == "bar" for n in names]].sum(axis=1) * unit.per_N
    on_platform = [part.get(n) == "platform" for n in names]
    feet = load_N[:, on_platform].sum(axis=1) * unit.per_N if any(on_platform) else None
    weight = None if hold.bodyweight_N is None else hold.bodyweight_N * unit.per_N
    return hold_curve_chart(t_s, bar, feet, weight, unit.name, hold.result)


def _unit(units: str, bodyweight_N: float | None) -> _Unit:
    if units == "%BW" and bodyweight_N:
        return _Unit("% of bodyweight", 100.0 / bodyweight_N)
    return {"N": _Unit("N", 1.0), "lbf": _Unit("lbf", 1 / N_PER_LBF)}.get(units, _Unit("kgf", 1 / N_PER_KGF))


# What comes next


def _strength(endurance: EnduranceOverview, prescription: DayPrescription) -> list[str]:
    chance = prescription.chance_unassisted
    lines = [
        f"The chance of 30 s without help on the day of this report is {_chance(chance.value)} "
        f"(four fifths of what is believed lie between {_chance(chance.low)} and {_chance(chance.high)}). "
        + prescription.trial.reason
    ]
    trend = endurance.trend
    if trend is None:
        lines.append("Whether strength grows is not known yet: it takes holds over two weeks or more.")
    else:
        week = trend.per_week
        lines.append(
            _minus(
                f"The time at any load changes by {week.value:+.1%} a week (four fifths: {week.low:+.1%} to "
                f"{week.high:+.1%}); that it grows is believed with {_chance(trend.chance_of_gain)}. {trend.disproof}"
            )
        )
    return lines


def _chance(value: float) -> str:
    """Return a probability in words; nothing is stated as certain."""
    return "less than 1 %" if value < 0.01 else "more than 99 %" if value > 0.99 else f"{100 * value:.0f} %"


def _next(prescription: DayPrescription) -> str:
    return f"{prescription.reason} {prescription.day}".strip()


def _items(prescription: DayPrescription) -> list[dict[str, Any]]:
    rows = []
    for item in prescription.items:
        band = "none" if item.alpha == 0 else f"{100 * item.alpha:.0f} to {100 * item.alpha_max:.0f} %"
        rest_min = item.rest_s / 60
        rows.append(
            {
                "title": item.title,
                "now": item.key == prescription.next,
                "target": f"{item.target_s:.0f} s",
                "help": band,
                "alpha": item.alpha,
                "alpha_max": item.alpha_max,
                "sets": f"{item.sets} × , {rest_min:g} min rest".replace(" ,", ","),
                "chance": _chance(item.chance),
                "reason": bound(item.paused or item.reason),
                "paused": bool(item.paused),
            }
        )
    return rows


def _cautions(prescription: DayPrescription, progress: Progress, endurance: EnduranceOverview) -> list[str]:
    lines = list(prescription.cautions)
    if progress.pain and max(p.pain for p in progress.pain) >= _PAIN_THAT_ENDS_A_HOLD:
        lines.append("Pain of 4 and more ends a hold; ask a licensed clinician before going on.")
    lines.append(endurance.models.statement)
    lines.append(
        "Load cells see changes of load, not posture: passive and active are distinguished by a known start and by the "
        "shoulders' travel, and the coach's judgement overrides both."
    )
    lines.append("This report measures and suggests. It is no diagnosis, and it clears nobody medically.")
    return lines


_PAIN_THAT_ENDS_A_HOLD = 4


def _sureness(holds: Sequence[StoredHold]) -> list[str]:
    """Return in plain words how sure the numbers are, with the typical uncertainties of this period."""
    lines = [
        "Every number stands with its standard uncertainty (±). The true value lies within one of them about two "
        "times in three, and within two about nineteen times in twenty. A best counts as a best only beyond it."
    ]
    u_s = [h.result.duration_u_s for h in holds]
    u_alpha = [h.result.alpha_u for h in holds if h.result.alpha_u is not None]
    u_weight = [h.bodyweight_u_N for h in holds if h.bodyweight_u_N is not None]
    typical = []
    if u_s:
        typical.append(f"times to {_rough(float(np.median(u_s)))} s")
    if u_alpha:
        typical.append(f"the weight on the feet to {_rough(100 * float(np.median(u_alpha)))} % of bodyweight")
    if u_weight:
        typical.append(f"the bodyweight to {_rough(float(np.median(u_weight)) / N_PER_KGF)} kgf")
    if typical:
        lines.append(f"In this period the rig knew {', '.join(typical)} (medians).")
    inferred = sum(not h.result.alpha_direct and h.result.alpha_mean is not None for h in holds)
    if inferred:
        lines.append(
            f"In {inferred} of {len(holds)} holds no platform weighed the feet: the help was inferred from the bar "
            "and the bodyweight, which is less sure."
        )
    flags: dict[str, int] = {}
    for hold in holds:
        for flag in hold.result.flags:
            flags[flag] = flags.get(flag, 0) + 1
    if flags:
        most = sorted(flags.items(), key=lambda pair: (-pair[1], pair[0]))[:5]
        lines.append("Noted: " + "; ".join(f"{in_words(flag)} ({count})" for flag, count in most) + ".")
    return lines


def _rough(value: float) -> str:
    return f"{value:.2g}"
