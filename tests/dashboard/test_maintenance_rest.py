"""REST of the machine: room, policy, backups, passcodes; who may ask for which."""

from __future__ import annotations

import pytest
from fake_rig import RIG, FakeControl, FakeStore
from fastapi.testclient import TestClient

from monitor.dashboard import LiveHub, create_app
from monitor.dashboard.routes.maintenance import Maintenance
from monitor.dashboard.security.authorization import Authorization
from monitor.store import AccessFile, DataFolder, open_store
from monitor.store.maintenance.backup import make_backup

PAGE = "http://127.0.0.1:8064"


@pytest.fixture
def place(tmp_path):
    folder = DataFolder.open(tmp_path / "data")
    with open_store(folder.database) as store:
        authorization = Authorization(AccessFile(folder.access_file), audit=store.audit.add)
        app = create_app(
            hub=LiveHub(),
            store=FakeStore(),
            rig=RIG,
            control=FakeControl(),
            authorization=authorization,
            maintenance=Maintenance(folder, store),
        )
        browser = TestClient(app, base_url=PAGE, client=("127.0.0.1", 50_000), headers={"origin": PAGE})
        yield folder, store, authorization, browser


def test_the_maintenance_tells_where_everything_is(place):
    folder, _, _, browser = place
    maintenance = browser.get("/api/maintenance").json()
    assert maintenance["folder"] == str(folder.root)
    assert maintenance["room"]["database_bytes"] >= folder.database.stat().st_size > 0
    assert maintenance["room"]["days_left"] is None  # nothing was recorded yet
    assert maintenance["policy"] == {"oldest": "keep", "keep_days": 365}
    assert maintenance["network"] == {"beyond_this_machine": False, "secure": False, "names": [], "passcodes": 0}


@pytest.mark.parametrize("given", [{"oldest": "keep", "keep_days": 29}, {"oldest": "burn", "keep_days": 400}, {}])
def test_a_policy_that_makes_no_sense_is_refused(place, given):
    answer = place[3].put("/api/maintenance/policy", json=given)
    assert answer.status_code == 422
    assert set(answer.json()["error"]) == {"code", "what", "means", "do"}


def test_backups_of_a_place_are_listed_newest_first(place, tmp_path):
    folder, _, _, browser = place
    stick = tmp_path / "stick"
    stick.mkdir()
    assert (
        browser.get("/api/maintenance/backups", params={"at": str(stick)}).json()["error"]["code"]
        == "backup-not-usable"
    )
    # 1_700_000_000 s after 1970-01-01 UTC is 2023-11-14 22:13:20
    for now_s in (1_700_000_000.0, 1_700_086_400.0):
        make_backup(folder, stick, now_s=now_s)
    result = browser.get("/api/maintenance/backups", params={"at": str(stick)}).json()
    assert [one["made_utc_ms"] for one in result] == [1_700_086_400_000, 1_700_000_000_000]
    assert result[0]["stamp"] == "20231115T221320Z"
    assert result[0]["bytes"] > 0


@pytest.mark.parametrize("at", ["relative", "/a/../b", ""])
def test_a_place_is_a_whole_path(place, at):
    assert place[3].get("/api/maintenance/backups", params={"at": at}).status_code == 422


def test_only_owners_see_and_set_passcodes(place):
    _, store, authorization, browser = place
    given = {"role": "owner", "passcode": "a dry blue heron"}
    assert browser.put("/api/passcodes/Olga", json=given).status_code == 204
    assert any(entry.subject == "/api/passcodes/Olga" for entry in store.audit.recent(5))
    assert not any("heron" in f"{entry.what} {entry.subject}" for entry in store.audit.recent(5))
    # There is a passcode now: this machine's own browser is a wall screen and must sign in.
    for method, path, body in (
        ("GET", "/api/passcodes", None),
        ("PUT", "/api/passcodes/Olga", given),
        ("DELETE", "/api/passcodes/Olga", None),
        ("PUT", "/api/maintenance/policy", {"oldest": "keep", "keep_days": 400}),
        ("GET", "/api/maintenance/backups?at=/tmp", None),
        ("GET", "/api/maintenance", None),
    ):
        assert browser.request(method, path, json=body).status_code in (401, 403), path
    assert browser.post("/api/sign-in", json={"name": "Olga", "passcode": given["passcode"]}).status_code == 204
    assert [one["name"] for one in browser.get("/api/passcodes").json()] == ["Olga"]
    assert browser.put("/api/passcodes/Cem", json={"role": "coach", "passcode": "short"}).status_code == 400
    assert browser.put("/api/passcodes/Olga", json=given | {"role": "coach"}).json()["error"]["code"] == "last-owner"
    assert "heron" not in str(browser.get("/api/passcodes").json())
    assert authorization.access.check("Olga", given["passcode"]) is not None
