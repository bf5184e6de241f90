"""Zero and span of every channel: what turns raw counts into newtons, and how well both are known."""

from __future__ import annotations

import datetime as dt
import math
import os
import tomllib
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
    ``span_at`` are ISO 8601 dates or date-times, empty where they are not known. A cell that is measurably bent has
    ``bend_per_N``: the straight line's load L becomes ``L + bend_per_N * L**2``. ``u_curve_N`` is what a single
    reading still lies off the curve: hysteresis, repeatability, the rest of the bend.
    """

    channel: str
    zero_counts: float
    N_per_count: float
    u_zero_counts: float = 0.0
    u_rel_span: float = 0.0
    zero_at: str = ""
    span_at: str = ""
    bend_per_N: float = 0.0
    u_curve_N: float = 0.0

    def __post_init__(self) -> None:
        uncertainties = (self.u_zero_counts, self.u_rel_span, self.u_curve_N)
        numbers = (self.zero_counts, self.N_per_count, self.bend_per_N, *uncertainties)
        if not all(math.isfinite(x) for x in numbers) or self.N_per_count == 0:
            raise _bad(f"The calibration of {self.channel} holds no usable numbers: {numbers}.")
        if min(uncertainties) < 0:
            raise _bad(f"The calibration of {self.channel} has a negative uncertainty.")

    @property
    def u_zero_N(self) -> float:
        """Return the zero's standard uncertainty in newtons."""
        return abs(self.N_per_count) * self.u_zero_counts


