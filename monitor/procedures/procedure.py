"""What all guided procedures share: the state that a screen shows, the answers it may give, what saving returns."""

from __future__ import annotations

import datetime as dt
import math
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, Protocol

from firmware_bridge.sources import SourceEvent
from monitor.errors import MonitorError, TellableError
from monitor.newtons.calibration import BadCalibration, Calibration, load_calibration, save_calibration

ProcedureKind = Literal["zero", "calibration", "check"]
ProcedureAction = Literal["next", "back", "skip"]
Stage = Literal["warm_up", "place", "reading", "refused", "finished"]


class ProcedureNotReady(MonitorError):
    """A result was to be saved before there was one."""

    code = "procedure-not-ready"


class ProcedureMovedOn(MonitorError):
    """An answer was for a step that is no longer the running one."""

    code = "procedure-moved-on"


class ProcedureEnded(MonitorError):
    """The person ended a procedure at the terminal, or the board went away for good."""

    code = "procedure-ended"


@dataclass(frozen=True, slots=True)
class ProcedureState:
    """What a screen shows of a procedure: the running step, the answers it accepts, the result.

    Attributes
    ----------
    stage : Stage
        ``place`` waits for a person, ``refused`` too; ``finished`` has a result, or none that could be saved.
    step, steps : int
        Number of the running step, and of all.
    do : str
        What the person is to do, in English.
    answers : tuple of ProcedureAction
        Answers that are accepted now.
    seconds : float
        How long the running reading is, s of the board's time.
    needed_s : float or None
        How much longer it will take, s.
    task : dict or None
        The step as data, for screens in another language.
    masses : list of (str, float) or None
        Masses of a calibration in kilograms, to be corrected.
    still : bool or None
        Whether the load is at rest; None before anything can be said.
    unrest : float or None
        How much the load moves; 1 is the most that counts as still.
    u_counts, drift_N_per_min : float or None
        Standard error of the running mean; drift of the fastest cell while warming up.
    remark : str
        What the procedure notices now.
    refusal : TellableError or None
        Why the newest reading, or the result, was refused.
    result : dict or None
        The result as plain JSON data.
    """

    stage: Stage
    step: int
    steps: int
    do: str
    answers: tuple[ProcedureAction, ...] = ()
    seconds: float = 0.0
    needed_s: float | None = None
    task: dict[str, Any] | None = None
    masses: list[tuple[str, float]] | None = None
    still: bool | None = None
    unrest: float | None = None
    u_counts: float | None = None
    drift_N_per_min: float | None = None
    remark: str = ""
    refusal: TellableError | None = None
    result: dict[str, Any] | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the state as plain JSON data; a number that is not finite is null."""
        masses = self.masses
        return {
            "stage": self.stage,
            "step": self.step,
            "steps": self.steps,
            "do": self.do,
            "answers": list(self.answers),
            "seconds": self.seconds,
            "needed_s": _finite(self.needed_s),
            "task": self.task,
            "masses": None if masses is None else [{"name": name, "kg": kg} for name, kg in masses],
            "still": self.still,
            "unrest": _finite(self.unrest),
            "u_counts": _finite(self.u_counts),
            "drift_N_per_min": _finite(self.drift_N_per_min),
            "seen": self.remark,
            "refusal": self.refusal.as_dict() if self.refusal else None,
            "result": self.result,
            "acceptable": self.result is not None,
        }


@dataclass(frozen=True)
class SavedRecord:
    """What was saved: the calibration that is in force from now on, if there is a new one, and the files."""

    id: str
    calibration: Calibration | None
    files: dict[str, Path] = field(default_factory=dict)


class Procedure(Protocol):
    """A guided procedure: fed in the source's thread, answered in a screen's; ``lock`` is held while it changes.

    It saves nothing by itself: ``save`` does, once a person has accepted the result.
    """

    kind: ProcedureKind
    lock: threading.RLock

    def take(self, event: SourceEvent) -> None:
        """Take an event of the source."""
        ...

    def act(self, action: ProcedureAction, step: int) -> None:
        """Carry out a person's answer to a step.

        Raises
        ------
        ProcedureMovedOn
            That step is no longer the running one, or does not accept the answer.
        """
        ...

    def end(self, what: str, do: str) -> None:
        """End early because the source sends no more: why, and what to do about it."""
        ...

    def state(self) -> ProcedureState:
        """Return what to show now."""
        ...

    @property
    def waits(self) -> bool:
        """Say whether it goes on only when a person says so."""
        ...

    def save(self, root: Path, calibrations: Path, now: dt.datetime) -> SavedRecord:
        """Write the result into a data folder.

        Raises
        ------
        ProcedureNotReady, TellableError
        """
        ...


def iso(now: dt.datetime) -> str:
    """Return an instant as calibrations and checks are dated."""
    return now.astimezone(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def moved_on() -> ProcedureMovedOn:
    """Return the error of an answer that comes too late."""
    return ProcedureMovedOn(
        what="The procedure has moved on.",
        means="Your answer was for an earlier step and was ignored.",
        do="Look at the current step and answer that.",
    )


def not_ready() -> ProcedureNotReady:
    """Return the error of a result that is wanted too early."""
    return ProcedureNotReady(
        what="There is no result to save yet.",
        means="Nothing was saved.",
        do="Go on to the end, then accept the result.",
    )


def ended(what: str, do: str) -> ProcedureEnded:
    """Return the error of a procedure that ended before its result."""
    return ProcedureEnded(what=what, means="It is not complete; nothing was saved.", do=do)


def save_new_calibration(folder: Path, calibration: Calibration, now: dt.datetime) -> tuple[Path, Calibration]:
    """Write a calibration as a new file; return its path and the calibration under its new name.

    Raises
    ------
    BadCalibration
        The file could not be written.
    """
    try:
        path = save_calibration(folder, calibration, now)
    except OSError as error:
        raise BadCalibration(
            what=f"The new calibration could not be written: {error.strerror or error}.",
            means="The calibration in force is unchanged.",
            do="Free some space or fix the folder's permissions, then accept it again.",
        ) from error
    return path, load_calibration(path, [c.channel for c in calibration.channels])


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)
