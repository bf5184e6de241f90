"""REST of people, programmes, prescriptions, progress and corrections, over a real store."""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import pytest
from fake_rig import RIG, FakeControl, FakeStore
from fastapi.testclient import TestClient

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.endurance.curve import fit_endurance
from monitor.coaching.endurance.effort import Effort
from monitor.coaching.live.bar_panel import BarPanel
from monitor.coaching.live.live_advice import LiveCoaching
from monitor.coaching.people.programme import template
from monitor.dashboard import LiveHub, create_app
from monitor.measures.picture import HoldClock, Picture
from monitor.records.hold_result import HoldResult, Swing
from monitor.store import open_store

sys.path += [str(Path(__file__).parents[1] / name) for name in ("coaching", "store")]
from invented import DAY_ns, hold_at, ns_of
from store_samples import RIG as STORED_RIG

NOW = ns_of(2026, 5, 20, 18)


class FakeCoach:
    """A service without a rig."""

    def __init__(self, store) -> None:
        self.coaching = CoachingService(store, lambda: NOW)
        self.live = LiveCoaching()
        self.bar = BarPanel(self.coaching, self.live)
        self.person_uid: str | None = None
        self.item: str | None = None
        self.running: tuple[str, float] | None = None

    def running_session(self) -> tuple[str, float] | None:
        return self.running

    def set_person(self, uid: str | None, item: str | None = None) -> None:
        if uid is not None:
            self.coaching.person(uid)
        self.person_uid, self.item = uid, item


class FakeReader(FakeStore):
    """Measures what a split makes: 0.9 of bodyweight on the hands, then 0.7."""

    def measured_correction(self, hold_uid: str, kind: str, content: dict) -> dict:
        if kind != "split":
            return content
        spans = ((10.0, 30.0, 0.9), (30.0, 50.0, 0.7))
        results = [HoldResult(a, b, b - a, 0.01, beta_mean=beta).as_dict() for a, b, beta in spans]
        return {**content, "measured": {"version": 3, "results": results}}


