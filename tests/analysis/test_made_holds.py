"""Joined and split holds are measured from their journal, with the functions that measure every hold."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from stored_sessions import keep_session, two_neighbours

from firmware_bridge.sources import HostClock
from monitor.analysis import analyse_file
from monitor.dashboard.live.hub import LiveHub
from monitor.exports.hold_curve import hold_curve
from monitor.made_holds import measure_made_holds, measured_content
from monitor.pipeline import SessionMeasured
from monitor.reanalysis import reanalyse
from monitor.records.hold_result import MEASUREMENT_VERSION
from monitor.service.background import Background
from monitor.service.session_archiver import CurrentSession, SessionArchiver
from monitor.store import DataFolder, open_store
from monitor.store.holds.corrected_holds import JOIN_FLAG, LOST_FLAG, SPLIT_FLAG, join_holds, split_hold

AT_s = 30.0
"""Within the first hold, from 12.68 s to 48.31 s."""


@pytest.fixture
def stored(tmp_path):
    """Return a store with a session of two recorded holds, its folder, and the holds as measured."""
    folder = DataFolder.open(tmp_path)
    with open_store(folder.database) as store:
        yield SimpleNamespace(store=store, folder=folder, holds=keep_session(store, folder, two_neighbours()))


def correct(stored, uid: str, kind: str, content: dict):
    content = measured_content(stored.store, stored.folder, uid, kind, content)
    return stored.store.corrections.make(uid, kind, content, reason="looked at it")


def join(stored):
    """Join the two holds; return the joined one."""
    first, second = stored.holds
    made = correct(stored, first.uid, "join", {"with": second.uid})
    (hold,) = stored.store.holds_of_session(first.session_uid)
    assert hold.made_by == made.id
    return hold


def split(stored):
    """Split the first hold; return its parts."""
    correct(stored, stored.holds[0].uid, "split", {"at_s": AT_s})
    return stored.store.holds_of_session(stored.holds[0].session_uid)[:2]


def fields_known(result) -> set[str]:
    return {f.name for f in dataclasses.fields(result) if getattr(result, f.name) not in (None, [])}


def bar_curve(stored, hold):
    t_s, names, load_N = hold_curve(stored.store, stored.folder, hold.uid)
    return t_s, load_N[:, [name.startswith("bar") for name in names]].sum(axis=1)


def test_a_join_has_every_field_of_its_holds_and_its_zeros(stored):
    first, second = (hold.result for hold in stored.holds)
    joined = join(stored).result
    assert fields_known(joined) >= (fields_known(first) & fields_known(second)) | {"regrips"}
    assert (joined.zero_bar_N, joined.zero_feet_N) == pytest.approx((6.0, 3.0), abs=0.3)
    assert LOST_FLAG not in joined.flags
    assert JOIN_FLAG in joined.flags


def test_the_curve_of_a_join_does_not_shift(stored):
    before = [bar_curve(stored, hold) for hold in stored.holds]
    t_s, bar_N = bar_curve(stored, join(stored))
    for old_s, old_N in before:
        np.testing.assert_allclose(np.interp(old_s, t_s, bar_N), old_N, atol=1e-9)


def test_a_join_is_measured_over_the_whole_stretch(stored):
    """By hand: sums over both holds, nothing on the bar in the gap."""
    first, second = (hold.result for hold in stored.holds)
    joined = join(stored).result
    assert (joined.onset_s, joined.release_s) == pytest.approx((first.onset_s, second.release_s), abs=1e-6)
    assert joined.duration_s == pytest.approx(second.release_s - first.onset_s, abs=1e-3)
    # Its edges are known to a fraction of a millisecond, so what counts is the clock's 5e-5.
    assert joined.duration_u_s == pytest.approx(5e-5 * joined.duration_s, rel=0.01)
    (gap,) = joined.regrips
    assert (gap.start_s, gap.end_s) == pytest.approx((first.release_s, second.onset_s), abs=0.02)
    assert joined.dose_bw_s == pytest.approx(first.dose_bw_s + second.dose_bw_s, abs=0.3)
    assert joined.peak_N == pytest.approx(max(first.peak_N, second.peak_N), rel=1e-6)
    assert joined.loading_N_s == pytest.approx(first.loading_N_s, rel=1e-6)


def test_the_parts_of_a_split_have_every_field_and_their_zeros(stored):
    whole = stored.holds[0].result
    early, late = (hold.result for hold in split(stored))
    # Slopes need more than 20 s; a part that begins within a hold has no rise of the load.
    assert fields_known(early) >= fields_known(whole) - {"slopes"}
    assert fields_known(late) >= fields_known(whole) - {"slopes", "loading_N_s", "loading_u_N_s"}
    for part in (early, late):
        assert (part.zero_bar_N, part.zero_feet_N) == pytest.approx((6.0, 3.0), abs=0.3)
        assert SPLIT_FLAG in part.flags
        assert not {LOST_FLAG, "record_begins_in_hold", "record_ends_in_hold"} & set(part.flags)
    assert (early.onset_s, early.release_s, late.onset_s, late.release_s) == pytest.approx(
        (whole.onset_s, AT_s, AT_s, whole.release_s), abs=1e-6
    )
    assert early.dose_bw_s + late.dose_bw_s == pytest.approx(whole.dose_bw_s, abs=0.02)
    assert early.clean_s + late.clean_s == pytest.approx(whole.clean_s, abs=0.02)
    # The catch is in the first part, and so is the peak.
    assert early.peak_N == pytest.approx(whole.peak_N, rel=1e-6)
    assert early.duration_u_s < whole.duration_u_s


def test_the_curve_of_a_part_does_not_shift(stored):
    old_s, old_N = bar_curve(stored, stored.holds[0])
    for part in split(stored):
        t_s, bar_N = bar_curve(stored, part)
        np.testing.assert_allclose(bar_N, np.interp(t_s, old_s, old_N), atol=1e-9)


def test_without_a_journal_the_rules_decide_and_what_is_lost_is_flagged(stored):
    for journal in stored.folder.journals.rglob("*.journal"):
        journal.unlink()
    by_rules = join_holds(*stored.holds).result
    joined = join(stored)
    assert joined.result == by_rules
    assert joined.result.zero_bar_N is None or joined.result.zero_bar_N == pytest.approx(6.0, abs=0.3)
    stored.store.corrections.undo_last(joined.uid)
    parts = split(stored)
    assert [part.result for part in parts] == [part.result for part in split_hold(stored.holds[0], AT_s)]
    for part in parts:
        assert part.result.sway is None
        assert part.result.tremor_N is None
        assert LOST_FLAG in part.result.flags


def test_undoing_gives_the_measured_holds_back(stored):
    joined = join(stored)
    stored.store.corrections.undo_last(joined.uid)
    assert stored.store.holds_of_session(joined.session_uid) == stored.holds
    part, _ = split(stored)
    stored.store.corrections.undo_last(part.uid)
    assert stored.store.holds_of_session(joined.session_uid) == stored.holds


def test_the_parts_of_a_split_can_be_joined_again(stored):
    early, late = split(stored)
    correct(stored, early.uid, "join", {"with": late.uid})
    whole, again = stored.holds[0].result, stored.store.holds_of_session(early.session_uid)[0].result
    assert again.regrips == []
    for name in ("duration_s", "duration_u_s", "beta_mean", "alpha_mean", "dose_bw_s", "tremor_N", "peak_N"):
        assert getattr(again, name) == pytest.approx(getattr(whole, name), rel=1e-9), name


def test_the_coachs_word_stays_with_the_parts(stored):
    stored.store.corrections.make(stored.holds[0].uid, "retag", {"kind": "active"}, reason="watched")
    for part in split(stored):
        assert part.result.kind == "active"
        assert "kind_by_the_coach" in part.result.flags
        assert "kind_unknown" not in part.result.flags


def test_another_allowed_assistance_is_not_guessed(stored):
    first = stored.holds[0]
    other = dataclasses.replace(first.result, clean_s=first.result.clean_s - 5.0)
    stored.store.save_hold(dataclasses.replace(first, result=other))
    early, late = split(stored)
    assert (early.result.clean_s, late.result.clean_s) == (None, None)
    assert LOST_FLAG in early.result.flags


def test_a_hold_that_is_not_found_where_it_was_is_not_measured(stored):
    first, second = stored.holds
    moved = dataclasses.replace(second.result, beta_mean=second.result.beta_mean - 0.1)
    stored.store.save_hold(dataclasses.replace(second, result=moved))
    content = measured_content(stored.store, stored.folder, first.uid, "join", {"with": second.uid})
    assert content == {"with": second.uid}


def test_reanalysis_measures_made_holds_again(stored):
    (joined,) = [join(stored)]
    correction = stored.store.corrections.get(joined.made_by)
    # As version 0.1 left it: joined, but never measured.
    stored.store.corrections.set_content(correction.id, {"with": stored.holds[1].uid})
    (before,) = stored.store.holds_of_session(joined.session_uid)
    assert before.result != joined.result
    (report,) = reanalyse(stored.store, stored.folder, jobs=1)
    assert report.corrections == 1
    (after,) = stored.store.holds_of_session(joined.session_uid)
    assert after.measurement_version == MEASUREMENT_VERSION
    assert after.result.zero_bar_N == pytest.approx(joined.result.zero_bar_N, abs=1e-6)
    assert after.result.beta_mean == pytest.approx(joined.result.beta_mean, abs=1e-6)
    assert list(reanalyse(stored.store, stored.folder, jobs=1)) == []


def test_corrections_of_made_holds_are_measured_in_their_order(stored):
    joined = join(stored)
    correct(stored, joined.uid, "split", {"at_s": 70.0})
    early, late = stored.store.holds_of_session(joined.session_uid)
    assert measure_made_holds(stored.store, stored.folder, joined.session_uid) == 0, "nothing has changed"
    for correction in stored.store.corrections.of_session(joined.session_uid):
        bare = {name: value for name, value in correction.content.items() if name != "measured"}
        stored.store.corrections.set_content(correction.id, bare)
    assert measure_made_holds(stored.store, stored.folder, joined.session_uid) == 2
    assert stored.store.holds_of_session(joined.session_uid) == [early, late]


def test_what_was_joined_during_a_session_is_measured_again_at_its_end(stored):
    joined = join(stored)
    # As it was joined before the zeros of the session's end were known: 2 N less on the bar.
    content = stored.store.corrections.get(joined.made_by).content
    (row,) = content["measured"]["results"]
    early = {"version": 5, "results": [{**row, "zero_bar_N": row["zero_bar_N"] - 2.0}]}
    stored.store.corrections.set_content(joined.made_by, {**content, "measured": early})
    hub, background = LiveHub(), Background()
    events: list[dict] = []
    hub.publish_event = events.append
    archiver = SessionArchiver(stored.store, stored.folder, hub, HostClock(), None, background, lambda: None)
    archiver.current = CurrentSession(1, joined.session_uid)
    measured = analyse_file(next(stored.folder.journals.rglob("*.journal"))).result
    archiver.save(archiver.current, SessionMeasured(1, measured, final=True), None)
    archiver.settle()
    background.stop()
    archiver.stop()
    (after,) = stored.store.holds_of_session(joined.session_uid)
    assert after.result.zero_bar_N == pytest.approx(joined.result.zero_bar_N, abs=1e-6)
    assert ("revised", joined.uid) in {(event["kind"], event["uid"]) for event in events}
