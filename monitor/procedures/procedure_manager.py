"""The one guided procedure that may run at a rig: begun, answered, saved or cancelled, and by whom."""

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
from monitor.newtons.calibrating.guided_calibration import WARM_UP_S
from monitor.newtons.calibrating.plan import Plan, Step, check_whole
from monitor.newtons.calibration import Calibration
from monitor.procedures.calibration import CalibrationProcedure
from monitor.procedures.check import CheckProcedure
from monitor.procedures.procedure import Procedure, ProcedureAction, ProcedureKind, SavedRecord
from monitor.procedures.zero import ZeroProcedure
from monitor.rig import Rig

_log = logging.getLogger(__name__)

ABANDONED_S = 300.0
"""A procedure that no screen has polled for so long is given up, so that a closed page cannot block the rig; common
practice, no source."""

IDLE_S = 3600.0
"""So is one that has waited for a person so long, in the board's time: a page left open polls forever. Common practice,
no source."""

LONGEST_LAG_S = 60.0
"""Readings that seem to be older are new ones after the host's clock was set back; common practice, no source."""

WORDS: dict[ProcedureKind, str] = {
    "zero": "a new zero is read",
    "calibration": "the rig is being calibrated",
    "check": "the rig is being checked",
}


class RigInUse(MonitorError):
    """A procedure was to begin, or its result to come into force, while somebody is on the rig."""

    code = "rig-in-use"


class ProcedureUnderWay(MonitorError):
    """Another procedure is running."""

    code = "procedure-under-way"


class NoProcedure(MonitorError):
    """No procedure is running."""

    code = "no-procedure"


class Practice(Protocol):
    """A virtual rig that loads itself as a procedure asks; real ones are loaded by people."""

    def begin(self, kind: ProcedureKind, plan: Plan | None) -> None:
        """Clear the rig."""
        ...

    def place(self, step: Step) -> None:
        """Hang invented plates."""
        ...

    def do(self, task: str) -> None:
        """Let an invented person do a task of the check."""
        ...

    def end(self) -> None:
        """Resume what the rig does otherwise."""
        ...


