"""Who gets in and what they may do, over the whole application."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from http.cookies import SimpleCookie
from pathlib import Path

import pytest
from authorized_hall import COACH, OWNER, PAGE, RIG_ADDRESS, Hall, hall
from starlette.websockets import WebSocketDisconnect

from monitor.dashboard.security import attempt_limits, authorization
from monitor.dashboard.security.attempt_limits import FREE_FAILURES
from monitor.dashboard.security.pairing import LASTS_S, TRIES

OURS = {"origin": PAGE}


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Hall]:
    with hall(tmp_path) as made:
        yield made


def feed_of(device, **headers: str):
    address = str(device.base_url).replace("http", "ws", 1)
    return device.websocket_connect(f"{address}/api/feed", headers={"host": device.base_url.netloc.decode(), **headers})


def code_of(answer) -> str:
    return answer.json()["error"]["code"]


# Roles


def test_a_stranger_of_the_network_gets_the_sign_in_page_and_nothing_else(place):
    stranger = place.device()
    answer = stranger.get("/")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    assert stranger.get("/sign-in").status_code == 200
    routes = {
        (path, method.upper())
        for path, entry in place.app.openapi()["paths"].items()
        for method in entry
        if path not in ("/api/principal", "/api/sign-in", "/api/sign-out", "/api/pairing", "/api/pairing/code")
    }
    assert len(routes) > 10
    for path, method in sorted(routes):
        answer = stranger.request(method, path.replace("{", "").replace("}", ""), headers=OURS)
        assert (answer.status_code, code_of(answer)) == (401, "sign-in-needed"), (method, path)
    for path in ("/api/openapi.json", "/metrics", "/healthz", "/none"):
        assert stranger.get(path).status_code in (303, 401)


def test_a_stranger_gets_no_feed(place):
    with pytest.raises(WebSocketDisconnect) as refused, feed_of(place.device(), **OURS):
        pass
    assert (refused.value.code, refused.value.reason) == (1008, "sign-in-needed")  # policy violation, RFC 6455 7.4.1
    assert place.hub.screens == 0


GIVEN = {"alpha_max": 0.2, "bodyweight_N": None}


def test_a_wall_screen_looks_and_changes_nothing(place):
    wall = place.device("127.0.0.1", "http://127.0.0.1:8064")
    assert wall.get("/api/principal").json()["role"] == "wall"
    assert wall.get("/").status_code == 200
    assert wall.get("/api/holds").status_code == 200
    with feed_of(wall) as feed:
        assert json.loads(feed.receive_text())["type"] == "beat"
    for method, path in (
        ("PUT", "/api/settings"), ("GET", "/api/holds.csv"), ("GET", "/api/holds/hold-0/curve"), ("GET", "/api/people"),
        ("GET", "/api/audit"), ("GET", "/api/sign-ins"), ("GET", "/api/openapi.json"), ("DELETE", "/api/people/x"),
    ):  # fmt: skip
        answer = wall.request(method, path, json=GIVEN if method == "PUT" else None)
        assert (answer.status_code, code_of(answer)) == (403, "not-your-role"), path
    for page in ("/people", "/holds", "/rig", "/hold/hold-0"):
        answer = wall.get(page)
        assert (answer.status_code, answer.headers.get("location")) == (303, "/sign-in"), page
    assert place.control.given.alpha_max == 0.1


def test_a_coach_works_and_an_owner_also_looks_after_devices_and_the_log(place):
    coach, owner = place.signed_in(COACH), place.signed_in(OWNER, "192.168.1.51")
    assert coach.put("/api/settings", json=GIVEN, headers=OURS).status_code == 200
    assert coach.get("/api/holds.csv").status_code == 200
    for path in ("/api/audit", "/api/sign-ins"):
        assert (code_of(coach.get(path)), owner.get(path).status_code) == ("not-your-role", 200)
    assert code_of(coach.delete("/api/people/p-1", headers=OURS)) == "not-your-role"
    assert owner.delete("/api/people/p-1", headers=OURS).status_code in (404, 405)
    assert {(d["name"], d["role"]) for d in owner.get("/api/sign-ins").json()} == {("Cem", "coach"), ("Olga", "owner")}


def test_without_any_passcode_this_machine_alone_is_served(tmp_path):
    with hall(tmp_path, passcodes=False) as place:
        home = place.device("127.0.0.1", "http://127.0.0.1:8064")
        assert home.get("/api/principal").json() == {
            "name": "this machine", "role": "owner", "signed_in": False, "passcodes": False,
        }  # fmt: skip
        assert home.put("/api/settings", json=GIVEN).status_code == 200
        assert place.device().get("/api/live").status_code == 401
        # The moment somebody has a passcode, whoever sits at the machine without one only looks.
        place.access.set_passcode(*(OWNER[0], "owner", OWNER[1]))
        assert code_of(home.put("/api/settings", json=GIVEN)) == "not-your-role"


@pytest.mark.parametrize(
    "trace", [{"x-forwarded-for": "192.168.1.9"}, {"forwarded": "for=192.168.1.9"}, {"via": "1.1 p"}]
)
def test_what_a_proxy_passes_on_is_not_taken_for_this_machine(place, trace):
    home = place.device("127.0.0.1", "http://127.0.0.1:8064")
    assert home.get("/api/health").status_code == 200
    assert home.get("/api/health", headers=trace).status_code == 401


def test_behind_an_announced_proxy_this_machine_itself_must_sign_in_and_the_cookie_goes_by_tls_only(tmp_path):
    with hall(tmp_path, network=False, behind_proxy=True, secure=True, names=frozenset({"hang.hall"})) as place:
        proxied = place.device("127.0.0.1", "https://hang.hall")
        assert proxied.get("/api/health").status_code == 401
        assert place.device("127.0.0.1", "http://127.0.0.1:8064").get("/api/health").status_code == 401
        given = {"name": OWNER[0], "passcode": OWNER[1]}
        answer = proxied.post("/api/sign-in", json=given, headers={"origin": "https://hang.hall"})
        assert "Secure" in answer.headers["set-cookie"]
        assert answer.headers["set-cookie"].startswith("__Host-")
        assert proxied.get("/api/audit").status_code == 200


def test_a_damaged_file_of_passcodes_keeps_the_door_shut(place):
    coach = place.signed_in(COACH)
    whole = place.access.path.read_text()
    for harm in (
        whole[:-20],
        "",
        "[]",
        whole.replace('"owner"', '"ruler"'),
        whole.replace('"version": 1', '"version": 2'),
    ):
        place.access.path.write_text(harm)
        answer = coach.get("/api/settings")
        assert (answer.status_code, code_of(answer)) == (503, "access-not-usable")
        assert place.device("127.0.0.1", "http://127.0.0.1:8064").get("/api/settings").status_code == 503
    place.access.path.write_text(whole)
    assert coach.get("/api/settings").status_code == 200


# Cookies


def test_the_session_cookie_is_closed_to_scripts_and_to_other_sites(place):
    answer = place.device().post("/api/sign-in", json={"name": COACH[0], "passcode": COACH[1]}, headers=OURS)
    cookie = next(iter(SimpleCookie(answer.headers["set-cookie"]).values()))
    # Attributes of RFC 6265bis.
    assert (cookie["httponly"], cookie["samesite"].lower(), cookie["path"], cookie["domain"]) == (
        True,
        "strict",
        "/",
        "",
    )
    assert len(cookie.value) >= 43  # 256 bits in base64
    assert answer.text == ""
    stored = place.access.path.read_text()
    assert cookie.value not in stored
    assert COACH[1] in place.hasher.hash(COACH[1])


def test_a_cookie_is_worth_nothing_after_signing_out(place):
    coach = place.signed_in(COACH)
    (cookie,) = [c.value for c in coach.cookies.jar]
    thief = place.device("192.168.1.66")
    thief.cookies.set("hang_monitor", cookie)
    assert thief.get("/api/settings").status_code == 200, "until then it is: it is the key"
    assert coach.post("/api/sign-out", headers=OURS).status_code == 204
    assert thief.get("/api/settings").status_code == 401
    thief.cookies.set("hang_monitor", cookie[:-1] + "A")
    assert thief.get("/api/settings").status_code == 401


def test_a_new_passcode_an_owner_and_the_end_of_its_time_sign_a_device_out(place, tmp_path):
    coach, owner = place.signed_in(COACH), place.signed_in(OWNER, "192.168.1.51")
    place.access.set_passcode(COACH[0], "coach", "another good one")
    assert coach.get("/api/settings").status_code == 401
    coach = place.signed_in((COACH[0], "another good one"))
    (device,) = [d["id"] for d in owner.get("/api/sign-ins").json() if d["name"] == COACH[0]]
    assert owner.delete(f"/api/sign-ins/{device}", headers=OURS).status_code == 204
    assert coach.get("/api/settings").status_code == 401
    (ends,) = [s.ends_utc_s for s in place.access.sign_ins()]
    place.access._now_s = lambda: ends + 1.0
    assert owner.get("/api/settings").status_code == 401


def test_a_feed_ends_when_its_device_is_signed_out(place, monkeypatch):
    monkeypatch.setattr("monitor.dashboard.security.security_middleware.LOOK_AGAIN_S", 0.0)
    coach = place.signed_in(COACH)
    with feed_of(coach, **OURS) as feed:
        assert json.loads(feed.receive_text())["type"] == "beat"
        place.access.sign_everyone_out()
        place.hub.publish_event({"kind": "withdrawn", "uid": "x", "hold": None})
        with pytest.raises(WebSocketDisconnect) as ended:
            feed.receive_text()
    assert (ended.value.code, ended.value.reason) == (1008, "sign-in-needed")


# Other sites


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://192.168.1.20:9999", "http://192.168.1.21:8064"]
)
def test_a_foreign_page_can_neither_change_nor_listen_with_a_coachs_cookie(place, origin):
    coach = place.signed_in(COACH)
    answer = coach.put("/api/settings", json=GIVEN, headers={"origin": origin})
    assert (answer.status_code, code_of(answer)) == (403, "foreign-origin")
    with pytest.raises(WebSocketDisconnect) as refused, feed_of(coach, origin=origin):
        pass
    assert (refused.value.code, refused.value.reason) == (1008, "foreign-origin")
    assert (place.control.given.alpha_max, place.hub.screens) == (0.1, 0)


@pytest.mark.parametrize(
    "kind", ["application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "text/plain", ""]
)
def test_what_a_form_can_send_is_refused_even_without_an_origin(place, kind):
    """The three encodings of HTML forms; a browser asks first (CORS, Fetch standard) before it sends any other."""
    coach = place.signed_in(COACH)
    answer = coach.put("/api/settings", content=json.dumps(GIVEN), headers={"content-type": kind})
    assert (answer.status_code, code_of(answer)) == (415, "not-json")
    assert place.control.given.alpha_max == 0.1


def test_a_foreign_page_may_link_here_and_load_nothing(place):
    coach = place.signed_in(COACH)
    for site in ("cross-site", "same-site"):
        picture = {"sec-fetch-site": site, "sec-fetch-mode": "no-cors"}
        assert code_of(coach.get("/api/holds", headers=picture)) == "foreign-origin"
        assert coach.get("/", headers={"sec-fetch-site": site, "sec-fetch-mode": "navigate"}).status_code == 200
    assert (
        coach.get("/api/holds", headers={"sec-fetch-site": "same-origin", "sec-fetch-mode": "cors"}).status_code == 200
    )


@pytest.mark.parametrize("name", ["evil.example", "rig.evil.example:8064", "192.168.1.20.evil.example", "192.168.1.21",
                                  "127.0.0.1.evil.example", "[::1", "", "192.168.1.20@evil.example"])  # fmt: skip
def test_a_name_that_was_turned_to_this_machine_is_refused(place, name):
    """DNS rebinding: the browser asks for the attacker's name and reaches the rig."""
    coach = place.signed_in(COACH)
    answer = coach.get("/api/holds", headers={"host": name, "origin": f"http://{name}"})
    assert (answer.status_code, code_of(answer)) == (403, "unknown-host")


