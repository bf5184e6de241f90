"""Zero and span of every channel: what turns raw counts into newtons, and how well both are known."""

from __future__ import annotations

import datetime as dt
import math
import os
import tomllib
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import NO_READING
from monitor.errors import MonitorError
from monitor.rig import write_toml


class BadCalibration(MonitorError):
    """A calibration, or readings for one, that cannot be used."""

    code = "bad-calibration"


class CalibrationNotFound(MonitorError):
    """There is no calibration at that place."""

    code = "calibration-not-found"


class CalibrationExists(MonitorError):
    """A calibration would be written over an older one."""

    code = "calibration-exists"


@dataclass(frozen=True, slots=True)
class ChannelCalibration:
    """Zero and span of one channel, dated separately: ``load_N = (counts - zero_counts) * N_per_count``.

    ``u_zero_counts`` (counts) and ``u_rel_span`` (dimensionless) are standard uncertainties; ``zero_at`` and
    ``span_at`` are ISO 8601 dates or date-times, empty where they are not known.
    """

    channel: str
    zero_counts: float
    N_per_count: float
    u_zero_counts: float = 0.0
    u_rel_span: float = 0.0
    zero_at: str = ""
    span_at: str = ""

    def __post_init__(self) -> None:
        numbers = (self.zero_counts, self.N_per_count, self.u_zero_counts, self.u_rel_span)
        if not all(math.isfinite(x) for x in numbers) or self.N_per_count == 0:
            raise _bad(f"The calibration of {self.channel} holds no usable numbers: {numbers}.")
        if self.u_zero_counts < 0 or self.u_rel_span < 0:
            raise _bad(f"The calibration of {self.channel} has a negative uncertainty.")

    @property
    def u_zero_N(self) -> float:
        """Return the zero's standard uncertainty in newtons."""
        return abs(self.N_per_count) * self.u_zero_counts


@dataclass(frozen=True, slots=True)
class Calibration:
    """What is in force for all channels of a rig, in the order of the converter's channels."""

    channels: tuple[ChannelCalibration, ...]
    id: str = ""

    def newtons(self, counts: NDArray[np.int32]) -> NDArray[np.float64]:
        """Return (n, channels) newtons of (n, channels) counts; NaN where a conversion gave no reading."""
        if counts.shape[1] != len(self.channels):
            raise BadCalibration(
                what=f"The board sends {counts.shape[1]} channels; the calibration knows {len(self.channels)}.",
                means="It is not known which count belongs to which cell.",
                do="Use the rig description and the calibration that belong to this board.",
            )
        zero = np.array([c.zero_counts for c in self.channels])
        span = np.array([c.N_per_count for c in self.channels])
        load_N: NDArray[np.float64] = (counts.astype(np.float64) - zero) * span
        load_N[counts == NO_READING] = np.nan
        return load_N

    @property
    def u_zero_N(self) -> tuple[float, ...]:
        """Return the zeros' standard uncertainties in newtons."""
        return tuple(c.u_zero_N for c in self.channels)

    @property
    def u_rel_span(self) -> tuple[float, ...]:
        """Return the spans' relative standard uncertainties."""
        return tuple(c.u_rel_span for c in self.channels)


def _bad(what: str, do: str = "Calibrate this channel again.") -> BadCalibration:
    return BadCalibration(what=what, means="Its loads would be wrong or empty.", do=do)


def two_point_fit(
    channel: str,
    *,
    zero_counts: float,
    loaded_counts: float,
    load_N: float,
    u_zero_counts: float = 0.0,
    u_loaded_counts: float = 0.0,
    u_load_N: float = 0.0,
    at: str = "",
) -> ChannelCalibration:
    """Return zero and span from two readings: nothing on the cell, and a known load.

    The span is ``load_N / (loaded_counts - zero_counts)``; its relative standard uncertainty combines those of the
    load and of the difference of the counts (law of propagation, JCGM 100:2008, 5.1.2). The covariance of zero and
    span is left out here: it is of second order where the load lies far above the zero's uncertainty.

    Raises
    ------
    BadCalibration
        The load is not positive, a reading is no number, or the load moves the reading by less than 20 of its
        standard uncertainties.
    """
    for value in (zero_counts, loaded_counts, load_N, u_zero_counts, u_loaded_counts, u_load_N):
        if not math.isfinite(value):
            raise _bad(f"A reading of {channel} is not a number.", "Check the cell's wiring, then measure again.")
    if load_N <= 0:
        raise _bad(f"The load on {channel} is given as {load_N:g} N.", "Give the known load in newtons, above 0.")
    moved = loaded_counts - zero_counts
    u_moved = math.hypot(u_zero_counts, u_loaded_counts)
    if moved == 0 or abs(moved) < 20 * u_moved:
        raise _bad(
            f"{load_N:g} N move {channel} by {moved:g} counts only, known to {u_moved:g}.",
            "Check that the load hangs on this cell and that its wires are whole; use a larger load.",
        )
    return ChannelCalibration(
        channel=channel,
        zero_counts=zero_counts,
        N_per_count=load_N / moved,
        u_zero_counts=u_zero_counts,
        u_rel_span=math.hypot(u_load_N / load_N, u_moved / moved),
        zero_at=at,
        span_at=at,
    )


