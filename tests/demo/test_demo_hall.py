"""The demo hall: clearly invented, drawn from a truth that the coaching finds again, and gone without a trace."""

from __future__ import annotations

import datetime as dt
import json
import shutil
import sqlite3
from contextlib import closing

import numpy as np
import pytest
from sqlalchemy import func, select

from monitor.analysis import analyse_file
from monitor.coaching.coaching_service import CoachingService
from monitor.demo.hall import MARK, HallLoaded, HallNotLoaded, load_hall, person_uid, remove_hall
from monitor.demo.hall_people import MEMBERS
from monitor.demo.member_days import DAYS, MemberDays
from monitor.store import DataFolder, HoldFilter, open_store
from monitor.store.database.schema import metadata

NOW = dt.datetime(2026, 7, 1, 9, 0, tzinfo=dt.UTC)


def counts(store) -> dict[str, int]:
    with store._read() as connection:
        return {
            table.name: connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in metadata.sorted_tables
        }


def files(folder: DataFolder) -> list[str]:
    return sorted(str(p.relative_to(folder.root)) for p in folder.journals.rglob("*"))


@pytest.fixture(scope="module")
def beside(tmp_path_factory):
    """Load the hall beside somebody who is not invented: its folder, who that is, what was there before, what came."""
    folder = DataFolder.open(tmp_path_factory.mktemp("hall"))
    with open_store(folder.database) as store:
        somebody = CoachingService(store).add_person("Real")
        before = counts(store), files(folder)
        loaded = load_hall(store, folder, NOW)
    return folder, somebody, before, loaded


@pytest.fixture(scope="module")
def hall(beside):
    folder = beside[0]
    with open_store(folder.database) as store:
        yield store, folder


def test_everybody_is_marked_as_invented(hall, beside):
    store, _ = hall
    people = [p for p in store.people.everybody() if p != beside[1]]
    assert {p.uid for p in people} == {person_uid(m) for m in MEMBERS}
    assert all(p.name.endswith("(invented)") and p.notes.startswith(MARK) for p in people)
    assert len(people) == len(MEMBERS)
    assert all(session.rig["invented"] for session in store.list_sessions(1000))


def test_sixty_days_of_every_member_are_there(hall):
    store, _ = hall
    for member in MEMBERS:
        holds = store.all_holds(HoldFilter(person_uid=person_uid(member)))
        days = {h.onset_utc_ns // (86_400 * 10**9) for h in holds}
        assert max(days) - min(days) > DAYS - 10
        assert len(days) > 15
        assert len(holds) > 100


def test_recorded_sessions_measure_again_what_is_stored(hall):
    store, folder = hall
    recorded = 0
    for session in store.list_sessions(1000):
        path = folder.journal(session.journal)
        if not path.exists():
            continue
        recorded += 1
        again, stored = analyse_file(path).result, store.holds_of_session(session.uid)
        assert [json.loads(json.dumps(h.as_dict())) for h in again.holds] == [
            json.loads(json.dumps(h.result.as_dict())) for h in stored
        ]
        weight_N = next(m for m in MEMBERS if person_uid(m) == session.person_uid).body.weight_N
        assert again.bodyweight_N == pytest.approx(weight_N, rel=2e-3)
    assert recorded >= len(MEMBERS)


def test_the_coaching_finds_the_true_endurance_again(hall):
    """The truth is in the members' own law; intervals of four fifths may miss it for one or two of six people."""
    store, _ = hall
    coaching = CoachingService(store, lambda: round(NOW.timestamp()) * 10**9)
    inside = 0
    for member in MEMBERS:
        posterior = coaching.posterior(person_uid(member))
        truth = MemberDays(member, NOW.date(), np.random.default_rng(0))
        # Passive and active are fitted together: the truth of both lies between their two times.
        times = [truth.log_time(DAYS, kind) for kind in ("passive", "active")]
        low, high = posterior.quantiles(posterior.a, [0.1, 0.9])
        inside += low <= max(times) + 0.05 and high >= min(times) - 0.05
        trend = coaching.endurance(person_uid(member)).trend
        assert trend is not None
        assert trend.per_week.high > 0
    assert inside >= len(MEMBERS) - 2


def test_it_is_loaded_once_only(hall):
    store, folder = hall
    with pytest.raises(HallLoaded):
        load_hall(store, folder, NOW)


def test_removal_leaves_nothing_and_touches_nobody_else(beside, tmp_path):
    whole, somebody, (before, files_before), loaded = beside
    with closing(sqlite3.connect(whole.database)) as source, closing(sqlite3.connect(tmp_path / "copy")) as copy:
        source.backup(copy)
    shutil.copytree(whole.root, tmp_path / "hall", ignore=shutil.ignore_patterns("*.sqlite*"))
    folder = DataFolder.open(tmp_path / "hall")
    shutil.move(tmp_path / "copy", folder.database)
    with open_store(folder.database) as store:
        assert counts(store)["hold"] == loaded.holds > 0
        assert len(files(folder)) > len(files_before)
        removed = remove_hall(store, folder)
        after, before = counts(store), dict(before)
        # The audit list only grows.
        assert after.pop("audit") > before.pop("audit")
        assert after == before
        assert files(folder) == files_before
        assert (removed.holds, removed.journals) == (loaded.holds, loaded.journals)
        assert store.people.everybody() == [somebody]
        with pytest.raises(HallNotLoaded):
            remove_hall(store, folder)
    databases = list(folder.root.glob("*.sqlite*"))
    assert folder.database in databases
    assert all(m.body.name.encode() not in path.read_bytes() for m in MEMBERS for path in databases)


def test_the_same_seed_draws_the_same_history():
    def drawn(seed: int) -> list[float]:
        days = MemberDays(MEMBERS[0], dt.date(2026, 5, 2), np.random.default_rng([seed, 0]))
        return [h.result.duration_s for day in range(20) if days.attends(day) for h in days.draw_session(day).holds]

    assert drawn(7) == drawn(7)
    assert drawn(7) != drawn(8)
