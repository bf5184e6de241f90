"""Corrections never delete a measurement, can all be undone, and everyone sees the same."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from store_samples import FULL_RESULT, RIG, START_utc_ns, sample_hold

from monitor.records.correction import Correction
from monitor.records.hold_result import Regrip
from monitor.records.person import Person
from monitor.store import CorrectionNotPossible, HoldFilter, UnknownCorrection, UnknownHold, open_store
from monitor.store.holds.corrected_holds import corrected_holds, join_holds, split_hold

SESSION = "session-1"


def moved(number: int, by_s: float) -> object:
    """Return the full sample hold, shifted in time."""
    result = dataclasses.replace(
        FULL_RESULT, onset_s=FULL_RESULT.onset_s + by_s, release_s=FULL_RESULT.release_s + by_s
    )
    return sample_hold(SESSION, number, result=result)


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as opened:
        opened.begin_session(START_utc_ns, RIG, uid=SESSION)
        for number in (1, 2, 3):
            opened.save_hold(moved(number, 60.0 * number))
        yield opened


def uids(store) -> list[str]:
    return [h.uid for h in store.list_holds(newest_first=False)]


def test_a_retag_is_seen_everywhere_and_undone(store):
    uid = f"{SESSION}-001"
    before = store.get_hold(uid)
    made = store.corrections.make(uid, "retag", {"kind": "active"}, reason="watched it", made_by="M.")
    corrected = store.get_hold(uid)
    assert (corrected.result.kind, corrected.revised) == ("active", before.revised)
    assert "kind_by_the_coach" in corrected.result.flags
    assert [h.uid for h in store.find_holds(HoldFilter(kind="active"))[0]] == [uid]
    assert store.list_holds(newest_first=False)[0] == corrected
    assert store.corrections.measured(uid) == before
    undone = store.corrections.undo(made.id, "N.")
    assert (undone.undone_by, undone.reason, undone.made_by) == ("N.", "watched it", "M.")
    assert store.get_hold(uid) == before
    assert store.corrections.of_hold(uid) == [undone]


def test_a_discarded_hold_is_in_no_list_and_comes_back_by_either_way(store):
    uid = f"{SESSION}-002"
    before = store.get_hold(uid)
    store.corrections.make(uid, "discard", reason="a stranger")
    assert uids(store) == [f"{SESSION}-001", f"{SESSION}-003"]
    assert (store.count_holds(), store.get_hold(uid).hidden) == (2, "discarded")
    store.corrections.make(uid, "restore", reason="no stranger")
    assert store.get_hold(uid) == before
    store.corrections.undo_last(uid)
    assert store.get_hold(uid).hidden == "discarded"
    store.corrections.undo_last(uid)
    assert store.get_hold(uid) == before
    with pytest.raises(UnknownCorrection):
        store.corrections.undo_last(uid)


def test_a_split_makes_two_and_the_measurement_stays(store):
    uid = f"{SESSION}-001"
    before = store.get_hold(uid)
    parts = [{"beta_mean": 0.9, "alpha_mean": 0.1}, {"beta_mean": 0.8, "alpha_mean": 0.2}]
    made = store.corrections.make(uid, "split", {"at_s": 90.0, "parts": parts}, reason="stood in between")
    first, second = (store.get_hold(f"{uid}-part-{n}") for n in (1, 2))
    assert uids(store)[:2] == [first.uid, second.uid]
    assert first.result.duration_s + second.result.duration_s == pytest.approx(before.result.release_s - 72.31)
    assert (first.result.beta_mean, second.result.beta_mean) == (0.9, 0.8)
    assert first.result.swing is None, "a mean of the whole is not one of a part"
    assert "split_by_the_coach" in first.result.flags
    assert first.made_by == second.made_by == made.id
    assert second.onset_utc_ns - before.onset_utc_ns == round((90.0 - 72.31) * 1e9)
    assert store.corrections.measured(uid) == before
    assert store.get_hold(uid).hidden == "split"
    store.corrections.undo_last(second.uid)
    assert store.get_hold(uid) == before
    assert store.get_hold(first.uid) is None


def test_parts_can_be_corrected_and_fall_void_with_their_split(store):
    uid = f"{SESSION}-001"
    split = store.corrections.make(uid, "split", {"at_s": 90.0}, reason="two")
    store.corrections.make(f"{uid}-part-1", "retag", {"kind": "active"}, reason="seen")
    store.corrections.set_ending(f"{uid}-part-2", "exhausted")
    store.corrections.make(f"{uid}-part-1", "discard", reason="noise")
    assert uids(store)[0] == f"{uid}-part-2"
    assert store.get_hold(f"{uid}-part-2").ending == "exhausted", "kept while the parts are made anew"
    store.corrections.undo(split.id)
    assert uids(store) == [f"{SESSION}-00{n}" for n in (1, 2, 3)]
    assert len(store.corrections.corrected(SESSION).void) == 2


def test_a_join_makes_one_of_two(store):
    first, second = store.get_hold(f"{SESSION}-001"), store.get_hold(f"{SESSION}-002")
    store.corrections.make(first.uid, "join", {"with": second.uid}, reason="one hang")
    one = store.get_hold(f"{SESSION}-001-join-002")
    assert uids(store) == [one.uid, f"{SESSION}-003"]
    assert one.result.duration_s == pytest.approx(second.result.release_s - first.result.onset_s)
    assert one.result.dose_bw_s == pytest.approx(2 * FULL_RESULT.dose_bw_s)
    assert one.result.regrips[1] == Regrip(first.result.release_s, second.result.onset_s)
    assert one.result.beta_mean == pytest.approx(FULL_RESULT.beta_mean)
    store.corrections.undo_last(second.uid)
    assert uids(store)[:2] == [first.uid, second.uid]


@pytest.mark.parametrize(
    ("kind", "content", "reason"),
    [
        ("retag", {"kind": "sideways"}, "why"), ("retag", {}, "why"), ("split", {"at_s": 5.0}, "why"),
        ("split", {}, "why"), ("join", {"with": f"{SESSION}-003"}, "why"), ("join", {"with": f"{SESSION}-001"}, "why"),
        ("join", {"with": "nobody"}, "why"), ("restore", {}, "why"), ("discard", {}, "  "), ("erase", {}, "why"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_refused_and_leaves_no_trace(store, kind, content, reason):
    before = store.list_holds()
    with pytest.raises(CorrectionNotPossible):
        store.corrections.make(f"{SESSION}-001", kind, content, reason=reason)
    assert store.corrections.recent() == []
    assert store.list_holds() == before


def test_only_what_was_discarded_is_restored(store):
    uid = f"{SESSION}-001"
    store.corrections.make(uid, "split", {"at_s": 90.0}, reason="two")
    with pytest.raises(CorrectionNotPossible, match="not discarded"):
        store.corrections.make(uid, "restore", reason="one again")
    store.corrections.make(f"{uid}-part-2", "discard", reason="noise")
    assert f"{uid}-part-2" not in uids(store)
    store.corrections.make(f"{uid}-part-2", "restore", reason="no noise")
    assert f"{uid}-part-2" in uids(store)
    store.corrections.undo_last(uid)
    assert uids(store) == [f"{SESSION}-00{n}" for n in (1, 2, 3)]


def test_strangers_are_told(store):
    with pytest.raises(UnknownHold):
        store.corrections.make("nobody", "discard", reason="why")
    with pytest.raises(UnknownCorrection):
        store.corrections.undo(77)
    with pytest.raises(UnknownHold):
        store.corrections.set_ending("nobody", "target")
    assert store.corrections.measured("nobody") is None


def test_a_hold_measured_anew_keeps_its_corrections(store):
    uid = f"{SESSION}-001"
    store.corrections.make(uid, "retag", {"kind": "active"}, reason="seen")
    better = dataclasses.replace(store.corrections.measured(uid).result, duration_s=32.6)
    stored = store.save_hold(sample_hold(SESSION, 1, result=better))
    assert (stored.result.kind, stored.result.duration_s, stored.revised) == ("active", 32.6, 1)
    store.corrections.make(uid, "discard", reason="noise")
    assert store.save_hold(sample_hold(SESSION, 1, result=better)).hidden == "discarded"
    assert uid not in uids(store)
    store.withdraw_hold(uid)
    assert len(store.corrections.corrected(SESSION).void) == 2


def test_parts_belong_to_who_hung(store):
    person = store.people.save(Person("", "B."))
    store.corrections.make(f"{SESSION}-001", "split", {"at_s": 90.0}, reason="two")
    store.people.assign_session(SESSION, person.uid)
    store.corrections.make(f"{SESSION}-002", "split", {"at_s": 150.0}, reason="two")
    assert store.find_holds(HoldFilter(person_uid=person.uid))[1] == 5


def test_a_split_and_the_join_of_its_parts_give_the_sums_back():
    hold = sample_hold(SESSION)
    first, second = split_hold(hold, 25.2)
    whole = join_holds(first, second)
    assert whole.result.duration_s == pytest.approx(hold.result.release_s - hold.result.onset_s)
    assert whole.result.touches == hold.result.touches
    assert sum(s.end_s - s.start_s for s in whole.result.states) == pytest.approx(32.56)
    assert (whole.result.travel, whole.result.grip_changes_s) == (hold.result.travel, hold.result.grip_changes_s)


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@example([(0, "split"), (1, "join"), (2, "restore"), (0, "restore"), (1, "restore")])
@given(
    st.lists(
        st.tuples(st.integers(0, 2), st.sampled_from(["retag", "discard", "restore", "split", "join"])), max_size=8
    )
)
def test_whatever_is_corrected_undoing_all_gives_the_measurement(script):
    measured = [moved(n, 60.0 * n) for n in (1, 2, 3)]
    corrections = [
        Correction(
            number, SESSION, measured[which].uid, kind,
            {"kind": "active", "at_s": measured[which].result.onset_s + 9, "with": measured[min(which + 1, 2)].uid},
            "why", "coach", number,
        )
        for number, (which, kind) in enumerate(script, start=1)
    ]  # fmt: skip
    corrected = corrected_holds(measured, corrections)
    total_s = sum(h.result.duration_s for h in corrected.holds)
    assert {h.uid for h in measured} == {h.uid for h in corrected.holds if h.made_by is None} | set(corrected.hidden)
    assert total_s <= 3 * 60 + FULL_RESULT.duration_s
    assert len({h.uid for h in corrected.holds}) == len(corrected.holds)
    undone = [dataclasses.replace(c, undone_utc_ns=99) for c in corrections]
    assert corrected_holds(measured, undone).holds == measured
