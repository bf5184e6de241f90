"""Which rig the program reads when it was started without one: chosen on the page, stored on the disk."""

from __future__ import annotations

import os
import socket
import tomllib
from pathlib import Path

import pytest

from monitor.dashboard.routes.power import ProgramEnd
from monitor.dashboard.routes.setup import SetupFixed
from monitor.dashboard.security.authorization import Authorization
from monitor.errors import BadInput, TellableError
from monitor.health.builds import BUILDS
from monitor.rig import load_rig
from monitor.station.chosen_station import run_chosen
from monitor.station.page_server import PagePortInUse
from monitor.station.rig_choice import RigChoice
from monitor.station.server_config import ServerConfig
from monitor.station.sources import calibration_in_force
from monitor.store import AccessFile, DataFolder

HARDWARE = Path(__file__).parents[2] / "hardware" / "rigs"


@pytest.fixture
def folder(tmp_path):
    return DataFolder.open(tmp_path / "data")


@pytest.fixture
def port():
    ends = os.openpty()
    yield os.ttyname(ends[1])
    for one in ends:
        os.close(one)


@pytest.mark.parametrize("name", sorted(BUILDS))
def test_the_builds_are_those_of_the_hardware_folder(name):
    described = load_rig(HARDWARE / f"{name}.toml")
    assert BUILDS[name].channels == described.channels
    assert BUILDS[name].name == described.name
    assert BUILDS[name].nominal_rate_Hz == described.nominal_rate_Hz
    # A working load is never given away: only whoever built the mount knows it.
    assert BUILDS[name].mount_rating_N is None
    assert {path.stem for path in HARDWARE.glob("*.toml")} == set(BUILDS)


def test_without_a_choice_the_page_offers_one(folder):
    choice = RigChoice(folder)
    assert (choice.way, choice.ways, choice.described()) == ("none", "open", None)


def test_what_prevents_the_start_is_all_that_is_written(folder, capsys):
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(PagePortInUse):
        run_chosen(folder, ServerConfig(port=taken.getsockname()[1]), ProgramEnd())
    with folder.held(), pytest.raises(TellableError, match="Another program works on"):
        run_chosen(folder, ServerConfig(port=0), ProgramEnd())
    assert capsys.readouterr().out == ""


def test_a_chosen_build_and_port_are_stored_and_used_at_the_next_start(folder, port):
    choice, ended = RigChoice(folder), []
    choice.end = lambda: ended.append(True)
    choice.choose("port", port, "hangers", 2500.0)
    assert (choice.way, choice.renewed, ended) == ("port", True, [True])
    assert load_rig(folder.rig_file).mount_rating_N == 2500.0
    assert tomllib.loads(choice.path.read_text()) == {"port": port}
    again = RigChoice(folder)
    assert (again.way, again.port, again.ways) == ("port", port, "fixed")
    with pytest.raises(SetupFixed):
        again.choose("virtual", "", None, None)
    assert calibration_in_force(folder, load_rig(folder.rig_file)) is None


def test_a_platform_alone_has_no_mount(folder, port):
    RigChoice(folder).choose("port", port, "platform", 2500.0)
    assert load_rig(folder.rig_file).mount_rating_N is None


@pytest.mark.parametrize(("build", "gone"), [("no such build", False), ("hangers", True), (None, False)])
def test_what_cannot_be_chosen_changes_nothing(folder, port, build, gone):
    choice = RigChoice(folder)
    with pytest.raises(TellableError) as refused:
        choice.choose("port", port + "x" if gone else port, build, None)
    assert refused.value.do
    assert not folder.rig_file.exists()
    assert not choice.path.exists()
    assert not choice.renewed


@pytest.mark.parametrize(
    "name", ["", "x" * 300, "a\0b", "\ud800", "."], ids=["none", "long", "nul", "no text", "a folder"]
)
def test_what_is_not_a_port_is_refused(folder, name):
    choice = RigChoice(folder)
    with pytest.raises(BadInput, match="There is no port"):
        choice.choose("port", name, "hangers", 2500.0)
    assert not folder.rig_file.exists()


def test_a_described_rig_is_never_overwritten(folder, port):
    folder.rig_file.write_text((HARDWARE / "rings.toml").read_text())
    choice = RigChoice(folder)
    with pytest.raises(BadInput, match="described already"):
        choice.choose("port", port, "hangers", None)
    assert load_rig(folder.rig_file).name == "Two rings"
    choice.choose("port", port, None, None)
    assert choice.way == "port"


def test_practice_can_be_left_again(folder):
    choice = RigChoice(folder)
    choice.choose("virtual", "", None, None)
    assert choice.ways == "virtual"
    choice.choose("none", "", None, None)
    assert choice.ways == "open"
    assert not choice.path.exists()  # practice is not taken up at the next start


@pytest.mark.parametrize(
    ("method", "path", "role"),
    [
        ("POST", "/api/rig/procedure/zero", "coach"),
        ("POST", "/api/rig/procedure/accept", "coach"),
        ("GET", "/api/rig/procedure", "coach"),
        ("DELETE", "/api/rig/procedure", "coach"),
        ("GET", "/rig/calibrate", "coach"),
        ("POST", "/api/setup", "owner"),
    ],
)
def test_a_wall_screen_may_not_work_at_the_rig(tmp_path, method, path, role):
    assert Authorization(AccessFile(tmp_path / "access.json")).needs(method, path) == role
