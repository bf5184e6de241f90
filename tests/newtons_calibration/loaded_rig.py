"""A virtual rig whose true spans are known, loaded as a plan says; for the tests of this folder."""

from __future__ import annotations

import math

import numpy as np

from firmware_bridge.counts import CountBlock
from monitor.demo.electronics import Electronics, Faults
from monitor.newtons.calibrating.averaging import Reading
from monitor.newtons.calibrating.guided_calibration import GuidedCalibration
from monitor.newtons.calibrating.plan import BUOYANCY, Plan, Step, plan_from_dict
from monitor.newtons.calibrating.plausibility import StepReading
from monitor.rig import Channel, Rig

ONE = Rig("one hook", (Channel("hook", "bar", rated_N=2000.0),), gravity_m_s2=9.81)
BAR = Rig(
    "bar", (Channel("left", "bar", -0.55, rated_N=2000.0), Channel("right", "bar", 0.55, rated_N=2000.0)),
    gravity_m_s2=9.81,
)  # fmt: skip
FULL = Rig(
    "bar and platform",
    (
        *BAR.channels,
        Channel("fl", "platform", -0.25, 0.2, 1500.0),
        Channel("fr", "platform", 0.25, 0.2, 1500.0),
        Channel("rl", "platform", -0.25, -0.2, 1500.0),
        Channel("rr", "platform", 0.25, -0.2, 1500.0),
    ),
    gravity_m_s2=9.81,
)
FIVE = [
    {"name": n, "kg": kg, "tolerance_kg": 0.002 * kg}
    for n, kg in zip("ABCDE", (20.0, 20.0, 15.0, 10.0, 5.0), strict=True)
]
ORDINARY = Faults()


def plan_for(rig: Rig, series: list[dict], masses=FIVE, **more) -> Plan:
    return plan_from_dict({"masses": masses, "series": series, **more}, rig)


class LoadedRig:
    """True masses, true gravity, true electronics; shares of a load by leverage, as on a stiff body."""

    def __init__(self, rig: Rig, plan: Plan, seed: int, faults: Faults = ORDINARY, *, exact: bool = False) -> None:
        self.rig, self.plan = rig, plan
        self.rng = rng = np.random.default_rng([seed, 7])
        self.electronics = Electronics([c.rated_N or 2000.0 for c in rig.channels], 80.0, seed=seed, faults=faults)
        off = 0.0 if exact else 1.0
        self.true_kg = {m.name: m.kg + off * m.u_kg * math.sqrt(3) * rng.uniform(-1, 1) for m in plan.masses.values()}
        self.gravity = plan.gravity_m_s2 + off * plan.u_gravity_m_s2 * rng.standard_normal()
        self.places: dict[object, tuple[float, float]] = {}
        self.off = off

    @property
    def true_N_per_count(self) -> np.ndarray:
        return 1 / self.electronics.counts_per_N

    def loads_N(self, step: Step) -> np.ndarray:
        """Return the true load of each cell."""
        loads = np.zeros(len(self.rig.channels))
        if not step.masses:
            return loads
        total = sum(self.true_kg[m] for m in step.masses) * self.gravity * BUOYANCY
        cells = [i for i, c in enumerate(self.rig.channels) if c.part == step.part]
        if len(cells) == 1:
            loads[cells] = total
            return loads
        if step.place not in self.places:
            slip = self.off * step.place.u_m * self.rng.standard_normal(2)
            self.places[step.place] = ((step.place.x_m or 0.0) + slip[0], (step.place.y_m or 0.0) + slip[1])
        x, y = self.places[step.place]
        channels = [self.rig.channels[i] for i in cells]
        arms = np.array([[1.0] * len(cells), [c.x_m for c in channels], [c.y_m for c in channels]])
        loads[cells] = np.linalg.pinv(arms) @ [total, total * x, total * y if len(cells) > 2 else 0.0]
        return loads

    def block(self, loads_N: np.ndarray, seconds: float, start_s: float, swing: float = 0.0) -> CountBlock:
        n = round(80 * seconds)
        t_s = start_s + np.arange(n) / 80.0
        wave = 1 + swing * np.sin(2 * np.pi * 0.9 * (t_s - start_s))[:, None] * np.exp(-(t_s - start_s) / 1.0)[:, None]
        counts, missed = self.electronics.convert(loads_N * wave)
        return CountBlock(0, t_s[~missed], counts[~missed], int(missed.sum()))


def guided(loaded: LoadedRig, machine: GuidedCalibration, *, pause_s: float = 4.0) -> GuidedCalibration:
    """Carry the plan out: everything a person would do, until it is finished or refuses."""
    t_s = 0.0

    def give(step: Step | None, seconds: float, swing: float = 0.0) -> None:
        nonlocal t_s
        loads = loaded.loads_N(step) if step is not None else np.zeros(len(loaded.rig.channels))
        machine.push(loaded.block(loads, seconds, t_s, swing))
        t_s += seconds

    for _ in range(120):
        if machine.progress.stage != "warm_up":
            break
        give(None, 1.0)
    while (step := machine.step) is not None and machine.progress.stage != "refused":
        give(step, pause_s, 0.02)
        machine.confirm()
        while machine.progress.stage == "reading":
            give(step, 1.0)
    return machine


def quick_readings(loaded: LoadedRig) -> list[StepReading]:
    """Return the plan's readings as means of the electronics' own counts, without the wait for stillness."""
    taken, t_s = [], 0.0
    for step in loaded.plan.steps:
        loads = loaded.loads_N(step)
        seconds = max(8.0, step.dwell_s)
        counts, _ = loaded.electronics.convert(np.repeat(loads[None, :], 80 * 6 + round(80 * seconds), axis=0))
        rows = counts[80 * 6 :].astype(float)
        rows[np.abs(rows - np.median(rows, axis=0)) > 1e5] = np.nan
        # The straight line of least squares, in its closed form.
        away = np.arange(len(rows)) - (len(rows) - 1) / 2
        slope = away @ np.nan_to_num(rows, nan=float(np.nanmean(rows))) / (away @ away)
        noise = np.nanstd(np.diff(rows, axis=0), axis=0) / math.sqrt(2)
        taken.append(
            StepReading(
                step,
                Reading(
                    t_s + 6 + seconds / 2,
                    seconds,
                    len(rows),
                    np.nanmean(rows, axis=0),
                    np.hypot(noise / math.sqrt(len(rows)), 12**-0.5),
                    noise,
                    slope * len(rows),
                ),
            )
        )
        t_s += 6 + seconds
    return taken
