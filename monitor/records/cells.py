"""How a list stands in one cell of a table. The return annotation is the type of the column."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any


def count(values: Sequence[Any]) -> int:
    """Return how many there are."""
    return len(values)


def in_one_cell(words: Sequence[str]) -> str:
    """Return words with spaces between them."""
    return " ".join(words)


def largest_second(course: Sequence[tuple[float, float | None, float | None]]) -> float | None:
    """Return the largest known value of a course; rows as in ``HoldResult.assistance_course``."""
    return max((value for _, value, _ in course if value is not None), default=None)
