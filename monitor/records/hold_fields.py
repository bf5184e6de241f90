"""The table of a hold's fields, read off the declarations in ``HoldResult`` and ``StoredHold``.

Exports, the hold page, the documentation and the join and split of holds read this table; none of them lists fields.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args, get_origin, get_type_hints

from monitor.records.cells import count
from monitor.records.hold_result import HoldResult
from monitor.records.measure import Measure, declared_measure
from monitor.records.plain_data import part_type
from monitor.records.stored_hold import StoredHold


@dataclass(frozen=True, slots=True)
class HoldField:
    """One row of the table.

    Attributes
    ----------
    path : str
        Attributes from a ``StoredHold`` to the value, with dots: ``result.swing.max_deg``.
    unit : str
        Of the value; ``column_unit`` is that of its column.
    header : str or None
        Of its column, ending with the unit (``_1`` for a ratio); None where it is a record with columns of its own.
    column_type : type
        ``float``, ``int``, ``bool`` or ``str``.
    measure : Measure
        As it was declared.
    """

    path: str
    unit: str
    header: str | None
    column_type: type[Any]
    column_unit: str
    measure: Measure

    @property
    def uncertainty(self) -> str | None:
        """Path of the field with its standard uncertainty."""
        parent, dot, _ = self.path.rpartition(".")
        return None if self.measure.u is None else f"{parent}{dot}{self.measure.u}"

    def value_of(self, hold: StoredHold) -> Any:
        """Return the value of a hold; None also where the record that it belongs to is absent."""
        value: Any = hold
        for name in self.path.split("."):
            value = None if value is None else getattr(value, name)
        return value

    def cell_of(self, hold: StoredHold) -> Any:
        """Return what stands in the column: the value, or what is made of it (a list's count)."""
        value, cell = self.value_of(hold), self.measure.cell
        return value if cell is None or value is None else cell(value)


def fields_of(record: type[Any], path: str = "", header: str = "", unit: str = "") -> Iterator[HoldField]:
    """Yield the fields of a record type in its order, those of its parts behind them.

    Parameters
    ----------
    path, header : str
        What paths and headers begin with.
    unit : str
        Unit of the whole, where a part's unit begins with ``/``: a slope's is that of what changes, per minute.
    """
    hints = get_type_hints(record)
    for field in dataclasses.fields(record):
        declared, hint = declared_measure(field), hints[field.name]
        part, is_list = part_type(hint), get_origin(hint) is list
        if declared is None:
            if part is not None and not is_list:
                yield from fields_of(part, f"{path}{field.name}.", header)
            continue
        if is_list and declared.cell is None:
            name = f"{field.name.removesuffix('_s')}_count"
            declared = dataclasses.replace(declared, cell=count, header=declared.header or name)
        own_unit = f"{unit}{declared.unit}" if declared.unit.startswith("/") else declared.unit
        own_header = declared.header or (f"{field.name}_1" if own_unit == "1" else field.name)
        if part is not None and not is_list:
            yield HoldField(f"{path}{field.name}", own_unit, None, str, "", declared)
            yield from fields_of(part, f"{path}{field.name}.", f"{header}{own_header}_", own_unit)
            continue
        column_type = _column_type(hint if declared.cell is None else get_type_hints(declared.cell)["return"])
        column_unit = own_unit if declared.cell is None else "1" if own_header.endswith("_1") else ""
        yield HoldField(f"{path}{field.name}", own_unit, f"{header}{own_header}", column_type, column_unit, declared)


def _column_type(hint: Any) -> type[Any]:
    return next((kind for kind in (hint, *get_args(hint)) if kind in (float, int, bool)), str)


HOLD_FIELDS: tuple[HoldField, ...] = tuple(fields_of(StoredHold))


def columns_of(export: str) -> tuple[HoldField, ...]:
    """Return the fields that have a column in an export (``csv`` or ``parquet``)."""
    return tuple(f for f in HOLD_FIELDS if f.header is not None and export in f.measure.exports)


def lost_fields(before: HoldResult, rule: str) -> list[str]:
    """Return the names of measures that are known of a hold and have no rule to be joined or split.

    Parameters
    ----------
    rule : str
        ``join`` or ``split``.
    """
    lost = []
    for field in dataclasses.fields(before):
        declared = declared_measure(field)
        if getattr(before, field.name) not in (None, []) and (declared is None or getattr(declared, rule) is None):
            lost.append(field.name)
    return lost
