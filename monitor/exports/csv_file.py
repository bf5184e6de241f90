"""Holds and curves as CSV, units in the header."""

from __future__ import annotations

import csv
import io
import itertools
import math
from collections.abc import Iterable, Sequence
from typing import BinaryIO, TextIO

import numpy as np
from numpy.typing import NDArray

from monitor.exports.cells import cell, utc_text
from monitor.exports.export_format import ExportedCurve, ExportFormat
from monitor.records.hold_fields import HoldField, columns_of
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


def curve_csv(t_s: NDArray[np.float64], names: Sequence[str], load_N: NDArray[np.float64], out: TextIO) -> None:
    """Write a curve: ``t_s`` to the microsecond, one column ``<name>_N`` for each channel to 0.1 mN.

    Parameters
    ----------
    t_s : (n,) float, s, increasing
        Instants at which the readings were ready (not the times of the load: an analysis takes the delay off).
        A lost sample has no row.
    names : sequence of str
        The channels' names as in the rig description; ``bar_left``, ``foot_fl`` and their like are read back.
    load_N : (n, channels) float, N
        NaN where a reading failed: an empty field.
    out : text file
        Opened with ``newline=""``.

    Raises
    ------
    ValueError
        The shapes do not belong together, or times do not increase.
    """
    if load_N.shape != (len(t_s), len(names)):
        raise ValueError(f"{len(t_s)} times and {len(names)} names do not fit loads of shape {load_N.shape}.")
    times = [f"{t:.6f}" for t in t_s.tolist()]
    if not np.all(np.isfinite(t_s)) or any(float(a) >= float(b) for a, b in itertools.pairwise(times)):
        raise ValueError("Times must be numbers and increase by a microsecond or more; write each segment by itself.")
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["t_s", *(cell(f"{name}_N") for name in names)])
    for t, row in zip(times, load_N.tolist(), strict=True):
        table.writerow([t, *(f"{x:.4f}" if math.isfinite(x) else "" for x in row)])


def stamps_of(t_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the stamps (n,) of a load curve file whose loads are at the instants ``t_s`` (n,), in seconds.

    A reading is the mean over the interval before its stamp: readers of such a file take half an interval off again.
    """
    if len(t_s) < 2:
        return t_s
    return np.asarray(t_s + 0.5 * float(np.median(np.diff(t_s))))


def _write_holds(holds: Iterable[StoredHold], out: BinaryIO, version: str) -> None:
    text = io.TextIOWrapper(out, encoding="utf-8", newline="")
    holds_csv(holds, text)
    text.detach()


def _write_curve(curve: ExportedCurve, out: BinaryIO, version: str) -> None:
    text = io.TextIOWrapper(out, encoding="utf-8", newline="")
    curve_csv(stamps_of(curve.t_s), curve.names, curve.load_N, text)
    text.detach()


FORMAT = ExportFormat("table (CSV)", "csv", "text/csv; charset=utf-8", holds=_write_holds, curve=_write_curve)
