"""Ports: found, opened, locked and lost, on pseudo-terminals of the system itself."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import threading
import tty
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
import serial

from firmware_bridge import ports
from firmware_bridge.errors import PortInUse, PortNotFound, PortNotOpened, PortNotPermitted
from firmware_bridge.ports import OpenPort, PortDescription, PortLost, describe, find, list_ports

ROOT = Path(__file__).parents[2]
LIMIT_S = 120.0


class Terminal:
    """A raw pseudo-terminal: ``master`` is the device's side, ``path`` what the host opens."""

    def __init__(self) -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.path = os.ttyname(self.slave)

    def unplug(self) -> None:
        if self.master >= 0:
            os.close(self.slave)
            os.close(self.master)
            self.master = self.slave = -1


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    made = Terminal()
    yield made
    made.unplug()


def read_all(port: OpenPort, size: int) -> bytes:
    data = b""
    for _ in range(1000):
        if len(data) >= size:
            break
        data += port.read()
    return data


def test_bytes_pass_unchanged_in_both_directions(terminal):
    every_byte = bytes(range(256))
    port = OpenPort(terminal.path)
    os.write(terminal.master, every_byte)
    assert read_all(port, 256) == every_byte
    assert port.write(every_byte)
    assert os.read(terminal.master, 4096) == every_byte
    assert port.read() == b""
    port.close()
    port.close()


