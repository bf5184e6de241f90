"""Works at a rig that change what is kept: all holds measured again, a zero taken, a rig calibrated."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np

from firmware_bridge.counts import CountBlock
from monitor.cli.commands.calibrate import save
from monitor.demo import DemoRig
from monitor.health.zero import read_zero
from monitor.newtons.calibrating.plan import plan_from_dict
from monitor.newtons.calibrating.raw_readings import RawReadings, read_readings
from monitor.newtons.calibration import load_calibration, save_calibration
from monitor.procedures.calibration import CalibrationProcedure
from monitor.reanalysis import reanalyse
from monitor.rig import Channel, Rig, load_rig, save_rig
from monitor.store import DataFolder, open_store
from tests.harm.acks import AckWriter
from tests.harm.power import log_now, watch_the_disk

ONE = Rig("one hook", (Channel("hook", "bar", rated_N=2000.0),), gravity_m_s2=9.81)
PLAN = {
    "latitude_deg": 48.2,
    "dwell_s": 10.0,
    "masses": [{"name": n, "kg": 20.0, "tolerance_kg": 0.02} for n in "AB"],
    "series": [{"part": "bar", "masses": ["A", "B"]}],
}
N_PER_COUNT = 1e-3


def reanalysing(root: str, acks: str, _seed: int) -> None:
    """Measure all holds of an earlier version anew, again and again."""
    ack, folder = AckWriter(Path(acks)), DataFolder(Path(root))
    watch_the_disk(ack)
    with open_store(folder.database) as store:
        ack("ready", wal=log_now(folder))
        for report in reanalyse(store, folder, jobs=1):
            ack("reanalysed", uid=report.session_uid, holds=report.measured, wal=log_now(folder))


def zeroing(root: str, acks: str, seed: int) -> None:
    """Take one zero after the other, as ``hang-monitor zero`` does once somebody has said yes."""
    ack, folder = AckWriter(Path(acks)), DataFolder(Path(root))
    watch_the_disk(ack)
    invented, noise = DemoRig(1), np.random.default_rng(seed)
    zeros = np.array([c.zero_counts for c in invented.calibration.channels])
    begun, in_force = dt.datetime(2030, 1, 1, tzinfo=dt.UTC), invented.calibration
    ack("ready")
    for number in range(1000):
        counts = np.round(zeros + noise.normal(0.0, 20.0, (240, len(zeros)))).astype(np.int32)
        reading, at = read_zero(invented.rig, in_force, counts, 80.0), begun + dt.timedelta(seconds=number)
        path = save_calibration(folder.calibrations, reading.applied(in_force, at.isoformat()), at)
        in_force = load_calibration(path, invented.rig.names)
        ack("calibration", name=path.name, id=in_force.id)


def bench(place: Path) -> None:
    """Leave a rig and what was read of it under known masses in a folder, for ``calibrating``."""
    place.mkdir(parents=True, exist_ok=True)
    save_rig(place / "rig.toml", ONE)
    plan = plan_from_dict(PLAN, ONE)
    record = RawReadings(ONE)
    record.add(0, _read(0.0, 0.0, 40.0))
    for step in plan.steps:
        record.begin(step.number)
        record.add(step.number, _read(plan.load_N(step), 50.0 * step.number, 30.0))
    (place / "readings.csv").write_bytes(record.csv())


def _read(load_N: float, start_s: float, length_s: float) -> CountBlock:
    n = round(length_s * 80)
    noise = np.random.default_rng(round(start_s)).normal(0.0, 20.0, (n, 1))
    counts = np.round(load_N / N_PER_COUNT + noise).astype(np.int32)
    return CountBlock(0, start_s + np.arange(n) / 80.0, counts)


def calibrating(root: str, acks: str, _seed: int) -> None:
    """Calibrate a rig from its readings, again and again: calibration, raw readings, sheet."""
    ack, folder = AckWriter(Path(acks)), DataFolder(Path(root))
    watch_the_disk(ack)
    place, begun = folder.root.parent / "bench", dt.datetime(2030, 1, 1, tzinfo=dt.UTC)
    rig = load_rig(place / "rig.toml")
    procedure = CalibrationProcedure(rig, plan_from_dict(PLAN, rig), None)
    procedure.carry_out(read_readings(place / "readings.csv", rig))
    procedure.record.add(0, _read(0.0, 0.0, 10.0))
    size = len(procedure.record.csv())
    ack("ready")
    for number in range(1000):
        at = begun + dt.timedelta(seconds=number)
        places = save(procedure, folder, at, None)
        ack("calibration", name=places["calibration"].name, id=load_calibration(places["calibration"]).id)
        ack("readings", name=places["readings"].name, size=size)
