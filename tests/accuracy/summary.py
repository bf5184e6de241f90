"""Errors of many stays put together: a row for each measure."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.special import erfc

from tests.accuracy.comparison import Deviation
from tests.accuracy.limits import LIMITS, Limit, figure
from tests.accuracy.runs import Record

FALSE_ALARMS = (
    "hold invented",
    "hold invented on the live page",
    "regrip invented",
    "pull invented",
    "pull invented (swing)",
    "swing invented",
    "touch invented",
    "third support invented",
    "change of hands invented",
)


@dataclass(frozen=True)
class Row:
    """All errors of one measure, and the figures that are told of them.

    ``bound`` is the root mean square of the standard deviations that noise and calibration leave; ``ratio`` that of the
    errors over it. ``at_best`` is what the figure would be in half of all runs if every error were normal with its
    bound's standard deviation. None where there is no bound. ``places`` name the sessions, worst first.
    """

    measure: str
    errors: np.ndarray
    limit: Limit | None
    figure: float
    bound: float | None
    ratio: float | None
    at_best: float | None
    exposure_s: float
    places: list[tuple[float, str]]

    @property
    def verdict(self) -> str:
        """Say how the figure stands to floor and aim."""
        if self.limit is None:
            return ""
        if self.figure <= self.limit.aim:
            return "aim"
        if self.figure > self.limit.floor:
            return "SHORT"
        return "limit" if self.at_best is not None and self.at_best > self.limit.aim else "floor"


def largest_at_best(bounds: np.ndarray) -> float:
    """Return the median of the largest absolute value of independent normal errors with these standard deviations."""
    low, high = 0.0, 10.0 * float(bounds.max())
    for _ in range(60):
        middle = (low + high) / 2
        if float(_log_inside(middle / bounds).sum()) < math.log(0.5):
            low = middle
        else:
            high = middle
    return high


def _log_inside(z: np.ndarray) -> np.ndarray:
    """Return the logarithm of the chance that a standard normal value is smaller than ``z`` in size."""
    return np.asarray(np.log1p(-erfc(z / math.sqrt(2.0))))


def row_of(measure: str, deviations: list[tuple[Deviation, str]]) -> Row:
    """Return the row of a measure from its errors and the names of their sessions."""
    errors = np.array([one.error for one, _ in deviations], dtype=float)
    exposure_s = sum(one.exposure_s for one, _ in deviations)
    limit = LIMITS.get(measure)
    paired = [(one.error, one.bound) for one, _ in deviations if one.bound is not None and math.isfinite(one.error)]
    bound = ratio = at_best = None
    if paired:
        bound = math.sqrt(sum(b * b for _, b in paired) / len(paired))
        ratio = math.sqrt(sum(e * e for e, _ in paired) / len(paired)) / bound
        if limit is not None and limit.kind in ("rms", "largest"):
            at_best = bound if limit.kind == "rms" else largest_at_best(np.array([b for _, b in paired]))
    shown = figure(limit, errors, exposure_s) if limit else float(errors.max())
    places = sorted(((one.error, place) for one, place in deviations), reverse=True)
    return Row(measure, errors, limit, shown, bound, ratio, at_best, exposure_s, places)


def rows(records: Iterable[Record], *, hard: bool | None = None) -> list[Row]:
    """Return the rows of some sessions: all, the ordinary ones (``hard=False``) or the hard cases (``hard=True``)."""
    deviations: dict[str, list[tuple[Deviation, str]]] = {}
    for record in records:
        if hard is not None and ("hard" in record.truth["tags"]) != hard:
            continue
        for one in record.deviations:
            deviations.setdefault(one.measure, []).append((one, f"{record.name}:{record.seed}"))
    names = [*LIMITS, *(name for name in deviations if name not in LIMITS)]
    return [row_of(name, deviations[name]) for name in names if name in deviations]


def table(some: list[Row], show: int = 0) -> str:
    """Return the rows as text for a terminal; ``show``: name so many of the worst stays where the aim is missed."""
    head = ("n", "median", "95 %", "largest", "figure", "floor", "aim", "bound", "ratio")
    lines = [f"{'measure':30s}" + "".join(f" {name:>9s}" for name in head)]
    for row in some:
        numbers = [np.median(row.errors), np.quantile(row.errors, 0.95, method="higher"), row.errors.max(), row.figure]
        limits = [f"{row.limit.floor:9g}", f"{row.limit.aim:9g}"] if row.limit else [" " * 9] * 2
        best = [" " * 9 if x is None else f"{x:9.3f}" for x in (row.bound, row.ratio)]
        cells = [f"{len(row.errors):9d}", *(f"{x:9.3f}" for x in numbers), *limits, *best]
        line = f"{row.measure:30s} " + " ".join(cells) + f" {row.verdict}"
        if show and row.limit and row.figure > row.limit.aim:
            line += "  " + ", ".join(f"{place} {error:.3g}" for error, place in row.places[:show] if error > 0)
        lines.append(line.rstrip())
    return "\n".join(lines)
