"""Rules for the fields of a hold that is one part of another: each returns a value of the part."""

from __future__ import annotations

import dataclasses
from typing import Any

from monitor.records.measure import Timed, declared_measure


def split_record(value: Any, whole: Timed, start_s: float, end_s: float) -> Any:
    """Return a record whose fields are those of a part by their rules; a field without a rule takes its default."""
    values = {}
    for field in dataclasses.fields(value):
        declared = declared_measure(field)
        if declared is not None and declared.split is not None:
            values[field.name] = declared.split(getattr(value, field.name), whole, start_s, end_s)
    return type(value)(**values)


def same(value: Any, whole: Timed, start_s: float, end_s: float) -> Any:
    """Return the value of the whole."""
    return value


def start(value: Any, whole: Timed, start_s: float, end_s: float) -> float:
    """Return the start of the part."""
    return start_s


def end(value: Any, whole: Timed, start_s: float, end_s: float) -> float:
    """Return the end of the part."""
    return end_s


def length(value: Any, whole: Timed, start_s: float, end_s: float) -> float:
    """Return the length of the part."""
    return end_s - start_s


def same_unless_mixed(value: str | None, whole: Timed, start_s: float, end_s: float) -> str | None:
    """Return the word of the whole; a mixed whole says nothing of a part."""
    return None if value == "mixed" else value


def cut_by_time(spans: list[Any], whole: Timed, start_s: float, end_s: float) -> list[Any]:
    """Return the spans that reach into the part, cut to it."""
    inside = [s for s in spans if s.end_s > start_s and s.start_s < end_s]
    return [dataclasses.replace(s, start_s=max(s.start_s, start_s), end_s=min(s.end_s, end_s)) for s in inside]


def begun_within(spans: list[Any], whole: Timed, start_s: float, end_s: float) -> list[Any]:
    """Return the spans that begin within the part, uncut."""
    return [s for s in spans if start_s <= s.start_s < end_s]


def instants_within(times_s: list[float], whole: Timed, start_s: float, end_s: float) -> list[float]:
    """Return the instants within the part."""
    return [t_s for t_s in times_s if start_s <= t_s < end_s]


def rows_within(rows: list[Any], whole: Timed, start_s: float, end_s: float) -> list[Any]:
    """Return the rows whose first column, a time, lies within the part."""
    return [row for row in rows if start_s <= row[0] < end_s]
