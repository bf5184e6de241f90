"""The one guided walk that may be under way at a rig: begun, answered, kept, given up; with who did it."""

from __future__ import annotations

import contextlib
import datetime as dt
import logging
import secrets
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Protocol

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import BoardFacts, ClockFit, SourceEvent
from monitor.errors import MonitorError
from monitor.health.checkup import Checkup
from monitor.health.procedures import (
    CalibrationProcedure,
    CheckProcedure,
    ProcedureAction,
    ProcedureKind,
    SavedRecord,
    Walk,
    ZeroProcedure,
)
from monitor.newtons.calibrating.plan import Plan, Step, check_whole
from monitor.newtons.calibration import Calibration
from monitor.rig import Rig

_log = logging.getLogger(__name__)

FORGOTTEN_S = 300.0
"""A walk that no screen has asked for so long is given up: nobody may find the rig closed by a page that is gone."""

IDLE_S = 3600.0
"""So is one that has waited for a person so long, of the board's time: a page left open asks for ever."""

LONGEST_LAG_S = 60.0
"""Readings that seem to be older came after the host's clock was set back."""

WORDS: dict[ProcedureKind, str] = {
    "zero": "a new zero is read",
    "calibration": "the rig is being calibrated",
    "check": "the rig is being checked",
}


class RigInUse(MonitorError):
    """A walk was to begin, or its result to come into force, while somebody is on the rig."""

    code = "rig-in-use"


class ProcedureUnderWay(MonitorError):
    """There is a walk already."""

    code = "procedure-under-way"


class NoProcedure(MonitorError):
    """There is no walk to be answered."""

    code = "no-procedure"


class Practice(Protocol):
    """A rig in software that loads itself as a walk asks; real ones are loaded by people."""

    def begin(self, kind: ProcedureKind, plan: Plan | None) -> None:
        """Take everybody off the rig."""
        ...

    def place(self, step: Step) -> None:
        """Hang invented plates."""
        ...

    def do(self, task: str) -> None:
        """Let an invented person do a task of the check."""
        ...

    def end(self) -> None:
        """Go back to whatever goes on there otherwise."""
        ...


