"""Plays the time and draws up the account."""

from __future__ import annotations

import gc
import mmap
import pickle
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import psutil

from firmware_bridge.counts import CountBlock
from firmware_bridge.decoder import Decoder
from firmware_bridge.journal import read_chunks
from firmware_bridge.messages import Samples
from firmware_bridge.sources import SourceEvent
from monitor.dashboard.live.hub import LiveHub
from monitor.demo.truth import HoldTruth
from monitor.pipeline import Output, SessionMeasured
from monitor.records.hold_result import HoldResult
from monitor.service import MonitorService
from monitor.station.sources import RigSource
from monitor.station.station import assemble
from monitor.store import DataFolder
from monitor.store.files.session_recorder import SessionRecorder
from monitor.store.files.storage import pack_finished
from monitor.store.maintenance.rebuild import all_journals
from tests.soak.board import LATEST_S, SoakBoard, Tally
from tests.soak.screens import Screens
from tests.soak.source import SoakSource, VirtualClock

SAME_S = 0.05
"""Between a measured hold and the truth: four readings; the design asks 25 ms each for onset and release."""

GROWS_MB = 5.0
"""Between the first and the second half of the time; to keep the results of half a day of holds alone would be more."""

NEAR_S = 14.0
"""A truth that was cut off within this time before its onset has no zero and no standing weight of its own."""


@dataclass
class Looks:
    """How large the process is, once in a while."""

    hours: list[float] = field(default_factory=list)
    memory_MB: list[float] = field(default_factory=list)
    handles: list[int] = field(default_factory=list)
    threads: list[int] = field(default_factory=list)

    def look(self, hour: float) -> None:
        gc.collect()
        process = psutil.Process()
        self.hours.append(hour)
        self.memory_MB.append(process.memory_info().rss / 1e6)
        self.handles.append(process.num_fds())
        self.threads.append(process.num_threads())


@dataclass
class Account:
    """What went in and what came out."""

    hours: float
    tally: Tally
    received: int
    lost: int
    damaged: int
    repeated: int
    stored: int
    journals: int
    holds: int
    truths: int
    compared: int
    looks: Looks
    wrong: list[str] = field(default_factory=list)
    worst_s: float = 0.0
    pictures: int = 0
    sessions: int = 0
    took_s: float = 0.0


class WatchedService(MonitorService):
    """Tells of everything that is measured, the session that the end of the time cuts off too."""

    measured: Callable[[Output], None] = staticmethod(lambda out: None)

    def _on_output(self, out: Output) -> None:
        super()._on_output(out)
        self.measured(out)


def play(
    hours: float,
    seed: int,
    *,
    latest_s: float = LATEST_S,
    look_every_h: float = 1.0,
    progress: Callable[[float], None] | None = None,
) -> Account:
    """Play so many hours and return the account; ``wrong`` must stay empty."""
    begun_s, looks = time.monotonic(), Looks()
    with tempfile.TemporaryDirectory() as place:
        folder = DataFolder.open(Path(place) / "data")
        clock, board, hub = VirtualClock(), SoakBoard(seed, hours, latest_s), LiveHub()
        with (
            (Path(place) / "stream").open("wb") as stream,
            (Path(place) / "found").open("w+b") as saved,
        ):
            recorder = SessionRecorder(clock)
            source = SoakSource(board, clock, recorder, stream)
            recorder.prologue = source.prologue
            segment, next_look_h, result_count = [0], [0.1 * look_every_h], [0]

            def measured(out: Output) -> None:
                for one in out.events:
                    # A block of the next boot ends the session of the last one.
                    if isinstance(one, SessionMeasured) and one.final:
                        for hold in one.result.holds:
                            # On the disk: the account's own memory must not pass for the program's.
                            pickle.dump((segment[0], hold), saved)
                            result_count[0] += 1
                    # Virtual time runs ahead of the disk: what the ring holds must not be too old by then.
                    service._sessions.settle()

            def observe(event: SourceEvent, _out: Output) -> None:
                if isinstance(event, CountBlock) and len(event):
                    segment[0] = event.segment
                hour = (clock.now_ns - source._start_ns) / 3.6e12
                if hour >= next_look_h[0]:
                    next_look_h[0] += look_every_h
                    service.settle()
                    pack_finished(store, folder, now_s=clock.utc_ns() / 1e9)
                    looks.look(hour)
                    if progress is not None:
                        progress(hour)

            rig_source = RigSource(source, clock, board.invented.rig, board.invented.calibration, recorder)
            with assemble(rig_source, folder, hub=hub, observer=observe, service_class=WatchedService) as station:
                store, service = station.store, station.service
                service.measured = measured  # type: ignore[attr-defined,method-assign]
                with Screens(hub, seed) as screens:
                    service.start()
                    service.ended.wait()
                    service.stop()
                stream.flush()
                counters = source.assembly.counters
                account = Account(
                    hours, board.tally, source.received, source.lost, counters.damaged, counters.repeated, 0, 0,
                    store.count_holds(), 0, 0, looks, pictures=screens.pictures, sessions=screens.sessions,
                )  # fmt: skip
                if warnings := service.health().get("warnings"):
                    account.wrong.append(f"a warning at the end: {warnings}")
                if store.count_holds() != result_count[0]:
                    account.wrong.append(f"{store.count_holds()} holds are kept, {result_count[0]} were measured")
                if store.unfinished_sessions():
                    account.wrong.append("a session is unfinished")
                _stored(folder, Path(place) / "stream", account)
                saved.seek(0)
                outcome = [pickle.load(saved) for _ in range(result_count[0])]
        _compare(board, source, outcome, account)
    _add_up(account)
    account.took_s = time.monotonic() - begun_s
    return account


