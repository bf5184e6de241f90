"""Holds and curves as Parquet: typed columns, with units, calibration and version in the file's own description."""

from __future__ import annotations

import importlib
import io
import json
from collections.abc import Mapping, Sequence
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.errors import MonitorError
from monitor.exports.holds import HOLD_COLUMNS, hold_row, utc_text
from monitor.records.plain_data import plain
from monitor.records.stored_hold import StoredHold

SIGN = "loads in N, positive downward on the cell"

_UNITS = {
    "_N_s": "N/s",
    "_m_s": "m/s",
    "_m2": "m2",
    "_bw_s": "bodyweight-seconds",
    "_deg": "degrees",
    "_Hz": "Hz",
    "_N": "N",
    "_mm": "mm",
    "_m": "m",
    "_s": "s",
    "_1": "1",
}
_WHOLE = ("number", "utc_offset_s", "measurement_version", "revised")
_WORDS = ("uid", "session_uid", "kind", "support", "flags")


class ParquetWriterMissing(MonitorError):
    """The library that writes Parquet is not installed."""

    code = "parquet-writer-missing"


def holds_parquet(holds: Sequence[StoredHold], *, version: str = "") -> bytes:
    """Return holds as one table under ``HOLD_COLUMNS``, and their whole results as JSON in the column ``result``.

    ``onset_utc`` is a time stamp in UTC to the nanosecond; what is not known is null.

    Raises
    ------
    ParquetWriterMissing
    """
    pa = _library()
    rows = [hold_row(hold) for hold in holds]
    fields, arrays = [], []
    for place, name in enumerate(HOLD_COLUMNS):
        values = [row[place] for row in rows]
        if name == "onset_utc":
            kind, values = pa.timestamp("ns", tz="UTC"), [hold.onset_utc_ns for hold in holds]
        else:
            kind = _kind(pa, name)
        fields.append(pa.field(name, kind, metadata=_unit(name)))
        arrays.append(pa.array(values, type=kind))
    fields.append(pa.field("result", pa.string(), metadata={"content": "the whole result as JSON"}))
    arrays.append(pa.array([json.dumps(plain(hold.result.as_dict()), allow_nan=False) for hold in holds], pa.string()))
    versions = sorted({hold.measurement_version for hold in holds})
    facts = {"program": f"hang-monitor {version}".strip(), "measurement_versions": json.dumps(versions), "sign": SIGN}
    return _written(pa.table(arrays, schema=pa.schema(fields, metadata=facts)))


def curve_parquet(
    t_s: NDArray[np.float64],
    names: Sequence[str],
    load_N: NDArray[np.float64],
    hold: StoredHold,
    rig: Mapping[str, Any],
    calibration: Mapping[str, Any] | None,
    *,
    version: str = "",
) -> bytes:
    """Return a hold's curve: ``t_s`` (instants of the load) and one column ``<name>_N`` for each cell.

    A failed reading is null. The file's description carries the hold's result, the rig and the calibration as JSON.

    Raises
    ------
    ParquetWriterMissing
    """
    pa = _library()
    columns = {"t_s": t_s, **{f"{name}_N": load_N[:, place] for place, name in enumerate(names)}}
    fields = [pa.field(name, pa.float64(), metadata=_unit(name)) for name in columns]
    arrays = [pa.array(np.asarray(values), type=pa.float64(), from_pandas=True) for values in columns.values()]
    facts = {
        "program": f"hang-monitor {version}".strip(),
        "measurement_version": str(hold.measurement_version),
        "hold": hold.uid,
        "onset_utc": utc_text(hold.onset_utc_ns, 9),
        "bodyweight_N": json.dumps(hold.bodyweight_N),
        "bodyweight_u_N": json.dumps(hold.bodyweight_u_N),
        "result": json.dumps(plain(hold.result.as_dict()), allow_nan=False),
        "rig": json.dumps(plain(rig)),
        "calibration": json.dumps(None if calibration is None else plain(calibration)),
        "sign": SIGN,
    }
    return _written(pa.table(arrays, schema=pa.schema(fields, metadata=facts)))


def _kind(pa: ModuleType, name: str) -> Any:
    if name in _WORDS:
        return pa.string()
    if name in _WHOLE or name.endswith("_count"):
        return pa.int64()
    return pa.bool_() if name == "alpha_direct" else pa.float64()


def _unit(name: str) -> dict[str, str]:
    if name in _WORDS or name in ("number", "measurement_version", "revised"):
        return {}
    bare = name.removesuffix("_u")
    if bare.endswith("_per_min"):
        return {"unit": f"{_unit(bare.removesuffix('_per_min')).get('unit', '1')}/min"}
    # An uncertainty's unit stands before or behind its u: duration_u_s, slope_lateral_m_per_min_u.
    return next(({"unit": unit} for end, unit in _UNITS.items() if bare.endswith(end)), {})


def _written(table: Any) -> bytes:
    out = io.BytesIO()
    importlib.import_module("pyarrow.parquet").write_table(table, out, compression="zstd")
    return out.getvalue()


def _library() -> ModuleType:
    try:
        return importlib.import_module("pyarrow")
    except ImportError as error:
        raise ParquetWriterMissing(
            what="The library that writes Parquet is not installed.",
            means="No file was written.",
            do="Install it into this environment: .venv/bin/python -m pip install -c .ci/constraints.txt -e "
            '".[parquet]"; or export as CSV.',
        ) from error
