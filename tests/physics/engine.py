"""Runs a script through MuJoCo and keeps what the cells carried and where the body was."""

from __future__ import annotations

from dataclasses import dataclass

import mujoco
import numpy as np
from numpy.typing import NDArray

from tests.physics.body import SIDES, STEP_HZ, Body
from tests.physics.script import FORCES, GAINS, Script

Array = NDArray[np.float64]

HARD_GRIP_s = 0.012
GRIP_TIGHTENS = 2.0
"""A grip that begins softly becomes hard with this many times its softness."""
CATCH_GUIDE_s = 0.15
CATCH_SOFT_s = 0.05


class SimulationFailed(Exception):
    """The engine lost the body: numbers that are none, or loads that no rig sees."""


@dataclass(frozen=True)
class Course:
    """A simulated stay, 960 rows a second, free of noise.

    Attributes
    ----------
    load_N : (n, 6) float
        The cells, downward positive: bar left and right, platform fl, fr, rl, rr.
    com_m : (n, 3) float
        The person's centre of mass.
    hands_m : (n, 3) float
        Middle of the places where the hands grip the bar.
    belly_m : (n,) float
        The breathing mass; it moves the centre of mass by ``BELLY`` times as much.
    holding : (n, 2) bool
        Which hand holds the bar.
    caught_s : float or None
        When the hands closed after a jump.
    """

    t_s: Array
    load_N: Array
    com_m: Array
    hands_m: Array
    belly_m: Array
    blades_m: Array
    holding: NDArray[np.bool_]
    mass_kg: float
    caught_s: float | None


class _Run:
    """One simulation in progress."""

    def __init__(self, script: Script) -> None:
        self.script = script
        self.body = body = Body(script.person, script.setting)
        self.model = body.model
        self.data = mujoco.MjData(self.model)
        m = self.model
        act = body.actuator
        groups = {
            "guide": [act[f"guide_{a}"] for a in ("x", "y", "rx", "ry", "rz")],
            "floor": [act["guide_z"]],
            "legs_left": [act["leg_left"]],
            "legs_right": [act["leg_right"]],
        }
        self._groups = [(name, np.array(groups[name])) for name in GAINS]
        self._gain = m.actuator_gainprm[:, 0].copy()
        self._bias = m.actuator_biasprm[:, 1:3].copy()
        self.ctrl = np.zeros((script.n, m.nu))
        for name, values in script.tracks.items():
            if name in act:
                self.ctrl[:, act[name]] = values
        self.gains = np.column_stack([script.tracks[name] for name in GAINS])
        self.forces = np.column_stack([script.track(name) for name in FORCES])
        self.closed_at = [np.inf, np.inf]
        self.soft = [0.06, 0.06]

    def set_gains(self, row: int) -> None:
        m = self.model
        for value, (_, indices) in zip(self.gains[row], self._groups, strict=True):
            m.actuator_gainprm[indices, 0] = value * self._gain[indices]
            m.actuator_biasprm[indices, 1:3] = value * self._bias[indices]

    def grip(self, side: int, closed: bool, soft_s: float, at_s: float) -> None:
        self.data.eq_active[self.body.grips[side]] = closed
        self.closed_at[side] = at_s if closed else np.inf
        self.soft[side] = soft_s

    def tighten(self, at_s: float) -> None:
        for side in (0, 1):
            age = at_s - self.closed_at[side]
            if 0 <= age < 3.0:
                softness = (self.soft[side] - HARD_GRIP_s) * np.exp(-age / (GRIP_TIGHTENS * self.soft[side]))
                self.model.eq_solref[self.body.grips[side], 0] = HARD_GRIP_s + max(0.0, softness)

    def caught(self) -> bool:
        """Say whether a jumping body rises no more."""
        return bool(self.data.qvel[self.body.qpos["root_z"]] <= 0.0)

    def go(self) -> Course:
        script, body, m, d = self.script, self.body, self.model, self.data
        n = script.n
        d.qpos[body.qpos["root_z"]] = 0.05
        for side in SIDES:
            d.qpos[body.qpos[f"elbow_{side}"]] = script.person.elbow_bend_rad
            d.qpos[body.qpos[f"flex_{side}"]] = script.person.shoulder_flex_rad
        q, v = np.empty((n, m.nq)), np.empty((n, m.nv))
        com, hands = np.empty((n, 3)), np.empty((n, 3))
        holding = np.zeros((n, 2), dtype=bool)
        changes = np.ones(n, dtype=bool)
        changes[1:] = (np.diff(self.gains, axis=0) != 0).any(axis=1)
        pulls = (self.forces != 0).any(axis=1)
        pending = sorted(script.grips, key=lambda g: g.at_s)
        catch_row = n if script.catch_from_s is None else round(script.catch_from_s * STEP_HZ)
        caught_s: float | None = None
        sites = list(body.grip_sites)
        for row in range(n):
            at_s = row / STEP_HZ
            while pending and pending[0].at_s <= at_s:
                one = pending.pop(0)
                self.grip(SIDES.index(one.side), one.closed, one.soft_s, at_s)
            if row >= catch_row and caught_s is None and self.caught():
                caught_s = at_s
                for side in (0, 1):
                    self.grip(side, True, CATCH_SOFT_s, at_s)
                # Whoever has caught the bar is guided no longer.
                left = np.clip(1 - (script.t_s[row:] - at_s) / CATCH_GUIDE_s, 0, 1)
                until = round((script.t_s[-1]) * STEP_HZ)
                back = np.flatnonzero(np.diff(self.gains[row:, 0]) > 0)
                stop = row + int(back[0]) if len(back) else until
                self.gains[row:stop, 0] = np.minimum(self.gains[row:stop, 0], left[: stop - row])
                changes[row : row + round(CATCH_GUIDE_s * STEP_HZ) + 2] = True
                changes[stop : stop + 2] = True
            self.tighten(at_s)
            if changes[row]:
                self.set_gains(row)
            d.ctrl[:] = self.ctrl[row]
            d.xfrc_applied[body.pelvis, :3] = self.forces[row] if pulls[row] else 0.0
            q[row], v[row] = d.qpos, d.qvel
            holding[row] = d.eq_active[list(body.grips)]
            mujoco.mj_step(m, d)
            com[row] = d.subtree_com[body.torso]
            hands[row] = d.site_xpos[sites].mean(axis=0)
        load = body.loads_N(q, v)
        if not np.isfinite(load).all() or np.abs(load).max() > 40 * body.mass_kg * 9.81:
            raise SimulationFailed(f"{script.name} of person {script.person.seed}")
        blades = q[:, [body.qpos[f"blade_{s}"] for s in SIDES]].mean(axis=1)
        return Course(
            script.t_s, load, com, hands, q[:, body.qpos["belly"]].copy(), blades, holding, body.mass_kg, caught_s
        )


def simulate(script: Script) -> Course:
    """Return what happens when a person does what the script says.

    Raises
    ------
    SimulationFailed
        The script asks for what no body can do.
    """
    return _Run(script).go()
