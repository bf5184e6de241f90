"""``hang-monitor install-service``: what it prints is what it would write, and systemd understands it."""

from __future__ import annotations

import configparser
import os
import re
import shlex
import shutil
import stat
import subprocess
from pathlib import Path

import pytest
from typer.testing import CliRunner

import firmware_bridge.link
from firmware_bridge.ports import PortDescription
from monitor.cli import app
from monitor.cli.commands import install_service as install

RUNNER = CliRunner()
BOARD = PortDescription("/dev/ttyACM0", "Board", "e6614103e7452d2f", "2e8a:0005")
OTHER = PortDescription("/dev/ttyUSB3", "Something else", "", "1a86:7523")


@pytest.fixture(autouse=True)
def table(monkeypatch: pytest.MonkeyPatch) -> None:
    """Give a machine with one board, whose program everybody may read."""
    monkeypatch.setattr(firmware_bridge.link, "list_ports", lambda: [BOARD])
    monkeypatch.setattr(install, "hidden_folder", lambda *paths: None)


def planned(**changes: object) -> dict[str, str]:
    given = {
        "program": Path("/opt/hang-monitor/.venv/bin/hang-monitor"),
        "page_port": 8064,
        "match": "X",
        "browser": "b",
    }
    return {file.place.name: file.text for file in install.service_files(**{**given, **changes})}  # type: ignore[arg-type]


def section(text: str, name: str) -> dict[str, list[str]]:
    """Return a unit's section; systemd allows a key several times."""
    body = re.search(rf"^\[{name}\]\n(.*?)(?=^\[|\Z)", text, flags=re.DOTALL | re.MULTILINE)
    assert body
    pairs: dict[str, list[str]] = {}
    for line in body[1].splitlines():
        if line and not line.startswith("#"):
            key, _, value = line.partition("=")
            pairs.setdefault(key, []).append(value)
    return pairs


def test_a_dry_run_prints_every_file_and_writes_none(tmp_path: Path) -> None:
    result = RUNNER.invoke(app, ["install-service", "--dry-run", "--into", str(tmp_path)])
    assert result.exit_code == 0
    for place in install.PLACES.values():
        assert f"### {tmp_path / place}\n" in result.output
    assert "Nothing was written." in result.output
    assert list(tmp_path.iterdir()) == []


def test_what_the_dry_run_prints_is_what_is_written(tmp_path: Path) -> None:
    printed = RUNNER.invoke(app, ["install-service", "--dry-run", "--into", str(tmp_path)]).output
    result = RUNNER.invoke(app, ["install-service", "--into", str(tmp_path)])
    assert result.exit_code == 0, result.output
    assert result.output.count("written: ") == len(install.PLACES)
    for place in install.PLACES.values():
        path = tmp_path / place
        assert f"### {path}\n{path.read_text()}" in printed
        assert stat.S_IMODE(path.stat().st_mode) == 0o644
    again = RUNNER.invoke(app, ["install-service", "--into", str(tmp_path)])
    assert again.output.count("unchanged: ") == len(install.PLACES)


def test_the_commands_that_follow_can_be_given_in_their_order() -> None:
    printed = RUNNER.invoke(app, ["install-service", "--dry-run"]).output
    steps = [line.strip() for line in printed.splitlines() if line.startswith("  ")]
    order = [
        "systemd-sysusers",
        "udevadm",
        "install -d",
        "install -o",
        "runuser",
        "systemctl daemon",
        "systemctl enable",
    ]
    places = [next(n for n, step in enumerate(steps) if step.startswith(word)) for word in order]
    assert places == sorted(places)
    # The calibration is a command that the program knows, at the port and folder that the service uses.
    words = shlex.split(steps[places[4]])
    at = words.index("calibrate")
    assert Path(words[at - 1]).name == "hang-monitor"
    service = section(planned()["hang-monitor.service"], "Service")["ExecStart"][0]
    shown = RUNNER.invoke(app, ["calibrate", "--help"], env={"COLUMNS": "200", "TERM": "dumb"}).output
    for option, value in zip(words[at + 1 :: 2], words[at + 2 :: 2], strict=True):
        assert option in shown
        assert f"{option} {value}" in service
    assert words[:3] == ["runuser", "-u", install.USER]


def test_a_file_changed_by_hand_is_not_overwritten(tmp_path: Path) -> None:
    assert RUNNER.invoke(app, ["install-service", "--into", str(tmp_path)]).exit_code == 0
    unit = tmp_path / install.PLACES["hang-monitor.service"]
    unit.write_text("mine\n")
    refused = RUNNER.invoke(app, ["install-service", "--into", str(tmp_path)])
    assert refused.exit_code == 2
    assert "--replace" in refused.output
    assert unit.read_text() == "mine\n"
    assert RUNNER.invoke(app, ["install-service", "--into", str(tmp_path), "--replace"]).exit_code == 0
    assert "Type=notify" in unit.read_text()
    assert unit.with_name("hang-monitor.service.old").read_text() == "mine\n"


