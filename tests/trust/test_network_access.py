"""The program as it is started: who can reach it, by what, and what it reaches itself."""

from __future__ import annotations

import http.client
import inspect
import itertools
import json
import os
import shutil
import ssl
import stat
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import pytest
from authorized_hall import CountingHasher
from running import running, sockets_of, waiting_rig
from typer.testing import CliRunner
from websockets.sync.client import connect

from monitor.cli import app
from monitor.cli.commands import run
from monitor.station.server_config import ServerConfig
from monitor.store import AccessFile, DataFolder, open_store
from monitor.store.files.access import Argon2id

RUNNER = CliRunner()
GOOD = "a dry blue heron"
LOOPBACK_HEX = "0100007F"  # 127.0.0.1 as proc(5) shows it on a little-endian machine


def passcode(folder: Path, *arguments: str, secret: str = GOOD):
    return RUNNER.invoke(app, ["passcode", *arguments, "--data", str(folder)], input=f"{secret}\n")


@pytest.mark.parametrize("how", [["--host", "0.0.0.0"], ["--host", "192.0.2.7"], ["--behind-proxy", "--name", "hall"]])
def test_the_network_is_refused_until_somebody_has_a_passcode(tmp_path, how):
    refused = RUNNER.invoke(app, [*waiting_rig(tmp_path / "d", ready=False), *how])
    assert refused.exit_code == 2
    assert "nobody has a passcode" in refused.output
    assert "hang-monitor passcode" in refused.output
    assert not DataFolder(tmp_path / "d").database.exists(), "nothing was started"


@pytest.mark.parametrize(
    ("how", "word"),
    [(["--host", "rig.local"], "no address"), (["--certificate", "x.pem"], "without its key"),
     (["--behind-proxy"], "--name"), (["--certificate", "none.pem", "--key", "none.pem"], "cannot be used")],
)  # fmt: skip
def test_a_server_config_that_makes_no_sense_is_refused(tmp_path, how, word):
    refused = RUNNER.invoke(app, [*waiting_rig(tmp_path), *how])
    assert refused.exit_code == 2
    assert word in refused.output


@pytest.fixture
def quick_hash(monkeypatch) -> None:
    """Where the hash is not the subject, it need not take its time."""
    monkeypatch.setattr("monitor.store.files.access.Argon2id", CountingHasher)


