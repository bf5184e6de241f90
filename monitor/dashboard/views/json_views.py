"""Values as plain JSON data: rounded to what a screen can use, finite or None."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Sequence
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from monitor.dashboard.views.record_answers import answer_of
from monitor.measures.flag_words import in_words
from monitor.measures.picture import Picture
from monitor.records.stored_hold import StoredHold

_DECIMALS = {"bar_N": 1, "feet_N": 1, "bodyweight_N": 2, "bodyweight_u_N": 3, "swing_deg": 3, "travel_mm": 2}
_CURVE_FIELDS = ("curve_names", "curve_t_s", "curve_N")


def finite(value: float | None, decimals: int) -> float | None:
    """Return a number rounded, None when it is absent, infinite or no number: JSON knows no NaN."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), decimals)


def plain(value: Any, decimals: int = 9) -> Any:
    """Return data with tuples as lists and every number finite or None, at any depth."""
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return finite(float(value), decimals)
    if isinstance(value, dict):
        return {key: plain(part, decimals) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(part, decimals) for part in value]
    raise TypeError(f"{type(value).__name__} is no plain data; turn it into numbers, text, lists or dicts first.")


def picture_view(picture: Picture) -> dict[str, Any]:
    """Return a picture without its curve samples; field names as in ``Picture``."""
    view: dict[str, Any] = {}
    for part in dataclasses.fields(picture):
        if part.name in _CURVE_FIELDS:
            continue
        value = getattr(picture, part.name)
        if isinstance(value, float):
            value = finite(value, _DECIMALS.get(part.name, 5))
        elif part.name == "hold" and value is not None:
            value = plain(dataclasses.asdict(value), 4)
        view[part.name] = plain(value)
    return view


def columns_view(names: Sequence[str], t_s: NDArray[np.float64], load_N: NDArray[np.float64]) -> dict[str, Any]:
    """Return samples as columns: times (n,) in s to 0.1 ms, loads (n, columns) in N to 0.1 N, one list a column."""
    loads = np.round(np.asarray(load_N, dtype=np.float64), 1)
    bad = ~np.isfinite(loads)
    columns: list[list[float | None]] = loads.T.tolist()
    for column in np.flatnonzero(bad.any(axis=0)):
        for row in np.flatnonzero(bad[:, column]):
            columns[column][row] = None
    return {"names": list(names), "t_s": np.round(t_s, 4).tolist(), "load_N": columns}


def hold_view(hold: StoredHold) -> dict[str, Any]:
    """Return a stored hold as plain JSON data: ``result`` as of ``HoldResult``, ``notes`` its flags in words."""
    return {
        **plain(answer_of(hold, without=("result",)), 3),
        "notes": [in_words(flag) for flag in hold.result.flags],
        "result": plain(hold.result.as_dict()),
    }


def event_view(
    kind: Literal["closed", "revised", "withdrawn"], uid: str, hold: StoredHold | None = None
) -> dict[str, Any]:
    """Return the event that ``LiveHub.publish_event`` takes: what happened to which hold, and the hold itself."""
    return {"kind": kind, "uid": uid, "hold": None if hold is None else hold_view(hold)}


def thin_out(
    t_s: NDArray[np.float64], load_N: NDArray[np.float64], points: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Cut a curve down to at most ``points`` rows, keeping in each stretch the lowest and the highest value.

    Parameters
    ----------
    t_s : (n,) float64, s
    load_N : (n, columns) float64, N
        NaN is skipped; a stretch of only NaN gives NaN.
    points : int
        At least 2.

    Returns
    -------
    (m,) float64, s and (m, columns) float64, N
        Two rows a stretch, m <= points; the two extremes of a column stand in the order in which they came. The
        times are those of the stretch's start and middle, shared by all columns. A short curve is returned whole.
    """
    n = len(t_s)
    if n <= points:
        return t_s, load_N
    edges = np.linspace(0, n, max(1, points // 2) + 1).astype(np.intp)
    rows_t: list[float] = []
    rows_N: list[NDArray[np.float64]] = []
    for start, end in itertools.pairwise(edges):
        part = load_N[start:end]
        lowest = np.argmin(np.where(np.isfinite(part), part, np.inf), axis=0)
        highest = np.argmax(np.where(np.isfinite(part), part, -np.inf), axis=0)
        column = np.arange(part.shape[1])
        rows_N.append(part[np.minimum(lowest, highest), column])
        rows_N.append(part[np.maximum(lowest, highest), column])
        rows_t.extend((t_s[start], t_s[(start + end) // 2]))
    return np.asarray(rows_t), np.asarray(rows_N)