def test_the_rigs_own_names_and_the_address_of_the_connection_are_served(tmp_path):
    with hall(tmp_path, names=frozenset({"rig.local"})) as place:
        for host in (RIG_ADDRESS, f"{RIG_ADDRESS}:8064", "rig.local", "RIG.local:8064"):
            assert place.device().get("/sign-in", headers={"host": host}).status_code == 200
        # Where only this machine is served, even the right address of the network is a foreign name.
        place.authorization.network = False
        assert place.device().get("/sign-in", headers={"host": RIG_ADDRESS}).status_code == 403


# Guessing


def guess(device, name: str, passcode: str):
    return device.post("/api/sign-in", json={"name": name, "passcode": passcode}, headers=OURS)


def test_a_guesser_is_locked_out_before_anything_is_looked_at_and_others_are_not(place):
    guesser = place.device()
    for number in range(FREE_FAILURES):
        assert guess(guesser, OWNER[0], f"wrong number {number}").status_code == 401
    looked_at = place.hasher.verified
    for passcode in ("wrong again", OWNER[1]):
        answer = guess(guesser, OWNER[0], passcode)
        assert (answer.status_code, code_of(answer)) == (429, "too-many-tries")
        assert 0 < int(answer.headers["retry-after"]) <= 61
    assert place.hasher.verified == looked_at
    assert place.signed_in(OWNER, "192.168.1.51").get("/api/audit").status_code == 200
    waits = []
    for _ in range(9):
        place.now_s[0] += place.authorization.attempts.wait_s("192.168.1.50")
        assert guess(guesser, OWNER[0], "wrong once more").status_code == 401
        waits.append(place.authorization.attempts.wait_s("192.168.1.50"))
    assert waits[:3] == [120.0, 240.0, 480.0]
    assert waits[-1] == 3600.0
    place.now_s[0] += 3600.0
    assert guess(guesser, *OWNER).status_code == 204


