"""Raw readings of a calibration on disk, step by step, so that any later version can compute it anew."""

from __future__ import annotations

import csv
import io
import os
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import NO_READING, CountBlock
from monitor.newtons.calibrating.guided_calibration import GuidedCalibration
from monitor.newtons.calibrating.refusals import BadReadings
from monitor.rig import Rig

WARM_UP_STEP = 0


def _bad(what: str, do: str) -> BadReadings:
    return BadReadings(what=what, means="No calibration was computed from this file; it was not changed.", do=do)


@dataclass(slots=True)
class RawReadings:
    """Collects raw readings by the plan's step (0: warm-up); a step that is done again replaces its rows."""

    rig: Rig
    steps: dict[int, list[tuple[NDArray[np.float64], NDArray[np.int32]]]] = field(default_factory=dict)

    def begin(self, step: int) -> None:
        """Start a step anew."""
        self.steps[step] = []

    def add(self, step: int, block: CountBlock) -> None:
        """Add a block's readings."""
        self.steps.setdefault(step, []).append((block.board_s, block.counts))

    def csv(self) -> bytes:
        """Return the CSV: ``t_s,step`` and the raw counts of every channel, an empty field where a reading failed."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["t_s", "step", *self.rig.names])
        for step in sorted(self.steps):
            for times, counts in self.steps[step]:
                for t_s, row in zip(times.tolist(), counts.tolist(), strict=True):
                    writer.writerow([repr(t_s), step, *("" if c == NO_READING else c for c in row)])
        return out.getvalue().encode()


def read_readings(path: str | os.PathLike[str], rig: Rig) -> dict[int, CountBlock]:
    """Return the readings of each step.

    Raises
    ------
    BadReadings
    """
    try:
        lines = Path(path).read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise _bad(f"The readings {path} cannot be read: {error}.", "Give a CSV with raw counts.") from error
    wanted = ["t_s", "step", *rig.names]
    if not lines or [c.strip() for c in lines[0].split(",")] != wanted:
        raise _bad(
            f"{path} does not begin with {','.join(wanted)}.", "Use the columns of the rig description, in order."
        )
    rows: dict[int, list[tuple[float, list[int]]]] = {}
    for number, line in enumerate(lines[1:], start=2):
        fields = line.split(",")
        try:
            if len(fields) != len(wanted):
                raise ValueError(f"{len(fields)} fields")
            counts = [int(f) if f.strip() else NO_READING for f in fields[2:]]
            if any(not NO_READING <= c < 2**31 for c in counts):
                raise ValueError("a count beyond 32 bits")
            rows.setdefault(int(fields[1]), []).append((float(fields[0]), counts))
        except ValueError as error:
            raise _bad(f"Line {number} of {path} cannot be used: {error}.", "Fix that line, or remove it.") from error
    blocks = {}
    for step, entries in rows.items():
        times = np.array([t for t, _ in entries])
        if not np.isfinite(times).all() or (np.diff(times) <= 0).any():
            raise _bad(
                f"The times of step {step} in {path} run backwards.", "Give the rows in the order of their time."
            )
        blocks[step] = CountBlock(0, times, np.array([c for _, c in entries], dtype=np.int32))
    return blocks


def carry_out(machine: GuidedCalibration, readings: dict[int, CountBlock]) -> None:
    """Push recorded readings through a guided calibration until it is finished.

    Raises
    ------
    BadReadings
        A step is missing, or has too few readings.
    TellableError
        Whatever the calibration refuses.
    """
    if WARM_UP_STEP in readings:
        machine.push(readings[WARM_UP_STEP])
    machine.skip_warm_up()
    while (step := machine.step) is not None:
        if step.number not in readings:
            raise _bad(f"There are no readings of step {step.number}.", "Record every step of the plan.")
        machine.confirm()
        progress = machine.push(readings[step.number])
        if progress.refusal is not None:
            raise progress.refusal
        if progress.stage == "reading":
            seconds = float(np.ptp(readings[step.number].board_s))
            raise _bad(
                f"Step {step.number} has {seconds:.0f} s of readings, and that was not enough for a still mean.",
                f"Record at least {max(15.0, step.dwell_s + 5):.0f} s under a load at rest.",
            )