class ProcedureManager:
    """Owns the running procedure. Screens call it from their threads, the pipeline feeds it from its own.

    Parameters
    ----------
    rig : Rig
    calibration : Calibration or None
        In force now.
    root, calibrations : Path
        The data folder, and the folder of its calibrations.
    in_use : callable
        Says whether the pipeline measures somebody on the rig now.
    hangs : callable
        Says whether somebody hangs by the raw load, which is known during a procedure too.
    ended : callable
        Called when a procedure is over, with the calibration in force from then on (None: unchanged).
    audit : callable
        Gets who, what and of what, for the audit log.
    practice : Practice or None
    utc_ns, clock_s : callable
        The clock of the source's clock fits; seconds for deadlines.
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
        audit: Callable[[str, str, str], None] = lambda who, what, subject: None,
        practice: Practice | None = None,
        utc_ns: Callable[[], int] = time.time_ns,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.rig, self.calibration = rig, calibration
        self.root, self.calibrations = root, calibrations
        self.practice = practice
        self._hangs = hangs
        self._in_use, self._ended, self._audit, self._clock_s = in_use, ended, audit, clock_s
        self._lock = threading.RLock()
        self._procedure: Procedure | None = None
        self._facts: BoardFacts | None = None
        self._fit: ClockFit | None = None
        self._utc_ns = utc_ns
        self._from_ns = 0
        self._id = self._who = ""
        self._polled_s = self._idle_s = 0.0

    # The pipeline's thread

    @property
    def busy(self) -> bool:
        """Say whether a procedure is running: nothing is measured as a hold meanwhile."""
        return self._procedure is not None

    @contextlib.contextmanager
    def no_procedure_begins(self) -> Iterator[bool]:
        """Keep procedures from beginning inside the context; yields whether none is running."""
        with self._lock:
            yield self._procedure is None

    def take(self, event: SourceEvent) -> None:
        """Feed an event of the source to the procedure; one that nobody polls or answers any more is given up."""
        if isinstance(event, BoardFacts):
            self._facts = event
        elif isinstance(event, ClockFit):
            self._fit = event
        procedure = self._procedure
        if procedure is None:
            return
        if not self._is_stale(event):
            procedure.take(event)
        if isinstance(event, CountBlock) and len(event):
            more_s = (len(event) + event.lost_before) / self.rig.nominal_rate_Hz
            self._idle_s = self._idle_s + more_s if procedure.waits else 0.0
        if self._idle_s > IDLE_S:
            self._give_up(procedure, f"nobody went on for {IDLE_S / 60:.0f} minutes")
        elif self._clock_s() - self._polled_s > ABANDONED_S:
            self._give_up(procedure, f"nobody looked at it for {ABANDONED_S / 60:.0f} minutes")

    def _give_up(self, procedure: Procedure, why: str) -> None:
        with self._lock:
            if self._procedure is procedure:
                _log.warning("%s: %s. It was given up, nothing was saved.", WORDS[procedure.kind].capitalize(), why)
                self._audit("this program", f"gave up: {WORDS[procedure.kind]}: {why}", self._id)
                self._over(None)

    def is_fresh(self, event: SourceEvent) -> bool:
        """Say whether these readings are younger than the last answer, or than the end of the procedure."""
        return isinstance(event, CountBlock) and len(event) > 0 and not self._is_stale(event)

    def _is_stale(self, event: SourceEvent) -> bool:
        """Say whether readings are older than the last answer: a lagging pipeline still delivers them."""
        fit = self._fit
        if not isinstance(event, CountBlock) or not len(event) or fit is None or fit.segment != event.segment:
            return False
        before_ns = self._from_ns - fit.utc_ns_at_zero - round(fit.rate * float(event.board_s[0]) * 1e9)
        return 0 < before_ns < LONGEST_LAG_S * 1e9

    # A screen's thread

    def state(self) -> dict[str, Any] | None:
        """Return the procedure's state as plain data, None where none is running."""
        with self._lock:
            procedure = self._procedure
            if procedure is None:
                return None
            self._polled_s = self._clock_s()
            head = {"id": self._id, "kind": procedure.kind, "by": self._who, "practice": self.practice is not None}
        return {**head, **procedure.state().as_dict()}

    def words(self) -> str:
        """Return one sentence for every screen about the running procedure; empty where none is running."""
        with self._lock:
            if self._procedure is None:
                return ""
            return (
                f"{WORDS[self._procedure.kind].capitalize()} ({self._who}): what hangs meanwhile is not kept as a hold."
            )

    def zero(self, who: str, seconds: float) -> dict[str, Any]:
        """Begin to read a new zero."""
        return self._begin(who, lambda: ZeroProcedure(self.rig, self.calibration, seconds))

    def calibrate(self, who: str, plan: Plan, *, fresh: bool = False, warm_up_s: float = WARM_UP_S) -> dict[str, Any]:
        """Begin a guided calibration.

        Raises
        ------
        BadPlan
            It leaves out a part that was never calibrated, or whose last calibration is left aside.
        """
        check_whole(plan, self.rig, known=not fresh and self.calibration is not None)
        previous = None if fresh else self.calibration
        place = self.practice.place if self.practice is not None else _nothing
        return self._begin(
            who, lambda: CalibrationProcedure(self.rig, plan, previous, warm_up_s=warm_up_s, place=place), plan
        )

    def check(
        self, who: str, *, watch_s: float, heaviest_kg: float, with_person: bool, largest_peak_N: float | None
    ) -> dict[str, Any]:
        """Begin a check."""

        def make() -> CheckProcedure:
            checkup = Checkup(
                self.rig,
                self.calibration,
                empty_s=watch_s,
                heaviest_kg=heaviest_kg,
                with_person=with_person,
                largest_peak_N=largest_peak_N,
            )
            if self._facts is not None:
                checkup.take(self._facts)  # a board sends these only when it connects
            return CheckProcedure(checkup, do=self.practice.do if self.practice is not None else _nothing)

        return self._begin(who, make)

    def _begin(self, who: str, make: Callable[[], Procedure], plan: Plan | None = None) -> dict[str, Any]:
        with self._lock:
            if self._procedure is not None:
                raise ProcedureUnderWay(
                    what=f"{WORDS[self._procedure.kind].capitalize()} already, by {self._who}.",
                    means="Only one can be done at a time; nothing was begun.",
                    do="Continue that one, or end it first.",
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
            self._id, self._who = secrets.token_hex(4), who
            self._polled_s, self._idle_s = self._clock_s(), 0.0
            self._from_ns = self._utc_ns()
            self._procedure = procedure
            self._audit(who, f"began: {WORDS[procedure.kind]}", self._id)
        state = self.state()
        assert state is not None
        return state

    def act(self, action: ProcedureAction, step: int) -> dict[str, Any]:
        """Answer the running step.

        Raises
        ------
        NoProcedure, ProcedureMovedOn
        """
        procedure = self._running()
        with procedure.lock:
            procedure.act(action, step)
            self._idle_s = 0.0
            self._from_ns = self._utc_ns()
        return self.state() or {}

    def correct(self, who: str, masses_kg: Mapping[str, float]) -> dict[str, Any]:
        """Replace kilograms of the running calibration that were mistyped; the readings stay.

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
        masses = ", ".join(f"{name}: {kg:g} kg" for name, kg in masses_kg.items())
        self._audit(who, f"corrected masses of the calibration: {masses}", self._id)
        return self.state() or {}

    def accept(self, who: str, *, although_somebody_hangs: bool = False) -> SavedRecord:
        """Save the result and put it in force; the procedure is over then.

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
            saved = procedure.save(self.root, self.calibrations, dt.datetime.now(dt.UTC))
            what = "put a new calibration in force" if saved.calibration is not None else "kept a check"
            self._audit(who, f"{what} ({procedure.kind})", saved.id)
            if saved.calibration is not None:
                self.calibration = saved.calibration
            self._over(saved.calibration)
            return saved

    def cancel(self, who: str) -> None:
        """Cancel the procedure; nothing is saved."""
        with self._lock:
            if self._procedure is not None:
                self._audit(who, f"gave up: {WORDS[self._procedure.kind]}", self._id)
                self._over(None)

    @property
    def calibration_procedure(self) -> CalibrationProcedure | None:
        """Return the running calibration, None where none is running."""
        procedure = self._procedure
        return procedure if isinstance(procedure, CalibrationProcedure) else None

    def _running(self) -> Procedure:
        procedure = self._procedure
        if procedure is None:
            raise self._no_procedure()
        return procedure

    def _no_procedure(self) -> NoProcedure:
        return NoProcedure(
            what="No such procedure is running at the rig.",
            means="It was ended or accepted meanwhile, perhaps on another screen; nothing was changed.",
            do="Begin again if you still want it.",
        )

    def _over(self, calibration: Calibration | None) -> None:
        if self.practice is not None:
            self.practice.end()
        self._from_ns = self._utc_ns()
        # The new calibration first: as long as the procedure runs nothing is measured as a hold.
        self._ended(calibration)
        self._procedure = None


def _nothing(_: object) -> None:
    """Leave the loading to people."""