def calibration_to_dict(calibration: Calibration) -> dict[str, Any]:
    """Return the calibration as plain data (for its file, and for the note in a journal)."""
    return {"id": calibration.id, "channels": [asdict(c) for c in calibration.channels]}


def calibration_from_dict(data: object) -> Calibration:
    """Build a calibration from plain data.

    Raises
    ------
    BadCalibration
        A key is missing, unknown or of the wrong kind.
    """
    do = "Compare with the example in docs/rig-description.md."
    if not isinstance(data, dict) or not isinstance(data.get("channels"), list) or not data["channels"]:
        raise _bad("The calibration holds no channels.", do)
    channels = []
    texts, numbers = {"channel", "zero_at", "span_at"}, {"zero_counts", "N_per_count", "u_zero_counts", "u_rel_span"}
    for entry in data["channels"]:
        if not isinstance(entry, dict) or not {"channel", "zero_counts", "N_per_count"} <= set(entry):
            raise _bad("A channel of the calibration lacks its name, zero or span.", do)
        for key, value in entry.items():
            is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
            if not (key in texts and isinstance(value, str)) and not (key in numbers and is_number):
                raise _bad(f"{key} = {value!r} cannot stand in a calibration.", do)
        fields: dict[str, Any] = {k: float(v) if k in numbers else v for k, v in entry.items()}
        channels.append(ChannelCalibration(**fields))
    return Calibration(tuple(channels), str(data.get("id", "")))


def load_calibration(path: str | os.PathLike[str], names: Sequence[str] | None = None) -> Calibration:
    """Read a calibration file (TOML), its channels put in the order of ``names`` when these are given.

    Raises
    ------
    CalibrationNotFound, BadCalibration
    """
    try:
        with Path(path).open("rb") as file:
            data = tomllib.load(file)
    except OSError as error:
        raise CalibrationNotFound(
            what=f"The calibration {path} cannot be read: {error.strerror}.",
            means="Counts cannot be turned into newtons.",
            do="Give the path of a calibration file, or calibrate the rig.",
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _bad(f"{path} is not valid TOML: {error}.") from error
    calibration = calibration_from_dict(data)
    return calibration if names is None else in_order(calibration, names)


def in_order(calibration: Calibration, names: Sequence[str]) -> Calibration:
    """Return the calibration with its channels in the order of ``names``.

    Raises
    ------
    BadCalibration
        A channel has no calibration.
    """
    by_name = {c.channel: c for c in calibration.channels}
    for name in names:
        if name not in by_name:
            raise _bad(f"The calibration says nothing of {name}.", "Calibrate this channel, or mend its name.")
    return Calibration(tuple(by_name[n] for n in names), calibration.id)


def save_calibration(folder: str | os.PathLike[str], calibration: Calibration, now: dt.datetime) -> Path:
    """Write a calibration into a folder under a dated name that was not there before; return its path.

    Raises
    ------
    CalibrationExists
        A file of that name is there; calibrations are never overwritten.
    """
    Path(folder).mkdir(parents=True, exist_ok=True, mode=0o700)
    stamp = now.astimezone(dt.UTC).strftime("%Y-%m-%dT%H%M%SZ")
    path = Path(folder) / f"{stamp}.toml"
    if path.exists():
        raise CalibrationExists(
            what=f"There is a calibration of {stamp} already.",
            means="Calibrations are kept for ever, so that old holds can be recomputed; nothing was overwritten.",
            do="Wait a second and save again.",
        )
    write_toml(path, calibration_to_dict(Calibration(calibration.channels, calibration.id or stamp)))
    return path


def latest_calibration(folder: str | os.PathLike[str], names: Sequence[str] | None = None) -> Calibration:
    """Read the newest calibration of a folder.

    Raises
    ------
    CalibrationNotFound
        The folder holds none.
    """
    files = sorted(Path(folder).glob("*.toml"))
    if not files:
        raise CalibrationNotFound(
            what=f"{folder} holds no calibration.",
            means="Counts cannot be turned into newtons.",
            do="Calibrate the rig, or copy its calibration file there.",
        )
    return load_calibration(files[-1], names)
