"""Beside the bar: the card that every screen may see, today's queue, and how people are called there."""

from __future__ import annotations

import json

import pytest
from fake_coach import FakeCoach, StoredReader, fill
from fake_rig import RIG, FakeControl, served
from fastapi.testclient import TestClient
from websockets.sync.client import connect

from monitor.dashboard import LiveHub, create_app
from monitor.dashboard.security.authorization import WALL_LOOKS
from monitor.store import open_store


@pytest.fixture
def coached(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as store:
        person, _ = fill(store)
        coach = FakeCoach(store)
        app = create_app(hub=LiveHub(), store=StoredReader(store), rig=RIG, control=FakeControl(), coach=coach)
        with TestClient(app, base_url="http://127.0.0.1:8000") as client:
            yield client, coach, person


def test_the_view_names_by_initials_unless_the_person_chose_otherwise(coached):
    client, coach, person = coached
    assert client.get("/api/bar").json()["who"] == {"guest": True, "shown": ""}
    coach.set_person(person)
    view = client.get("/api/bar")
    assert view.json()["who"] == {"guest": False, "shown": "M. T."}
    assert "Mara" not in view.text
    for how, shown in (("name", "Mara T."), ("nothing", ""), ("initials", "M. T.")):
        assert client.put(f"/api/people/{person}/called", json={"shown": how}).json() == {"shown": how}
        assert client.get("/api/bar").json()["who"]["shown"] == shown
    assert client.put(f"/api/people/{person}/called", json={"shown": "loudly"}).status_code == 422
    assert client.get("/api/people/p-none/called").status_code == 404


def test_the_view_is_for_the_wall_and_the_queue_is_not():
    assert "/api/bar" in WALL_LOOKS
    assert not {"/api/who", "/api/queue", "/api/people"} & WALL_LOOKS


def test_the_view_tells_the_next_set_as_prescribed(coached):
    client, coach, person = coached
    coach.set_person(person)
    view, prescription = client.get("/api/bar").json(), coach.coaching.prescribe(person)
    wanted = prescription.item(prescription.next)
    assert wanted is not None
    requested = view["requested"]
    assert (requested["item"], requested["target_s"], requested["rest_s"]) == (
        wanted.key,
        wanted.target_s,
        wanted.rest_s,
    )
    assert (view["alpha"], view["alpha_max"]) == (wanted.alpha, wanted.alpha_max)
    # The newest hold began an hour ago by the desk's clock and was a little over 18 s long.
    assert view["rest"]["since_s"] == pytest.approx(3600 - 18.4, abs=5)


def test_the_queue_is_kept_for_the_day_and_names_who_is_there(coached):
    client, coach, person = coached
    other = coach.coaching.add_person("Bo Karl")
    assert client.put("/api/queue", json={"people": [person, other.uid]}).json() == {"people": [person, other.uid]}
    view = client.get("/api/bar").json()
    assert view["queue"] == ["M. T.", "B. K."]
    assert view["step_on"]["state"] == "nobody"
    coach.set_person(person)
    assert client.get("/api/bar").json()["next_up"] == "B. K."
    later = FakeCoach(coach.coaching.store)
    assert later.bar.queue() == [person, other.uid], "a restart on the same day keeps it"
    tomorrow = FakeCoach(coach.coaching.store, coach.coaching.now_utc_ns() + 36 * 3600 * 10**9)
    assert tomorrow.bar.queue() == []


@pytest.mark.parametrize("people", [["p-none"], "twice"])
def test_a_queue_that_cannot_be_is_refused(coached, people):
    client, _, person = coached
    answer = client.put("/api/queue", json={"people": [person, person] if people == "twice" else people})
    assert answer.status_code == (404 if people == ["p-none"] else 400)
    assert set(answer.json()["error"]) >= {"what", "means", "do", "code"}
    assert client.get("/api/queue").json() == {"people": []}


def test_the_feed_brings_the_view_as_soon_as_it_changes(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as store:
        person, _ = fill(store)
        coach = FakeCoach(store)
        with (
            served(store=StoredReader(store), coach=coach) as dashboard,
            connect(f"ws://127.0.0.1:{dashboard.port}/api/feed") as feed,
        ):

            def bars():
                while True:
                    message = json.loads(feed.recv(timeout=120))
                    if message["type"] == "bar":
                        yield message["bar"]

            views = bars()
            assert next(views)["who"]["guest"] is True
            coach.set_person(person)
            assert next(view for view in views if not view["who"]["guest"])["who"]["shown"] == "M. T."


def test_an_erased_person_leaves_the_queue(coached):
    _, coach, person = coached
    coach.bar.set_queue([person])
    coach.bar.set_shown(person, "name")
    coach.bar.forget(person)
    assert coach.bar.queue() == []
    assert person not in json.dumps(coach.coaching.store.get_setting("at_the_bar"))


def test_who_was_named_before_a_restart_is_named_after_it(coached):
    _, coach, person = coached
    coach.set_person(person)
    assert FakeCoach(coach.coaching.store).bar.named_before == person
    tomorrow = FakeCoach(coach.coaching.store, coach.coaching.now_utc_ns() + 36 * 3600 * 10**9)
    assert tomorrow.bar.named_before is None
    coach.set_person(None)
    assert FakeCoach(coach.coaching.store).bar.named_before is None
