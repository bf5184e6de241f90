"""Rules for the fields of a hold that is joined from two: each returns one value from two.

Where one of the two is not known, neither is the result, unless the rule says otherwise.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from typing import Any

from monitor.records.measure import JoinRule, Timed, declared_measure


def join_records(x: Any, y: Any, first: Timed, second: Timed) -> Any:
    """Return a record whose fields are joined by their rules; a field without a rule takes its default."""
    values = {}
    for field in dataclasses.fields(x):
        declared = declared_measure(field)
        if declared is not None and declared.join is not None:
            values[field.name] = declared.join(getattr(x, field.name), getattr(y, field.name), first, second)
    return type(x)(**values)


def _both_known(rule: JoinRule) -> JoinRule:
    @functools.wraps(rule)
    def checked(x: Any, y: Any, first: Timed, second: Timed) -> Any:
        return None if x is None or y is None else rule(x, y, first, second)

    return checked


def first(x: Any, y: Any, first: Timed, second: Timed) -> Any:
    """Return the value of the first hold, known or not."""
    return x


def last(x: Any, y: Any, first: Timed, second: Timed) -> Any:
    """Return the value of the second hold, known or not."""
    return y


def first_known(x: Any, y: Any, first: Timed, second: Timed) -> Any:
    """Return the value of the first hold, or of the second where the first has none."""
    return y if x is None else x


def first_to_last(x: Any, y: Any, first: Timed, second: Timed) -> float:
    """Return the time from the onset of the first hold to the release of the second, the gap included."""
    return second.release_s - first.onset_s


@_both_known
def sum_of_both(x: float, y: float, first: Timed, second: Timed) -> float:
    """Return the sum."""
    return x + y


@_both_known
def larger(x: float, y: float, first: Timed, second: Timed) -> float:
    """Return the larger value."""
    return max(x, y)


@_both_known
def mean_by_time(x: float, y: float, first: Timed, second: Timed) -> float:
    """Return the mean, weighted by the time on the bar. Uncertainties are taken as if they went together."""
    return (x * first.duration_s + y * second.duration_s) / (first.duration_s + second.duration_s)


@_both_known
def rms_by_time(x: float, y: float, first: Timed, second: Timed) -> float:
    """Return the root of the mean square, weighted by the time on the bar."""
    return math.sqrt(mean_by_time(x * x, y * y, first, second))


@_both_known
def true_of_both(x: bool, y: bool, first: Timed, second: Timed) -> bool:
    """Return whether both are true."""
    return x and y


@_both_known
def same_or_mixed(x: str, y: str, first: Timed, second: Timed) -> str:
    """Return the word that both have, ``mixed`` where they differ."""
    return x if x == y else "mixed"


def assisted_if_either(x: str | None, y: str | None, first: Timed, second: Timed) -> str | None:
    """Return the word that both have; where they differ, ``assisted`` if one of them is."""
    return x if x == y else "assisted" if "assisted" in (x, y) else None


def concatenated(x: list[Any], y: list[Any], first: Timed, second: Timed) -> list[Any]:
    """Return one list after the other."""
    return [*x, *y]


def union(x: list[Any], y: list[Any], first: Timed, second: Timed) -> list[Any]:
    """Return what is in either list, in order, once."""
    return list(dict.fromkeys([*x, *y]))


@_both_known
def each_by_its_rule(x: Any, y: Any, first: Timed, second: Timed) -> Any:
    """Join the parts of a record, each by its own rule."""
    return join_records(x, y, first, second)


def of_the_larger(name: str) -> JoinRule:
    """Return the rule that takes the value of the hold whose field ``name`` is larger."""

    def rule(x: Any, y: Any, first: Timed, second: Timed) -> Any:
        one, other = getattr(first, name), getattr(second, name)
        return None if one is None or other is None else x if one >= other else y

    rule.__name__ = f"of_the_larger_{name}"
    return rule
