"""Jobs over REST: who may start, see and fetch which; what is refused; uploads in pieces."""

from __future__ import annotations

import contextlib
import sys

import pytest
from fake_coach import FakeCoach, StoredReader
from fake_rig import RIG, FakeControl
from fastapi.testclient import TestClient

from monitor.dashboard import LiveHub, create_app
from monitor.dashboard.job_interface import NEEDED_ROLE
from monitor.dashboard.security.authorization import PRINCIPAL, Authorization, Principal
from monitor.jobs.job_runner import JobRunner
from monitor.store import AccessFile

WAIT_S = 90.0
# A job's process that makes a file of a few words at once.
MAKES_A_FILE = """
import json, pathlib, sys
order = json.load(sys.stdin)
(pathlib.Path(order["place"]) / "made.txt").write_text(order["kind"])
print(json.dumps({"outcome": {"n": 1}, "file": "made.txt", "media_type": "text/plain"}))
"""


@contextlib.contextmanager
def opened(hall):
    """Give a shop, and what makes clients who are somebody of a role, as the guard would have found out."""
    with JobRunner(hall.folder, audit=hall.store.audit.add, command=(sys.executable, "-c", MAKES_A_FILE)) as shop:
        app = create_app(
            hub=LiveHub(), store=StoredReader(hall.store), rig=RIG, control=FakeControl(), coach=FakeCoach(hall.store),
            jobs=shop,
        )  # fmt: skip

        def client(role: str) -> TestClient:
            async def known(scope, receive, send):
                scope[PRINCIPAL] = Principal("Olga", role, "192.168.1.50")
                await app(scope, receive, send)

            return TestClient(known, base_url="http://127.0.0.1:8000")

        yield shop, client


@pytest.fixture
def opened_anew(hall):
    with opened(hall) as made:
        yield made


@pytest.fixture
def shop(opened_anew):
    return opened_anew[0]


@pytest.fixture
def as_role(opened_anew):
    return opened_anew[1]


@pytest.fixture(scope="module")
def unmoved(hall):
    """Give a shop and an owner's client, once: for what is refused and starts nothing."""
    with opened(hall) as (shop, as_role):
        yield shop, as_role("owner")


def bodies(hall, tmp_path) -> dict[str, dict]:
    return {
        "report": {"person_uid": hall.person_uid, "first": "2026-05-01", "last": None},
        "export": {"uids": hall.holds, "form": "edf"},
        "archive": {"person_uid": hall.person_uid},
        "import": {"upload": "u-0"},
        "reanalysis": {"everything": True},
        "erase": {"person_uid": hall.person_uid, "name": "Mara T."},
        "backup": {"into": str(tmp_path)},
    }


def messages(answer, status: int) -> dict[str, str]:
    assert answer.status_code == status, answer.text
    assert set(answer.json()["error"]) == {"code", "what", "means", "do"}
    return answer.json()["error"]


def test_a_job_is_started_watched_and_its_file_fetched(as_role, shop, hall):
    client = as_role("coach")
    started = client.post("/api/jobs/report", json={"person_uid": hall.person_uid})
    assert started.status_code == 202
    job = started.json()
    assert (job["kind"], job["requested_by"], job["subject"]) == ("report", "Olga", hall.person_uid)
    shop.wait(job["id"], WAIT_S)
    over = client.get(f"/api/jobs/{job['id']}").json()
    assert (over["state"], over["progress"], over["outcome"]) == ("done", 1.0, {"n": 1})
    assert client.get("/api/jobs").json() == [over]
    fetched = client.get(f"/api/jobs/{job['id']}/file")
    assert (fetched.text, fetched.headers["content-type"].split(";")[0]) == ("report", "text/plain")
    assert fetched.headers["cache-control"] == "no-store"
    assert 'filename="made.txt"' in fetched.headers["content-disposition"]
    assert ("fetched the file of a job: report", "Olga") in [(e.what, e.who) for e in hall.store.audit.recent(5)]
    assert messages(client.post(f"/api/jobs/{job['id']}/cancel"), 409)["code"] == "not-cancellable"


