"""Guided work at the rig while the monitor runs: a zero, a calibration or a check, as a walk that a screen can follow.

A walk takes what the source tells, in the pipeline's thread, and is asked and answered by screens, in theirs. It saves
nothing by itself: ``keep`` does, once a person has accepted what was found.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, Protocol

import numpy as np

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import SourceEvent
from monitor.errors import MonitorError, TellableError
from monitor.health.checkup import Checkup
from monitor.health.history import keep_check
from monitor.health.zero import READ_S, ZeroReading, read_zero
from monitor.newtons.calibrating.guide import GuidedCalibration
from monitor.newtons.calibrating.outcome import Outcome
from monitor.newtons.calibrating.plan import Plan, Step
from monitor.newtons.calibrating.recorded import WARM_UP_STEP, Record
from monitor.newtons.calibrating.summary import outcome_to_dict
from monitor.newtons.calibration import BadCalibration, Calibration, CalibrationNotFound, save_calibration
from monitor.rig import Rig, write_whole

ProcedureKind = Literal["zero", "calibration", "check"]
ProcedureAction = Literal["next", "back", "skip"]


class ProcedureNotReady(MonitorError):
    """A walk's result was to be kept before it was there."""

    code = "procedure-not-ready"


class ProcedureMovedOn(MonitorError):
    """A walk was answered for a step that is no longer the running one."""

    code = "procedure-moved-on"


@dataclass(frozen=True)
class SavedRecord:
    """What keeping a walk's result did: the calibration that is in force from now on, if it made one, and its files."""

    id: str
    calibration: Calibration | None
    files: dict[str, Path] = field(default_factory=dict)


class Walk(Protocol):
    """A walk, whatever it does. ``lock`` is held while it changes."""

    kind: ProcedureKind
    lock: threading.RLock

    def take(self, event: SourceEvent) -> None:
        """Take what the source tells."""
        ...

    def act(self, action: ProcedureAction, step: int) -> None:
        """Do what the person says of a step."""
        ...

    def state(self) -> dict[str, Any]:
        """Return what to show now, as plain data."""
        ...

    @property
    def waits(self) -> bool:
        """Say whether it goes on only when a person says so."""
        ...

    def keep(self, root: Path, calibrations: Path, now: dt.datetime) -> SavedRecord:
        """Write what was found."""
        ...


