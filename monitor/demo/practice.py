"""A virtual rig to practise a calibration on: invented cells, invented plates that are a little off."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from monitor.demo.electronics import Electronics, Faults
from monitor.newtons.calibrating.plan import BUOYANCY, Plan, Step, plan_from_dict
from monitor.rig import Rig

_SWING_Hz, _SWING_FADES_S, _SWING_SHARE = 0.9, 1.2, 0.02
_USUAL_CAPACITY_N = 2000.0


def practice_plan(rig: Rig) -> Plan:
    """Return a short plan for a rig's bar: three invented plates at every cell."""
    plates = {"A": 20.0, "B": 20.0, "C": 15.0}
    masses = [{"name": name, "kg": kg, "tolerance_kg": 0.002 * kg} for name, kg in plates.items()]
    series = [{"part": "bar", "at": rig.names[i], "masses": list(plates)} for i in rig.bar_index]
    return plan_from_dict(
        {"masses": masses, "series": series, "latitude_deg": 45.0, "dwell_s": 30.0, "temperature_degC": 20.0}, rig
    )


class PracticeRig:
    """Cells under invented plates; the same seed gives the same counts.

    Parameters
    ----------
    rig : Rig
    plan : Plan
    seed : int
    faults : Faults or None
        None: those of ordinary electronics.

    Attributes
    ----------
    electronics : Electronics
        Their true state, to compare with.
    true_kg : dict of str to float
        What the plates truly weigh, within what the plan says of them.
    """

    def __init__(self, rig: Rig, plan: Plan, *, seed: int = 0, faults: Faults | None = None) -> None:
        rng = np.random.default_rng([seed, 0x9A5])
        self.rig, self.plan = rig, plan
        capacity = [c.rated_N or _USUAL_CAPACITY_N for c in rig.channels]
        self.electronics = Electronics(capacity, rig.nominal_rate_Hz, seed=seed, faults=faults or Faults())
        self.true_kg = {m.name: m.kg + m.u_kg * math.sqrt(3) * rng.uniform(-1, 1) for m in plan.masses.values()}
        self._load_N = np.zeros(len(capacity))
        self._since = 0

    def place(self, step: Step | None) -> None:
        """Load the rig as a step says, or take everything off; the load swings for a while.

        The invented plates stay what they are, whatever they are called and taken for meanwhile.
        """
        self._load_N = self._shared_N(None if step is None else self.plan.steps[step.number - 1])
        self._since = 0

    def conversions(self, n: int) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
        """Return the next n conversions, (n, channels) counts and (n,) which were missed. Made for ``VirtualBoard``."""
        t_s = (self._since + np.arange(n)) / self.rig.nominal_rate_Hz
        self._since += n
        swing = 1 + _SWING_SHARE * np.sin(2 * math.pi * _SWING_Hz * t_s) * np.exp(-t_s / _SWING_FADES_S)
        return self.electronics.convert(swing[:, None] * self._load_N)

    def _shared_N(self, step: Step | None) -> NDArray[np.float64]:
        """Return the load of each cell: a stiff part shares it so that forces and moments balance."""
        shared = np.zeros(len(self.rig.channels))
        if step is None or not step.masses:
            return shared
        total = math.fsum(self.true_kg[m] for m in step.masses) * self.plan.gravity_m_s2 * BUOYANCY
        cells = list(self.rig.bar_index if step.part == "bar" else self.rig.platform_index)
        arms = [np.ones(len(cells))]
        wanted = [1.0]
        for axis, at in (("x_m", step.place.x_m), ("y_m", step.place.y_m)):
            places = np.array([getattr(self.rig.channels[i], axis) for i in cells])
            if len(set(places.tolist())) > 1:
                arms.append(places)
                wanted.append(float(places.mean()) if at is None else at)
        shared[cells] = total * (np.linalg.pinv(np.array(arms)) @ np.array(wanted))
        return shared