def _add_up(account: Account) -> None:
    tally = account.tally
    for what, wanted, got in (
        ("readings received", tally.sent, account.received),
        ("readings lost", tally.lost_on_the_wire + tally.missed, account.lost),
        ("damaged pieces", tally.damaged, account.damaged),
        ("repeated frames", tally.repeated, account.repeated),
    ):
        if wanted != got:
            account.wrong.append(f"{what}: {got}, and {wanted} is right")
    # The first looks still warm up: libraries, the curve tape, the database's pages.
    for what, counts in (("handles", account.looks.handles), ("threads", account.looks.threads)):
        if len(counts) >= 3 and max(counts[2:]) > max(counts[:2]) + 2:
            account.wrong.append(f"the number of {what} grows: {counts}")
    memory_MB = account.looks.memory_MB
    if len(memory_MB) >= 8 and memory_MB[-1] > max(memory_MB[: len(memory_MB) // 2]) + GROWS_MB:
        account.wrong.append(f"the memory grows: {memory_MB}")


def _stored(folder: DataFolder, stream_path: Path, account: Account) -> None:
    """Every journal from its first sample frame on is a stretch of what was received, byte for byte."""
    with stream_path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as stream:
        for path in all_journals(folder):
            account.journals += 1
            content = b"".join(read_chunks(path))
            at, first = 0, -1
            for received in Decoder().push(content):
                if isinstance(received.value, Samples):
                    account.stored += len(received.value.counts)
                    if first < 0:
                        first = content.index(received.raw, at)
            place = stream.find(content[first : first + 300]) if first >= 0 else -1
            if place < 0 or stream[place : place + len(content) - first] != content[first:]:
                account.wrong.append(f"journal {path.name} is not what was received")


def _compare(board: SoakBoard, source: SoakSource, outcome: list[tuple[int, HoldResult]], account: Account) -> None:
    """Hold for hold with the truth, where no cable was out in the middle of one or shortly before."""
    measured = sorted((source.segment_starts_s[segment] + hold.onset_s, hold) for segment, hold in outcome)
    truths = board.invented.truth()
    account.truths = len(truths)
    for truth in truths:
        if _cut_off(truth, board.out_s):
            continue
        account.compared += 1
        near = [hold for onset_s, hold in measured if abs(onset_s - truth.onset_s) < 0.5]
        if len(near) != 1:
            account.wrong.append(f"{len(near)} holds stand for the one at {truth.onset_s:.1f} s")
            continue
        off_s = near[0].duration_s - truth.duration_s
        account.worst_s = max(account.worst_s, abs(off_s))
        if abs(off_s) > SAME_S and not _harmed(truth, board.harm_s):
            account.wrong.append(f"the hold at {truth.onset_s:.1f} s is {off_s * 1e3:.0f} ms off")


def _cut_off(truth: HoldTruth, out_s: list[tuple[float, float]]) -> bool:
    return any(first < truth.release_s + 3.0 and last > truth.onset_s - NEAR_S for first, last in out_s)


def _harmed(truth: HoldTruth, harm_s: list[float]) -> bool:
    """Say whether readings are missing at an edge itself: then it is known to the gap only."""
    return any(min(abs(at - truth.onset_s), abs(at - truth.release_s)) < 0.3 for at in harm_s)
