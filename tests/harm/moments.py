"""One moment: a folder as it was, a life in it, its end, a restart, a verdict."""

from __future__ import annotations

import functools
import multiprocessing
import random
import shutil
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from firmware_bridge.journal import note_bytes
from monitor.analysis import analyse_file
from monitor.demo import DemoRig
from monitor.errors import TellableError
from monitor.event_analyser import rig_note
from monitor.newtons.calibration import calibration_to_dict
from monitor.reanalysis import reanalyse
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult
from monitor.records.stored_hold import StoredHold
from monitor.rig import rig_to_dict
from monitor.store import AccessFile, DataFolder, hold_uid, open_store
from monitor.store.maintenance.backup_contents import check_backup, list_backups
from monitor.store.maintenance.doctor import Doctor
from monitor.store.maintenance.rebuild import all_journals
from tests.harm.acks import Acks
from tests.harm.life import LIVES
from tests.harm.power import cut_power
from tests.harm.verdict import Verdict, judge, restart
from tests.harm.works import bench
from tests.soak.board import SoakBoard

OLD = Path(__file__).parents[1] / "store" / "old"
READY_WITHIN_S = 60.0
LONGEST_S = {"monitor": 2.5, "power": 3.0, "migrating": 0.4, "rebuilding": 0.5, "packing": 0.4, "backing up": 0.8,
             "mending": 0.8, "reanalysing": 3.0, "zeroing": 0.5, "calibrating": 1.0}  # fmt: skip
WORKS_AT_THE_RIG = ("reanalysing", "zeroing", "calibrating")
PROMISED_S = {"monitor": 1.0, "power": 1.5}
"""Written at once (a kill), forced to the disk every 0.6 s (the power); the rest is for a busy machine."""


@dataclass(frozen=True)
class Moment:
    """What is ended, and which of all its possible ends."""

    kind: str
    seed: int

    @property
    def power(self) -> bool:
        """Say whether the power is cut, which takes more than the end of a process does."""
        return self.kind == "power" or (self.kind in WORKS_AT_THE_RIG and self.seed % 2 == 1)


def hasher_free_access(folder: DataFolder) -> AccessFile:
    class Plain:
        def hash(self, passcode: str) -> str:
            return passcode

        def verify(self, encoded: str, passcode: str) -> bool:
            return encoded == passcode

    return AccessFile(folder.access_file, Plain())


def template(place: Path, journals: tuple[bytes, ...]) -> DataFolder:
    """Make a folder with finished sessions, one of them with several journals' worth of holds, and a passcode."""
    folder, invented = DataFolder.open(place), DemoRig(1)
    hasher_free_access(folder).set_passcode("Olga", "owner", "a dry blue heron")
    with open_store(folder.database) as store:
        for number, content in enumerate(journals):
            at_ns = 1_760_000_000_000_000_000 + number * 86_400 * 10**9
            uid = store.begin_session(at_ns, rig_to_dict(invented.rig), calibration_to_dict(invented.calibration))
            path = folder.new_journal(uid, at_ns)
            path.touch(0o600)
            path.write_bytes(content)
            result = HoldResult(onset_s=10.0, release_s=30.0, duration_s=20.0, duration_u_s=0.01, kind="passive")
            store.save_hold(StoredHold(hold_uid(uid, 1), uid, 1, at_ns, 700.0, 0.5, result, MEASUREMENT_VERSION))
            store.end_session(uid, at_ns + 10**11)
    return folder


@functools.cache
def _context() -> multiprocessing.context.ForkServerContext:
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.harm.life", "monitor.measures.session_analysis"])
    return context


