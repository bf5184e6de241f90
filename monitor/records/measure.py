"""How a field of a hold is declared: unit, uncertainty, label, exports, and what becomes of it in a join or a split."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

EXPORTS = ("csv", "parquet", "json")
"""Exports of the list of holds that a field can stand in."""


class Timed(Protocol):
    """A stretch on the bar, in seconds of the record."""

    @property
    def onset_s(self) -> float:
        """Its start."""

    @property
    def release_s(self) -> float:
        """Its end."""

    @property
    def duration_s(self) -> float:
        """Its length, by the board's clock."""


JoinRule = Callable[[Any, Any, Timed, Timed], Any]
"""Returns a field of the joined hold from its two values and the two holds in order of time."""

SplitRule = Callable[[Any, Timed, float, float], Any]
"""Returns a field of one part from its value, the whole hold, and the start and end of the part in seconds."""


@dataclass(frozen=True, slots=True)
class Measure:
    """What is declared of a field of a hold.

    Attributes
    ----------
    unit : str
        Of the value as it is stored; ``1`` for a ratio, empty for what has none.
    u : str or None
        The field beside it that holds its standard uncertainty.
    label : str or None
        Key of its label on the hold page; None: it has no row of its own there.
    reasons : tuple of str
        Flags that can explain why it is absent, the most telling first.
    header : str or None
        Header of its column where it is not that of ``monitor.records.hold_fields``.
    cell : callable or None
        Turns a value into what stands in its column; its return annotation is the column's type.
    exports : tuple of str
    join, split : callable or None
        Rules of ``join_rules`` and ``split_rules``. None: there is no rule, the field is absent afterwards.
    """

    unit: str = ""
    u: str | None = None
    label: str | None = None
    reasons: tuple[str, ...] = ()
    header: str | None = None
    cell: Callable[[Any], Any] | None = None
    exports: tuple[str, ...] = EXPORTS
    join: JoinRule | None = None
    split: SplitRule | None = None


def measure(unit: str = "", **declared: Any) -> Mapping[str, Measure]:
    """Return the metadata of a dataclass field; the arguments are those of ``Measure``."""
    return {"measure": Measure(unit, **declared)}


def declared_measure(field: dataclasses.Field[Any]) -> Measure | None:
    """Return what was declared of a field, None for one that is no measure."""
    declared: Measure | None = field.metadata.get("measure")
    return declared
