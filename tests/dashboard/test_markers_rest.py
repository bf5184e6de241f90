"""Markers of cue, pain and note at an instant of a session, over a real store."""

from __future__ import annotations

import pytest
from fake_coach import FakeCoach, StoredReader, fill
from fake_rig import RIG, FakeControl
from fastapi.testclient import TestClient

from monitor.dashboard import LiveHub, create_app
from monitor.records.marker import TURN_s
from monitor.store import open_store


@pytest.fixture
def coach(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as store:
        yield FakeCoach(store)


@pytest.fixture
def somebody(coach):
    return fill(coach.coaching.store, 3)


def browser_of(coach) -> TestClient:
    app = create_app(
        hub=LiveHub(), store=StoredReader(coach.coaching.store), rig=RIG, control=FakeControl(), coach=coach
    )
    return TestClient(app, base_url="http://127.0.0.1:8000")


@pytest.fixture
def client(coach):
    with browser_of(coach) as client:
        yield client


@pytest.fixture(scope="module")
def unmoved(tmp_path_factory):
    """Give a client, its coach, a person and their hold, once: for what is refused and changes nothing."""
    with open_store(tmp_path_factory.mktemp("unmoved") / "holds.sqlite") as store:
        coach = FakeCoach(store)
        with browser_of(coach) as client:
            person, holds = fill(store, 3)
            yield client, coach, person, holds[0]


def code_of(answer) -> tuple[int, str]:
    return answer.status_code, answer.json()["error"]["code"]


def test_a_cue_is_kept_beside_the_hold_taken_back_and_put_back(client, coach, somebody):
    hold = somebody[1][0]
    at_s = hold.result.onset_s + 2.5
    before = coach.coaching.store.get_hold(hold.uid)
    made = client.post(f"/api/holds/{hold.uid}/markers", json={"kind": "cue", "text": "long arms", "at_s": at_s})
    assert made.status_code == 201
    marker = made.json()["marker"]
    assert (marker["kind"], marker["at_s"], marker["text"]) == ("cue", at_s, "long arms")
    assert (marker["made_by"], marker["removed_utc_ms"]) == ("this machine", None)
    assert client.get(f"/api/holds/{hold.uid}/markers").json() == [marker]
    removed = client.delete(f"/api/markers/{marker['id']}").json()
    assert removed["removed_utc_ms"] is not None
    assert client.get(f"/api/holds/{hold.uid}/markers").json() == []
    assert client.get(f"/api/holds/{hold.uid}/markers", params={"removed": True}).json() == [removed]
    assert code_of(client.delete(f"/api/markers/{marker['id']}")) == (404, "unknown-marker")
    assert client.post(f"/api/markers/{marker['id']}/restore").json() == marker
    assert client.get(f"/api/sessions/{hold.session_uid}/markers").json() == [marker]
    assert coach.coaching.store.get_hold(hold.uid) == before, "the measurement is untouched"


def test_pain_with_a_rating_is_among_the_entries_and_pauses(client, coach, somebody):
    person, holds = somebody
    given = {"kind": "pain", "pain": 6, "place": "shoulder"}
    stored = client.post(f"/api/holds/{holds[0].uid}/markers", json=given).json()
    assert stored["marker"]["at_s"] == holds[0].result.release_s, "without an instant it is the end"
    assert "pain 6 of 10" in stored["stops"][0]["why"]
    (entry,) = coach.coaching.store.people.pains(person)
    assert (entry.pain, entry.place, entry.hold_uid) == (6, "shoulder", holds[0].uid)


def test_one_tap_marks_the_running_session(client, coach, somebody):
    session = somebody[1][0].session_uid
    assert code_of(client.post("/api/markers", json={"kind": "cue"})) == (409, "nobody-on-the-rig")
    coach.running = (session, 40.0)
    assert client.post("/api/markers", json={"kind": "pain"}).json()["marker"]["at_s"] == 40.0
    shown = client.post("/api/markers", json={"kind": "cue", "at_s": 39.4}).json()["marker"]
    assert (shown["session_uid"], shown["at_s"]) == (session, 39.4)
    assert code_of(client.post("/api/markers", json={"kind": "cue", "at_s": 900.0})) == (400, "invalid-request")


def test_a_marker_follows_its_hold_when_that_is_measured_anew_on_the_journals_clock(client, coach, somebody):
    """By hand: a marker of the live clock after three turns, a hold on the journal's clock within its first."""
    hold = somebody[1][0]
    at_s = hold.result.onset_s + 1.0
    coach.coaching.store.markers.add(hold.session_uid, "note", at_s + 3 * TURN_s, made_by="coach")
    (outcome,) = client.get(f"/api/holds/{hold.uid}/markers").json()
    assert outcome["at_s"] == pytest.approx(at_s, abs=1e-6)


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"kind": "shout"}, 422), ({"kind": "cue", "pain": 3}, 400), ({"kind": "pain", "pain": 11}, 422),
        ({"kind": "pain", "pain": 3, "place": "toe"}, 400), ({"kind": "note", "at_s": 1e9}, 400), ({}, 422),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_is_kept(unmoved, body, status):
    client, coach, person, hold = unmoved
    answer = client.post(f"/api/holds/{hold.uid}/markers", json=body)
    assert answer.status_code == status
    assert set(answer.json()["error"]) == {"code", "what", "means", "do"}
    assert client.get(f"/api/sessions/{hold.session_uid}/markers").json() == []
    assert coach.coaching.store.people.pains(person) == []