@dataclass(frozen=True, slots=True)
class Calibration:
    """What is in force for all channels of a rig, in the order of the converter's channels.

    Attributes
    ----------
    channels : tuple of ChannelCalibration
    id : str
    span_covariance : (n, n) or (2 n, 2 n) nested tuples of float, or empty
        Covariance of the n relative spans; in the large form the n bends (1/N) follow. Empty: spans are independent.
    gravity_m_s2, temperature_degC : float or None
        Gravity used for the masses, and the temperature, where they are known.
    """

    channels: tuple[ChannelCalibration, ...]
    id: str = ""
    span_covariance: tuple[tuple[float, ...], ...] = ()
    gravity_m_s2: float | None = None
    temperature_degC: float | None = None

    def __post_init__(self) -> None:
        matrix, n = self.span_covariance, len(self.channels)
        if not matrix:
            return
        if len(matrix) not in (n, 2 * n) or any(len(row) != len(matrix) for row in matrix):
            raise _bad("The calibration's span_covariance does not fit its channels.")
        numbers = np.array(matrix)
        if not np.isfinite(numbers).all() or (np.diag(numbers) < 0).any() or not np.array_equal(numbers, numbers.T):
            raise _bad("The calibration's span_covariance is no covariance.")

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
        bend = np.array([c.bend_per_N for c in self.channels])
        if bend.any():
            load_N += bend * load_N**2
        load_N[counts == NO_READING] = np.nan
        return load_N

    def u_load_N(self, load_N: ArrayLike, index: Sequence[int] | None = None) -> NDArray[np.float64]:
        """Return the standard uncertainty (N) that the calibration gives to the sum of some cells' loads.

        The law of propagation (JCGM 100:2008, 5.2.2) over zeros, curves (both independent from cell to cell), spans
        and bends with their covariance: cells that were calibrated with the same masses err together. Noise and the
        drift of the zero since it was taken come on top.

        Parameters
        ----------
        load_N : (channels,) or (n, channels) float
            Loads of all cells.
        index : sequence of int, optional
            Cells of the part (``rig.bar_index``, ``rig.platform_index``); all where left out.

        Returns
        -------
        () or (n,) float
        """
        chosen = list(range(len(self.channels)) if index is None else index)
        loads = np.asarray(load_N, dtype=np.float64)[..., chosen]
        bend = np.array([self.channels[i].bend_per_N for i in chosen])
        slopes = np.concatenate([loads + 2 * bend * loads**2, loads**2], axis=-1)
        variance = np.einsum("...i,ij,...j", slopes, self.covariance_of(chosen), slopes)
        fixed = sum(self.channels[i].u_zero_N ** 2 + self.channels[i].u_curve_N ** 2 for i in chosen)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0) + fixed))

    def u_rel_span_of(self, index: Sequence[int], load_N: ArrayLike | None = None) -> float:
        """Return the relative standard uncertainty of the span of a sum of cells, including their covariance.

        Parameters
        ----------
        index : sequence of int
        load_N : (len(index),) float, optional
            How the cells share the load; evenly where left out.
        """
        if not len(index):
            return 0.0
        share = np.ones(len(index)) if load_N is None else np.asarray(load_N, dtype=np.float64)
        share = share / share.sum()
        n = len(index)
        return math.sqrt(max(0.0, float(share @ self.covariance_of(index)[:n, :n] @ share)))

    def covariance_of(self, index: Sequence[int]) -> NDArray[np.float64]:
        """Return (2 k, 2 k) the covariance of the chosen cells' relative spans, then of their bends (1/N)."""
        chosen = list(index)
        n, k = len(self.channels), len(chosen)
        full = np.zeros((2 * k, 2 * k))
        if not self.span_covariance:
            full[:k, :k] = np.diag([self.channels[i].u_rel_span ** 2 for i in chosen])
            return full
        given = np.array(self.span_covariance)
        rows = chosen + [n + i for i in chosen] if len(given) == 2 * n else chosen
        full[: len(rows), : len(rows)] = given[np.ix_(rows, rows)]
        return full

    def with_zeros(self, zero_counts: Sequence[float], u_zero_counts: Sequence[float], at: str) -> Calibration:
        """Return the calibration with a new zero of every channel; the spans stay as they are."""
        channels = tuple(
            replace(c, zero_counts=float(zero), u_zero_counts=float(u), zero_at=at)
            for c, zero, u in zip(self.channels, zero_counts, u_zero_counts, strict=True)
        )
        return replace(self, channels=channels, id="")

    @property
    def oldest_zero_utc_s(self) -> float | None:
        """Return when the oldest of the zeros was taken (s of UTC); None where one has no date and time."""
        try:
            dates = [dt.datetime.fromisoformat(channel.zero_at) for channel in self.channels]
        except ValueError:
            return None
        return min((at if at.tzinfo else at.replace(tzinfo=dt.UTC)).timestamp() for at in dates)

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
    channels = []
    for channel in calibration.channels:
        entry = asdict(channel)
        # A straight line has neither: left out, the file stays readable to older versions.
        for key in ("bend_per_N", "u_curve_N"):
            if entry[key] == 0:
                del entry[key]
        channels.append(entry)
    data: dict[str, Any] = {"id": calibration.id}
    for key in ("gravity_m_s2", "temperature_degC"):
        if getattr(calibration, key) is not None:
            data[key] = getattr(calibration, key)
    if calibration.span_covariance:
        data["span_covariance"] = [list(row) for row in calibration.span_covariance]
    return {**data, "channels": channels}


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
    texts = {"channel", "zero_at", "span_at"}
    numbers = {"zero_counts", "N_per_count", "u_zero_counts", "u_rel_span", "bend_per_N", "u_curve_N"}
    for entry in data["channels"]:
        if not isinstance(entry, dict) or not {"channel", "zero_counts", "N_per_count"} <= set(entry):
            raise _bad("A channel of the calibration lacks its name, zero or span.", do)
        for key, value in entry.items():
            if not (key in texts and isinstance(value, str)) and not (key in numbers and _is_number(value)):
                raise _bad(f"{key} = {value!r} cannot stand in a calibration.", do)
        fields: dict[str, Any] = {k: float(v) if k in numbers else v for k, v in entry.items()}
        channels.append(ChannelCalibration(**fields))
    matrix = data.get("span_covariance", [])
    if not isinstance(matrix, list) or not all(isinstance(r, list) and all(map(_is_number, r)) for r in matrix):
        raise _bad("span_covariance is no table of numbers.", do)
    known: dict[str, float] = {}
    for key in ("gravity_m_s2", "temperature_degC"):
        if key in data:
            if not _is_number(data[key]) or not math.isfinite(data[key]):
                raise _bad(f"{key} = {data[key]!r} cannot stand in a calibration.", do)
            known[key] = float(data[key])
    covariance = tuple(tuple(float(x) for x in row) for row in matrix)
    return Calibration(tuple(channels), str(data.get("id", "")), covariance, **known)


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


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
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
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
    n, places = len(calibration.channels), [calibration.channels.index(by_name[name]) for name in names]
    rows = places + [n + i for i in places] if len(calibration.span_covariance) == 2 * n else places
    matrix = calibration.span_covariance and tuple(tuple(calibration.span_covariance[i][j] for j in rows) for i in rows)
    return replace(calibration, channels=tuple(by_name[name] for name in names), span_covariance=matrix)


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
    write_toml(path, calibration_to_dict(replace(calibration, id=calibration.id or stamp)))
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
