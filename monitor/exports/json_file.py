"""Holds and curves as JSON, whole results included."""

from __future__ import annotations

import dataclasses
import io
import json
from collections.abc import Iterable
from typing import Any, BinaryIO, TextIO

from monitor.exports.cells import utc_text
from monitor.exports.export_format import ExportedCurve, ExportFormat
from monitor.records.measure import declared_measure
from monitor.records.plain_data import plain
from monitor.records.stored_hold import StoredHold


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


def _write_holds(holds: Iterable[StoredHold], out: BinaryIO, version: str) -> None:
    text = io.TextIOWrapper(out, encoding="utf-8", newline="")
    holds_json(holds, text)
    text.detach()


def _write_curve(curve: ExportedCurve, out: BinaryIO, version: str) -> None:
    content = {
        "uid": curve.hold.uid,
        "names": [f"{name}_N" for name in curve.names],
        "t_s": curve.t_s,
        "load_N": curve.load_N,
        "result": curve.hold.result.as_dict(),
    }
    out.write(json.dumps(plain(content), allow_nan=False).encode() + b"\n")


FORMAT = ExportFormat("numbers (JSON)", "json", "application/json", holds=_write_holds, curve=_write_curve)