def holder(path: str, code: str) -> tuple[subprocess.Popen[str], str]:
    """Start another program that opens ``path``; return it and its first line."""
    child = subprocess.Popen(
        [sys.executable, "-c", code, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT
    )
    watchdog = threading.Timer(LIMIT_S, child.kill)
    watchdog.start()
    assert child.stdout is not None
    line = child.stdout.readline().strip()
    watchdog.cancel()
    return child, line


MONITOR = (
    "import sys\n"
    "from firmware_bridge.errors import BridgeError\n"
    "from firmware_bridge.ports import OpenPort\n"
    "try:\n"
    "    port = OpenPort(sys.argv[1])\n"
    "    print('open', flush=True)\n"
    "    sys.stdin.read()\n"
    "except BridgeError as error:\n"
    "    print(error.code, flush=True)\n"
)
LOCKING_PROGRAM = (
    "import fcntl, os, sys\n"
    "port = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)\n"
    "fcntl.flock(port, fcntl.LOCK_EX)\n"
    "print('open', flush=True)\n"
    "sys.stdin.read()\n"
)


@pytest.mark.parametrize("code", [MONITOR, LOCKING_PROGRAM], ids=["a second monitor", "another program that locks"])
def test_a_port_in_use_by_another_process_is_told_and_free_again_afterwards(terminal, code):
    child, line = holder(terminal.path, code)
    assert line == "open"
    with pytest.raises(PortInUse) as messages:
        OpenPort(terminal.path)
    assert terminal.path in messages.value.what
    assert "Close the other program" in messages.value.do
    child.communicate("", timeout=LIMIT_S)
    OpenPort(terminal.path).close()


def test_an_open_port_is_refused_to_another_process(terminal):
    port = OpenPort(terminal.path)
    child, line = holder(terminal.path, MONITOR)
    child.communicate("", timeout=LIMIT_S)
    assert line == "port-in-use"
    port.close()
    child, line = holder(terminal.path, MONITOR)
    child.communicate("", timeout=LIMIT_S)
    assert line == "open"


def test_a_second_reader_in_the_same_program_is_refused(terminal):
    port = OpenPort(terminal.path)
    with pytest.raises(PortInUse):
        OpenPort(terminal.path)
    os.write(terminal.master, b"still read")
    assert read_all(port, 10) == b"still read"
    port.close()


@pytest.mark.skipif(os.geteuid() != 0, reason="needs the superuser, to become somebody else")
def test_the_system_itself_refuses_a_locked_port_to_others(terminal):
    # tty_ioctl(4): in exclusive mode "no further open operations are permitted", the superuser excepted (from memory).
    port = OpenPort(terminal.path)
    os.chmod(terminal.path, 0o666)
    code = (
        "import os, sys\n"
        "os.setuid(65534)\n"
        "try:\n"
        "    os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)\n"
        "    print('open', flush=True)\n"
        "except OSError as error:\n"
        "    print(error.errno, flush=True)\n"
    )
    child, line = holder(terminal.path, code)
    child.communicate("", timeout=LIMIT_S)
    assert line == str(errno.EBUSY)
    port.close()
    child, line = holder(terminal.path, code)
    child.communicate("", timeout=LIMIT_S)
    assert line == "open"


@pytest.mark.skipif(os.geteuid() != 0, reason="needs the superuser, to become somebody else")
def test_a_port_that_the_user_may_not_open_is_told(terminal):
    os.chmod(terminal.path, 0o600)
    code = MONITOR.replace("try:\n", "import os\nos.setuid(65534)\ntry:\n", 1)
    child, line = holder(terminal.path, code)
    child.communicate("", timeout=LIMIT_S)
    assert line == "port-not-permitted"


@pytest.mark.parametrize(
    ("number", "kind"),
    [
        (errno.EACCES, PortNotPermitted),
        (errno.EPERM, PortNotPermitted),
        (errno.EBUSY, PortInUse),
        (errno.ENODEV, PortNotFound),
        (errno.ENXIO, PortNotFound),
        (errno.EIO, PortNotOpened),
    ],
)
def test_each_refusal_of_the_system_is_told_as_what_it_is(monkeypatch, number, kind):
    def refuse(*_args: object, **_settings: object) -> None:
        raise serial.SerialException(number, os.strerror(number))

    monkeypatch.setattr(ports.serial, "Serial", refuse)
    with pytest.raises(kind) as messages:
        OpenPort("/dev/invented")
    assert "/dev/invented" in messages.value.what
    assert messages.value.means
    assert messages.value.do


def test_a_missing_port_is_told(tmp_path):
    with pytest.raises(PortNotFound) as messages:
        OpenPort(str(tmp_path / "ttyGone"))
    assert "ports found now" in messages.value.do


def test_a_file_and_a_folder_are_no_ports(tmp_path):
    file = tmp_path / "file"
    file.write_bytes(b"not to be touched")
    for path in (file, tmp_path):
        with pytest.raises(PortNotOpened) as messages:
            OpenPort(str(path))
        assert "serial port" in messages.value.do
    assert file.read_bytes() == b"not to be touched"


def test_an_unplugged_port_is_lost_and_can_still_be_closed(terminal):
    port = OpenPort(terminal.path)
    terminal.unplug()
    with pytest.raises(PortLost):
        read_all(port, 1)
    with pytest.raises(PortLost):
        port.write(b"anybody there?")
    port.close()
    port.close()


def test_a_device_that_reads_nothing_does_not_hold_up_the_host(terminal):
    port = OpenPort(terminal.path)
    taken = [port.write(b"x" * 1024)]
    while taken[-1] and len(taken) < 1000:
        taken.append(port.write(b"x" * 1024))
    assert taken[0] is True
    assert taken[-1] is False  # it comes back without having sent, instead of waiting for ever
    port.close()


def listed(*devices: SimpleNamespace) -> object:
    return lambda: list(devices)


BOARD = SimpleNamespace(device="/dev/ttyACM3", vid=0x2E8A, pid=0x0005, description="Board", serial_number="E66")
PLAIN = SimpleNamespace(device="/dev/ttyS0", vid=None, pid=None, description=None, serial_number=None)


def test_ports_are_listed_by_path_with_what_the_system_knows(monkeypatch):
    monkeypatch.setattr(ports.serial_list, "comports", listed(PLAIN, BOARD))
    assert list_ports() == [
        PortDescription("/dev/ttyACM3", "Board", "E66", "2e8a:0005"),
        PortDescription("/dev/ttyS0", "", "", ""),
    ]
    assert [one.identity for one in list_ports()] == ["E66", "/dev/ttyS0"]


def test_the_systems_own_list_can_be_read():
    assert all(isinstance(one, PortDescription) and one.path for one in list_ports())
    assert list_ports() == sorted(list_ports(), key=lambda one: one.path)


def test_a_board_that_comes_back_under_another_path_is_found_by_its_serial_number(monkeypatch, tmp_path):
    moved = SimpleNamespace(**{**vars(BOARD), "device": "/dev/ttyACM9"})
    monkeypatch.setattr(ports.serial_list, "comports", listed(PLAIN, moved))
    gone = str(tmp_path / "ttyACM3")
    assert find(PortDescription(gone, "Board", "E66")) == "/dev/ttyACM9"
    assert find(PortDescription(gone, "Board", "E67")) is None
    assert find(PortDescription(gone, "Board")) is None
    here = tmp_path / "here"
    here.touch()
    assert find(PortDescription(str(here), "", "E66")) == str(here)


def test_a_link_is_described_as_the_port_that_it_leads_to(monkeypatch, terminal, tmp_path):
    device = SimpleNamespace(**{**vars(BOARD), "device": terminal.path})
    monkeypatch.setattr(ports.serial_list, "comports", listed(device))
    link = tmp_path / "board"
    link.symlink_to(terminal.path)
    assert describe(str(link)) == PortDescription(str(link), "Board", "E66", "2e8a:0005")
    assert describe("/dev/other") == PortDescription("/dev/other", "")
