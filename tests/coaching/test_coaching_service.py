"""The desk joins store and rules: on a real file, with a clock of its own."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest
from invented import DAY_ns, hold_at, ns_of
from store_samples import RIG

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.errors import BadEntry, BadPerson
from monitor.coaching.people.programme import template
from monitor.store import UnknownPerson, open_store

NOW = ns_of(2026, 5, 20, 18)


@pytest.fixture
def coaching(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as store:
        yield CoachingService(store, lambda: NOW)


@pytest.fixture
def anna(coaching):
    return coaching.add_person("Anna K.", stature_m=1.7, time_zone="Europe/Vienna", consent_on="2026-05-01")


def hung(coaching, person_uid, holds):
    session_uid = coaching.store.begin_session(holds[0].onset_utc_ns, RIG, person_uid=person_uid)
    for number, hold in enumerate(holds, start=1):
        coaching.store.save_hold(
            dataclasses.replace(hold, session_uid=session_uid, uid=f"{session_uid}-{number:03d}", number=number)
        )
    return session_uid


def test_people_are_looked_up_by_uid_and_by_name(coaching, anna):
    assert coaching.find_person("anna k.") == coaching.find_person(anna.uid) == anna
    coaching.add_person("Anna K.")
    with pytest.raises(UnknownPerson):
        coaching.find_person("Anna K.")
    assert coaching.change_person(anna.uid, stature_m=1.71).stature_m == 1.71
    with pytest.raises(BadPerson):
        coaching.change_person(anna.uid, time_zone="Nowhere")
    with pytest.raises(UnknownPerson):
        coaching.progress("p-none")


def test_only_the_persons_own_holds_count(coaching, anna):
    hung(coaching, anna.uid, [hold_at(NOW - DAY_ns, 40.0, target_s=60.0)])
    hung(coaching, None, [hold_at(NOW - DAY_ns // 2, 90.0)])
    assert [h.result.duration_s for h in coaching.holds(anna.uid)] == [40.0]
    actual = coaching.posterior(anna.uid)
    assert (actual.efforts, actual.exhausted, actual.unsure) == (1, 0, 1)


def test_a_corrected_hold_counts_as_corrected(coaching, anna):
    session = hung(coaching, anna.uid, [hold_at(NOW - DAY_ns, 40.0), hold_at(NOW - DAY_ns + 10**11, 70.0)])
    assert coaching.progress(anna.uid).longest_passive.value == 70.0
    made = coaching.store.corrections.make(f"{session}-002", "discard", reason="somebody else")
    assert coaching.progress(anna.uid).longest_passive.value == 40.0
    assert coaching.posterior(anna.uid).efforts == 1
    coaching.store.corrections.undo(made.id)
    assert coaching.progress(anna.uid).longest_passive.value == 70.0


def test_the_programme_in_force_and_its_days(coaching, anna):
    assert coaching.programme(anna.uid) == (template(), None)
    assert coaching.set_programme(anna.uid, template("first_hangs")).name == "First hangs"
    assert coaching.programme(anna.uid) == (template("first_hangs"), NOW)
    hung(coaching, anna.uid, [hold_at(NOW - 3600 * 10**9, 120.0)])
    coaching.log_hang(anna.uid, 120.0, NOW - 7200 * 10**9, "active", "tree")
    actual = coaching.days(anna.uid)
    assert (actual.today.rig_s, actual.today.by_hand_s) == (120.0, 120.0)
    assert (actual.streak, actual.minutes_left) == (1, 0.0), "four minutes a day are this programme's"
    assert coaching.prescribe(anna.uid).next is None


def test_pain_pauses_and_the_prescription_obeys(coaching, anna):
    hung(coaching, anna.uid, [hold_at(NOW - DAY_ns, 80.0, target_s=75.0, kind="active", number=k) for k in range(6)])
    assert coaching.prescribe(anna.uid).next == "passive"
    _, actual = coaching.log_pain(anna.uid, 5, place="shoulder", item="passive")
    assert [s.item for s in actual] == ["passive"]
    assert coaching.prescribe(anna.uid).next != "passive"
    assert coaching.back_care(anna.uid).next.key == "look_from_the_side"


def test_an_intake_is_saved_with_its_outcome(coaching, anna):
    assert coaching.latest_intake(anna.uid) is None
    saved, outcome = coaching.take_intake(anna.uid, {"pain_now": 3, "numbness": True})
    assert coaching.latest_intake(anna.uid) == (saved, outcome)
    assert saved.outcome["ask_clinician"] == ["numbness"]
    assert any("licensed clinician" in c for c in coaching.prescribe(anna.uid).cautions)


@pytest.mark.parametrize(
    "attempt",
    [
        lambda coaching, uid: coaching.log_pain(uid, 11), lambda coaching, uid: coaching.log_pain(uid, True),
        lambda coaching, uid: coaching.log_pain(uid, 3, place="toe"),
        lambda coaching, uid: coaching.log_pain(uid, 3, symptoms=("fun",)),
        lambda coaching, uid: coaching.log_hang(uid, 0.0), lambda coaching, uid: coaching.log_hang(uid, float("nan")),
        lambda coaching, uid: coaching.log_hang(uid, 9999.0),
        lambda coaching, uid: coaching.log_hang(uid, 30.0, kind="odd"),
        lambda coaching, uid: coaching.log_hang(uid, 30.0, NOW + DAY_ns),
    ],
)  # fmt: skip
def test_impossible_entries_are_refused_and_not_saved(coaching, anna, attempt):
    with pytest.raises(BadEntry):
        attempt(coaching, anna.uid)
    assert coaching.store.people.pains(anna.uid) == []
    assert coaching.store.people.manual_hangs(anna.uid) == []


def test_periods_are_days_of_the_person(coaching, anna):
    hung(coaching, anna.uid, [hold_at(ns_of(2026, 5, 1, 0, 5), 30.0), hold_at(ns_of(2026, 5, 1, 23, 55), 31.0)])
    hung(coaching, anna.uid, [hold_at(ns_of(2026, 5, 2, 0, 5), 50.0)])
    first = dt.date(2026, 5, 1)
    assert coaching.progress(anna.uid, first, first).holds == 2
    actual = coaching.compare(anna.uid, (first, first), (dt.date(2026, 5, 2), dt.date(2026, 5, 2)))
    assert actual["duration"].difference == pytest.approx(19.5)


def test_a_month_of_holds_gives_a_whole_endurance_overview(coaching, anna):
    for week in range(5):
        day_ns = NOW - (34 - 7 * week) * DAY_ns
        holds = [
            hold_at(day_ns + k * 10**11, s * 1.08**week, alpha=a, target_s=200.0, number=k)
            for k, (a, s) in enumerate([(0.1, 26.0), (0.3, 40.0), (0.45, 58.0)])
        ]
        hung(coaching, anna.uid, holds)
    actual = coaching.endurance(anna.uid)
    assert (actual.posterior.efforts, actual.posterior.unsure) == (15, 15)
    assert actual.trend.per_week.low < 0.08 < actual.trend.per_week.high
    assert actual.critical is not None
    assert actual.models.rows[0][0] == 1.0


def test_watchers_hear_of_every_change_that_a_prescription_rests_on(coaching, anna):
    notified: list[str] = []
    coaching.watchers.append(notified.append)
    changes = [
        lambda: coaching.take_intake(anna.uid, {"passive_30s": False}),
        lambda: coaching.set_programme(anna.uid, template()),
        lambda: coaching.log_pain(anna.uid, 5, item="passive"), lambda: coaching.log_hang(anna.uid, 30.0),
        lambda: coaching.pause(anna.uid, item="active"), lambda: coaching.resume(anna.uid, "active"),
    ]  # fmt: skip
    for number, change in enumerate(changes, start=1):
        change()
        assert notified == [anna.uid] * number
    coaching.changed(None)
    assert len(notified) == len(changes), "a guest has no prescription"