def test_a_guesser_with_many_addresses_is_stopped_too_and_the_machine_itself_is_not(place, monkeypatch):
    assert attempt_limits.ALL_FAILURES == 100  # as docs/security.md tells
    monkeypatch.setattr(attempt_limits, "ALL_FAILURES", 12)
    place.authorization.attempts = attempt_limits.Attempts(lambda: place.now_s[0])
    for number in range(12):
        assert guess(place.device(f"10.0.0.{number}"), OWNER[0], "wrong number").status_code == 401
    assert code_of(guess(place.device("10.9.9.9"), *OWNER)) == "too-many-tries"
    home = place.device("127.0.0.1", "http://127.0.0.1:8064")
    answer = home.post("/api/sign-in", json={"name": OWNER[0], "passcode": OWNER[1]})
    assert answer.status_code == 204


def test_one_network_of_ipv6_is_one_guesser(place):
    for number in range(FREE_FAILURES):
        assert guess(place.device(f"fd00:1:2:3::{number}"), OWNER[0], "wrong number").status_code == 401
    assert guess(place.device("fd00:1:2:3:ffff::9"), *OWNER).status_code == 429
    assert guess(place.device("fd00:1:2:4::9"), *OWNER).status_code == 204


def test_a_wrong_name_and_a_wrong_passcode_get_the_same_answer_after_the_same_work(place):
    answers, work = [], []
    for number, (name, passcode) in enumerate(
        [(OWNER[0], "wrong"), ("nobody here", OWNER[1]), ("", ""), ("x" * 160, "y" * 500)]
    ):
        before = place.hasher.verified
        answers.append(guess(place.device(f"192.168.1.{100 + number}"), name, passcode))
        work.append(place.hasher.verified - before)
    assert work == [1, 1, 1, 1]
    assert len({answer.content for answer in answers}) == 1
    assert {answer.status_code for answer in answers} == {401}
    assert len({tuple(sorted(set(answer.headers) - {"content-length"})) for answer in answers}) == 1