def test_passcodes_are_set_listed_changed_and_removed(tmp_path, quick_hash):
    open_store(DataFolder.open(tmp_path).database).close()
    assert "role owner" not in passcode(tmp_path, "Cem", "--role", "coach").output
    assert passcode(tmp_path, "Cem", "--role", "coach").exit_code == 2, "the first one is an owner's"
    assert passcode(tmp_path).output == "owner can sign in as owner with this passcode.\n"
    assert passcode(tmp_path, "Cem", secret="seven slow trams").output.startswith("Cem can sign in as coach")
    access = AccessFile(tmp_path / "access.json")
    assert [(a.name, a.role) for a in access.accounts()] == [("owner", "owner"), ("Cem", "coach")]
    access.sign_in("Cem", "coach", "a tablet")
    listed = RUNNER.invoke(app, ["passcode", "--list", "--data", str(tmp_path)]).output
    assert "Cem: coach" in listed
    assert "a tablet" in listed
    assert "counted:" not in listed
    assert passcode(tmp_path, "Cem", secret="eight slow trams").exit_code == 0
    assert access.sign_ins() == ()
    assert access.check("Cem", "eight slow trams") is not None
    assert access.check("Cem", "seven slow trams") is None
    assert passcode(tmp_path, "owner", "--forget").exit_code == 2
    assert passcode(tmp_path, "nobody", "--forget").exit_code == 2
    assert passcode(tmp_path, "Cem", "--forget").exit_code == 0
    assert passcode(tmp_path, "owner", "--forget").exit_code == 0
    with open_store(DataFolder(tmp_path).database) as store:
        log = [(e.what, e.subject) for e in reversed(store.audit.recent())]
    assert log == [
        ("passcode set: owner", "owner"), ("passcode set: coach", "Cem"), ("passcode set: coach", "Cem"),
        ("passcode taken away", "Cem"), ("passcode taken away", "owner"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "secret", ["", "short", "x" * 129, "aaaaaaaa", "12345678", "hgfedcba", "ownerowner", "abababab"]
)
def test_easy_passcodes_are_refused(tmp_path, secret):
    assert passcode(tmp_path, secret=secret).exit_code == 2
    assert AccessFile(tmp_path / "access.json").accounts() == ()


def test_passcodes_are_stored_as_argon2id_of_rfc_9106():
    """Second recommended option of RFC 9106 section 4: t=3, p=4, m=2^16 KiB, 128-bit salt, 256-bit tag."""
    hasher = Argon2id()
    one, two = hasher.hash(GOOD), hasher.hash(GOOD)
    _, kind, version, parameters, salt, tag = one.split("$")
    assert (kind, version, parameters) == ("argon2id", "v=19", "m=65536,t=3,p=4")
    assert (len(salt), len(tag)) == (22, 43)  # base64 without padding
    assert one != two
    assert hasher.verify(one, GOOD)
    assert not hasher.verify(one, GOOD + " ")
    assert not hasher.verify("$argon2id$broken", GOOD)


def test_a_passcode_typed_on_another_keyboard_is_the_same(tmp_path, quick_hash):
    access = AccessFile(tmp_path / "access.json")
    access.set_passcode("José", "owner", "Größe gut gewählt")
    assert access.check("José", "Größe gut gewählt") is not None  # the same letters, decomposed


def fetch(port: int, path: str, cookie: str = "", tls: ssl.SSLContext | None = None, **more):
    wire = (
        http.client.HTTPSConnection("127.0.0.1", port, timeout=120, context=tls)
        if tls
        else http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    )
    headers = {"Cookie": cookie} if cookie else {}
    body = more.get("body")
    if body is not None:
        headers |= {"Content-Type": "application/json"}
    wire.request(more.get("method", "GET"), path, body=body, headers=headers)
    answer = wire.getresponse()
    text = answer.read()
    wire.close()
    return answer, text


def test_by_default_this_machine_alone_is_served():
    """The demo's sockets below show that the default does what it says."""
    assert inspect.signature(run.run).parameters["host"].default == "127.0.0.1"
    assert ServerConfig() == ServerConfig(host="127.0.0.1")


@pytest.mark.skipif(shutil.which("openssl") is None, reason="no openssl to make a certificate with")
def test_the_page_is_served_by_tls_with_a_certificate_of_ones_own(tmp_path):
    certificate, key = tmp_path / "certificate.pem", tmp_path / "key.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
         "-subj", "/CN=rig", "-addext", "subjectAltName=IP:127.0.0.1", "-keyout", str(key), "-out", str(certificate)],
        check=True, capture_output=True,
    )  # fmt: skip
    data = tmp_path / "data"
    assert passcode(data).exit_code == 0
    tls = ssl.create_default_context(cafile=certificate)
    given = ["--host", "0.0.0.0", "--certificate", str(certificate), "--key", str(key)]
    with running(*waiting_rig(data), *given) as program:
        assert program.url.startswith("https://0.0.0.0:")
        assert not any("without TLS" in line for line in program.said)
        secret = json.dumps({"name": "owner", "passcode": GOOD})
        answer, _ = fetch(program.port, "/api/sign-in", tls=tls, method="POST", body=secret)
        cookie = answer.headers["set-cookie"]
        assert answer.status == 204
        assert "Secure" in cookie
        assert cookie.startswith("__Host-")
        answer, text = fetch(program.port, "/api/audit", cookie.partition(";")[0], tls)
        assert (answer.status, json.loads(text)[0]["what"]) == (200, "signed in")
        assert "server" not in answer.headers
        with connect(
            f"wss://127.0.0.1:{program.port}/api/feed", ssl=tls,
            additional_headers={"Cookie": cookie.partition(";")[0]},
        ) as feed:  # fmt: skip
            assert json.loads(feed.recv(timeout=120))["type"] == "beat"
        with pytest.raises((http.client.HTTPException, ConnectionError)):
            fetch(program.port, "/api/health")
    other = tmp_path / "other.pem"
    other.write_text(certificate.read_text())
    swapped = ["--certificate", str(key), "--key", str(other)]
    assert RUNNER.invoke(app, [*waiting_rig(tmp_path / "other"), *swapped]).exit_code == 2


