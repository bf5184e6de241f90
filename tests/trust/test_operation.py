"""For whoever looks after the machine: log, metrics, health, and the message when the program does not start."""

from __future__ import annotations

import json
import logging
import re
import socket
import sqlite3
import threading
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from authorized_hall import hall
from blank import blank_database
from fastapi.testclient import TestClient
from prometheus_client.openmetrics.parser import text_string_to_metric_families
from running import DEADLINE_S, running, waiting_rig
from typer.testing import CliRunner

from firmware_bridge.sources import HostClock, LinkState
from monitor.cli import app
from monitor.cli.logging_setup import FILE, begin_log
from monitor.dashboard.live.hub import LiveHub
from monitor.demo import DemoRig
from monitor.service import pipeline_thread
from monitor.station.service_notifications import ServiceManager
from monitor.station.sources import RigSource
from monitor.station.station import assemble
from monitor.store import DataFolder


@pytest.fixture(scope="module")
def program(tmp_path_factory) -> Iterator[tuple[object, Path]]:
    folder = tmp_path_factory.mktemp("operation") / "data"
    with running(*waiting_rig(folder), "--log-level", "debug") as one:
        yield one, folder


def got(url: str) -> tuple[int, dict[str, str], str]:
    with urllib.request.urlopen(url, timeout=DEADLINE_S) as answer:
        return answer.status, dict(answer.headers), answer.read().decode()


def test_the_metrics_are_openmetrics(program):
    status, headers, text = got(f"{program[0].url}metrics")
    assert status == 200
    # Content type and the end mark: OpenMetrics 1.0, sections "Protocol Negotiation" and "Overall Structure".
    assert headers["content-type"].startswith("application/openmetrics-text; version=1.0.0")
    assert text.endswith("# EOF\n")
    families = {family.name: family for family in text_string_to_metric_families(text)}
    assert {"hang_monitor_readings", "hang_monitor_readings_lost", "hang_monitor_stuck", "hang_monitor_answers",
            "hang_monitor_disk_free_bytes", "hang_monitor_picture_age_seconds"} <= set(families)  # fmt: skip
    (connected,) = families["hang_monitor_link_connected"].samples
    assert connected.value == 0.0  # its board is not plugged in
    assert any(name.startswith("process_resident_memory") for name in families)


def test_the_program_is_healthy_though_its_board_is_not_there(program):
    assert json.loads(got(f"{program[0].url}healthz")[2]) == {"ok": True, "stuck": ""}


def test_the_log_is_one_object_a_line_and_names_the_request(program):
    _, headers, _ = got(f"{program[0].url}api/health")
    request_id = headers["x-request-id"]
    assert re.fullmatch(r"[0-9a-f]{12}", request_id)
    path = program[1] / "log" / FILE
    assert path.stat().st_mode & 0o077 == 0
    assert path.parent.stat().st_mode & 0o077 == 0
    lines = [json.loads(line) for line in path.read_text().splitlines()]
    (mine,) = [line for line in lines if line.get("request") == request_id]
    assert (mine["level"], mine["method"], mine["path"], mine["status"]) == ("debug", "GET", "/api/health", 200)
    assert {"at", "monotonic_s", "from", "what"} <= set(mine)


def test_a_request_id_from_a_client_is_ignored(tmp_path):
    with hall(tmp_path, passcodes=False) as place:
        home = place.device("127.0.0.1", "http://127.0.0.1:8064")
        answer = home.get("/api/health", headers={"x-request-id": 'evil"}'})
        assert answer.headers["x-request-id"] != 'evil"}'
        assert home.get("/none").headers["x-request-id"] != answer.headers["x-request-id"]


@pytest.fixture
def logging_as_it_was() -> Iterator[None]:
    root, raises = logging.getLogger(), logging.raiseExceptions
    handlers, level = root.handlers[:], root.level
    yield
    for handler in root.handlers:
        if handler not in handlers:
            handler.close()
    root.handlers[:], logging.raiseExceptions = handlers, raises
    root.setLevel(level)


def test_the_log_stays_small_and_private_and_holds_any_text(tmp_path, monkeypatch, logging_as_it_was):
    monkeypatch.setattr("monitor.cli.logging_setup.MOST_BYTES", 20_000)
    begin_log(tmp_path, "info")
    log = logging.getLogger("monitor.test")
    for number in range(1000):
        log.info("line %d\nwith a break, \x1b[31m and \ud800", number)
    log.debug("not told")
    files = sorted((tmp_path / "log").iterdir())
    assert len(files) == 5
    assert sum(path.stat().st_size for path in files) < 6 * 20_000
    assert all(path.stat().st_mode & 0o077 == 0 for path in files)
    last = (tmp_path / "log" / FILE).read_text().splitlines()
    assert json.loads(last[-1])["what"].startswith("line 999")
    assert not any("not told" in line for line in last)


def test_a_log_that_cannot_be_written_stops_nothing(tmp_path, capsys, logging_as_it_was):
    (tmp_path / "log").write_text("in the way")
    begin_log(tmp_path, "info")
    logging.getLogger("monitor.test").error("still told")
    shown = capsys.readouterr().err
    assert "No log is written" in shown
    assert "still told" in shown


