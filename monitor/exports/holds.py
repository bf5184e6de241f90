"""The list of holds as CSV, units in the header, and as JSON."""

from __future__ import annotations

import csv
import datetime as dt
import json
from collections.abc import Callable, Iterable
from typing import Any, TextIO

from monitor.exports.cells import cell
from monitor.records.plain_data import plain
from monitor.records.stored_hold import StoredHold

_Getter = Callable[[StoredHold], object]

_UNIT_1 = ("beta_mean", "beta_u", "alpha_mean", "alpha_u", "alpha_p95", "misclosure", "misclosure_u")
_LISTS = {
    "states": "states_count",
    "travel": "travel_count",
    "regrips": "regrips_count",
    "grip_changes_s": "grip_changes_count",
    "third_support": "third_support_count",
    "touches": "touches_count",
}


def _plain_field(name: str) -> _Getter:
    return lambda hold: getattr(hold, name)


def _result_field(name: str) -> _Getter:
    return lambda hold: getattr(hold.result, name)


def _part_field(part: str, name: str) -> _Getter:
    def get(hold: StoredHold) -> object:
        value = getattr(hold.result, part)
        return None if value is None else getattr(value, name)

    return get


def _slope_field(name: str, part: str) -> _Getter:
    def get(hold: StoredHold) -> object:
        slopes = hold.result.slopes
        slope = None if slopes is None else getattr(slopes, name)
        return None if slope is None else getattr(slope, part)

    return get


def _swing_field(name: str) -> _Getter:
    return lambda hold: None if hold.result.swing is None else getattr(hold.result.swing, name)


def _largest_second(hold: StoredHold) -> object:
    """Return the largest assistance over a second of the hold."""
    return max((alpha for _, alpha, _ in hold.result.assistance_course if alpha is not None), default=None)


def _count(name: str) -> _Getter:
    return lambda hold: len(getattr(hold.result, name))


def _columns() -> dict[str, _Getter]:
    """Return header and getter of every column in order."""
    columns: dict[str, _Getter] = {
        "uid": _plain_field("uid"),
        "session_uid": _plain_field("session_uid"),
        "number": _plain_field("number"),
        "onset_utc": lambda hold: utc_text(hold.onset_utc_ns, 3),
        "utc_offset_s": _plain_field("utc_offset_s"),
        "bodyweight_N": _plain_field("bodyweight_N"),
        "bodyweight_u_N": _plain_field("bodyweight_u_N"),
    }
    for name in ("onset_s", "release_s", "duration_s", "duration_u_s", "kind", "support", "beta_mean", "beta_u"):
        columns[_header(name)] = _result_field(name)
    for name in ("alpha_mean", "alpha_u", "alpha_p95", "alpha_direct", "clean_s", "misclosure", "misclosure_u"):
        columns[_header(name)] = _result_field(name)
    columns["assistance_second_max_1"] = _largest_second
    for name in ("peak_N", "peak_u_N", "dose_bw_s", "lateral_m", "lateral_u_m", "zero_bar_N", "zero_feet_N"):
        columns[name] = _result_field(name)
    for name in ("max_deg", "rms_deg", "frequency_Hz"):
        columns[f"swing_{name}"] = _swing_field(name)
    for name in ("settle_s", "tremor_N", "loading_N_s", "loading_u_N_s"):
        columns[name] = _result_field(name)
    for name in ("share", "feet", "load", "swing", "lateral"):
        columns[f"stillness_{name}_1"] = _part_field("stillness", name)
    for name, header in (("assistance", "assistance_1"), ("tremor_N",) * 2, ("ripple_N",) * 2, ("lateral_m",) * 2):
        columns[f"slope_{header}_per_min"] = _slope_field(name, "per_min")
        columns[f"slope_{header}_per_min_u"] = _slope_field(name, "u")
    for name in ("path_m", "velocity_m_s", "rms_m", "ellipse95_m2", "mean_frequency_Hz", "median_frequency_Hz"):
        columns[f"sway_{name}"] = _part_field("sway", name)
    columns |= {header: _count(name) for name, header in _LISTS.items()}
    columns["flags"] = lambda hold: " ".join(hold.result.flags)
    columns["measurement_version"] = _plain_field("measurement_version")
    columns["revised"] = _plain_field("revised")
    return columns


def _header(name: str) -> str:
    # A column without a unit of its own says that it is a plain ratio.
    return f"{name}_1" if name in _UNIT_1 else name


_COLUMNS = _columns()

HOLD_COLUMNS: tuple[str, ...] = tuple(_COLUMNS)
"""Header of the list of holds: the unit ends each name, ``_1`` marks a ratio, ``bw_s`` bodyweight-seconds."""


def holds_csv(holds: Iterable[StoredHold], out: TextIO) -> None:
    """Write holds, one a row, under ``HOLD_COLUMNS``; what is not known is empty.

    Lists (states, touches and so on) are told by their count; ``holds_json`` has them whole. ``onset_utc`` is
    ISO 8601 to the millisecond. Open files with ``newline=""``.
    """
    table = csv.writer(out, lineterminator="\n")
    table.writerow(HOLD_COLUMNS)
    for hold in holds:
        table.writerow([cell(value) for value in hold_row(hold)])


def hold_row(hold: StoredHold) -> list[object]:
    """Return a hold's values under ``HOLD_COLUMNS``."""
    return [getter(hold) for getter in _COLUMNS.values()]


def holds_json(holds: Iterable[StoredHold], out: TextIO) -> None:
    """Write holds as one JSON object ``{"holds": [...]}``: the result's keys and where each belongs.

    ``onset_utc`` is ISO 8601 text to the nanosecond (the number would not survive readers that know doubles only).
    """
    out.write('{"holds": [')
    separator = "\n"
    for hold in holds:
        out.write(separator)
        json.dump(_hold_dict(hold), out, ensure_ascii=False, allow_nan=False)
        separator = ",\n"
    out.write("\n]}\n")


def _hold_dict(hold: StoredHold) -> dict[str, Any]:
    head = {
        "uid": hold.uid,
        "session_uid": hold.session_uid,
        "number": hold.number,
        "onset_utc": utc_text(hold.onset_utc_ns, 9),
        "utc_offset_s": hold.utc_offset_s,
        "bodyweight_N": hold.bodyweight_N,
        "bodyweight_u_N": hold.bodyweight_u_N,
    }
    tail = {"measurement_version": hold.measurement_version, "revised": hold.revised}
    data: dict[str, Any] = plain({**head, **hold.result.as_dict(), **tail})
    return data


def utc_text(utc_ns: int, places: int) -> str:
    """Return nanoseconds since 1970 as ISO 8601 text in UTC with ``places`` (0 to 9) decimals of the second."""
    step = 10 ** (9 - places)
    whole_s, rest = divmod((utc_ns + step // 2) // step, 10**places)
    moment = dt.datetime.fromtimestamp(whole_s, dt.UTC)
    fraction = f".{rest:0{places}d}" if places else ""
    return f"{moment:%Y-%m-%dT%H:%M:%S}{fraction}Z"
