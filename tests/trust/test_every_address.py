"""Every address of the page, for every role: what is named nowhere needs a coach, and nobody gets in by default."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.fuzz.whole_page import PASSCODE, whole_page

PAGE = "http://192.168.1.20:8064"
OURS = {"origin": PAGE}
FOR_NOBODY = {
    ("GET", "/api/principal"), ("POST", "/api/sign-in"), ("POST", "/api/sign-out"), ("POST", "/api/pairing"),
    ("POST", "/api/pairing/code"),
}  # fmt: skip
FOR_THE_WALL = {
    ("GET", f"/api/{name}") for name in ("health", "rig", "live", "settings", "holds", "advice", "bar", "screens")
}
FOR_OWNERS = {
    ("GET", "/api/audit"), ("GET", "/api/sign-ins"), ("DELETE", "/api/sign-ins/{sign_in_id}"), ("GET", "/api/power"),
    ("POST", "/api/power"), ("POST", "/api/uploads"), ("POST", "/api/jobs/archive"), ("POST", "/api/jobs/import"),
    ("POST", "/api/jobs/reanalysis"), ("POST", "/api/jobs/erase"), ("POST", "/api/jobs/backup"),
    ("PUT", "/api/maintenance/policy"), ("GET", "/api/maintenance/backups"), ("GET", "/api/passcodes"),
    ("PUT", "/api/passcodes/{name}"), ("DELETE", "/api/passcodes/{name}"),
    ("GET", "/api/setup"), ("POST", "/api/setup"),
}  # fmt: skip


@pytest.fixture(scope="module")
def page(tmp_path_factory) -> Iterator[Any]:
    with whole_page(tmp_path_factory.mktemp("page"), passcodes={"Olga": "owner", "Cem": "coach"}) as (app, _):
        yield app


@pytest.fixture(scope="module")
def addresses(page) -> list[tuple[str, str]]:
    paths = page.openapi()["paths"]
    return sorted((method.upper(), path) for path, entry in paths.items() for method in entry)


def device(page, address: str, base: str = PAGE) -> TestClient:
    return TestClient(page, base_url=base, client=(address, 50_000), follow_redirects=False)


def signed_in(page, name: str, address: str) -> TestClient:
    one = device(page, address)
    answer = one.post("/api/sign-in", json={"name": name, "passcode": PASSCODE}, headers=OURS)
    assert answer.status_code == 204
    return one


def refused(client: TestClient, addresses, code: str, base: str = PAGE) -> set[tuple[str, str]]:
    """Ask at every address and return those that refuse with this code."""
    result = set()
    for method, path in addresses:
        place = path.replace("{", "").replace("}", "")
        answer = client.request(method, place, headers={"origin": base})
        if answer.status_code >= 400 and answer.json()["error"]["code"] == code:
            result.add((method, path))
    return result


def test_a_stranger_of_the_network_is_let_in_nowhere(page, addresses):
    assert len(addresses) > 80
    stranger = device(page, "192.168.1.66")
    assert refused(stranger, addresses, "sign-in-needed") == set(addresses) - FOR_NOBODY


def test_the_wall_looks_at_what_is_on_the_wall_and_no_more(page, addresses):
    home = "http://127.0.0.1:8064"
    wall = device(page, "127.0.0.1", home)
    assert refused(wall, addresses, "not-your-role", home) == set(addresses) - FOR_NOBODY - FOR_THE_WALL


def test_a_coach_does_nothing_that_is_an_owners(page, addresses):
    coach = signed_in(page, "Cem", "192.168.1.50")
    reached = [one for one in addresses if one[1] != "/api/sign-out"]
    assert refused(coach, reached, "not-your-role") == FOR_OWNERS


def test_the_log_tells_who_chose_which_rig(page):
    owner = signed_in(page, "Olga", "192.168.1.51")
    assert owner.post("/api/setup", json={"way": "virtual"}, headers=OURS).status_code == 202
    entries = [(one["who"], one["what"]) for one in owner.get("/api/audit").json()]
    assert ("Olga (owner)", "chose the rig: virtual") in entries