def iso(now: dt.datetime) -> str:
    """Return an instant as calibrations and checks are dated."""
    return now.astimezone(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _moved_on() -> ProcedureMovedOn:
    return ProcedureMovedOn(
        what="The walk has gone on meanwhile.",
        means="Your answer was for an earlier step and was left out.",
        do="Look at what is asked now, and answer that.",
    )


def _not_ready() -> ProcedureNotReady:
    return ProcedureNotReady(
        what="There is no result to be kept yet.",
        means="Nothing was saved.",
        do="Go on to the end, then accept what was found.",
    )


def _written(folder: Path, calibration: Calibration, now: dt.datetime) -> tuple[Path, Calibration]:
    """Write a calibration as a new file; return its path and itself under the name that it has from now on."""
    from monitor.newtons.calibration import load_calibration

    try:
        path = save_calibration(folder, calibration, now)
    except OSError as error:
        raise BadCalibration(
            what=f"The new calibration could not be written: {error.strerror or error}.",
            means="The calibration in force is as it was.",
            do="Free some space or mend the folder's permissions, then accept it again.",
        ) from error
    return path, load_calibration(path, [c.channel for c in calibration.channels])


class ZeroProcedure:
    """Reads a new zero of the empty rig; a person takes it or leaves it."""

    kind: ProcedureKind = "zero"

    def __init__(self, rig: Rig, calibration: Calibration | None, seconds: float = READ_S) -> None:
        if calibration is None:
            raise CalibrationNotFound(
                what="The rig has no calibration yet.",
                means="A zero alone turns no count into newtons.",
                do="Calibrate the rig with known masses.",
            )
        self.lock = threading.RLock()
        self._rig, self._calibration, self._wanted_s = rig, calibration, seconds
        self._blocks: list[CountBlock] = []
        self._reading: ZeroReading | None = None
        self._refusal: TellableError | None = None

    @property
    def _seconds(self) -> float:
        blocks = self._blocks
        return float(blocks[-1].board_s[-1] - blocks[0].board_s[0]) if blocks else 0.0

    def take(self, event: SourceEvent) -> None:
        """Collect counts; read the zero as soon as there are enough."""
        with self.lock:
            if not isinstance(event, CountBlock) or not len(event) or self._reading or self._refusal:
                return
            if self._blocks and event.segment != self._blocks[-1].segment:
                self._blocks.clear()
            self._blocks.append(event)
            seconds = self._seconds
            if seconds < self._wanted_s:
                return
            rows = sum(len(block) + block.lost_before for block in self._blocks)
            try:
                counts = np.concatenate([block.counts for block in self._blocks])
                self._reading = read_zero(self._rig, self._calibration, counts, (rows - 1) / seconds)
            except TellableError as refusal:
                self._refusal = refusal

    def act(self, action: ProcedureAction, step: int) -> None:
        """Read again."""
        with self.lock:
            if self._reading is None and self._refusal is None:
                raise _moved_on()
            self._blocks.clear()
            self._reading = self._refusal = None

    @property
    def waits(self) -> bool:
        """Say whether it goes on only when a person says so."""
        return self._reading is not None or self._refusal is not None

    def state(self) -> dict[str, Any]:
        """Return what to show now."""
        with self.lock:
            reading = self._reading
            stage = "refused" if self._refusal else "finished" if reading else "reading"
            return {
                "stage": stage,
                "step": 1,
                "steps": 1,
                "do": "Leave the rig empty and still.",
                "seconds": min(self._seconds, self._wanted_s),
                "needed_s": max(0.0, self._wanted_s - self._seconds),
                "refusal": self._refusal.as_dict() if self._refusal else None,
                "result": {"zero": reading.as_dict(), "unusual": list(reading.unusual)} if reading else None,
                "acceptable": reading is not None,
            }

    def keep(self, root: Path, calibrations: Path, now: dt.datetime) -> SavedRecord:
        """Write a new calibration with these zeros; spans stay."""
        with self.lock:
            if self._reading is None:
                raise _not_ready()
            path, kept = _written(calibrations, self._reading.applied(self._calibration, iso(now)), now)
            return SavedRecord(kept.id, kept, {"calibration": path})


class CalibrationProcedure:
    """A guided calibration with its raw readings."""

    kind: ProcedureKind = "calibration"

    def __init__(
        self, rig: Rig, plan: Plan, previous: Calibration | None, *, warm_up_s: float | None = None, fresh: bool = False
    ) -> None:
        given = {} if warm_up_s is None else {"warm_up_s": warm_up_s}
        self.lock = threading.RLock()
        self._machine = GuidedCalibration(rig, plan, previous=None if fresh else previous, **given)
        self._record = Record(rig)
        self._outcome: Outcome | None = None
        self._failure: TellableError | None = None
        self._at = ""

    @property
    def outcome(self) -> Outcome | None:
        """Return what was found, None before the last reading, or where it was refused as a whole."""
        with self.lock:
            if self._outcome is None and self._failure is None and self._machine.progress.stage == "finished":
                self._at = self._at or iso(dt.datetime.now(dt.UTC))
                try:
                    self._outcome = self._machine.finish(self._at)
                except TellableError as failure:
                    self._failure = failure
            return self._outcome

    @property
    def step(self) -> Step | None:
        """Return the plan's step that is due."""
        return self._machine.step

    def take(self, event: SourceEvent) -> None:
        """Keep the raw readings of a step, and let the guide look at them."""
        if not isinstance(event, CountBlock):
            return
        with self.lock:
            machine = self._machine
            stage = machine.progress.stage
            if stage == "warm_up":
                self._record.add(WARM_UP_STEP, event)
            elif stage == "reading" and machine.step is not None:
                self._record.add(machine.step.number, event)
            else:
                return
            machine.push(event)

    def act(self, action: ProcedureAction, step: int) -> None:
        """Confirm a step, go back by one, or go on without waiting for a warm rig."""
        with self.lock:
            machine = self._machine
            progress = machine.progress
            if step != progress.step:
                raise _moved_on()
            if action == "skip":
                machine.skip_warm_up()
            elif action == "back":
                self._outcome = self._failure = None
                machine.back()
            elif progress.stage in ("place", "refused") and machine.step is not None:
                self._record.begin(machine.step.number)
                machine.confirm()
            else:
                raise _moved_on()

    def correct(self, masses_kg: Mapping[str, float]) -> None:
        """Take other kilograms for masses that were typed wrongly; what was read stays.

        Raises
        ------
        TellableError
            They make no sense; nothing was changed.
        """
        with self.lock:
            self._machine.correct(masses_kg)
            self._outcome = self._failure = None

    @property
    def waits(self) -> bool:
        """Say whether it goes on only when a person says so."""
        return self._machine.progress.stage in ("place", "refused", "finished")

    def state(self) -> dict[str, Any]:
        """Return what to show now."""
        with self.lock:
            progress = self._machine.progress
            watch, outcome = progress.watch, self.outcome
            refusal = progress.refusal or self._failure
            return {
                "stage": "refused" if self._failure else progress.stage,
                "step": progress.step,
                "steps": progress.steps,
                "do": progress.do,
                "task": self._task(),
                "masses": [{"name": mass.name, "kg": mass.kg} for mass in self._machine.plan.masses.values()],
                "still": watch.still if watch else None,
                "unrest": _finite(watch.unrest) if watch else None,
                "seconds": watch.seconds if watch else 0.0,
                "needed_s": _finite(watch.needed_s) if watch else None,
                "u_counts": _finite(watch.u_counts) if watch else None,
                "drift_N_per_min": _finite(progress.drift_N_per_min),
                "refusal": refusal.as_dict() if refusal else None,
                "result": outcome_to_dict(outcome) if outcome else None,
                "acceptable": outcome is not None,
            }

    def _task(self) -> dict[str, Any] | None:
        """Return the step as data, for screens that say it in another language."""
        step = self._machine.step
        if step is None:
            return None
        taken = self._machine.taken
        before = taken[-1].step if taken else None
        had = before.masses if before is not None and before.place == step.place else ()
        return {
            "part": step.part,
            "place": None if step.place.label == "anywhere" else step.place.label,
            "masses": list(step.masses),
            "added": [m for m in step.masses if m not in had],
            "removed": [m for m in had if m not in step.masses],
        }

    def keep(self, root: Path, calibrations: Path, now: dt.datetime) -> SavedRecord:
        """Write the calibration and its raw readings, both as new files."""
        with self.lock:
            outcome = self.outcome
            if outcome is None:
                raise self._failure or _not_ready()
            path, kept = _written(calibrations, outcome.calibration, now)
            files = {"calibration": path, "readings": path.with_suffix(".readings.csv")}
            write_whole(files["readings"], self._record.csv())
            return SavedRecord(kept.id, kept, files)


class CheckProcedure:
    """A check of the rig; it ends by itself, and its result is kept with the rig's history."""

    kind: ProcedureKind = "check"

    def __init__(self, checkup: Checkup) -> None:
        self.lock = threading.RLock()
        self._checkup = checkup
        self._report: dict[str, Any] | None = None

    def take(self, event: SourceEvent) -> None:
        """Let the check look."""
        with self.lock:
            if not self._checkup.finished:
                self._checkup.take(event)

    def act(self, action: ProcedureAction, step: int) -> None:
        """Go on without what is asked now."""
        with self.lock:
            if action != "skip" or self._checkup.finished or step != self._checkup.progress.number:
                raise _moved_on()
            self._checkup.skip()

    @property
    def task(self) -> str:
        """Return the key of what is asked now, empty at the end."""
        task = self._checkup.progress.task
        return task.key if task else ""

    @property
    def report(self) -> dict[str, Any] | None:
        """Return the check's result once it has ended."""
        with self.lock:
            if self._report is None and self._checkup.finished:
                self._report = self._checkup.report(iso(dt.datetime.now(dt.UTC)))
            return self._report

    @property
    def waits(self) -> bool:
        """Say whether it goes on only when a person says so: tasks end by themselves."""
        return self._checkup.finished

    def state(self) -> dict[str, Any]:
        """Return what to show now."""
        with self.lock:
            progress, report = self._checkup.progress, self.report
            task = progress.task
            watching = task is not None and task.kind == "empty"
            return {
                "stage": "finished" if report else "reading",
                "step": min(progress.number, progress.of),
                "steps": progress.of,
                "do": task.do if task else "",
                "task": {"key": task.key, "kind": task.kind, "at": task.at} if task else None,
                "seen": progress.seen,
                "seconds": progress.seconds,
                "needed_s": max(0.0, self._checkup.empty_s - progress.seconds) if watching else None,
                "refusal": None,
                "result": report,
                "acceptable": report is not None,
            }

    def keep(self, root: Path, calibrations: Path, now: dt.datetime) -> SavedRecord:
        """Write the check's result beside the earlier ones."""
        with self.lock:
            report = self.report
            if report is None:
                raise _not_ready()
            data, page = keep_check(root, report, now)
            return SavedRecord(data.stem, None, {"json": data, "page": page})


def _finite(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else float(value)
