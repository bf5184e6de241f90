"""Load curves on disk: plain or gzipped CSV, read whole, checked line by line."""

from __future__ import annotations

import gzip
import itertools
import os
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from monitor.errors import BadInput
from monitor.newtons.load_block import LoadBlock
from monitor.rig import STANDARD_CHANNELS, BadRig, HIGHEST_RATE_Hz, LOWEST_RATE_Hz, Rig, rig_from_columns

CURVE_HEADER = "t_s," + ",".join(f"{c.name}_N" for c in STANDARD_CHANNELS)
FEWEST_ROWS = 8
"""A shorter curve holds nothing to measure (common practice, no source)."""

RATE_SLACK = 1.2
"""Converters run up to a fifth off their nominal rate (common practice, no source)."""

_MEANS = "The file was not analysed; it was not changed either."


class BadCurve(BadInput):
    """A load-curve file that cannot be used."""

    code = "bad-curve"


@dataclass(frozen=True, slots=True)
class Curve:
    """A load curve: ``t_s`` (n,) stamps and ``load_N`` (n, channels) in the order of the rig's channels."""

    rig: Rig
    t_s: NDArray[np.float64]
    load_N: NDArray[np.float64]
    rate_Hz: float

    def blocks(self) -> list[LoadBlock]:
        """Return the curve as load blocks, cut where rows are missing; the reading's delay is taken off."""
        interval_s = 1.0 / self.rate_Hz
        missing = np.rint(np.diff(self.t_s) / interval_s).astype(np.int64) - 1
        cuts = np.flatnonzero(missing > 0) + 1
        t_s = self.t_s - self.rig.delay_s(self.rate_Hz)
        edges = [0, *cuts.tolist(), len(t_s)]
        return [
            LoadBlock(t_s[a:b], self.load_N[a:b], 0, int(missing[a - 1]) if a else 0)
            for a, b in itertools.pairwise(edges)
        ]


def _bad(what: str, do: str) -> BadCurve:
    return BadCurve(what=what, means=_MEANS, do=do)


def _text(path: Path) -> str:
    """Return the file's text, unpacked where it is a gzip."""
    try:
        content = path.read_bytes()
    except OSError as error:
        raise _bad(
            f"{path} cannot be read: {error.strerror}.", "Check the name of the file and who may read it."
        ) from error
    if content[:2] == b"\x1f\x8b":
        try:
            content = gzip.decompress(content)
        except (EOFError, OSError, zlib.error) as error:
            raise _bad(
                f"{path} is a damaged gzip file: {error}.", "Copy it again from where it came; the copy was cut short."
            ) from error
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _bad(f"{path} is no text.", "Give a load curve as CSV or CSV.gz, or a journal.") from error


def _header(path: Path, line: str) -> tuple[str, ...]:
    """Return the channel names of a header line."""
    columns = [c.strip() for c in line.split(",")]
    wanted = f"Its first line must be {CURVE_HEADER}; columns that the rig lacks are left out."
    if columns[0] != "t_s":
        raise _bad(f"{path} does not begin with the header of a load curve but with {line[:60]!r}.", wanted)
    if len(set(columns)) != len(columns):
        raise _bad(f"{path} names a column twice.", wanted)
    for column in columns[1:]:
        if not column.endswith("_N"):
            raise _bad(f"{path} has a column {column!r}.", wanted)
    return tuple(c.removesuffix("_N") for c in columns[1:])


