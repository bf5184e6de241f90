"""The list of holds as CSV, units in the header, and as JSON."""

from __future__ import annotations

import csv
import dataclasses
import datetime as dt
import json
from collections.abc import Iterable
from typing import Any, TextIO

from monitor.exports.cells import cell
from monitor.records.hold_fields import HoldField, columns_of
from monitor.records.measure import declared_measure
from monitor.records.plain_data import plain
from monitor.records.stored_hold import StoredHold


def holds_csv(holds: Iterable[StoredHold], out: TextIO) -> None:
    """Write holds, one a row, under the headers of ``monitor.records.hold_fields``; what is not known is empty.

    Lists (states, touches and so on) stand as their count; ``holds_json`` has them whole. ``onset_utc`` is
    ISO 8601 to the millisecond. Open files with ``newline=""``.
    """
    columns = columns_of("csv")
    table = csv.writer(out, lineterminator="\n")
    table.writerow([column.header for column in columns])
    for hold in holds:
        table.writerow([cell(column_value(column, hold)) for column in columns])


def column_value(column: HoldField, hold: StoredHold) -> object:
    """Return what stands in a column of a table of text or numbers: an instant is ISO 8601 to the millisecond."""
    return utc_text(hold.onset_utc_ns, 3) if column.path == "onset_utc_ns" else column.cell_of(hold)


def holds_json(holds: Iterable[StoredHold], out: TextIO) -> None:
    """Write holds as one JSON object ``{"holds": [...]}``: the result's keys and where each belongs.

    ``onset_utc`` is ISO 8601 text to the nanosecond (the number would not survive readers that know doubles only).
    """
    out.write('{"holds": [')
    separator = "\n"
    for hold in holds:
        out.write(separator)
        json.dump(hold_dict(hold), out, ensure_ascii=False, allow_nan=False)
        separator = ",\n"
    out.write("\n]}\n")


def hold_dict(hold: StoredHold) -> dict[str, Any]:
    """Return a hold as plain JSON data: every field that is declared for it, those of the result beside the others."""
    values: dict[str, Any] = {}
    for field in dataclasses.fields(hold):
        if field.name == "result":
            result = hold.result.as_dict()
            values |= {part.name: result[part.name] for part in dataclasses.fields(hold.result) if _in_json(part)}
        elif field.name == "onset_utc_ns":
            values["onset_utc"] = utc_text(hold.onset_utc_ns, 9)
        elif _in_json(field):
            values[field.name] = getattr(hold, field.name)
    data: dict[str, Any] = plain(values)
    return data


def _in_json(field: dataclasses.Field[Any]) -> bool:
    declared = declared_measure(field)
    return declared is not None and "json" in declared.exports


def utc_text(utc_ns: int, places: int) -> str:
    """Return nanoseconds since 1970 as ISO 8601 text in UTC with ``places`` (0 to 9) decimals of the second."""
    step = 10 ** (9 - places)
    whole_s, rest = divmod((utc_ns + step // 2) // step, 10**places)
    moment = dt.datetime.fromtimestamp(whole_s, dt.UTC)
    fraction = f".{rest:0{places}d}" if places else ""
    return f"{moment:%Y-%m-%dT%H:%M:%S}{fraction}Z"