# A pipeline that stands still


class Waits:
    """A source whose second event keeps the pipeline until it is let go."""

    def __init__(self) -> None:
        self.inside, self.let_go = threading.Event(), threading.Event()

    def events(self):
        yield LinkState("connecting", 0)
        self.let_go.wait(DEADLINE_S)

    def close(self) -> None:
        self.let_go.set()


def test_a_stuck_pipeline_is_noticed_and_the_heartbeat_stops(tmp_path, monkeypatch):
    now_s = [100.0]
    monkeypatch.setattr(pipeline_thread.time, "monotonic", lambda: now_s[0])
    source, folder, invented = Waits(), DataFolder.open(tmp_path / "data"), DemoRig(1)

    def observe(_event, _out) -> None:
        source.inside.set()
        source.let_go.wait(DEADLINE_S)

    blank_database(folder.database)
    rig_source = RigSource(source, HostClock(), invented.rig, invented.calibration)
    with assemble(rig_source, folder, observer=observe) as station:
        service = station.service
        service.start()
        try:
            assert source.inside.wait(DEADLINE_S)
            assert (service.stuck, service.alive) == ("", True)
            now_s[0] += pipeline_thread.LONGEST_STEP_S + 1.0
            assert "one and the same reading for 61 s" in service.stuck
            assert not service.alive
            # The thread is there: only a look at its progress tells.
            assert service._pipeline.thread.is_alive()
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
                ear.bind(str(tmp_path / "notify"))
                ear.settimeout(DEADLINE_S)
                manager = ServiceManager(str(tmp_path / "notify"), deadline_s=0.03)
                manager.ready("here", lambda: service.alive)
                heard = [ear.recv(200).decode() for _ in range(2)]
                manager.stopping()
            assert heard[1].startswith("STATUS=Measuring has stopped")
        finally:
            source.let_go.set()
            service.stop()
    assert service.stuck == "The measuring has ended."


def test_healthz_is_503_while_something_is_stuck(tmp_path):
    from fake_rig import RIG, FakeControl, FakeStore

    from firmware_bridge.sources import Counters
    from monitor.dashboard import create_app

    class Still:
        stuck, counters, folder = "The measuring has ended.", Counters(), tmp_path

        def count_holds(self) -> int:
            return 0

    page = create_app(hub=LiveHub(), store=FakeStore(), rig=RIG, control=FakeControl(), instruments=Still())
    home = TestClient(page, base_url="http://127.0.0.1")
    answer = home.get("/healthz")
    assert (answer.status_code, answer.json()) == (503, {"ok": False, "stuck": "The measuring has ended."})
    assert "hang_monitor_stuck 1.0" in home.get("/metrics").text


def test_a_stranger_sees_neither_metrics_nor_health_and_a_wall_does(tmp_path):
    with hall(tmp_path) as place:
        for path in ("/metrics", "/healthz"):
            assert place.device().get(path).status_code in (303, 401)
            assert place.device("127.0.0.1", "http://127.0.0.1:8064").get(path).status_code == 404  # let in; not there


# Why it does not start


def taken_port(folder: Path, stack: list) -> list[str]:
    listener = socket.create_server(("127.0.0.1", 0))
    stack.append(listener.close)
    return ["--page-port", str(listener.getsockname()[1])]


def held_folder(folder: Path, stack: list) -> list[str]:
    held = DataFolder.open(folder).held()
    held.__enter__()
    stack.append(lambda: held.__exit__(None, None, None))
    return []


def newer_database(folder: Path, stack: list) -> list[str]:
    path = blank_database(DataFolder.open(folder).database)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    before = path.read_bytes()
    stack.append(lambda: _same(path, before))
    return []


def _same(path: Path, before: bytes) -> None:
    assert path.read_bytes() == before
    wal = Path(f"{path}-wal")  # a reader may have left an empty one
    assert not wal.exists() or wal.stat().st_size == 0


def file_in_the_way(folder: Path, stack: list) -> list[str]:
    for path in folder.rglob("*"):
        if path.is_file():
            path.unlink()
    for path in sorted(folder.rglob("*"), reverse=True):
        path.rmdir()
    folder.rmdir()
    folder.write_text("not a folder")
    return []


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        (taken_port, ["cannot use port", "--page-port"]),
        (held_folder, ["Another program works on", "systemctl stop"]),
        (newer_database, ["this program knows up to", "Update this program"]),
        (file_in_the_way, ["cannot be used", "folder of your own"]),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_what_prevents_the_start_is_reported_with_what_to_do(tmp_path, harm, words, logging_as_it_was):
    folder = tmp_path / "data"
    arguments, undo = waiting_rig(folder), []
    more = harm(folder, undo)
    if "--page-port" in more:
        arguments = arguments[: arguments.index("--page-port")]
    result = CliRunner().invoke(app, [*arguments, *more])
    for step in undo:
        step()
    assert result.exit_code == 2, result.output
    assert all(word in result.output for word in words), result.output
    assert "What to do:" in result.output
    assert "Traceback" not in result.output
