"""Pages of the work at the rig over a virtual rig that loads itself, as fast as the machine goes."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from fake_rig import FakeStore, served

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import BoardFacts
from monitor.demo.scripted_person import ScriptedPerson
from monitor.demo.stage import Stage
from monitor.procedures.procedure_manager import ProcedureManager
from monitor.rig import Channel, Rig
from monitor.service import rig_view

RATE_Hz = 80.0
BAR = Rig(
    "Two hangers",
    (Channel("bar_left", "bar", -0.3, 0.0, 3000.0), Channel("bar_right", "bar", 0.3, 0.0, 3000.0)),
    mount_rating_N=3000.0,
    invented=True,
)


@dataclass
class ProceduresHall:
    """What a test needs of it; ``messages`` is the audit log."""

    url: str
    procedures: ProcedureManager
    stage: Stage
    messages: list[tuple[str, str]] = field(default_factory=list)

    @property
    def saved(self) -> set[str]:
        return {path.name for path in self.procedures.calibrations.glob("*")}


@contextlib.contextmanager
def procedures_hall(root: Path, *, calibrated: bool, rig: Rig = BAR) -> Iterator[ProceduresHall]:
    """Serve the pages; whenever a walk is under way the rig sends it readings, a second of them at a time."""
    empty = ScriptedPerson(rig, seed=1)
    stage = Stage(1, empty)  # type: ignore[arg-type]
    messages: list[tuple[str, str]] = []
    procedures = ProcedureManager(
        rig,
        empty.calibration if calibrated else None,
        root=root,
        calibrations=root / "calibrations",
        audit=lambda who, what, _: messages.append((who, what)),
        practice=stage,
    )
    procedures.take(_facts(rig))
    ended = threading.Event()

    def feed() -> None:
        given = 0
        n = round(RATE_Hz)
        while not ended.wait(0.002):
            if not procedures.busy:
                continue
            counts, missed = stage.conversions(n)
            t_s = (given + 1 + np.arange(n)) / RATE_Hz
            given += n
            procedures.take(CountBlock(0, t_s[~missed], counts[~missed], int(missed.sum())))

    thread = threading.Thread(target=feed, daemon=True)
    thread.start()
    try:
        with served(store=FakeStore([]), rig=rig_view(rig), procedures=procedures) as dashboard:
            yield ProceduresHall(dashboard.url, procedures, stage, messages)
    finally:
        ended.set()
        thread.join(20)


def _facts(rig: Rig) -> BoardFacts:
    return BoardFacts(
        segment=0, protocol=1, firmware=(1, 0, 0), board_id=b"virtual0", boot_count=1, channels=len(rig.channels),
        rate_Hz=RATE_Hz, skew_us=0, reading_delay_us=6250, converter="virtual",
    )  # fmt: skip
