"""The program's end by an owner's button: who may, when it is refused, and what the service manager learns."""

from __future__ import annotations

import json
import urllib.request
from collections.abc import Iterator
from configparser import RawConfigParser
from pathlib import Path

import pytest
from authorized_hall import COACH, OWNER, PAGE, Hall, hall
from fake_rig import HANGS_S, scene_at
from running import DEADLINE_S, running, waiting_rig

from monitor.dashboard.routes.power import ProgramEnd

OURS = {"origin": PAGE}


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Hall]:
    with hall(tmp_path) as made:
        yield made


def body(device, action: str = "switch_off", **more):
    return device.post("/api/power", json={"action": action, **more}, headers=OURS)


def code_of(answer) -> str:
    return answer.json()["error"]["code"]


def test_only_an_owner_ends_anything(place):
    wall, coach = place.device("127.0.0.1", "http://127.0.0.1:8064"), place.signed_in(COACH)
    assert code_of(wall.post("/api/power", json={"action": "switch_off"})) == "not-your-role"
    assert code_of(body(coach)) == code_of(coach.get("/api/power")) == "not-your-role"
    assert code_of(body(place.device())) == "sign-in-needed"
    assert place.power.requested is None
    owner = place.signed_in(OWNER, "192.168.1.51")
    assert owner.get("/api/power").json() == {
        "actions": ["switch_off", "restart"], "somebody_hangs": False, "doing": None,
    }  # fmt: skip
    answer = body(owner)
    assert (answer.status_code, answer.json()["doing"]) == (202, "switch_off")
    assert place.power.requested == "switch_off"
    entry = owner.get("/api/audit").json()[0]
    assert (entry["who"], entry["what"], entry["subject"]) == ("Olga (owner)", "post", "/api/power")


def test_a_hold_is_not_cut_off_without_confirmation(place):
    owner = place.signed_in(OWNER)
    place.hub.publish(scene_at(HANGS_S + 2.0))
    assert owner.get("/api/power").json()["somebody_hangs"] is True
    assert (body(owner).status_code, code_of(body(owner)), place.power.requested) == (409, "somebody-hangs", None)
    assert body(owner, although_somebody_hangs="yes").status_code == 422
    assert body(owner, although_somebody_hangs=True).status_code == 202


def test_the_program_refuses_what_it_cannot_do(tmp_path):
    with hall(tmp_path, passcodes=False, power=ProgramEnd()) as place:
        home = place.device("127.0.0.1", "http://127.0.0.1:8064")
        assert home.get("/api/power").json()["actions"] == ["end"]
        answer = home.post("/api/power", json={"action": "switch_off"})
        assert (answer.status_code, code_of(answer)) == (409, "power-not-possible")
        assert home.post("/api/power", json={"action": "burn"}).status_code == 422


@pytest.mark.parametrize(("action", "status"), [("switch_off", 85), ("restart", 86)])
def test_a_service_ends_with_the_status_that_its_unit_knows(tmp_path, action, status):
    unit = Path(__file__).parents[2] / "monitor" / "service_files" / "hang-monitor.service"
    section = RawConfigParser(strict=False, delimiters=("=",))
    section.optionxform = str
    section.read_string(unit.read_text())
    service = section["Service"]
    assert {"switch_off": service["RestartPreventExitStatus"], "restart": service["RestartForceExitStatus"]}[
        action
    ].split()[-1] == str(status)
    assert str(status) in service["SuccessExitStatus"].split()
    assert f"= {ProgramEnd.SWITCH_OFF} ]; then systemctl --no-block poweroff" in service["ExecStopPost"]
    with running(*waiting_rig(tmp_path), "--may-switch-off") as program:
        requested = urllib.request.Request(
            f"{program.url}api/power", json.dumps({"action": action}).encode(), {"content-type": "application/json"}
        )
        with urllib.request.urlopen(requested, timeout=DEADLINE_S) as answer:
            assert answer.status == 202
        assert program.process.wait(DEADLINE_S) == status
    assert "everything that was measured is kept" in "".join(program.said)