class Ender:
    """Plays moments in a folder of its own."""

    def __init__(self, place: Path) -> None:
        self._place = place
        self._journals: tuple[bytes, ...] = ()

    def play(self, moment: Moment) -> Verdict:
        """Live, end, restart, judge."""
        rng = random.Random(f"{moment.kind} {moment.seed}")
        root = self._place / f"{moment.kind.replace(' ', '-')}-{moment.seed}"
        folder = self._prepared(root, moment)
        acks_file = root / "acks.jsonl"
        ended_s = self._end(moment, folder, acks_file, rng)
        if moment.power:
            cut_power(folder, Acks.read(acks_file), rng)
        verdict = self._judged(moment, folder, Acks.read(acks_file), ended_s)
        if not verdict.missing:
            shutil.rmtree(root)
        return verdict

    def _prepared(self, root: Path, moment: Moment) -> DataFolder:
        shutil.rmtree(root, ignore_errors=True)
        if not self._journals:
            self._journals = (recorded(self._place / "first"),)
        folder = template(root / "data", self._journals * (1 if moment.kind in ("monitor", "power") else 6))
        if moment.kind == "migrating":
            for path in folder.root.glob("hang-monitor.sqlite*"):
                path.unlink()
            shutil.rmtree(folder.journals)
            shutil.copy(OLD / ("revision_0001.sqlite", "revision_0002.sqlite")[moment.seed % 2], folder.database)
        elif moment.kind == "rebuilding":
            with open_store(folder.database) as store:
                store._writer.submit(
                    lambda c: c.exec_driver_sql("UPDATE session SET ended_utc_ns = NULL WHERE id % 2 = 0")
                ).result()
                store._writer.submit(lambda c: c.exec_driver_sql("DELETE FROM hold")).result()
        elif moment.kind == "reanalysing":
            with open_store(folder.database) as store:
                store._writer.submit(lambda c: c.exec_driver_sql("UPDATE hold SET measurement_version = 1")).result()
        elif moment.kind == "calibrating":
            bench(root / "bench")
        elif moment.kind == "mending":
            data = bytearray(folder.database.read_bytes())
            for _ in range(200):
                data[random.Random(moment.seed).randrange(4096, len(data))] ^= 0x55
            for ending in ("-wal", "-shm"):
                Path(f"{folder.database}{ending}").unlink(missing_ok=True)
            folder.database.write_bytes(data[: len(data) * 2 // 3])
        return folder

    def _end(self, moment: Moment, folder: DataFolder, acks_file: Path, rng: random.Random) -> float:
        life: Callable[..., None] = LIVES[moment.kind]
        process = _context().Process(target=life, args=(str(folder.root), str(acks_file), moment.seed))
        process.start()
        deadline_s = time.monotonic() + READY_WITHIN_S
        while Acks.read(acks_file).last("ready") is None:
            if time.monotonic() > deadline_s or not process.is_alive():
                break
            process.join(0.01)
        process.join(rng.uniform(0.0, LONGEST_S[moment.kind]))
        ended_s = time.monotonic()
        process.kill()
        process.join()
        if process.exitcode not in (0, -signal.SIGKILL):
            raise AssertionError(f"{moment} ended by itself with {process.exitcode}")
        return ended_s

    def _judged(self, moment: Moment, folder: DataFolder, acks: Acks, ended_s: float) -> Verdict:
        if moment.kind == "mending":
            for _ in Doctor(folder, mending=True).examine():
                pass
        restart(folder)
        verdict = judge(folder, acks, ended_s, PROMISED_S.get(moment.kind, 0.0))
        if moment.kind == "migrating":
            with open_store(folder.database) as store:
                verdict.missing += [] if len(store.list_holds(None)) == 2 else ["holds of the old database"]
                verdict.missing += [] if store.get_setting("given") else ["settings of the old database"]
        elif moment.kind in ("rebuilding", "mending"):
            with open_store(folder.database) as store:
                sessions = store.list_sessions(None)
                wanted = [s for s in sessions if s.interrupted] if moment.kind == "rebuilding" else sessions
                verdict.missing += [f"holds of {s.uid}" for s in wanted if not store.holds_of_session(s.uid)]
                verdict.missing += [] if len(sessions) == 6 else [f"{6 - len(sessions)} stays"]
        elif moment.kind == "reanalysing":
            verdict.missing += _measured_again(folder, acks)
        elif moment.kind == "calibrating":
            for one in acks.of("readings"):
                path = folder.calibrations / one["name"]
                if not path.exists() or path.stat().st_size != one["size"]:
                    verdict.missing.append(f"raw readings {path.name}")
        elif moment.kind == "packing":
            # Packed, unpacked or both: each session has its whole curve.
            uids = {path.name.split(".")[0] for path in all_journals(folder)}
            verdict.missing += [] if len(uids) == 6 else [f"{6 - len(uids)} curves"]
        elif moment.kind == "backing up":
            made = {b.stamp: b for b in list_backups(folder.root.parent / "stick")} if acks.of("backup") else {}
            for backup in made.values():
                try:
                    check_backup(backup)
                except TellableError as error:
                    verdict.missing.append(error.what)
            newest = acks.last("backup")
            if newest is not None and newest["stamp"] not in made:
                verdict.missing.append(f"backup {newest['stamp']}")
        return verdict


def _measured_again(folder: DataFolder, acks: Acks) -> list[str]:
    """Look for what was acknowledged, then measure the rest: one hold a session, the earlier result beside it."""
    with open_store(folder.database) as store:
        missing = [
            f"the new result of {one['uid']}"
            for one in acks.of("reanalysed")
            if any(h.measurement_version != MEASUREMENT_VERSION for h in store.holds_of_session(one["uid"]))
        ]
        for report in reanalyse(store, folder, jobs=1):
            missing += [f"{report.session_uid}: {report.trouble}"] if report.trouble else []
        for session in store.list_sessions(None):
            holds = store.holds_of_session(session.uid)
            stored = [
                1 in [e.measurement_version for e in store.earlier.of_hold(h.uid)] for h in holds if h.number == 1
            ]
            if not holds or stored != [True]:
                missing.append(f"holds of {session.uid} or their earlier results")
    return missing


def recorded(place: Path) -> bytes:
    """Return a journal of the demo's rig with a hold in it, its frames made at once."""
    board = SoakBoard(7, hours=0.02)
    frames = [piece.data for piece in board.pieces() if not piece.gone]
    note = note_bytes(rig_note(board.invented.rig, board.invented.calibration))
    place.mkdir(parents=True)
    path = place / "first.journal"
    path.write_bytes(note + b"".join(frames))
    content = path.read_bytes()
    if not analyse_file(path).result.holds:
        raise AssertionError("the first journal has no hold")
    shutil.rmtree(place)
    return content