@pytest.fixture
def coach(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as store:
        yield FakeCoach(store)


@pytest.fixture
def hub():
    return LiveHub()


def browser_of(coach, hub) -> TestClient:
    app = create_app(hub=hub, store=FakeReader(), rig=RIG, control=FakeControl(), coach=coach)
    return TestClient(app, base_url="http://127.0.0.1:8000")


def add_anna(client) -> str:
    person = {"name": "Anna K.", "stature_m": 1.7, "time_zone": "Europe/Vienna", "consent_on": "2026-05-01"}
    return client.post("/api/people", json=person).json()["uid"]


def add_session(coach, anna: str) -> str:
    uid = coach.coaching.store.begin_session(NOW - DAY_ns, STORED_RIG, person_uid=anna)
    for number in (1, 2, 3):
        hold = hold_at(NOW - DAY_ns + number * 10**11, 40.0, alpha=0.2, target_s=60.0)
        moved = dataclasses.replace(hold.result, onset_s=10.0 + 100 * (number - 1), release_s=50.0 + 100 * (number - 1))
        coach.coaching.store.save_hold(
            dataclasses.replace(hold, session_uid=uid, uid=f"{uid}-{number:03d}", number=number, result=moved)
        )
    return uid


@pytest.fixture
def client(coach, hub):
    with browser_of(coach, hub) as client:
        yield client


@pytest.fixture
def anna(client):
    return add_anna(client)


@pytest.fixture
def session(coach, anna):
    return add_session(coach, anna)


@pytest.fixture(scope="module")
def unmoved(tmp_path_factory):
    """Give a client, Anna and her stay, once: for what is refused and changes nothing."""
    with open_store(tmp_path_factory.mktemp("unmoved") / "holds.sqlite") as store:
        coach = FakeCoach(store)
        with browser_of(coach, LiveHub()) as client:
            anna = add_anna(client)
            yield client, anna, add_session(coach, anna)


def messages(answer, status: int) -> dict[str, str]:
    assert answer.status_code == status, answer.text
    error = answer.json()["error"]
    assert set(error) == {"code", "what", "means", "do"}
    assert all(error.values())
    return error


def test_people_are_added_changed_and_listed(client, anna):
    listed = client.get("/api/people").json()
    assert [p["name"] for p in listed] == ["Anna K."]
    changed = client.put(f"/api/people/{anna}", json={"name": "A. K.", "units": "lbf"})
    assert (changed.json()["units"], changed.json()["stature_m"]) == ("lbf", None)
    assert client.get(f"/api/people/{anna}").json() == changed.json()


@pytest.mark.parametrize(
    ("method", "path", "body", "status", "code"),
    [
        ("GET", "/api/people/p-none", None, 404, "unknown-person"),
        ("GET", "/api/people/p-none/prescription", None, 404, "unknown-person"),
        ("GET", "/api/people/p-none/pains", None, 404, "unknown-person"),
        ("POST", "/api/people", {"name": " "}, 400, "bad-person"),
        ("POST", "/api/people", {"name": "B", "time_zone": "Mars"}, 400, "bad-person"),
        ("POST", "/api/people", {"name": "B", "eyes": "blue"}, 422, "invalid-request"),
        ("PUT", "/api/who", {"person_uid": "p-none"}, 404, "unknown-person"),
        ("GET", "/api/programmes/none", None, 404, "not-found"),
        ("GET", "/api/holds/none/corrections", None, 404, "not-found"),
        ("POST", "/api/corrections/9/undo", None, 404, "unknown-correction"),
        ("PUT", "/api/holds/none/ending", {"ending": "target"}, 404, "unknown-hold"),
        ("PUT", "/api/sessions/none/person", {"person_uid": None}, 404, "unknown-session"),
        ("GET", "/api/search/holds?kind=sideways", None, 422, "invalid-request"),
    ],
)
def test_what_cannot_be_is_told_in_the_one_shape(unmoved, method, path, body, status, code):
    assert messages(unmoved[0].request(method, path, json=body), status)["code"] == code


@pytest.mark.parametrize(
    ("path", "body", "status", "code"),
    [
        ("pains", {"pain": 11}, 422, "invalid-request"), ("pains", {"pain": 3, "place": "toe"}, 400, "bad-entry"),
        ("hangs", {"duration_s": 0}, 422, "invalid-request"), ("intakes", {"answers": {"x": 1}}, 400, "bad-answers"),
        ("hangs", {"duration_s": 30, "at_utc_ms": 8 * 10**12}, 400, "bad-entry"),
    ],
)  # fmt: skip
def test_entries_that_cannot_be_are_told(unmoved, path, body, status, code):
    client, anna, _ = unmoved
    assert messages(client.post(f"/api/people/{anna}/{path}", json=body), status)["code"] == code


def test_intake(client, anna):
    requested = client.get("/api/intake/questions").json()
    answers = {q["key"]: False for q in requested if q["answer"] == "yes_no"} | {"dizziness": True, "pain_now": 1}
    stored = client.post(f"/api/people/{anna}/intakes", json={"answers": answers})
    assert stored.status_code == 201
    assert stored.json()["outcome"]["ask_clinician"] == ["dizziness"]
    assert client.get(f"/api/people/{anna}/intakes").json() == [stored.json()]


def test_one_tap_changes_who_hangs(client, coach, anna):
    assert client.get("/api/who").json() == {"person_uid": None, "name": None}
    assert client.put("/api/who", json={"person_uid": anna}).json() == {"person_uid": anna, "name": "Anna K."}
    assert client.get("/api/who").json()["person_uid"] == coach.person_uid == anna
    client.put("/api/who", json={"person_uid": None})
    assert coach.person_uid is None


def test_a_session_is_given_to_its_owner_afterwards(client, coach, session):
    assert client.put(f"/api/sessions/{session}/person", json={"person_uid": None}).status_code == 204
    assert client.get("/api/search/holds", params={"guests": True}).json()["total"] == 3


def test_advice_of_the_running_hold(client, coach, anna):
    assert client.get("/api/advice").json()["reserve"] is None
    coach.live.set_person(anna, fit_endurance([Effort(40.0, (0.8,), "exhausted")] * 5), target_s=45.0)
    coach.live.take(Picture(20.0, "hanging", 0.0, hold=HoldClock(10.0, 10.0, False, False), beta=0.8))
    advice = client.get("/api/advice").json()
    assert advice["person_uid"] == anna
    assert 0 < advice["reserve"]["used"]["low"] < advice["reserve"]["used"]["value"] < 1
    assert advice["reserve"]["left_s"]["value"] > 10


def test_pain_pauses_and_is_listed(client, anna):
    stored = client.post(f"/api/people/{anna}/pains", json={"pain": 5, "place": "lower_back", "item": "passive"}).json()
    assert stored["stops"][0]["item"] == "passive"
    assert client.get(f"/api/people/{anna}/stops").json() == stored["stops"]
    assert client.get(f"/api/people/{anna}/pains").json() == [stored["entry"]]
    assert client.get(f"/api/people/{anna}/back-care").json()["next"]["key"] == "look_from_the_side"
    prescription = client.get(f"/api/people/{anna}/prescription").json()
    assert next(i for i in prescription["items"] if i["key"] == "passive")["paused"]


def test_hangs_by_hand_are_marked_and_can_be_taken_out(client, anna):
    hang = client.post(f"/api/people/{anna}/hangs", json={"duration_s": 60, "kind": "active"}).json()
    assert hang["by_hand"] is True
    assert client.get(f"/api/people/{anna}/hangs").json() == [hang]
    assert client.get(f"/api/people/{anna}/days").json()["today"]["by_hand_s"] == 60
    assert client.delete(f"/api/people/{anna}/hangs/{hang['id']}").status_code == 204
    assert messages(client.delete(f"/api/people/{anna}/hangs/{hang['id']}"), 404)["code"] == "not-found"


def test_deliberate_swings(client, coach, anna, session):
    store = coach.coaching.store
    (hold, *_) = store.holds_of_session(session)
    at_s = hold.result.onset_s + 5.0
    swing = Swing(8.0, 4.0, 0.45, [(at_s, 8.0, 0.15)], 0.85, 0.85 * 0.03)
    store.save_hold(dataclasses.replace(hold, result=dataclasses.replace(hold.result, swing=swing)))
    path = f"/api/people/{anna}/swing-calibrations"
    before = client.get(path).json()
    assert (before["kappa"], before["swings"]) == (0.85, [])
    given = {"hold_uid": hold.uid, "after_s": 5.0}
    tried = client.post(f"{path}/try", json={**given, "degrees": 7.8, "u_degrees": 0.3}).json()
    assert client.get(path).json() == before  # it was only tried
    made = client.post(path, json={**given, "degrees": 7.8, "u_degrees": 0.3})
    assert made.status_code == 201
    (one,) = made.json()["swings"]
    assert (one["told_deg"], one["measured_deg"]) == (8.0, 7.8)
    assert {**tried, "id": one["id"]} == one
    assert 0.85 < made.json()["kappa"] < one["kappa"]
    assert client.post(path, json={**given, "reach_m": 0.6, "length_m": 2.2}).status_code == 201
    for wrong, status in (
        (given, 400),
        ({**given, "degrees": 20.0}, 400),
        ({**given, "hold_uid": "x", "degrees": 8}, 404),
    ):
        assert client.post(path, json=wrong).status_code == status, wrong
    assert client.delete(f"{path}/{one['id']}").status_code == 204
    assert client.delete(f"{path}/{one['id']}").status_code == 404
    assert len(client.get(path).json()["swings"]) == 1


def test_programmes(client, anna):
    names = [t["name"] for t in client.get("/api/programmes").json()]
    assert "long_hangs" in names
    assert "common practice" in client.get("/api/programmes/long_hangs").json()["toml"]
    assert client.get(f"/api/people/{anna}/programme").json() == {
        "since_utc_ms": None, "content": template().as_dict()
    }  # fmt: skip
    content = template("first_hangs").as_dict()
    stored = client.put(f"/api/people/{anna}/programme", json=content).json()
    assert stored == {"since_utc_ms": NOW // 10**6, "content": content}
    assert messages(client.put(f"/api/people/{anna}/programme", json={"name": "x"}), 400)["code"] == "bad-programme"
    assert client.get(f"/api/people/{anna}/programme").json() == stored


def test_a_programme_is_paused_and_resumed(client, anna):
    client.put(f"/api/people/{anna}/programme", json=template("first_hangs").as_dict())
    given = {"last": "2026-05-25", "reason": "a journey"}
    paused = client.post(f"/api/people/{anna}/programme/pauses", json=given)
    assert paused.status_code == 201
    assert paused.json()["content"]["pause"] == [
        {"first": "2026-05-20", "last": "2026-05-25", "item": "", "reason": "a journey"}
    ]
    assert client.get(f"/api/people/{anna}/prescription").json()["next"] is None
    assert "pause" not in client.post(f"/api/people/{anna}/programme/resume").json()["content"]
    assert client.get(f"/api/people/{anna}/prescription").json()["next"] is not None
    assert len(client.get(f"/api/people/{anna}/programmes").json()) == 3
    wrong = client.post(f"/api/people/{anna}/programme/pauses", json={"item": "cycling"})
    assert messages(wrong, 400)["code"] == "bad-programme"


def test_strength_day_by_day(client, anna, session):
    course = client.get(f"/api/people/{anna}/strength").json()
    assert (course["seconds"], course["ahead"]) == (30.0, [])
    assert [(p["day"], p["holds"]) for p in course["past"]] == [("2026-05-19", 3)]
    assert 0 < course["past"][0]["chance"]["low"] < course["past"][0]["chance"]["high"] < 1


def test_prescription_progress_and_endurance(client, anna, session):
    prescription = client.get(f"/api/people/{anna}/prescription").json()
    assert prescription["holds"] == 3
    assert 0 < prescription["items"][2]["alpha"] < 0.7
    progress = client.get(f"/api/people/{anna}/progress", params={"first": "2026-05-19"}).json()
    assert (progress["holds"], progress["dose_bw_s"]) == (3, pytest.approx(96.0))
    assert client.get(f"/api/people/{anna}/progress", params={"last": "2026-05-18"}).json()["holds"] == 0
    endurance = client.get(f"/api/people/{anna}/endurance").json()
    assert (endurance["holds"], endurance["unsure"], endurance["trend"]) == (3, 3, None)
    times = [point["time_s"]["value"] for point in endurance["curve"]]
    assert times == sorted(times)
    period = {"before_first": "2026-05-01", "before_last": "2026-05-10", "after_first": "2026-05-11",
              "after_last": "2026-05-20"}  # fmt: skip
    compared = client.get(f"/api/people/{anna}/comparison", params=period).json()
    assert (compared["duration"]["n_after"], compared["duration"]["low"]) == (3, None)
    wrong = client.get(f"/api/people/{anna}/comparison", params={**period, "after_last": "2026-01-01"})
    assert messages(wrong, 400)["code"] == "invalid-request"


def test_search(client, anna, session):
    outcome = client.get("/api/search/holds", params={"person_uid": anna, "least_s": 39, "limit": 2}).json()
    assert (outcome["total"], len(outcome["holds"])) == (3, 2)
    assert outcome["holds"][0]["person_uid"] == anna
    assert client.get("/api/search/holds", params={"kind": "active"}).json()["total"] == 0


def correct(client, uid: str, **body):
    return client.post(f"/api/holds/{uid}/corrections", json={"reason": "seen", **body})


def test_a_correction_is_made_seen_and_undone(client, coach, hub, session):
    events: list[dict] = []
    hub.publish_event = events.append  # type: ignore[method-assign]
    made = correct(client, f"{session}-001", kind="retag", to_kind="active", made_by="M.").json()
    assert (made["content"], made["made_by"], made["undone_utc_ms"]) == ({"kind": "active"}, "M.", None)
    assert [(e["kind"], e["uid"]) for e in events] == [("revised", f"{session}-001")]
    assert client.get("/api/search/holds", params={"kind": "active"}).json()["total"] == 1
    undone = client.post(f"/api/corrections/{made['id']}/undo", json={"undone_by": "N."}).json()
    assert undone["undone_by"] == "N."
    assert client.get("/api/corrections").json() == [undone]
    assert client.get("/api/search/holds", params={"kind": "active"}).json()["total"] == 0
    assert messages(client.post(f"/api/corrections/{made['id']}/undo"), 404)["code"] == "unknown-correction"


def test_a_hold_tells_its_measurement_and_its_corrections(client, session):
    made = correct(client, f"{session}-001", kind="discard").json()
    stored = client.get(f"/api/holds/{session}-001/corrections").json()
    assert stored["corrections"] == [made]
    assert (stored["measured"]["uid"], stored["measured"]["hidden"]) == (f"{session}-001", None)


def test_a_split_is_kept_as_it_was_measured(client, coach, session):
    made = correct(client, f"{session}-001", kind="split", at_s=30.0)
    assert (made.status_code, made.json()["content"]) == (201, {"at_s": 30.0})
    first, second = (coach.coaching.store.get_hold(f"{session}-001-part-{n}") for n in (1, 2))
    assert (first.result.beta_mean, second.result.beta_mean) == (0.9, 0.7)
    assert (first.measurement_version, second.result.onset_s) == (3, 30.0)


def test_corrections_and_endings_are_told_to_who_reckons(client, coach, anna, session):
    messages: list[str] = []
    coach.coaching.watchers.append(messages.append)
    made = correct(client, f"{session}-001", kind="discard").json()
    client.post(f"/api/corrections/{made['id']}/undo")
    client.put(f"/api/holds/{session}-002/ending", json={"ending": "other"})
    assert messages == [anna] * 3


def test_split_and_join_tell_the_screens(client, hub, session):
    events: list[dict] = []
    hub.publish_event = events.append  # type: ignore[method-assign]
    correct(client, f"{session}-001", kind="join", with_uid=f"{session}-002")
    assert sorted((e["kind"], e["uid"].removeprefix(session)) for e in events) == [
        ("closed", "-001-join-002"), ("withdrawn", "-001"), ("withdrawn", "-002")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        ({"kind": "retag"}, 400, "invalid-request"), ({"kind": "split"}, 400, "invalid-request"),
        ({"kind": "join"}, 400, "invalid-request"), ({"kind": "split", "at_s": 900}, 400, "correction-not-possible"),
        ({"kind": "join", "with_uid": "x"}, 400, "correction-not-possible"),
        ({"kind": "restore"}, 400, "correction-not-possible"), ({"kind": "erase"}, 422, "invalid-request"),
        ({"kind": "discard", "reason": ""}, 422, "invalid-request"),
    ],
)  # fmt: skip
def test_a_correction_that_does_not_fit_changes_nothing(unmoved, body, status, code):
    client, _, session = unmoved
    assert messages(correct(client, f"{session}-001", **body), status)["code"] == code
    assert client.get("/api/corrections").json() == []


def test_why_a_hold_ended(client, coach, anna, session):
    answer = client.put(f"/api/holds/{session}-001/ending", json={"ending": "target"}).json()
    assert (answer["ending"], answer["target_s"]) == ("target", 60.0)
    assert coach.coaching.posterior(anna).unsure == 2


def test_the_description_names_every_route_with_its_shape(client):
    described = client.get("/api/openapi.json").json()
    coaching = {
        "/api/people": "get post", "/api/people/{uid}": "get put", "/api/intake/questions": "get",
        "/api/people/{uid}/intakes": "get post", "/api/who": "get put", "/api/advice": "get",
        "/api/sessions/{session_uid}/person": "put", "/api/people/{uid}/pains": "get post",
        "/api/people/{uid}/stops": "get", "/api/people/{uid}/back-care": "get", "/api/people/{uid}/hangs": "get post",
        "/api/people/{uid}/hangs/{number}": "delete", "/api/programmes": "get", "/api/programmes/{name}": "get",
        "/api/people/{uid}/programme": "get put", "/api/people/{uid}/prescription": "get",
        "/api/people/{uid}/days": "get", "/api/people/{uid}/progress": "get", "/api/people/{uid}/comparison": "get",
        "/api/people/{uid}/endurance": "get", "/api/search/holds": "get", "/api/corrections": "get",
        "/api/holds/{uid}/corrections": "get post", "/api/corrections/{number}/undo": "post",
        "/api/holds/{uid}/ending": "put",
        "/api/people/{uid}/programmes": "get", "/api/people/{uid}/programme/pauses": "post",
        "/api/people/{uid}/programme/resume": "post", "/api/people/{uid}/strength": "get",
        "/api/markers": "post", "/api/markers/{number}": "delete", "/api/markers/{number}/restore": "post",
        "/api/holds/{uid}/markers": "get post", "/api/sessions/{session_uid}/markers": "get",
    }  # fmt: skip
    for path, methods in coaching.items():
        assert sorted(described["paths"][path]) == methods.split(), path
        for method in described["paths"][path].values():
            assert method["description"], path
            good = next(answer for status, answer in method["responses"].items() if status.startswith("2"))
            assert "content" not in good or good["content"]["application/json"]["schema"], path
            assert method["responses"]["400"]["content"]["application/json"]["schema"]["$ref"].endswith("ProblemModel")


def test_without_a_coach_there_are_no_people():
    app = create_app(hub=LiveHub(), store=FakeStore(), rig=RIG, control=FakeControl())
    answer = TestClient(app, base_url="http://127.0.0.1").get("/api/people")
    assert messages(answer, 404)["code"] == "not-found"
