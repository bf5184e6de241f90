"""The service manager hears of the start, the beats and the end: a real datagram socket stands in for it.

The words (READY=1, WATCHDOG=1, STOPPING=1) and the variables are those of sd_notify(3), from memory.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from monitor.cli import app
from monitor.station.service_notifications import BEATS_PER_DEADLINE, ServiceManager
from monitor.store import DataFolder, open_store

PATIENCE_S = 120.0  # reached by a broken program only


@pytest.fixture
def ear(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as one:
        one.bind(str(tmp_path / "notify"))
        one.settimeout(PATIENCE_S)
        yield one


def test_it_beats_only_while_the_pipeline_lives(ear: socket.socket) -> None:
    answers = [True] * 4 + [False]
    polled = threading.Event()

    def alive() -> bool:
        answer = answers.pop(0)
        if not answers:
            polled.set()
        return answer

    manager = ServiceManager(ear.getsockname(), deadline_s=0.03)
    manager.ready("here", alive)
    heard = [ear.recv(200).decode() for _ in range(6)]
    assert polled.is_set()
    assert heard[0] == "READY=1\nSTATUS=here"
    assert heard[1:5] == ["WATCHDOG=1"] * 4
    assert heard[5].startswith("STATUS=")
    manager.stopping()
    manager.stopping()
    assert ear.recv(200) == b"STOPPING=1"
    ear.setblocking(False)
    with pytest.raises(BlockingIOError):
        ear.recv(200)


def test_several_beats_fit_into_a_deadline() -> None:
    # sd_watchdog_enabled(3) recommends half of the deadline or less (from memory).
    assert BEATS_PER_DEADLINE >= 2


def test_an_abstract_name_is_understood() -> None:
    name = f"hang-monitor-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind("\0" + name)
        ear.settimeout(PATIENCE_S)
        ServiceManager.of_process({"NOTIFY_SOCKET": f"@{name}"}).ready("a\nb", lambda: True)
        assert ear.recv(200) == b"READY=1\nSTATUS=a"


@pytest.mark.parametrize(
    ("environment", "beats"),
    [
        ({"WATCHDOG_USEC": "30000"}, True),
        ({"WATCHDOG_USEC": "30000", "WATCHDOG_PID": str(os.getpid())}, True),
        ({"WATCHDOG_USEC": "30000", "WATCHDOG_PID": "1"}, False),
        ({"WATCHDOG_USEC": "0"}, False),
        ({"WATCHDOG_USEC": "soon"}, False),
        ({}, False),
    ],
)
def test_it_beats_when_it_is_watched(ear: socket.socket, environment: dict[str, str], beats: bool) -> None:
    manager = ServiceManager.of_process({"NOTIFY_SOCKET": ear.getsockname(), **environment})
    polled = threading.Event()
    manager.ready("", lambda: polled.set() or True)  # type: ignore[func-returns-value]
    assert ear.recv(200).startswith(b"READY=1")
    if beats:
        assert ear.recv(200) == b"WATCHDOG=1"
    manager.stopping()
    assert polled.is_set() == beats
    assert any(t.name == "heartbeat" for t in threading.enumerate()) is False


@pytest.mark.parametrize("address", [None, "", "vsock:2:3", "/nowhere/at/all"])
def test_without_a_listener_nothing_happens(address: str | None) -> None:
    manager = ServiceManager.of_process({} if address is None else {"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "1000"})
    manager.ready("here", lambda: True)
    manager.stopping()
    assert not any(t.name == "heartbeat" for t in threading.enumerate())


def test_a_running_monitor_reports_ready_beats_and_reports_its_end(ear: socket.socket, tmp_path: Path) -> None:
    environment = {**os.environ, "NOTIFY_SOCKET": ear.getsockname(), "WATCHDOG_USEC": "300000"}
    environment.pop("WATCHDOG_PID", None)
    open_store(DataFolder.open(tmp_path / "data").database).close()  # to make it is no part of this
    command = [sys.executable, "-m", "monitor.cli", "demo", "--page-port", "0", "--data", str(tmp_path / "data")]
    with subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL) as program:
        try:
            heard = ear.recv(200).decode()
            assert heard.startswith("READY=1\nSTATUS=Live page: http://127.0.0.1:")
            assert [ear.recv(200) for _ in range(3)] == [b"WATCHDOG=1"] * 3
        finally:
            program.send_signal(signal.SIGTERM)
        while (last := ear.recv(200)) == b"WATCHDOG=1":
            pass
        assert last == b"STOPPING=1"
        assert program.wait(PATIENCE_S) == 0


def test_a_service_starts_before_its_board_is_plugged_in(ear: socket.socket, tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text('name = "table"\n[[channels]]\nname = "hook"\npart = "bar"\n')
    (tmp_path / "calibration.toml").write_text(
        'id = "t"\n[[channels]]\nchannel = "hook"\nzero_counts = 0\nN_per_count = 0.001\n'
    )
    arguments = ["run", "--port", str(tmp_path / "no-board"), "--page-port", "0"]
    arguments += ["--rig", str(tmp_path / "rig.toml"), "--calibration", str(tmp_path / "calibration.toml")]
    arguments += ["--data", str(tmp_path / "data")]
    open_store(DataFolder.open(tmp_path / "data").database).close()  # to make it is no part of this
    refused = CliRunner().invoke(app, arguments)
    assert refused.exit_code == 2
    assert "There is no port" in refused.stderr
    environment = {**os.environ, "NOTIFY_SOCKET": ear.getsockname()}
    command = [sys.executable, "-m", "monitor.cli", *arguments, "--wait"]
    with subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL) as program:
        try:
            assert ear.recv(200).startswith(b"READY=1")
        finally:
            program.send_signal(signal.SIGTERM)
        assert ear.recv(200) == b"STOPPING=1"
        assert program.wait(PATIENCE_S) == 0