def test_a_coach_neither_sees_nor_fetches_what_is_an_owners(as_role, shop, hall):
    owner, coach = as_role("owner"), as_role("coach")
    job = owner.post("/api/jobs/archive", json={"person_uid": hall.person_uid}).json()
    shop.wait(job["id"], WAIT_S)
    assert coach.get("/api/jobs").json() == []
    for path in ("", "/file"):
        assert messages(coach.get(f"/api/jobs/{job['id']}{path}"), 403)["code"] == "not-your-role"
    assert messages(coach.post(f"/api/jobs/{job['id']}/cancel"), 403)["code"] == "not-your-role"
    assert owner.get(f"/api/jobs/{job['id']}/file").text == "archive"


def test_the_door_asks_for_the_role_that_a_job_needs(tmp_path):
    door = Authorization(AccessFile(tmp_path / "access.json"))
    for kind, role in NEEDED_ROLE.items():
        assert door.needs("POST", f"/api/jobs/{kind}") == role
    assert door.needs("POST", "/api/uploads") == "owner"
    assert door.needs("GET", "/api/jobs") == door.needs("GET", "/api/jobs/j-1/file") == "coach"


def test_every_kind_can_be_started_and_is_described(as_role, shop, hall, tmp_path):
    client = as_role("owner")
    upload = client.post("/api/uploads", content=b"PK", headers={"content-type": "application/zip"})
    assert upload.status_code == 201
    for kind, body in bodies(hall, tmp_path).items():
        job = client.post(
            f"/api/jobs/{kind}", json=body | ({"upload": upload.json()["upload"]} if kind == "import" else {})
        )
        assert (job.status_code, job.json()["kind"]) == (202, kind)
        assert shop.wait(job.json()["id"], WAIT_S).state == "done"
    described = client.get("/api/openapi.json").json()["paths"]
    assert {f"/api/jobs/{kind}" for kind in NEEDED_ROLE} <= set(described)
    assert "application/zip" in described["/api/uploads"]["post"]["requestBody"]["content"]


@pytest.mark.parametrize(
    ("kind", "change", "status", "code"),
    [
        ("report", {"person_uid": "p-none"}, 404, "unknown-person"),
        ("report", {"first": "2026-05-02", "last": "2026-05-01"}, 422, "invalid-request"),
        ("export", {"uids": []}, 422, "invalid-request"), ("export", {"form": "exe"}, 422, "unknown-format"),
        ("import", {"upload": "../../x"}, 404, "not-found"), ("erase", {"name": "mara t"}, 409, "name-differs"),
        ("backup", {"into": "relative"}, 422, "invalid-request"),
        ("backup", {"into": "/a/../b"}, 422, "invalid-request"),
        ("backup", {"into": "/no/such/folder"}, 400, "invalid-request"),
    ],
)  # fmt: skip
def test_what_cannot_be_starts_nothing(unmoved, hall, tmp_path, kind, change, status, code):
    shop, client = unmoved
    assert (
        messages(client.post(f"/api/jobs/{kind}", json=bodies(hall, tmp_path)[kind] | change), status)["code"] == code
    )
    assert shop.all() == []
    assert messages(client.get("/api/jobs/j-none"), 404)["code"] == "not-found"


def test_only_a_zip_file_within_its_limit_is_taken_and_forms_of_foreign_pages_are_not(as_role, shop, hall, monkeypatch):
    client = as_role("owner")
    for kind in ("application/json", "text/plain", "multipart/form-data; boundary=x"):
        answer = client.post("/api/uploads", content=b"PK", headers={"content-type": kind})
        assert messages(answer, 415)["code"] == "not-json"
    zipped = {"content-type": "application/zip"}
    assert messages(client.post("/api/jobs/report", content=b"PK", headers=zipped), 415)["code"] == "not-json"
    monkeypatch.setattr("monitor.dashboard.routes.jobs.MOST_UPLOAD_BYTES", 3)
    assert messages(client.post("/api/uploads", content=b"PKPK", headers=zipped), 413)["code"] == "too-large"
    assert list((hall.folder.root / "work" / "uploads").iterdir()) == []
    large = b"x" * (3 << 20)
    monkeypatch.setattr("monitor.dashboard.routes.jobs.MOST_UPLOAD_BYTES", len(large))
    stored = client.post("/api/uploads", content=iter([large[: 1 << 20], large[1 << 20 :]]), headers=zipped)
    assert stored.json()["bytes"] == len(large), "more than any other address takes"
