"""Only this machine's own page reads the rig, and the page loads nothing from elsewhere."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import urljoin

import pytest
from fastapi.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from monitor.dashboard.app import STATIC
from monitor.dashboard.views.screen_templates import MARKUP

STATIC_FILES = sorted(path for place in (STATIC, MARKUP) for path in place.rglob("*") if path.is_file())


def requested(client: TestClient, **headers: str):
    return client.get("/api/health", headers=headers)


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8000", "localhost", "LOCALHOST:80", "[::1]", "[::1]:8000"])
def test_our_own_names_are_served(client, host):
    assert requested(client, host=host).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:8000", "evil.example:127.0.0.1", "192.168.1.5",
     "", "@127.0.0.1@evil.example", "[::2]", "[", "127.0.0.1@evil.example"],
)  # fmt: skip
def test_foreign_names_are_refused(client, host):
    answer = requested(client, host=host)
    assert answer.status_code == 403
    assert answer.json()["error"]["code"] == "unknown-host"


@pytest.mark.parametrize(
    "origin",
    ["http://evil.example", "null", "http://127.0.0.1:9999", "https://localhost.evil.example", "file://",
     "http://localhost:8000", "ftp://127.0.0.1:8000"],
)  # fmt: skip
def test_foreign_pages_are_refused(client, origin):
    answer = client.put("/api/settings", json={"alpha_max": 0.9}, headers={"origin": origin, "host": "127.0.0.1:8000"})
    assert answer.status_code == 403
    assert answer.json()["error"]["code"] == "foreign-origin"
    assert client.get("/api/settings").json()["alpha_max"] == 0.1


@pytest.mark.parametrize("name", ["127.0.0.1:8000", "localhost:8000", "[::1]:8000"])
def test_our_own_page_is_served(client, name):
    assert requested(client, host=name, origin=f"http://{name}").status_code == 200


@pytest.mark.parametrize(
    "headers", [{"origin": "http://evil.example"}, {"host": "evil.example"}, {"origin": "null"}], ids=str
)
def test_the_feed_is_closed_to_foreign_pages(client, hub, headers):
    headers = {"host": "127.0.0.1:8000", **headers}
    with pytest.raises(WebSocketDisconnect) as refused, client.websocket_connect("/api/feed", headers=headers):
        pass
    assert refused.value.code == 1008  # policy violation, RFC 6455 section 7.4.1
    assert hub.screens == 0


@pytest.mark.parametrize("path", ["/", "/static/live/live-page.js", "/api/health", "/api/none", "/api/holds?limit=x"])
def test_every_answer_carries_the_security_headers(client, path):
    headers = client.get(path).headers
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'self'"
    assert policy["frame-ancestors"] == "'none'"
    assert policy["object-src"] == "'none'"
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["x-frame-options"] == "DENY"


def test_a_refusal_carries_them_too(client):
    assert "content-security-policy" in requested(client, host="evil.example").headers


def test_the_page_and_all_that_it_names_are_served(client):
    page = client.get("/")
    assert page.status_code == 200
    named = re.findall(r'(?:src|href)="(/static/[^"]+)"', page.text)
    assert "/static/live/live-page.js" in named
    scripts = {name for name in named if name.endswith(".js")}
    waiting = list(scripts)
    while waiting:
        name = waiting.pop()
        imports = {urljoin(name, part) for part in re.findall(r'from "(\.[^"]+)"', client.get(name).text)}
        waiting += imports - scripts
        scripts |= imports
    assert "/static/words/de.js" in scripts
    for name in sorted({*named, *scripts}):
        answer = client.get(name)
        assert answer.status_code == 200, name
        kind = {"js": "javascript", "css": "css", "svg": "svg"}[name.rsplit(".", 1)[1]]
        assert kind in answer.headers["content-type"]


def test_nothing_outside_the_static_folder_is_served(client):
    for path in ("/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/static//etc/passwd"):
        assert client.get(path).status_code == 404


@pytest.mark.parametrize("path", STATIC_FILES, ids=lambda path: path.name)
def test_no_file_names_an_address_elsewhere(path: Path):
    text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"(https?|wss?):\\?/\\?/[\w.]", text)
    assert not re.search(r"""(src|href)\s*=\s*["']//|url\(\s*["']?//|@import""", text)


@pytest.mark.parametrize("path", [p for p in STATIC_FILES if p.suffix == ".html"], ids=lambda path: path.name)
def test_a_page_has_no_script_or_style_of_its_own(path: Path):
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"<style|\sstyle=|\son\w+=", text)
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", text))


@pytest.mark.parametrize("path", [p for p in STATIC_FILES if p.suffix == ".js"], ids=lambda path: path.name)
def test_no_script_builds_markup_or_code_from_text(path: Path):
    assert not re.search(
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function", path.read_text()
    )
