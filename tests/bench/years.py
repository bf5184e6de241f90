"""Ten years of use: 50 people, 20,000 holds each in 100,000 sessions: cost of opening, lists, pages, backups.

``BENCH_YEARS`` takes another share of it: 0.1 is one year.
"""

from __future__ import annotations

import multiprocessing
import os
import shutil
import sqlite3
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from monitor.coaching.coaching_service import CoachingService
from monitor.demo import DemoRig
from monitor.newtons.calibration import calibration_to_dict
from monitor.records.person import Person
from monitor.rig import rig_to_dict
from monitor.store import DataFolder, HoldFilter, open_store
from monitor.store.maintenance.backup import make_backup
from tests.bench.material import invented_hold
from tests.bench.start import _running

PEOPLE, HOLDS, SESSIONS = 50, 20_000, 2_000
"""Of all people, then of each."""

DAY_NS = 86_400 * 10**9
NEWEST_NS = 1_790_000_000 * 10**9
JOURNAL_BYTES = 400
LONGEST_S = 30.0


def report() -> Iterator[str]:
    """Yield how long each thing takes."""
    share = float(os.environ.get("BENCH_YEARS", "1"))
    with tempfile.TemporaryDirectory() as place:
        folder = DataFolder.open(Path(place) / "data")
        begun_s = time.monotonic()
        people = _fill(folder, max(2, round(SESSIONS * share)), HOLDS // SESSIONS)
        size_MB = folder.database.stat().st_size / 1e6
        journals = sum(1 for _ in folder.journals.rglob("*.journal.gz"))
        yield (
            f"{PEOPLE} people, {PEOPLE * round(SESSIONS * share) * (HOLDS // SESSIONS)} holds, {journals} journals, "
            f"database {size_MB:.0f} MB; made in {time.monotonic() - begun_s:.0f} s"
        )
        yield f"open: {_took(lambda: open_store(folder.database).close()):.3f} s"
        yield f"from the command to the first page: {_took(lambda: _first_page(folder)):.2f} s"
        with open_store(folder.database) as store:
            coaching, uid = CoachingService(store, lambda: NEWEST_NS + DAY_NS // 2), people[0]
            some = store.list_holds(1, 0)[0]
            tasks: list[tuple[str, Callable[[], Any]]] = [
                ("the newest 20 holds of all", lambda: store.find_holds(HoldFilter(), 20, 0)),
                ("the last page of all holds", lambda: store.find_holds(HoldFilter(), 20, PEOPLE * 1000)),
                ("a person's newest 20", lambda: store.find_holds(HoldFilter(person_uid=uid), 20, 0)),
                ("a person's longest 20", lambda: store.find_holds(HoldFilter(person_uid=uid), 20, 0, "longest")),
                ("everybody", coaching.everybody),
                ("one hold", lambda: store.get_hold(some.uid)),
                ("a person's prescription", lambda: coaching.prescribe(uid)),
                ("a person's endurance curve", lambda: coaching.posterior(uid)),
                ("a person's month", lambda: coaching.progress(uid, *_month())),
                ("a person's whole progress", lambda: coaching.progress(uid, None, None)),
            ]
            for name, task in tasks:
                first_s, again_s = _took(task), _took(task)
                yield f"{name}: {first_s:.3f} s, again {again_s:.3f} s"
        yield f"a person's strength by day: {_strength_s(folder, people[0])}"
        stick = Path(place) / "stick"
        stick.mkdir()
        yield f"backup, the first, with everything read back: {_took(lambda: make_backup(folder, stick, keep=2)):.1f} s"
        yield f"backup, the next: {_took(lambda: make_backup(folder, stick, keep=2, now_s=NEWEST_NS / 1e9)):.1f} s"
        shutil.rmtree(stick)


def _strength_s(folder: DataFolder, uid: str) -> str:
    """Measure in a process of its own, which can be ended."""
    process = multiprocessing.get_context("spawn").Process(target=_strength, args=(str(folder.root), uid))
    begun_s = time.monotonic()
    process.start()
    process.join(LONGEST_S)
    if process.is_alive():
        process.kill()
        return f"more than {LONGEST_S:.0f} s"
    if process.exitcode:
        return "it failed"
    return f"{time.monotonic() - begun_s:.1f} s, with the start of a process"


def _strength(root: str, uid: str) -> None:
    with open_store(DataFolder(Path(root)).database) as store:
        CoachingService(store, lambda: NEWEST_NS + DAY_NS // 2).strength(uid)


def _first_page(folder: DataFolder) -> None:
    with _running("demo", "--data", str(folder.root)) as (_, address):
        urllib.request.urlopen(address, timeout=30).read()


def _month() -> tuple[Any, Any]:
    import datetime as dt

    last = dt.datetime.fromtimestamp(NEWEST_NS / 1e9, dt.UTC).date()
    return last - dt.timedelta(days=30), last


def _took(task: Callable[[], Any]) -> float:
    begun_s = time.monotonic()
    task()
    return time.monotonic() - begun_s


def _fill(folder: DataFolder, sessions: int, holds: int) -> list[str]:
    """Keep one session for each person as the program does, and let the database multiply it over the days."""
    invented = DemoRig(1)
    rig, calibration = rig_to_dict(invented.rig), calibration_to_dict(invented.calibration)
    people = []
    with open_store(folder.database) as store:
        for number in range(PEOPLE):
            person = store.people.save(Person("", f"Person {number}", time_zone="Europe/Vienna"))
            people.append(person.uid)
            at_ns = NEWEST_NS + number * 60 * 10**9
            session = store.begin_session(at_ns, rig, calibration, person_uid=person.uid)
            for one in range(1, holds + 1):
                store.save_hold(invented_hold(session, one, at_ns))
            store.end_session(session, at_ns + 600 * 10**9, clock_rate=1.00001, quality={"samples": 48_000, "lost": 3})
    with closing(sqlite3.connect(folder.database, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous=OFF")
        connection.execute("BEGIN")
        session_columns = [row[1] for row in connection.execute("PRAGMA table_info(stay)")]
        hold_columns = [row[1] for row in connection.execute("PRAGMA table_info(hold)")]
        step_ns = 3650 * DAY_NS // SESSIONS
        earlier = {
            "id": "s.id + n.n * 1000000",
            "uid": "s.uid || '-' || n.n",
            "started_utc_ns": f"s.started_utc_ns - n.n * {step_ns}",
            "ended_utc_ns": f"s.ended_utc_ns - n.n * {step_ns}",
            "journal": "'journals/' || (n.n % 3650) || '/' || s.uid || '-' || n.n || '.journal'",
        }
        numbers = f"WITH RECURSIVE n(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM n WHERE n < {sessions - 1})"
        connection.execute(
            f"INSERT INTO session ({', '.join(session_columns)}) {numbers} SELECT "
            + ", ".join(earlier.get(c, f"s.{c}") for c in session_columns)
            + " FROM session s, n WHERE s.id < 1000000"
        )
        moved = {
            "uid": "h.uid || '-' || n.n",
            "session_id": "h.session_id + n.n * 1000000",
            "onset_utc_ns": f"h.onset_utc_ns - n.n * {step_ns}",
        }
        connection.execute(
            f"INSERT INTO hold ({', '.join(hold_columns)}) {numbers} SELECT "
            + ", ".join(moved.get(c, f"h.{c}") for c in hold_columns)
            + " FROM hold h, n WHERE h.session_id < 1000000"
        )
        connection.execute("COMMIT")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        places = [row[0] for row in connection.execute("SELECT journal FROM session")]
    content = os.urandom(JOURNAL_BYTES)
    for place in places:
        path = folder.root / f"{place}.gz"
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.touch(0o600)
        path.write_bytes(content)
    return people