def test_a_folder_that_cannot_be_made_is_reported(tmp_path: Path) -> None:
    (tmp_path / "etc").write_text("a file where a folder belongs")
    result = RUNNER.invoke(app, ["install-service", "--into", str(tmp_path)])
    assert result.exit_code == 2
    assert "cannot be written" in result.output
    assert (tmp_path / "etc").read_text() == "a file where a folder belongs"


def test_only_the_administrator_writes_into_the_running_system(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    monkeypatch.setattr(install, "write", lambda *args, **kwargs: pytest.fail("it would have written"))
    result = RUNNER.invoke(app, ["install-service"])
    assert result.exit_code == 2
    assert "sudo" in result.output


def test_a_program_in_a_closed_folder_is_refused_and_a_dry_run_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(install, "hidden_folder", lambda *paths: Path("/home/someone"))
    result = RUNNER.invoke(app, ["install-service", "--into", str(tmp_path)])
    assert result.exit_code == 2
    assert "/home/someone" in result.output
    assert list(tmp_path.iterdir()) == []
    dry = RUNNER.invoke(app, ["install-service", "--dry-run"])
    assert dry.exit_code == 0
    assert "/home/someone" in dry.output


def test_the_closed_folder_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    open_one, closed = tmp_path / "open", tmp_path / "closed"
    for folder in (open_one, closed):
        folder.mkdir()
        (folder / "program").touch()
    assert install.hidden_folder(open_one / "program") != closed
    closed.chmod(0o700)
    tops = [p for p in (tmp_path, *tmp_path.parents) if not p.stat().st_mode & stat.S_IXOTH]
    # A temporary folder may itself be closed to others; then that one comes first.
    assert install.hidden_folder(closed / "program") == (tops[-1] if tops else closed)


def test_the_unit_asks_for_little_and_is_watched() -> None:
    service = section(planned()["hang-monitor.service"], "Service")
    assert service["Type"] == ["notify"]
    assert float(service["WatchdogSec"][0]) > 0
    assert service["User"] == service["Group"] == [install.USER]
    assert service["SupplementaryGroups"] == ["dialout"]
    assert service["NoNewPrivileges"] == service["PrivateTmp"] == ["yes"]
    assert service["ProtectSystem"] == ["strict"]
    assert service["ReadWritePaths"] == ["-/media -/mnt -/run/media"]  # sticks, for backups by the page
    assert service["DevicePolicy"] == ["closed"]
    assert all(value.startswith("char-tty") for value in service["DeviceAllow"])
    assert service["StateDirectory"] == [install.STATE]
    assert f"--data {install.DATA}" in service["ExecStart"][0]
    assert "--port /dev/hang-monitor" in service["ExecStart"][0]


def test_the_command_in_the_unit_is_one_that_the_program_knows() -> None:
    words = section(planned()["hang-monitor.service"], "Service")["ExecStart"][0].split()
    shown = RUNNER.invoke(app, [words[1], "--help"], env={"COLUMNS": "200", "TERM": "dumb"}).output
    for word in (w for w in words if w.startswith("--")):
        assert word in shown


def test_a_program_under_home_may_be_read() -> None:
    assert "ProtectHome=yes\n" in planned()["hang-monitor.service"]
    assert "ProtectHome=read-only\n" in planned(program=Path("/home/rig/p"))["hang-monitor.service"]


def test_a_program_with_odd_letters_in_its_path_is_escaped() -> None:
    text = planned(program=Path('/opt/a b%c"d$e'))["hang-monitor.service"]
    assert 'ExecStart="/opt/a b%%c\\"d$$e" run' in text


def test_no_place_holder_is_left() -> None:
    for text in planned().values():
        assert not re.search(r"\$\{\w+\}", text)


@pytest.mark.parametrize(
    ("ports", "wanted", "expected"),
    [
        ([BOARD], None, ["2e8a", "0005", "e6614103e7452d2f"]),
        ([BOARD, OTHER], "/dev/ttyACM0", ["2e8a", "0005", "e6614103e7452d2f"]),
        ([BOARD, OTHER], "/dev/ttyUSB3", ["1a86", "7523"]),
        ([BOARD, OTHER], None, ["2e8a"]),
        ([], None, ["2e8a"]),
    ],
)
def test_the_rule_names_the_board(
    ports: list[PortDescription], wanted: str | None, expected: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(firmware_bridge.link, "list_ports", lambda: ports)
    match, _ = install.board_match(wanted)
    keys = ("idVendor", "idProduct", "serial")
    assert match == ", ".join(f'ATTRS{{{key}}}=="{value}"' for key, value in zip(keys, expected, strict=False))


def test_a_serial_number_that_would_break_the_rule_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    odd = PortDescription("/dev/ttyACM0", "", 'x", RUN+="/bin/sh', "2e8a:0005")
    monkeypatch.setattr(firmware_bridge.link, "list_ports", lambda: [odd])
    match, _ = install.board_match(None)
    assert "RUN" not in match
    assert "serial" not in match


def test_a_port_without_usb_device_is_refused() -> None:
    result = RUNNER.invoke(app, ["install-service", "--dry-run", "--board", "/dev/ttyS0"])
    assert result.exit_code == 2
    assert "/dev/ttyS0" in result.output


# Of udev(7), from memory: keys that compare take == or !=, keys that assign take =, += or := (-= for some); a value
# stands in double quotes, a name in braces where the key has a list.
COMPARES = {"ACTION", "DEVPATH", "KERNEL", "KERNELS", "SUBSYSTEM", "SUBSYSTEMS", "DRIVER", "DRIVERS", "TEST", "RESULT"}
COMPARES_OF = {"ATTR", "ATTRS", "ENV", "CONST", "SYSCTL", "TAG", "TAGS"}
ASSIGNS, ASSIGNS_OF = (
    {"NAME", "SYMLINK", "OWNER", "GROUP", "MODE", "TAG", "LABEL", "GOTO", "OPTIONS"},
    {"ENV", "SECLABEL"},
)


def parsed_rule(text: str) -> list[tuple[str, str, str, str]]:
    """Return key, name in braces, operator and value of the one rule of a file; fails where udev would not read it."""
    (line,) = [one for one in text.splitlines() if one and not one.startswith("#")]
    pairs = []
    for part in re.split(r",\s*(?=[A-Z])", line):
        match = re.fullmatch(r'([A-Z]+)(?:\{([\w/.]+)\})?(==|!=|\+=|-=|:=|=)"([^"\\]*)"', part)
        assert match, part
        key, name, operator, value = match[1], match[2] or "", match[3], match[4]
        if operator in ("==", "!="):
            assert key in (COMPARES_OF if name else COMPARES), part
        else:
            assert key in (ASSIGNS_OF if name else ASSIGNS), part
            assert operator != "-=" or key in ("SYMLINK", "TAG"), part
        pairs.append((key, name, operator, value))
    return pairs


def test_the_rule_is_read_as_udev_reads_it_and_gives_the_name_that_the_unit_opens() -> None:
    match, _ = install.board_match(None)
    rule = parsed_rule(planned(match=match)["99-hang-monitor.rules"])
    assert rule == [
        ("SUBSYSTEM", "", "==", "tty"),
        ("ATTRS", "idVendor", "==", "2e8a"),
        ("ATTRS", "idProduct", "==", "0005"),
        ("ATTRS", "serial", "==", "e6614103e7452d2f"),
        ("SYMLINK", "", "+=", "hang-monitor"),
        ("GROUP", "", "=", "dialout"),
        ("MODE", "", "=", "0660"),
        ("ENV", "ID_MM_DEVICE_IGNORE", "=", "1"),
    ]
    assert "--port /dev/hang-monitor" in section(planned()["hang-monitor.service"], "Service")["ExecStart"][0]


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ('SYMLINK+="', 'SYMLINC+="'),
        ('SUBSYSTEM=="', 'SUBSYSTEM="'),
        ('MODE="0660"', "MODE=0660"),
        ('GROUP="', 'GROUP=="'),
    ],
)
def test_a_mistake_in_the_rule_would_be_noticed(right: str, wrong: str) -> None:
    text = planned(match=install.board_match(None)[0])["99-hang-monitor.rules"]
    assert right in text
    with pytest.raises(AssertionError):
        parsed_rule(text.replace(right, wrong))