class ProcedureManager:
    """Owns the walk. Screens call it from their threads, the pipeline gives it what the source tells.

    Parameters
    ----------
    rig : Rig
    calibration : Calibration or None
        In force now.
    root, calibrations : Path
        The data folder, and where its calibrations lie.
    in_use : callable
        Says whether somebody is on the rig now, as far as it is measured.
    hangs : callable
        Says whether somebody hangs by what the rig reads, walk or not.
    ended : callable
        Called when a walk is over, with the calibration that is in force from then on (None: as before).
    tell : callable
        Gets who, what and of what, for the audit log.
    practice : Practice or None
    utc_ns, clock_s : callable
        The clock that the source's clock fits are told in; seconds for deadlines.
    """

    def __init__(
        self,
        rig: Rig,
        calibration: Calibration | None,
        *,
        root: Path,
        calibrations: Path,
        in_use: Callable[[], bool] = lambda: False,
        hangs: Callable[[], bool] = lambda: False,
        ended: Callable[[Calibration | None], None] = lambda calibration: None,
        tell: Callable[[str, str, str], None] = lambda who, what, subject: None,
        practice: Practice | None = None,
        utc_ns: Callable[[], int] = time.time_ns,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.rig, self.calibration = rig, calibration
        self.root, self.calibrations = root, calibrations
        self.practice = practice
        self._hangs = hangs
        self._in_use, self._ended, self._tell, self._clock_s = in_use, ended, tell, clock_s
        self._lock = threading.RLock()
        self._procedure: Walk | None = None
        self._facts: BoardFacts | None = None
        self._fit: ClockFit | None = None
        self._utc_ns = utc_ns
        self._from_ns = 0
        self._id = self._who = self._told = ""
        self._asked_s = self._idle_s = 0.0
        self._kept: SavedRecord | None = None

    # The pipeline's thread

    @property
    def busy(self) -> bool:
        """Say whether a walk is under way: what hangs meanwhile is no hold."""
        return self._procedure is not None

    @contextlib.contextmanager
    def no_procedure_begins(self) -> Iterator[bool]:
        """Keep walks from beginning while the block runs; yields whether none is under way."""
        with self._lock:
            yield self._procedure is None

    def take(self, event: SourceEvent) -> None:
        """Hand on what the source tells; a walk that nobody looks at, or goes on with, is given up."""
        if isinstance(event, BoardFacts):
            self._facts = event
        elif isinstance(event, ClockFit):
            self._fit = event
        procedure = self._procedure
        if procedure is None:
            return
        if not self._is_stale(event):
            procedure.take(event)
        if self.practice is not None and isinstance(procedure, CheckProcedure):
            task = procedure.task
            if task != self._told:
                self._told = task
                self.practice.do(task)
        if isinstance(event, CountBlock) and len(event):
            more_s = (len(event) + event.lost_before) / self.rig.nominal_rate_Hz
            self._idle_s = self._idle_s + more_s if procedure.waits else 0.0
        if self._idle_s > IDLE_S:
            self._give_up(procedure, f"nobody went on for {IDLE_S / 60:.0f} minutes")
        elif self._clock_s() - self._asked_s > FORGOTTEN_S:
            self._give_up(procedure, f"nobody looked at it for {FORGOTTEN_S / 60:.0f} minutes")

    def _give_up(self, procedure: Walk, why: str) -> None:
        with self._lock:
            if self._procedure is procedure:
                _log.warning("%s: %s. It was given up, nothing was saved.", WORDS[procedure.kind].capitalize(), why)
                self._tell("this program", f"gave up: {WORDS[procedure.kind]}: {why}", self._id)
                self._over(None)

    def is_fresh(self, event: SourceEvent) -> bool:
        """Say whether these are readings from after the last answer, or the end of the walk."""
        return isinstance(event, CountBlock) and len(event) > 0 and not self._is_stale(event)

    def _is_stale(self, event: SourceEvent) -> bool:
        """Say whether readings are from before the last answer: where the pipeline lags they would pass for newer."""
        fit = self._fit
        if not isinstance(event, CountBlock) or not len(event) or fit is None or fit.segment != event.segment:
            return False
        before_ns = self._from_ns - fit.utc_ns_at_zero - round(fit.rate * float(event.board_s[0]) * 1e9)
        return 0 < before_ns < LONGEST_LAG_S * 1e9

    # A screen's thread

    def state(self) -> dict[str, Any] | None:
        """Return the walk as plain data, None where there is none."""
        with self._lock:
            procedure = self._procedure
            if procedure is None:
                return None
            self._asked_s = self._clock_s()
            head = {"id": self._id, "kind": procedure.kind, "by": self._who, "practice": self.practice is not None}
        return {**head, **procedure.state()}

    def words(self) -> str:
        """Return what goes on in one sentence for every screen; empty where nothing does."""
        with self._lock:
            if self._procedure is None:
                return ""
            return (
                f"{WORDS[self._procedure.kind].capitalize()} ({self._who}): what hangs meanwhile is not kept as a hold."
            )

    def zero(self, who: str, seconds: float) -> dict[str, Any]:
        """Begin to read a new zero."""
        return self._begin(who, lambda: ZeroProcedure(self.rig, self.calibration, seconds))

    def calibrate(self, who: str, plan: Plan, *, fresh: bool = False, warm_up_s: float | None = None) -> dict[str, Any]:
        """Begin a guided calibration.

        Raises
        ------
        BadPlan
            It leaves a part out of which nothing is known yet, or whose last calibration is left aside.
        """
        check_whole(plan, self.rig, known=not fresh and self.calibration is not None)
        return self._begin(
            who, lambda: CalibrationProcedure(self.rig, plan, self.calibration, fresh=fresh, warm_up_s=warm_up_s), plan
        )

    def check(
        self, who: str, *, watch_s: float, heaviest_kg: float, with_person: bool, largest_peak_N: float | None
    ) -> dict[str, Any]:
        """Begin a check."""

        def made() -> CheckProcedure:
            checkup = Checkup(
                self.rig,
                self.calibration,
                empty_s=watch_s,
                heaviest_kg=heaviest_kg,
                with_person=with_person,
                largest_peak_N=largest_peak_N,
            )
            if self._facts is not None:
                checkup.take(self._facts)  # a board tells these only when it connects
            return CheckProcedure(checkup)

        return self._begin(who, made)

    def _begin(self, who: str, make: Callable[[], Walk], plan: Plan | None = None) -> dict[str, Any]:
        with self._lock:
            if self._procedure is not None:
                raise ProcedureUnderWay(
                    what=f"{WORDS[self._procedure.kind].capitalize()} already, by {self._who}.",
                    means="Only one can be done at a time; nothing was begun.",
                    do="Go on with that one, or end it first.",
                )
            if self._in_use():
                raise RigInUse(
                    what="Somebody is on the rig.",
                    means="Their hold would be spoiled; nothing was begun.",
                    do="Wait until the rig is empty, then begin again.",
                )
            procedure = make()
            if self.practice is not None:
                self.practice.begin(procedure.kind, plan)
            self._id, self._who, self._told, self._kept = secrets.token_hex(4), who, "", None
            self._asked_s, self._idle_s = self._clock_s(), 0.0
            self._from_ns = self._utc_ns()
            self._procedure = procedure
            self._tell(who, f"began: {WORDS[procedure.kind]}", self._id)
        state = self.state()
        assert state is not None
        return state

    def act(self, action: ProcedureAction, step: int) -> dict[str, Any]:
        """Answer the walk.

        Raises
        ------
        NoProcedure, ProcedureMovedOn
        """
        procedure = self._running()
        with procedure.lock:
            due = procedure.step if isinstance(procedure, CalibrationProcedure) else None
            procedure.act(action, step)
            self._idle_s = 0.0
            self._from_ns = self._utc_ns()
            if action == "next" and due is not None and self.practice is not None:
                self.practice.place(due)
        return self.state() or {}

    def correct(self, who: str, masses_kg: Mapping[str, float]) -> dict[str, Any]:
        """Take other kilograms for masses of the calibration under way; what was read stays.

        Raises
        ------
        NoProcedure
        TellableError
            They make no sense; nothing was changed.
        """
        procedure = self.calibration_procedure
        if procedure is None:
            raise self._no_procedure()
        procedure.correct(masses_kg)
        self._idle_s = 0.0
        told = ", ".join(f"{name}: {kg:g} kg" for name, kg in masses_kg.items())
        self._tell(who, f"corrected masses of the calibration: {told}", self._id)
        return self.state() or {}

    def keep(self, who: str, *, although_somebody_hangs: bool = False) -> SavedRecord:
        """Write what was found and put it in force; the walk is over then.

        Raises
        ------
        NoProcedure, ProcedureNotReady, RigInUse, TellableError
        """
        with self._lock:
            procedure = self._running()
            if procedure.kind != "check" and self._hangs() and not although_somebody_hangs:
                raise RigInUse(
                    what="Something as heavy as a person hangs from the bar.",
                    means="A new calibration would come into force in the middle of it; nothing was saved yet.",
                    do="Clear the bar, then accept again. If nothing hangs, the old calibration is wrong: say so.",
                )
            kept = procedure.keep(self.root, self.calibrations, dt.datetime.now(dt.UTC))
            what = "put a new calibration in force" if kept.calibration is not None else "kept a check"
            self._tell(who, f"{what} ({procedure.kind})", kept.id)
            if kept.calibration is not None:
                self.calibration = kept.calibration
            self._over(kept.calibration)
            return kept

    def cancel(self, who: str) -> None:
        """Give the walk up; nothing is saved."""
        with self._lock:
            if self._procedure is not None:
                self._tell(who, f"gave up: {WORDS[self._procedure.kind]}", self._id)
                self._over(None)

    @property
    def calibration_procedure(self) -> CalibrationProcedure | None:
        """Return the calibration that is under way, for its sheet."""
        procedure = self._procedure
        return procedure if isinstance(procedure, CalibrationProcedure) else None

    def _running(self) -> Walk:
        procedure = self._procedure
        if procedure is None:
            raise self._no_procedure()
        return procedure

    def _no_procedure(self) -> NoProcedure:
        return NoProcedure(
            what="Nothing of this kind is under way at the rig.",
            means="It was ended or accepted meanwhile, perhaps on another screen; nothing was changed.",
            do="Begin again, if it is still wanted.",
        )

    def _over(self, calibration: Calibration | None) -> None:
        if self.practice is not None:
            self.practice.end()
        self._from_ns = self._utc_ns()
        # First the successor, then the end: between the two nothing is taken for a hold.
        self._ended(calibration)
        self._procedure = None
