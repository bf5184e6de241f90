"""The export formats. To add one: "To add a format" in DEVELOPERS.md."""

from __future__ import annotations

from monitor.errors import BadInput
from monitor.exports import c3d_file, csv_file, edf_file, json_file, parquet_file
from monitor.exports.export_format import ExportedCurve, ExportFormat
from monitor.exports.hold_curve import hold_curve
from monitor.store import DataFolder, Store

FORMATS: dict[str, ExportFormat] = {
    "csv": csv_file.FORMAT,
    "json": json_file.FORMAT,
    "parquet": parquet_file.FORMAT,
    "c3d": c3d_file.FORMAT,
    "edf": edf_file.FORMAT,
}


class UnknownFormat(BadInput):
    """A format that no export knows."""

    code = "unknown-format"


def format_named(name: str) -> ExportFormat:
    """Return a format.

    Raises
    ------
    UnknownFormat
    """
    if name not in FORMATS:
        raise UnknownFormat(
            what=f"There is no export format {name[:40]!r}.",
            means="Nothing was exported.",
            do=f"Take one of these: {', '.join(FORMATS)}.",
        )
    return FORMATS[name]


def exported_curve(store: Store, folder: DataFolder, uid: str) -> ExportedCurve | None:
    """Return a stored hold's curve as the writers take it, None where there is no such hold or its journal is gone."""
    hold, curve = store.get_hold(uid), hold_curve(store, folder, uid)
    session = None if hold is None else store.get_session(hold.session_uid)
    if hold is None or curve is None or session is None:
        return None
    t_s, names, load_N = curve
    return ExportedCurve(hold, t_s, names, load_N, session.rig, session.calibration)
