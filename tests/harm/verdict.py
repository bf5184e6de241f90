"""What must be true of a data folder after a life was ended in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from firmware_bridge.journal import torn_bytes
from monitor.errors import TellableError
from monitor.newtons.calibration import load_calibration
from monitor.service import INTERRUPTED
from monitor.station.sources import SourceConfig, open_source
from monitor.station.station import assemble
from monitor.store import AccessFile, DataFolder, open_store
from monitor.store.maintenance.doctor import damage_of
from monitor.store.maintenance.rebuild import all_journals, first_note
from tests.harm.acks import Acks

SAME_S = 0.05


@dataclass
class Verdict:
    """What was found; ``missing`` must stay empty. ``lost_s`` is real time between the last kept frame and the end."""

    missing: list[str] = field(default_factory=list)
    acknowledged: int = 0
    lost_s: float = 0.0
    rebuilt: int = 0


def restart(folder: DataFolder) -> None:
    """Do what the program does at its start: bring the tables up to date, rebuild what was interrupted."""
    with open_source(SourceConfig("none"), folder) as nothing, assemble(nothing, folder) as station:
        station.service.start()


def judge(folder: DataFolder, acks: Acks, ended_s: float, promised_s: float) -> Verdict:
    """Compare a restarted folder with what had been acknowledged.

    Parameters
    ----------
    ended_s : float
        Monotonic instant of the end.
    promised_s : float
        Real seconds before the end from which on readings may be missing.
    """
    verdict = Verdict(acknowledged=len(acks.lines))
    if complaint := damage_of(folder.database):
        verdict.missing.append(f"the database: {complaint}")
        return verdict
    with open_store(folder.database) as store:
        if store.unfinished_sessions():
            verdict.missing.append("a session is still unfinished")
        _judge_holds(store, acks, verdict)
        if (setting := acks.last("setting")) is not None and (store.get_setting("harm", -1) < setting["number"]):
            verdict.missing.append(f"setting {setting['number']}")
        known = {one.id for one in store.corrections.recent(10**6)}
        verdict.missing += [f"correction {a['id']}" for a in acks.of("correction") if a["id"] not in known]
        entries = {e.subject.rpartition("#")[2] for e in store.audit.recent(10**6) if "correction made" in e.what}
        verdict.missing += [
            f"entry of correction {a['id']}" for a in acks.of("correction") if str(a["id"]) not in entries
        ]
        sessions = {s.uid: s for s in store.list_sessions(None)}
        verdict.rebuilt = sum(s.interrupted for s in sessions.values())
        for path in all_journals(folder):
            if path.name.split(".")[0] not in sessions:
                # The end came within a journal's first block, before anything that can be read was in it.
                if _tells_its_rig(path):
                    verdict.missing.append(f"journal {path.name} is in no list")
            elif torn_bytes(path):
                verdict.missing.append(f"journal {path.name} is torn")
    for one in acks.of("calibration"):
        path = folder.calibrations / one["name"]
        if not path.exists() or load_calibration(path).id != one["id"]:
            verdict.missing.append(f"calibration {one['name']}")
    # The newest one is what the next start takes: whatever bears the name of one must be whole.
    for path in folder.calibrations.glob("*.toml"):
        load_calibration(path)
    devices = {s.device for s in AccessFile(folder.access_file).sign_ins()}
    # The oldest of very many devices are forgotten on purpose.
    verdict.missing += [a["name"] for a in acks.of("device")[-100:] if a["name"] not in devices]
    _judge_frames(acks, ended_s, promised_s, verdict)
    return verdict


def _tells_its_rig(path: Path) -> bool:
    try:
        return "rig" in first_note(path)
    except TellableError:
        return False


def _judge_holds(store: object, acks: Acks, verdict: Verdict) -> None:
    messages: dict[str, float | None] = {a["uid"]: a["duration_s"] for a in acks.of("hold")}
    for uid, duration_s in messages.items():
        hold = store.get_hold(uid)  # type: ignore[attr-defined]
        if duration_s is None:
            continue
        if hold is None or abs(hold.result.duration_s - duration_s) > SAME_S:
            verdict.missing.append(f"hold {uid} of {duration_s} s: {hold and hold.result.duration_s}")
    for session in store.list_sessions(None):  # type: ignore[attr-defined]
        holds = store.holds_of_session(session.uid)  # type: ignore[attr-defined]
        if session.interrupted and not all(INTERRUPTED in h.result.flags for h in holds):
            verdict.missing.append(f"the mark of the interrupted session {session.uid}")


def _judge_frames(acks: Acks, ended_s: float, promised_s: float, verdict: Verdict) -> None:
    contents: dict[str, bytes] = {}
    stored_until_s = None
    for one in acks.of("frame"):
        path = one["journal"]
        if path not in contents:
            contents[path] = Path(path).read_bytes() if Path(path).exists() else b""
        if bytes.fromhex(one["raw"]) in contents[path]:
            stored_until_s = one["at_s"]
        elif one["at_s"] < ended_s - promised_s:
            verdict.missing.append(f"a frame {ended_s - one['at_s']:.2f} s before the end")
    newest = acks.last("frame")
    if newest is not None and stored_until_s is not None:
        verdict.lost_s = max(0.0, newest["at_s"] - stored_until_s)