def test_requests_beyond_a_browsers_pace_are_refused(tmp_path, monkeypatch):
    assert (authorization.REQUESTS_HZ, authorization.REQUESTS_AT_ONCE) == (40.0, 300.0)  # as docs/security.md tells
    monkeypatch.setattr(authorization, "REQUESTS_AT_ONCE", 12.0)
    monkeypatch.setattr(authorization, "REQUESTS_HZ", 4.0)
    with hall(tmp_path) as place:
        device = place.device()
        assert [device.get("/sign-in").status_code for _ in range(14)] == [200] * 12 + [429] * 2
        place.now_s[0] += 0.5
        assert [device.get("/sign-in").status_code for _ in range(3)] == [200] * 2 + [429]
        assert place.device("192.168.1.77").get("/sign-in").status_code == 200


# Pairing


def shown(place: Hall) -> list[str]:
    lines = place.device("127.0.0.1", "http://127.0.0.1:8064").get("/api/health").json()["warnings"]
    return [re.sub(r"\D", "", line.split("type")[1]) for line in lines]


def give(device, code: str):
    return device.post("/api/pairing/code", json={"code": code}, headers=OURS)


def test_a_new_tablet_looks_in_with_the_code_that_the_wall_and_the_terminal_show(place):
    tablet = place.device()
    assert tablet.post("/api/pairing", headers=OURS).status_code == 204
    (code,) = shown(place)
    assert re.fullmatch(r"\d{6}", code)
    assert f"{code[:3]} {code[3:]}" in place.messages[0]
    assert "192.168.1.50" in place.messages[0]
    assert give(tablet, f"{code[:3]} {code[3:]}").status_code == 204
    assert tablet.get("/api/principal").json()["role"] == "wall"
    assert tablet.get("/").status_code == 200
    assert code_of(tablet.put("/api/settings", json=GIVEN, headers=OURS)) == "not-your-role"
    assert shown(place) == []


