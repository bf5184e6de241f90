"""Holds are found among many: by every filter and in every order. What it costs, ``python -m tests.bench`` tells."""

from __future__ import annotations

import dataclasses
import random

import pytest
from store_samples import FULL_RESULT, RIG, START_utc_ns, sample_hold

from monitor.records.person import Person
from monitor.store import HoldFilter, open_store
from monitor.store.database.schema import hold as hold_table
from monitor.store.holds.rows import hold_columns

COUNT = 25_000
DAY_ns = 86_400 * 10**9


@pytest.fixture(scope="module")
def rows():
    rng = random.Random(5)
    people = ["p-one", "p-two", None]
    return [
        {
            "uid": f"h{k:06d}",
            "onset_utc_ns": START_utc_ns + k * DAY_ns // 50,
            "person_uid": people[k % 3],
            "corrected_kind": rng.choice(["passive", "active", None]),
            "support": rng.choice(["assisted", "unassisted"]),
            "duration_s": round(rng.uniform(1, 120), 2),
            "alpha_mean": round(rng.uniform(0, 0.6), 3),
            "hidden": "discarded" if k % 97 == 0 else None,
        }
        for k in range(COUNT)
    ]


@pytest.fixture(scope="module")
def store(tmp_path_factory, rows):
    with open_store(tmp_path_factory.mktemp("search") / "holds.sqlite") as opened:
        session_uid = opened.begin_session(START_utc_ns, RIG)

        def fill(connection):
            for uid in ("p-one", "p-two"):
                one = {"uid": uid, "name": uid, "notes": "", "units": "kgf", "time_zone": "UTC"}
                connection.exec_driver_sql(
                    "INSERT INTO person (uid, name, notes, units, time_zone, created_utc_ns, changed_utc_ns) "
                    "VALUES (:uid, :name, :notes, :units, :time_zone, 0, 0)",
                    one,
                )
            # One whole hold, and what differs from it beside it: the database itself makes the rest.
            whole = {**hold_columns(sample_hold(session_uid)), "session_id": 1, "revised": 0, "uid": "whole"}
            connection.execute(hold_table.insert(), {**whole, "created_utc_ns": 0, "changed_utc_ns": 0})
            names = list(rows[0])
            connection.exec_driver_sql(f"CREATE TEMP TABLE differing ({', '.join(names)})")
            places = ", ".join(f":{name}" for name in names)
            connection.exec_driver_sql(f"INSERT INTO differing VALUES ({places})", rows)
            columns = list(hold_table.columns.keys())
            taken = ", ".join(f"differing.{name}" if name in names else f"hold.{name}" for name in columns)
            connection.exec_driver_sql(
                f"INSERT INTO hold ({', '.join(columns)}) SELECT {taken} FROM differing, hold "
                "WHERE hold.uid = 'whole' ORDER BY differing.rowid"
            )
            connection.exec_driver_sql("DELETE FROM hold WHERE uid = 'whole'")

        opened._writer.submit(fill).result()
        yield opened


FILTERS = {
    "a person": (HoldFilter(person_uid="p-one"), lambda r: r["person_uid"] == "p-one"),
    "guests": (HoldFilter(guests=True), lambda r: r["person_uid"] is None),
    "a person, active, long, little help": (
        HoldFilter(person_uid="p-two", kind="active", least_s=60.0, most_alpha=0.1),
        lambda r: r["person_uid"] == "p-two" and r["corrected_kind"] == "active" and r["duration_s"] >= 60
        and r["alpha_mean"] <= 0.1,
    ),
    "everybody, short, much help": (
        HoldFilter(most_s=5.0, least_alpha=0.5, support="assisted"),
        lambda r: r["duration_s"] <= 5 and r["alpha_mean"] >= 0.5 and r["support"] == "assisted",
    ),
    "a month": (
        HoldFilter(since_utc_ns=START_utc_ns + 100 * DAY_ns, until_utc_ns=START_utc_ns + 130 * DAY_ns),
        lambda r: START_utc_ns + 100 * DAY_ns <= r["onset_utc_ns"] < START_utc_ns + 130 * DAY_ns,
    ),
    "everything": (HoldFilter(), lambda r: True),
}  # fmt: skip


@pytest.mark.parametrize("name", FILTERS)
def test_a_filter_finds_what_a_plain_loop_finds(store, rows, name):
    wanted, fits = FILTERS[name]
    expected = [r["uid"] for r in rows if r["hidden"] is None and fits(r)]
    page, total = store.find_holds(wanted, 50)
    assert total == len(expected)
    assert [h.uid for h in page] == expected[::-1][:50]
    second, _ = store.find_holds(wanted, 10, offset=20)
    assert [h.uid for h in second] == expected[::-1][20:30]
    assert len(expected) > 50


def test_all_holds_come_oldest_first(store, rows):
    wanted, fits = FILTERS["a person, active, long, little help"]
    outcome = [h.uid for h in store.all_holds(wanted)]
    assert outcome == [r["uid"] for r in rows if r["hidden"] is None and fits(r)]
    assert outcome


def test_spans_are_told_without_reading_the_results(store, rows):
    wanted, fits = FILTERS["a person"]
    outcome = store.hold_spans(wanted)
    assert outcome == [(r["onset_utc_ns"], r["duration_s"]) for r in rows if r["hidden"] is None and fits(r)]


def test_a_hold_found_is_the_hold_kept(tmp_path):
    with open_store(tmp_path / "one.sqlite") as store:
        person = store.people.save(Person("", "C."))
        session_uid = store.begin_session(START_utc_ns, RIG, person_uid=person.uid)
        stored = store.save_hold(sample_hold(session_uid, result=FULL_RESULT))
        assert store.find_holds(HoldFilter(person_uid=person.uid, kind="passive")) == ([stored], 1)


ORDERS = {
    "oldest": lambda r: r["onset_utc_ns"],
    "longest": lambda r: (-r["duration_s"], -r["onset_utc_ns"]),
    "shortest": lambda r: (r["duration_s"], -r["onset_utc_ns"]),
    "least_help": lambda r: (r["alpha_mean"], -r["onset_utc_ns"]),
    "most_help": lambda r: (-r["alpha_mean"], -r["onset_utc_ns"]),
}


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("wanted", [HoldFilter(), HoldFilter(person_uid="p-one")], ids=["everybody", "a person"])
def test_an_order_is_that_of_a_plain_sort(store, rows, wanted, order):
    there = [r for r in rows if r["hidden"] is None and wanted.person_uid in (None, r["person_uid"])]
    expected = [r["uid"] for r in sorted(there, key=ORDERS[order])][200:250]
    page, total = store.find_holds(wanted, 50, 200, order)
    assert ([h.uid for h in page], total) == (expected, len(there))


def test_holds_without_help_known_come_last(tmp_path):
    with open_store(tmp_path / "one.sqlite") as store:
        session_uid = store.begin_session(START_utc_ns, RIG)
        unknown = dataclasses.replace(FULL_RESULT, alpha_mean=None)
        for number, result in enumerate((unknown, FULL_RESULT), start=1):
            store.save_hold(
                dataclasses.replace(
                    sample_hold(session_uid, result=result), uid=f"{session_uid}-{number:03d}", number=number
                )
            )
        for order in ("least_help", "most_help"):
            outcome, _ = store.find_holds(HoldFilter(), 5, 0, order)
            assert [h.number for h in outcome] == [2, 1], order
