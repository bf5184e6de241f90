"""Verdicts of a check: in plain words, with the numbers that they rest on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

Outcome = Literal["good", "doubtful", "bad", "not_told"]

_RANK: dict[Outcome, int] = {"good": 0, "not_told": 1, "doubtful": 2, "bad": 3}


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on one thing.

    Attributes
    ----------
    key : str
        Stable name, for programs.
    title, words : str
        What was checked, and the result.
    outcome : Outcome
        ``not_told``: unknown, ``words`` say why.
    do : str
        What to do; empty where all is well.
    numbers : dict
        Plain numbers (or None) under names that carry their unit.
    """

    key: str
    title: str
    outcome: Outcome
    words: str
    do: str = ""
    numbers: dict[str, Any] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """Return the verdict as plain JSON data."""
        return asdict(self)


def worst(verdicts: Iterable[Verdict]) -> Outcome:
    """Return the worst outcome; ``not_told`` where there is no verdict."""
    return max((v.outcome for v in verdicts), key=_RANK.__getitem__, default="not_told")


def graded(value: float, good: float, doubtful: float) -> Outcome:
    """Return the outcome of a size that should be small: up to ``good``, up to ``doubtful``, or beyond."""
    if not value <= doubtful:
        return "bad"
    return "good" if value <= good else "doubtful"