def test_the_page_unit_opens_the_page_that_the_service_serves() -> None:
    texts = planned(page_port=9001)
    page = section(texts["hang-monitor-page.service"], "Service")
    assert page["ExecStart"][0].endswith("http://127.0.0.1:9001/")
    assert "/dev/tcp/127.0.0.1/9001" in page["ExecStartPre"][0]
    assert "--page-port 9001" in section(texts["hang-monitor.service"], "Service")["ExecStart"][0]


def test_the_units_are_read_by_an_ordinary_parser_too() -> None:
    for name, text in planned().items():
        if name.endswith(".service"):
            parser = configparser.ConfigParser(strict=False, interpolation=None)
            parser.read_string(text)
            assert set(parser.sections()) == {"Unit", "Service", "Install"}


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd-analyze is not installed")
@pytest.mark.parametrize("name", ["hang-monitor.service", "hang-monitor-page.service"])
def test_systemd_understands_the_units(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_text(planned(program=Path(shutil.which("true") or "/bin/true"), browser="/bin/true")[name])
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", "--recursive-errors=no", str(path)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    about_it = [line for line in done.stderr.splitlines() if name in line]
    assert about_it == []
    assert done.returncode == 0, done.stderr


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd-analyze is not installed")
def test_a_mistake_in_a_unit_would_be_noticed(tmp_path: Path) -> None:
    path = tmp_path / "hang-monitor.service"
    path.write_text(planned(program=Path("/bin/true"))["hang-monitor.service"].replace("DevicePolicy", "DevicePolizei"))
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(path)], capture_output=True, text=True, timeout=60, check=False
    )
    assert "DevicePolizei" in done.stderr
