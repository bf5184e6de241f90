"""Holds and curves as Parquet: typed columns, with units, calibration and version in the file's own description."""

from __future__ import annotations

import importlib
import io
import json
from collections.abc import Iterable, Sequence
from typing import Any, BinaryIO

import numpy as np

from monitor.exports.cells import utc_text
from monitor.exports.export_format import ExportedCurve, ExportFormat
from monitor.records.hold_fields import columns_of
from monitor.records.plain_data import plain
from monitor.records.stored_hold import StoredHold

SIGN = "loads in N, positive downward on the cell"


def holds_parquet(holds: Sequence[StoredHold], *, version: str = "") -> bytes:
    """Return holds as one table, with the columns of the CSV and whole results as JSON in the column ``result``.

    ``onset_utc`` is a time stamp in UTC to the nanosecond; what is not known is null.

    Raises
    ------
    ExportLibraryMissing
    """
    pa = FORMAT.load_library()
    kinds = {float: pa.float64(), int: pa.int64(), bool: pa.bool_(), str: pa.string()}
    fields, arrays = [], []
    for column in columns_of("parquet"):
        instant = column.path == "onset_utc_ns"
        kind = pa.timestamp("ns", tz="UTC") if instant else kinds[column.column_type]
        unit = {"unit": column.column_unit} if column.column_unit else {}
        fields.append(pa.field(column.header, kind, metadata=unit))
        arrays.append(pa.array([column.cell_of(hold) for hold in holds], type=kind))
    fields.append(pa.field("result", pa.string(), metadata={"content": "the whole result as JSON"}))
    arrays.append(pa.array([json.dumps(plain(hold.result.as_dict()), allow_nan=False) for hold in holds], pa.string()))
    versions = sorted({hold.measurement_version for hold in holds})
    facts = {"program": f"hang-monitor {version}".strip(), "measurement_versions": json.dumps(versions), "sign": SIGN}
    return _written(pa.table(arrays, schema=pa.schema(fields, metadata=facts)))


def curve_parquet(curve: ExportedCurve, *, version: str = "") -> bytes:
    """Return a hold's curve: ``t_s`` (instants of the load) and one column ``<name>_N`` for each cell.

    A failed reading is null. The file's description carries the hold's result, the rig and the calibration as JSON.

    Raises
    ------
    ExportLibraryMissing
    """
    pa = FORMAT.load_library()
    hold, loads = curve.hold, zip(curve.names, curve.load_N.T, strict=True)
    columns = {"t_s": curve.t_s, **{f"{name}_N": load_N for name, load_N in loads}}
    units = {name: {"unit": "s" if name == "t_s" else "N"} for name in columns}
    fields = [pa.field(name, pa.float64(), metadata=units[name]) for name in columns]
    arrays = [pa.array(np.asarray(values), type=pa.float64(), from_pandas=True) for values in columns.values()]
    facts = {
        "program": f"hang-monitor {version}".strip(),
        "measurement_version": str(hold.measurement_version),
        "hold": hold.uid,
        "onset_utc": utc_text(hold.onset_utc_ns, 9),
        "bodyweight_N": json.dumps(hold.bodyweight_N),
        "bodyweight_u_N": json.dumps(hold.bodyweight_u_N),
        "result": json.dumps(plain(hold.result.as_dict()), allow_nan=False),
        "rig": json.dumps(plain(curve.rig)),
        "calibration": json.dumps(plain(curve.calibration)),
        "sign": SIGN,
    }
    return _written(pa.table(arrays, schema=pa.schema(fields, metadata=facts)))


def _written(table: Any) -> bytes:
    out = io.BytesIO()
    importlib.import_module("pyarrow.parquet").write_table(table, out, compression="zstd")
    return out.getvalue()


def _write_holds(holds: Iterable[StoredHold], out: BinaryIO, version: str) -> None:
    out.write(holds_parquet(list(holds), version=version))


def _write_curve(curve: ExportedCurve, out: BinaryIO, version: str) -> None:
    out.write(curve_parquet(curve, version=version))


FORMAT = ExportFormat(
    "table (Parquet)",
    "parquet",
    "application/vnd.apache.parquet",
    holds=_write_holds,
    curve=_write_curve,
    library="pyarrow",
    extra="parquet",
)