def test_a_code_is_worth_nothing_for_another_device_a_second_time_or_later(place):
    tablet, thief = place.device(), place.device("192.168.1.66")
    tablet.post("/api/pairing", headers=OURS)
    thief.post("/api/pairing", headers=OURS)
    mine, theirs = shown(place)
    assert code_of(give(thief, mine)) == "wrong-code"
    assert code_of(give(place.device("192.168.1.67"), theirs)) == "wrong-code"
    assert give(tablet, mine).status_code == 204
    assert code_of(give(tablet, mine)) == "wrong-code"
    place.now_s[0] += LASTS_S
    assert code_of(give(thief, theirs)) == "wrong-code"


def test_a_code_dies_after_five_wrong_tries_and_the_wall_is_no_notice_board(place):
    thief = place.device("192.168.1.66")
    thief.post("/api/pairing", headers=OURS)
    (code,) = shown(place)
    wrong = f"{(int(code) + 1) % 10**6:06d}"
    assert [give(thief, wrong).status_code for _ in range(TRIES)] == [401] * TRIES
    assert shown(place) == []
    assert give(thief, code).status_code == 429
    requested = [place.device(f"192.168.2.{n}").post("/api/pairing", headers=OURS).status_code for n in range(10)]
    assert (requested.count(204), len(shown(place))) == (3, 3)


# The log


def test_the_log_tells_who_changed_what_and_cannot_be_changed_itself(place):
    coach, owner = place.signed_in(COACH), place.signed_in(OWNER, "192.168.1.51")
    coach.put("/api/settings", json=GIVEN, headers=OURS)
    coach.put("/api/settings", json={"alpha_max": 7}, headers=OURS)  # refused: no change
    entries = owner.get("/api/audit").json()
    assert [(e["who"], e["what"]) for e in entries] == [
        ("Cem (coach)", "put"), ("Olga (owner)", "signed in"), ("Cem (coach)", "signed in"),
    ]  # fmt: skip
    assert entries[0]["subject"] == "/api/settings"
    assert "0.2" not in json.dumps(entries)
    for statement in ("DELETE FROM audit", "UPDATE audit SET who = 'nobody'"):
        with pytest.raises(Exception, match="only grows"):
            place.store._writer.submit(lambda c, s=statement: c.exec_driver_sql(s)).result()
    assert len(place.store.audit.recent()) == 3
