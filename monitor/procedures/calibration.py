"""A guided calibration with known masses, and its raw readings."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import SourceEvent
from monitor.errors import TellableError
from monitor.newtons.calibrating.guided_calibration import WARM_UP_S, GuidedCalibration, Progress
from monitor.newtons.calibrating.outcome import Outcome
from monitor.newtons.calibrating.plan import Plan, Step
from monitor.newtons.calibrating.raw_readings import WARM_UP_STEP, RawReadings, carry_out
from monitor.newtons.calibrating.summary import outcome_to_dict
from monitor.newtons.calibration import Calibration
from monitor.procedures.procedure import (
    ProcedureAction,
    ProcedureKind,
    ProcedureState,
    SavedRecord,
    ended,
    iso,
    moved_on,
    not_ready,
    save_new_calibration,
)
from monitor.rig import Rig, write_whole


class CalibrationProcedure:
    """A guided calibration.

    Parameters
    ----------
    rig : Rig
    plan : Plan
    previous : Calibration or None
        In force now; None leaves it aside.
    warm_up_s : float
        How long the empty rig is watched before the first zero.
    place : callable
        Loads a virtual rig for a step; people load real ones.

    Attributes
    ----------
    guide : GuidedCalibration
    record : RawReadings
        The raw readings of every step.
    """

    kind: ProcedureKind = "calibration"

    def __init__(
        self,
        rig: Rig,
        plan: Plan,
        previous: Calibration | None,
        *,
        warm_up_s: float = WARM_UP_S,
        place: Callable[[Step], None] = lambda step: None,
    ) -> None:
        self.lock = threading.RLock()
        self.guide = GuidedCalibration(rig, plan, previous=previous, warm_up_s=warm_up_s)
        self.record = RawReadings(rig)
        self._place = place
        self._outcome: Outcome | None = None
        self._failure: TellableError | None = None
        self._at = ""

    @property
    def outcome(self) -> Outcome | None:
        """Return the result; None before the last reading, or where it was refused as a whole."""
        with self.lock:
            if self._outcome is None and self._failure is None and self.guide.progress.stage == "finished":
                self._at = self._at or iso(dt.datetime.now(dt.UTC))
                try:
                    self._outcome = self.guide.finish(self._at)
                except TellableError as failure:
                    self._failure = failure
            return self._outcome

    def carry_out(self, readings: dict[int, CountBlock]) -> None:
        """Take recorded readings instead of a source's; they are not recorded again.

        Raises
        ------
        TellableError
            Readings are missing, or something is refused.
        """
        carry_out(self.guide, readings)

    def take(self, event: SourceEvent) -> None:
        """Record the readings of the running step and hand them to the guide."""
        if not isinstance(event, CountBlock):
            return
        with self.lock:
            guide = self.guide
            stage = guide.progress.stage
            if stage == "warm_up":
                self.record.add(WARM_UP_STEP, event)
            elif stage == "reading" and guide.step is not None:
                self.record.add(guide.step.number, event)
            else:
                return
            guide.push(event)

    def act(self, action: ProcedureAction, step: int) -> None:
        """Confirm a step, go back by one, or go on without waiting for a warm rig."""
        with self.lock:
            guide = self.guide
            progress, due = guide.progress, guide.step
            if step != progress.step:
                raise moved_on()
            if action == "skip":
                guide.skip_warm_up()
            elif action == "back":
                self._outcome = self._failure = None
                guide.back()
            elif progress.stage in ("place", "refused") and due is not None:
                self.record.begin(due.number)
                guide.confirm()
                self._place(due)
            else:
                raise moved_on()

    def correct(self, masses_kg: Mapping[str, float]) -> None:
        """Replace the kilograms of masses that were mistyped; the readings stay.

        Raises
        ------
        TellableError
            They make no sense; nothing was changed.
        """
        with self.lock:
            self.guide.correct(masses_kg)
            self._outcome = self._failure = None

    def end(self, what: str, do: str) -> None:
        """Refuse: the source sends no more."""
        with self.lock:
            self._failure = ended(what, do)

    @property
    def waits(self) -> bool:
        """Say whether it goes on only when a person says so."""
        return self.guide.progress.stage in ("place", "refused", "finished")

    def state(self) -> ProcedureState:
        """Return what to show now."""
        with self.lock:
            progress = self.guide.progress
            watch, outcome = progress.watch, self.outcome
            return ProcedureState(
                stage="refused" if self._failure else progress.stage,
                step=progress.step,
                steps=progress.steps,
                do=progress.do,
                answers=self._answers(progress),
                seconds=watch.seconds if watch else 0.0,
                needed_s=watch.needed_s if watch else None,
                task=self._task(),
                masses=[(mass.name, mass.kg) for mass in self.guide.plan.masses.values()],
                still=watch.still if watch else None,
                unrest=watch.unrest if watch else None,
                u_counts=watch.u_counts if watch else None,
                drift_N_per_min=progress.drift_N_per_min,
                refusal=self._failure or progress.refusal,
                result=outcome_to_dict(outcome) if outcome else None,
            )

    def _answers(self, progress: Progress) -> tuple[ProcedureAction, ...]:
        if progress.stage == "warm_up":
            return ("skip",)
        if progress.stage == "place":
            return ("next", "back") if progress.step > 1 else ("next",)
        if progress.stage == "refused":
            return ("next", "back")
        return () if progress.stage == "reading" else ("back",)

    def _task(self) -> dict[str, Any] | None:
        """Return the step as data, for screens that say it in another language."""
        step = self.guide.step
        if step is None:
            return None
        taken = self.guide.taken
        before = taken[-1].step if taken else None
        hung = before.masses if before is not None and before.place == step.place else ()
        return {
            "part": step.part,
            "place": None if step.place.label == "anywhere" else step.place.label,
            "masses": list(step.masses),
            "added": [m for m in step.masses if m not in hung],
            "removed": [m for m in hung if m not in step.masses],
        }

    def save(self, root: Path, calibrations: Path, now: dt.datetime) -> SavedRecord:
        """Write the calibration and its raw readings, both as new files."""
        with self.lock:
            outcome = self.outcome
            if outcome is None:
                raise self._failure or not_ready()
            path, saved = save_new_calibration(calibrations, outcome.calibration, now)
            files = {"calibration": path}
            if self.record.steps:
                files["readings"] = path.with_suffix(".readings.csv")
                write_whole(files["readings"], self.record.csv())
            return SavedRecord(saved.id, saved, files)
