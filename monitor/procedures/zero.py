"""A new zero of the empty rig, as a guided procedure."""

from __future__ import annotations

import datetime as dt
import threading
from pathlib import Path

import numpy as np

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import SourceEvent
from monitor.errors import TellableError
from monitor.health.zero import READ_S, ZeroReading, read_zero
from monitor.newtons.calibration import Calibration, CalibrationNotFound
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
from monitor.rig import Rig, check_channels


class ZeroProcedure:
    """Reads a new zero of the empty rig; a person accepts it or not.

    Parameters
    ----------
    rig : Rig
    calibration : Calibration or None
        In force now; its spans are kept.
    seconds : float
        How long the zero is read.

    Raises
    ------
    CalibrationNotFound
        The rig was never calibrated.
    """

    kind: ProcedureKind = "zero"

    def __init__(self, rig: Rig, calibration: Calibration | None, seconds: float = READ_S) -> None:
        if calibration is None:
            raise CalibrationNotFound(
                what="The rig has no calibration yet.",
                means="A zero alone does not turn counts into newtons.",
                do="Calibrate the rig with known masses: hang-monitor calibrate.",
            )
        self.lock = threading.RLock()
        self._rig, self._calibration, self._wanted_s = rig, calibration, seconds
        self._blocks: list[CountBlock] = []
        self._reading: ZeroReading | None = None
        self._refusal: TellableError | None = None

    @property
    def reading(self) -> ZeroReading | None:
        """Return the proposed zero, None before it was read."""
        return self._reading

    @property
    def _seconds(self) -> float:
        blocks = self._blocks
        return float(blocks[-1].board_s[-1] - blocks[0].board_s[0]) if blocks else 0.0

    def take(self, event: SourceEvent) -> None:
        """Collect counts; read the zero as soon as there are enough."""
        with self.lock:
            if not isinstance(event, CountBlock) or not len(event) or self.waits:
                return
            try:
                self._collect(event)
            except TellableError as refusal:
                self._refusal = refusal

    def _collect(self, block: CountBlock) -> None:
        check_channels(self._rig, block.counts.shape[1])
        if self._blocks and block.segment != self._blocks[-1].segment:
            self._blocks.clear()
        self._blocks.append(block)
        seconds = self._seconds
        if seconds < self._wanted_s:
            return
        rows = sum(len(block) + block.lost_before for block in self._blocks)
        counts = np.concatenate([block.counts for block in self._blocks])
        self._reading = read_zero(self._rig, self._calibration, counts, (rows - 1) / seconds)

    def act(self, action: ProcedureAction, step: int) -> None:
        """Read again."""
        with self.lock:
            if not self.waits:
                raise moved_on()
            self._blocks.clear()
            self._reading = self._refusal = None

    def end(self, what: str, do: str) -> None:
        """Refuse: the source sends no more."""
        with self.lock:
            self._refusal = ended(what, do)

    @property
    def waits(self) -> bool:
        """Say whether it goes on only when a person says so."""
        return self._reading is not None or self._refusal is not None

    def state(self) -> ProcedureState:
        """Return what to show now."""
        with self.lock:
            reading = self._reading
            return ProcedureState(
                stage="refused" if self._refusal else "finished" if reading else "reading",
                step=1,
                steps=1,
                do="Leave the rig empty and still.",
                answers=("next",) if self.waits else (),
                seconds=min(self._seconds, self._wanted_s),
                needed_s=max(0.0, self._wanted_s - self._seconds),
                refusal=self._refusal,
                result={"zero": reading.as_dict(), "unusual": list(reading.unusual)} if reading else None,
            )

    def save(self, root: Path, calibrations: Path, now: dt.datetime) -> SavedRecord:
        """Write a new calibration with these zeros; the spans stay."""
        with self.lock:
            if self._reading is None:
                raise self._refusal or not_ready()
            path, saved = save_new_calibration(calibrations, self._reading.applied(self._calibration, iso(now)), now)
            return SavedRecord(saved.id, saved, {"calibration": path})
