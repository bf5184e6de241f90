"""One session of an invented member, played through body model, cells, wire, journal and measurement."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import CountBlock
from firmware_bridge.journal import JournalWriter, note_bytes
from firmware_bridge.link import LinkSource
from firmware_bridge.sources import HostClock
from firmware_bridge.virtual_board import VirtualBoard
from monitor.analysis import Analysis, analyse_file
from monitor.demo.body import Body
from monitor.demo.electronics import Electronics, Faults
from monitor.demo.people import Person
from monitor.demo.script import Script
from monitor.demo.virtual_rig import FOOT_CELL_N, calibrate
from monitor.event_analyser import rig_note
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.calibration import Calibration
from monitor.rig import Rig

SPEED = 60.0
"""Seconds of the board per second. Readings are stamped by their number, so speed changes none of them."""

BUFFER_BYTES = 1 << 22
"""Buffer of the board: large enough that a busy machine loses nothing."""

FRAME_ROWS = 16
"""Readings a frame where nobody watches: a real board's four cost twice the work."""

BEFORE_s, AFTER_s = 9.0, 4.0
_SUBSTEPS, _CHUNK, _PARTS = 12, 80, 12


class ShiftedClock(HostClock):
    """A host's clock that is set to another day.

    Parameters
    ----------
    speed : float
    utc_ns : int
        UTC at the clock's making.
    """

    def __init__(self, speed: float, utc_ns: int) -> None:
        super().__init__(speed)
        self._shift_ns = utc_ns - super().utc_ns()

    def utc_ns(self) -> int:
        """Return UTC nanoseconds of the clock's day."""
        return super().utc_ns() + self._shift_ns


@dataclasses.dataclass(frozen=True, slots=True)
class ScriptedHold:
    """A hold of a session: seconds on the bar, share on the feet (0: none), shoulders drawn down or not."""

    duration_s: float
    alpha: float
    active: bool


def session_counts(
    person: Person, holds: list[ScriptedHold], rig: Rig, electronics: Electronics, rng: np.random.Generator
) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
    """Return the conversions (n, channels) of a session, and which of them were missed (n,)."""
    script = Script(person, rng)
    script.wait(BEFORE_s)
    script.step_on()
    script.stand(5.0)
    for hold in holds:
        _play_hold(script, hold)
        script.stand(7.0)
    script.step_off()
    script.wait(AFTER_s)
    body = Body(person, script.plan, rng)
    rate_Hz = rig.nominal_rate_Hz
    loads = []
    for _ in range(math.ceil(script.now_s * rate_Hz / _CHUNK)):
        played = body.advance(_CHUNK * _SUBSTEPS, 1.0 / (rate_Hz * _SUBSTEPS), _PARTS)
        loads.append(played.cells_N.reshape(_CHUNK, _SUBSTEPS, 6).mean(axis=1))
    return electronics.convert(np.concatenate(loads))


def _play_hold(script: Script, hold: ScriptedHold) -> None:
    script.reach_up()
    begin_s = script.now_s
    if hold.alpha > 0:
        script.hang_assisted(hold.alpha)
    else:
        script.hang()
    if hold.active:
        script.wait(1.5)
        script.shoulders(0.042, 0.8)
    rest_s = begin_s + hold.duration_s - script.now_s - (1.0 if hold.active else 0.0)
    if hold.alpha > 0:
        # The feet get heavier as strength goes.
        script.shift_feet(hold.alpha * 1.15, max(rest_s - 1.0, 2.0))
        script.wait(1.0)
    else:
        script.wait(max(rest_s, 2.0))
    if hold.active:
        script.shoulders(-0.042, 0.9)
    if hold.alpha > 0:
        script.let_go_from_assisted()
    else:
        script.let_go()


def hall_electronics(rig: Rig, seed: int) -> Electronics:
    """Return the invented cells of the hall's rig."""
    return Electronics(
        [c.rated_N or FOOT_CELL_N for c in rig.channels], rig.nominal_rate_Hz, seed=seed, faults=Faults()
    )


def record_session(
    path: Path,
    conversions: Callable[[int], tuple[NDArray[np.int32], NDArray[np.bool_]]],
    rig: Rig,
    calibration: Calibration,
    started_utc_ns: int,
) -> Analysis:
    """Send conversions over the wire into a journal at ``path``, and return what is measured from it."""
    clock = ShiftedClock(SPEED, started_utc_ns)
    board = VirtualBoard(
        conversions,
        channels=len(rig.channels),
        rate_Hz=rig.nominal_rate_Hz,
        speed=SPEED,
        buffer_bytes=BUFFER_BYTES,
        samples_per_frame=FRAME_ROWS,
    )
    with board, JournalWriter(path) as journal:
        journal.append(note_bytes(rig_note(rig, calibration)))
        link = LinkSource(board.port, tap=journal.append, clock=clock)
        try:
            arrived = 0
            for event in link.events():
                if isinstance(event, CountBlock):
                    arrived += len(event.counts)
                if board.finished.is_set() and arrived >= board.sent_samples:
                    break
        finally:
            link.close()
    if board.error is not None:
        raise board.error
    return analyse_file(path, AnalysisSettings())


def hall_calibration(electronics: Electronics, rig: Rig, seed: int, on: dt.date) -> Calibration:
    """Return the calibration that the hall's rig got on a day, with an id of its own."""
    calibration = calibrate(electronics, rig, seed=seed, at=f"{on.isoformat()}T10:00:00+00:00")
    return dataclasses.replace(calibration, id=f"invented hall {on.isoformat()}")
