"""Describes a rig and its calibration in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from monitor.records.stored_session import StoredSession
from monitor.reports.charts import long_date

MOST_RIGS = 3


def rig_lines(sessions: Sequence[StoredSession]) -> list[str]:
    """Return one line for each rig and calibration that was in force, the newest first."""
    sessions_of: dict[str, int] = {}
    for session in sorted(sessions, key=lambda s: -s.started_utc_ns):
        line = f"{_rig_words(session.rig)} {_calibration_words(session.calibration)}"
        sessions_of[line] = sessions_of.get(line, 0) + 1
    if not sessions_of:
        return ["Nothing was measured in this period."]
    lines = [f"{line} ({count} session{'s' if count != 1 else ''})" for line, count in sessions_of.items()]
    more = len(lines) - MOST_RIGS
    return lines[:MOST_RIGS] + ([f"{more} more rigs or calibrations in this period."] if more > 0 else [])


def _rig_words(rig: Mapping[str, Any]) -> str:
    channels = rig.get("channels", [])
    bar = sum(c.get("part") == "bar" for c in channels)
    feet = sum(c.get("part") == "platform" for c in channels)
    platform = f"{feet} under the feet" if feet else "no platform: help is inferred"
    invented = " It is invented, and so is everything here." if rig.get("invented") else ""
    rate = rig.get("nominal_rate_Hz")
    readings = f", {rate:g} readings a second" if isinstance(rate, (int, float)) else ""
    bar_words = f"{bar} cell{'s' if bar != 1 else ''} under the bar"
    return f"{rig.get('name') or 'A rig without a name'}: {bar_words}, {platform}{readings}.{invented}"


def _calibration_words(calibration: Mapping[str, Any] | None) -> str:
    if not calibration:
        return "No calibration is stored with it."
    channels = calibration.get("channels", [])
    spans = sorted(str(c.get("span_at") or "") for c in channels)
    zeros = sorted(str(c.get("zero_at") or "") for c in channels)
    u = max((float(c.get("u_rel_span") or 0.0) for c in channels), default=0.0)
    sure = f", known to {100 * u:.2g} %" if u else ""
    return f"Span calibrated {_day(spans)}{sure}; zero {_day(zeros)}."


def _day(stamps: Sequence[str]) -> str:
    """Return the oldest of dates in words."""
    if not stamps or not stamps[0]:
        return "on a day that is not known"
    try:
        return f"on {long_date(dt.datetime.fromisoformat(stamps[0]).date())}"
    except ValueError:
        return "on a day that cannot be read"
