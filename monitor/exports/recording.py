"""One hold's curve on an even grid, with what must travel with it: the common ground of files for other programs."""

from __future__ import annotations

import json
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.errors import MonitorError
from monitor.exports.cells import utc_text
from monitor.exports.export_format import ExportedCurve
from monitor.records.stored_hold import StoredHold

MOST_SAMPLES = 5_000_000


class CurveNotEven(MonitorError):
    """A curve does not fit an even grid."""

    code = "curve-not-even"


@dataclass(frozen=True)
class Recording:
    """A hold's curve on an even grid.

    Attributes
    ----------
    rate_Hz : float
        As measured, in true seconds.
    start_s : float
        First instant of the load, on the time axis of the hold's result.
    names, parts : tuple of str
        Channels and their part, ``bar`` or ``platform``.
    place_m : (channels, 2) float
        x to the hanging person's right, y to the front.
    load_N : (n, channels) float
        Without gaps: what was lost or failed is interpolated.
    measured : (n,) bool
        False where any channel was interpolated.
    hold : StoredHold
    facts : dict of str to str
        Version, units, calibration and the like, in words for a file's head. Nothing of it names the person.
    """

    rate_Hz: float
    start_s: float
    names: tuple[str, ...]
    parts: tuple[str, ...]
    place_m: NDArray[np.float64]
    load_N: NDArray[np.float64]
    measured: NDArray[np.bool_]
    hold: StoredHold
    facts: dict[str, str]

    @property
    def marks(self) -> list[tuple[float, str]]:
        """Return what happened, as (seconds since the recording's start, word), in order."""
        result = self.hold.result
        marks = [(result.onset_s, "onset"), (result.release_s, "release")]
        marks += [(t.start_s, "touch") for t in result.touches]
        marks += [(r.start_s, "regrip") for r in result.regrips]
        marks += [(t.start_s, f"travel {t.travel_mm:+.0f} mm") for t in result.travel]
        marks += [(t, "change of hands") for t in result.grip_changes_s]
        marks += [(t.start_s, "third support") for t in result.third_support]
        end_s = len(self.load_N) / self.rate_Hz
        return sorted((t - self.start_s, word) for t, word in marks if 0 <= t - self.start_s < end_s)


def recording(curve: ExportedCurve, version: str = "") -> Recording:
    """Put a curve on the even grid that fits its times, and gather the facts.

    Raises
    ------
    CurveNotEven
        Fewer than two readings, times that do not increase, or times that fit no grid.
    """
    t_s, names, load_N = curve.t_s, curve.names, curve.load_N
    if len(t_s) < 2 or not bool(np.all(np.diff(t_s) > 0)):
        raise _not_even("It has fewer than two readings, or its times do not increase.")
    step_s = float(np.median(np.diff(t_s)))
    places = np.rint(np.concatenate(([0.0], np.cumsum(np.rint(np.diff(t_s) / step_s))))).astype(np.int64)
    if places[-1] >= MOST_SAMPLES or places[-1] < 1 or bool(np.any(np.diff(places) < 1)):
        raise _not_even("Its times fit no even grid.")
    slope_s, start_s = (float(x) for x in np.polyfit(places, t_s, 1))
    grid = np.arange(places[-1] + 1)
    even = np.empty((len(grid), len(names)))
    measured = np.zeros(len(grid), dtype=bool)
    measured[places] = np.isfinite(load_N).all(axis=1)
    for channel in range(len(names)):
        good = np.isfinite(load_N[:, channel])
        even[:, channel] = np.interp(grid, places[good], load_N[good, channel]) if good.any() else 0.0
    described = {str(c.get("name")): c for c in curve.rig.get("channels", [])}
    rows = [described.get(name, {}) for name in names]
    return Recording(
        rate_Hz=1.0 / slope_s,
        start_s=start_s,
        names=names,
        parts=tuple(str(row.get("part", "")) for row in rows),
        place_m=np.array([[float(row.get("x_m") or 0.0), float(row.get("y_m") or 0.0)] for row in rows]),
        load_N=even,
        measured=measured,
        hold=curve.hold,
        facts={
            **_facts(curve, version, int(np.count_nonzero(~measured))),
            "RATE_HZ": f"{1.0 / slope_s:.9g}",
        },
    )


def _facts(curve: ExportedCurve, version: str, filled: int) -> dict[str, str]:
    hold, rig = curve.hold, curve.rig
    facts = {
        "PROGRAM": f"hang-monitor {version}".strip(),
        "MEASUREMENT": str(hold.measurement_version),
        "HOLD": hold.uid,
        "ONSET_UTC": utc_text(hold.onset_utc_ns, 3),
        "RIG": str(rig.get("name", "")),
        "INVENTED": "yes" if rig.get("invented") else "no",
        "SIGN": "loads in N, positive downward on the cell",
        "FILLED": f"{filled} samples were interpolated",
    }
    for row in (curve.calibration or {}).get("channels", []):
        channel = {
            "span_N": row.get("N_per_count"), "u_rel": row.get("u_rel_span"),
            "span_at": row.get("span_at"), "zero_at": row.get("zero_at"),
        }  # fmt: skip
        facts[f"CAL_{str(row.get('channel', '')).upper()}"] = json.dumps(channel, separators=(",", ":"))
    return facts


def _not_even(what: str) -> CurveNotEven:
    return CurveNotEven(
        what=f"The curve does not fit an even grid. {what}",
        means="No file was written; the stored curve is unchanged.",
        do="Export it as CSV, which needs no grid.",
    )