def _numbers(path: Path, lines: list[str], columns: int) -> NDArray[np.float64]:
    """Return (rows, columns) numbers; an empty field is NaN."""
    try:
        return _quickly(lines, columns)
    except ValueError:
        # Something is wrong: parse slowly to say what, and in which line.
        pass
    rows = np.full((len(lines), columns), np.nan)
    for number, line in enumerate(lines):
        fields = line.split(",")
        if len(fields) != columns:
            raise _bad(
                f"Line {number + 2} of {path} has {len(fields)} fields, the header {columns}.",
                "Mend that line, or remove it: a missing row counts as lost.",
            )
        try:
            rows[number] = [float(f) if f else np.nan for f in fields]
        except ValueError:
            for name, text in enumerate(fields):
                try:
                    rows[number, name] = float(text) if text.strip() else np.nan
                except ValueError as error:
                    raise _bad(
                        f"Line {number + 2} of {path} holds {text[:40]!r} where a number belongs.",
                        "Write numbers with a decimal point, and nothing for a failed reading.",
                    ) from error
    return rows


def _quickly(lines: list[str], columns: int) -> NDArray[np.float64]:
    """Return the numbers of well-formed lines; raises ValueError for any other."""
    filled = [line.replace(",,", ",nan,").replace(",,", ",nan,") if ",," in line else line for line in lines]
    filled = [f"{line}nan" if line.endswith(",") else line for line in filled]
    rows = np.loadtxt(filled, delimiter=",", dtype=np.float64, ndmin=2, comments=None)
    if rows.shape != (len(lines), columns):
        raise ValueError("shape")
    return np.asarray(rows)


def read_curve(path: str | os.PathLike[str]) -> Curve:
    """Read a load curve (``t_s`` and loads in newtons, docs/measurement.md), plain or gzipped.

    A lost sample is a missing row, a failed reading an empty field.

    Raises
    ------
    BadCurve
        Missing or unreadable file, damaged gzip, wrong header, text where numbers belong, times that run backwards,
        too few rows, infinite loads, a rate beyond what a rig may have.
    """
    path = Path(path)
    lines = _text(path).splitlines()
    while lines and not lines[-1].strip():
        lines.pop()
    if not lines:
        raise _bad(f"{path} is empty.", f"A load curve begins with the line {CURVE_HEADER}.")
    names = _header(path, lines[0])
    try:
        rig = rig_from_columns(names)
    except BadRig as error:
        raise _bad(f"{path} is no load curve: {error.what}", error.do) from error
    if len(lines) - 1 < FEWEST_ROWS:
        raise _bad(f"{path} holds {len(lines) - 1} rows only.", f"A load curve needs at least {FEWEST_ROWS}.")
    rows = _numbers(path, lines[1:], len(names) + 1)
    t_s, load_N = rows[:, 0].copy(), rows[:, 1:].copy()
    if not np.all(np.isfinite(t_s)):
        row = int(np.flatnonzero(~np.isfinite(t_s))[0])
        raise _bad(f"Line {row + 2} of {path} has no time.", "Every row needs its t_s in seconds.")
    steps = np.diff(t_s)
    if np.any(steps <= 0):
        row = int(np.flatnonzero(steps <= 0)[0]) + 1
        raise _bad(
            f"The times in {path} run backwards at line {row + 2} ({t_s[row - 1]:g} s, then {t_s[row]:g} s).",
            "Put the rows in the order of time; two records belong in two files.",
        )
    if np.any(np.isinf(load_N)):
        row = int(np.flatnonzero(np.any(np.isinf(load_N), axis=1))[0])
        raise _bad(f"Line {row + 2} of {path} holds an infinite load.", "Leave the field of a failed reading empty.")
    # The median step ignores lost rows; the mean of all steps near it averages the stamps' jitter.
    typical_s = float(np.median(steps))
    rate_Hz = 1.0 / float(np.mean(steps[np.abs(steps - typical_s) < 0.5 * typical_s]))
    if not LOWEST_RATE_Hz / RATE_SLACK <= rate_Hz <= HIGHEST_RATE_Hz * RATE_SLACK:
        raise _bad(
            f"The rows of {path} follow each other at {rate_Hz:.4g} per second.",
            f"Give times in seconds, and between {LOWEST_RATE_Hz:g} and {HIGHEST_RATE_Hz:g} readings per second.",
        )
    return Curve(rig, t_s, load_N, rate_Hz)
