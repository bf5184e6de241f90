"""People and what is entered about them go in and come out whole."""

from __future__ import annotations

import dataclasses

import pytest
from store_samples import RIG, START_utc_ns, sample_hold

from monitor.measures.swing import Pendulum
from monitor.records.person import Person
from monitor.records.person_entries import PainEntry
from monitor.records.swing_calibration import SwingCalibration
from monitor.store import UnknownPerson, UnknownSession, open_store


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as opened:
        yield opened


@pytest.fixture
def anna(store) -> Person:
    return store.people.save(
        Person("", "Anna K.", 1.68, "left shoulder", "2026-01-05", units="lbf", time_zone="Europe/Berlin")
    )


def test_a_person_is_kept_changed_and_listed_by_name(store, anna):
    assert anna.uid.startswith("p-")
    assert store.people.get(anna.uid) == anna
    changed = store.people.save(dataclasses.replace(anna, stature_m=1.7, notes=""))
    assert (changed.uid, changed.stature_m, changed.created_utc_ns) == (anna.uid, 1.7, anna.created_utc_ns)
    other = store.people.save(Person("", "A."))
    assert [p.uid for p in store.people.everybody()] == [other.uid, anna.uid]
    assert store.people.get("p-none") is None


def test_everything_of_a_person_comes_back(store, anna):
    first = store.people.add_intake(anna.uid, 5, {"pain_now": 2}, {"notes": ["größer"]})
    second = store.people.add_intake(anna.uid, 9, {}, {})
    assert store.people.intakes(anna.uid) == [second, first]
    old = store.people.set_programme(anna.uid, 5, {"name": "one"})
    new = store.people.set_programme(anna.uid, 5, {"name": "two"})
    assert store.people.programmes(anna.uid) == [new, old]
    entry = store.people.add_pain(
        PainEntry(0, anna.uid, 7, 4, "shoulder", ("numbness",), "hold-1", "passive", ("ribs_down",), "better after")
    )
    assert (store.people.pains(anna.uid), entry.pain, entry.tried) == ([entry], 4, ("ribs_down",))
    assert store.people.pains(anna.uid, since_utc_ns=8) == []


def test_a_hang_entered_by_hand_is_marked_and_can_be_taken_out(store, anna):
    hang = store.people.add_manual_hang(anna.uid, START_utc_ns, 40.0, "active", "tree")
    assert hang.by_hand is True
    assert store.people.manual_hangs(anna.uid) == [hang]
    assert store.people.manual_hangs(anna.uid, START_utc_ns + 1) == []
    assert store.people.remove_manual_hang(hang.id) is True
    assert store.people.remove_manual_hang(hang.id) is False
    assert store.people.manual_hangs(anna.uid) == []


def test_a_session_and_its_holds_belong_to_who_hung(store, anna):
    mine = store.begin_session(START_utc_ns, RIG, person_uid=anna.uid)
    guest = store.begin_session(START_utc_ns + 1, RIG)
    assert store.save_hold(sample_hold(mine)).person_uid == anna.uid
    assert store.save_hold(sample_hold(guest)).person_uid is None
    store.people.assign_session(guest, anna.uid)
    store.people.assign_session(mine, None)
    assert store.get_hold(sample_hold(guest).uid).person_uid == anna.uid
    assert store.get_session(mine).person_uid is None
    assert store.get_hold(sample_hold(mine).uid).person_uid is None


def test_deliberate_swings_make_a_pendulum_of_ones_own(store, anna):
    """0.85 to 3 % and 0.90 to 4 %, weighed by their inverse variances: (0.85/a + 0.90/b) / (1/a + 1/b)."""
    assert store.swings.pendulum(anna.uid) == store.swings.pendulum(None) == Pendulum()
    one = SwingCalibration(0, anna.uid, "h-1", START_utc_ns, 9.0, 8.0, 0.3, 8.2, 0.90, 0.04)
    stored = store.swings.add(one)
    assert store.swings.of_person(anna.uid) == [stored] == [dataclasses.replace(one, id=stored.id)]
    a, b = (0.85 * 0.03) ** 2, (0.90 * 0.04) ** 2
    own = store.swings.pendulum(anna.uid)
    assert own.kappa == pytest.approx((0.85 / a + 0.90 / b) / (1 / a + 1 / b))
    assert own.u_rel * own.kappa == pytest.approx((1 / (1 / a + 1 / b)) ** 0.5)
    other = store.people.save(Person("", "B."))
    assert store.swings.remove(other.uid, stored.id) is False
    assert store.swings.remove(anna.uid, stored.id) is True
    assert store.swings.remove(anna.uid, stored.id) is False
    assert store.swings.pendulum(anna.uid) == Pendulum()
    with pytest.raises(UnknownPerson):
        store.swings.add(dataclasses.replace(one, person_uid="p-none"))


def test_strangers_are_told(store, anna):
    for attempt in (
        lambda: store.people.add_intake("p-none", 1, {}, {}),
        lambda: store.people.add_manual_hang("p-none", 1, 10.0),
        lambda: store.people.save(Person("p-none", "X")),
        lambda: store.begin_session(1, RIG, person_uid="p-none"),
    ):
        with pytest.raises(UnknownPerson):
            attempt()
    with pytest.raises(UnknownSession):
        store.people.assign_session("nowhere", anna.uid)
    assert store.list_sessions() == []