HOOK = """
import os, sys

def watch(event, arguments):
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
        text = f"{event} {arguments[1]!r}"
    elif event in ("socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr"):
        text = f"{event} {arguments[0]!r}"
    elif event in ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn"):
        text = f"{event} {arguments[0]!r}"
    else:
        return
    handle = os.open(os.environ["WATCHED_CALLS"], os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    os.write(handle, (text + "\\n").encode())
    os.close(handle)

sys.addaudithook(watch)
"""


def watched(tmp_path: Path) -> tuple[dict[str, str], Path]:
    """Return an environment in which Python tells of every connection that it makes (audit events of PEP 578)."""
    hooks = tmp_path / "hooks"
    hooks.mkdir()
    (hooks / "sitecustomize.py").write_text(HOOK)
    calls = tmp_path / "calls.txt"
    path = os.pathsep.join([str(hooks), *filter(None, [os.environ.get("PYTHONPATH")])])
    return {"PYTHONPATH": path, "WATCHED_CALLS": str(calls)}, calls


def test_the_watch_over_connections_notices_one(tmp_path):
    environment, calls = watched(tmp_path)
    script = "import socket; s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM); s.connect(('192.0.2.1', 9))"
    subprocess.run([sys.executable, "-c", script], env={**os.environ, **environment}, check=False)
    assert "socket.connect ('192.0.2.1', 9)" in calls.read_text()


@dataclass
class DemoRun:
    """What a run of the demo, from the first person's coming to their first hold, left behind."""

    data: Path
    port: int
    sockets: set[tuple[str, str, str]]
    calls: list[str]


@pytest.fixture(scope="module")
def demo_run(tmp_path_factory) -> DemoRun:
    """Run the demo, watched in Python and in the kernel's tables, while a screen looks and holds are exported.

    The mask for new files allows everything, so that only the program's own modes count.
    """
    place = tmp_path_factory.mktemp("demo")
    environment, calls = watched(place)
    data, sockets = place / "data", set()
    old_mask = os.umask(0)
    try:
        with running(
            "demo", "--data", str(data), "--page-port", "0", "--speed", "20", environment=environment
        ) as program:
            deadline_s = time.monotonic() + 60
            with connect(f"ws://127.0.0.1:{program.port}/api/feed") as feed:
                for number in itertools.count():
                    message = json.loads(feed.recv(timeout=120))
                    if number % 50 == 0:
                        sockets |= set(sockets_of(program.process.pid))
                    if message["type"] == "event":
                        break
                    assert time.monotonic() < deadline_s, "nobody hung"
            for path in ("/", "/api/holds", "/api/holds.csv", "/api/openapi.json", "/api/health"):
                assert fetch(program.port, path)[0].status == 200
                sockets |= set(sockets_of(program.process.pid))
            assert passcode(data).exit_code == 0
    finally:
        os.umask(old_mask)
    return DemoRun(data, program.port, sockets, calls.read_text().splitlines() if calls.exists() else [])


def test_the_program_makes_no_connection_of_its_own(demo_run):
    assert any(state == "0A" for _, _, state in demo_run.sockets)
    # Every socket is the page's: listening, or accepted at the page's own port.
    assert {local for local, _, _ in demo_run.sockets} == {f"{LOOPBACK_HEX}:{demo_run.port:04X}"}
    assert [line for line in demo_run.calls if not line.startswith("socket.connect '/")] == []


def test_everything_stored_is_readable_by_its_owner_alone(demo_run):
    modes = {p: stat.S_IMODE(p.stat().st_mode) for p in [demo_run.data, *demo_run.data.rglob("*")]}
    assert {str(p): oct(mode) for p, mode in modes.items() if mode != (0o700 if p.is_dir() else 0o600)} == {}
    names = {p.name for p in modes}
    assert {"access.json", "hang-monitor.sqlite"} <= names
    assert any(name.endswith(".journal") for name in names)


def test_the_confined_service_cannot_reach_the_network_either():
    unit = (Path(__file__).parents[2] / "monitor" / "service_files" / "hang-monitor.service").read_text()
    assert {"IPAddressDeny=any", "IPAddressAllow=localhost", "NoNewPrivileges=yes", "PrivateTmp=yes"} <= set(
        unit.splitlines()
    )
