"""A check of the rig, as a guided procedure."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from firmware_bridge.sources import SourceEvent
from monitor.health.check_history import save_check
from monitor.health.checkup import Checkup
from monitor.procedures.procedure import (
    ProcedureAction,
    ProcedureKind,
    ProcedureState,
    SavedRecord,
    iso,
    moved_on,
    not_ready,
)


class CheckProcedure:
    """A check of the rig; it ends by itself, and its result is saved with the rig's history.

    Parameters
    ----------
    checkup : Checkup
    do : callable
        Gets the key of each task as it begins, and an empty one at the end, so that an invented person does it.
    """

    kind: ProcedureKind = "check"

    def __init__(self, checkup: Checkup, *, do: Callable[[str], None] = lambda task: None) -> None:
        self.lock = threading.RLock()
        self._checkup = checkup
        self._do = do
        self._announced = ""
        self._report: dict[str, Any] | None = None

    def take(self, event: SourceEvent) -> None:
        """Hand an event to the check."""
        with self.lock:
            if not self._checkup.finished:
                self._checkup.take(event)
            task = self._checkup.progress.task
            key = task.key if task else ""
        if key != self._announced:
            self._announced = key
            self._do(key)

    def act(self, action: ProcedureAction, step: int) -> None:
        """Go on without the running task."""
        with self.lock:
            if action != "skip" or self._checkup.finished or step != self._checkup.progress.number:
                raise moved_on()
            self._checkup.skip()

    def end(self, what: str, do: str) -> None:
        """Judge what there is: the source sends no more."""
        with self.lock:
            self._checkup.give_up(what, do)

    @property
    def report(self) -> dict[str, Any] | None:
        """Return the result, None before the end."""
        with self.lock:
            if self._report is None and self._checkup.finished:
                self._report = self._checkup.report(iso(dt.datetime.now(dt.UTC)))
            return self._report

    @property
    def waits(self) -> bool:
        """Say whether it goes on only when a person says so: tasks end by themselves."""
        return self._checkup.finished

    def state(self) -> ProcedureState:
        """Return what to show now."""
        with self.lock:
            progress, report = self._checkup.progress, self.report
            task = progress.task
            watching = task is not None and task.kind == "empty"
            return ProcedureState(
                stage="finished" if report else "reading",
                step=min(progress.number, progress.of),
                steps=progress.of,
                do=task.do if task else "",
                answers=("skip",) if task is not None and not watching else (),
                seconds=progress.seconds,
                needed_s=max(0.0, self._checkup.empty_s - progress.seconds) if watching else None,
                task={"key": task.key, "kind": task.kind, "at": task.at} if task else None,
                remark=progress.remark,
                result=report,
            )

    def save(self, root: Path, calibrations: Path, now: dt.datetime) -> SavedRecord:
        """Write the result beside those of earlier checks."""
        with self.lock:
            report = self.report
            if report is None:
                raise not_ready()
            data, page = save_check(root, report, now)
            return SavedRecord(data.stem, None, {"json": data, "page": page})
