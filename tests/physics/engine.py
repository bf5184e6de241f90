"""Runs a script through MuJoCo and keeps what the cells carried and where the body was."""

from __future__ import annotations

from dataclasses import dataclass

import mujoco  # type: ignore[import-untyped]
import numpy as np
from numpy.typing import NDArray

from tests.physics.body import SIDES, STEP_HZ, Body, FINGERS_m, GRAVITY_m_s2, OPEN_m
from tests.physics.script import FORCES, GAINS, Script, course

Array = NDArray[np.float64]

CATCH_GUIDE_s = 0.15
CATCH_SOFT_s = 0.05
LEGS_FOLLOW_s = 0.8
APEX_m = 0.01
"""A jump is pushed until the hands will rise this far above their place at the bar."""


class SimulationFailed(Exception):
    """The engine lost the body: numbers that are none, or loads that no rig sees."""


@dataclass(frozen=True)
class Course:
    """A simulated session, 960 rows a second, free of noise.

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
        self._driven = np.concatenate([groups[name] for name in GAINS])
        self._group_of = np.repeat(np.arange(len(GAINS)), [len(groups[name]) for name in GAINS])
        self._gain = m.actuator_gainprm[self._driven, 0].copy()
        self._bias = m.actuator_biasprm[self._driven, 1:3].copy()
        self.ctrl = np.zeros((script.n, m.nu))
        for name, values in script.tracks.items():
            if name in act:
                self.ctrl[:, act[name]] = values
        self.gains = np.column_stack([script.tracks[name] for name in GAINS])
        self.forces = np.column_stack([script.track(name) for name in FORCES])
        self.closed_at = [np.inf, np.inf]
        self.closed = [False, False]
        self.soft = [0.06, 0.06]
        self.reach = [0.0, 0.0]
        self.enough = False

    def set_gains(self, row: int) -> None:
        value = self.gains[row, self._group_of]
        self.model.actuator_gainprm[self._driven, 0] = value * self._gain
        self.model.actuator_biasprm[self._driven, 1:3] = value[:, None] * self._bias

    def grip(self, side: int, closed: bool, soft_s: float, at_s: float) -> None:
        self.closed_at[side] = at_s if closed else np.inf
        self.closed[side] = closed
        self.soft[side] = soft_s
        tendon = self.body.grips[side]
        if closed:
            self.reach[side] = max(FINGERS_m, float(self.data.ten_length[tendon]))
        self.model.tendon_range[tendon, 1] = self.reach[side] if closed else OPEN_m

    def tighten(self, at_s: float) -> None:
        """Let hands that have just closed come to the bar."""
        for side in (0, 1):
            age = at_s - self.closed_at[side]
            if 0 <= age < 20 * self.soft[side]:
                far = self.reach[side] - FINGERS_m
                self.model.tendon_range[self.body.grips[side], 1] = FINGERS_m + far * np.exp(-age / self.soft[side])

    def foreseen_apex_m(self) -> float:
        """Return how far the hands of a body that is pushing off will come to stand above their place at the bar."""
        d, body = self.data, self.body
        hand = d.site_xpos[list(body.hands)][:, 2].mean()
        bar = d.site_xpos[list(body.grip_sites)][:, 2].mean()
        rising = max(0.0, float(d.qvel[body.qpos["root_z"]]))
        return float(hand + rising**2 / (2 * GRAVITY_m_s2) - (bar - FINGERS_m))

    def keep_legs(self, row: int) -> None:
        """Let the legs of a body in the air stay as long as they are, and only then follow the script."""
        rows = min(round(LEGS_FOLLOW_s * STEP_HZ), self.script.n - row)
        follow = course(np.arange(rows) / rows, "minimum-jerk")
        for side in SIDES:
            column = self.ctrl[row : row + rows, self.body.actuator[f"leg_{side}"]]
            length = float(self.data.qpos[self.body.qpos[f"leg_{side}"]])
            column[:] = length + (column - length) * follow

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
        com, hands = np.empty((n, 3)), np.empty((n, 2, 3))
        holding = np.zeros((n, 2), dtype=bool)
        changes = np.ones(n, dtype=bool)
        changes[1:] = (np.diff(self.gains, axis=0) != 0).any(axis=1)
        pulls = (self.forces != 0).any(axis=1)
        pending = sorted(script.grips, key=lambda g: g.at_s)
        catch_row = n if script.catch_from_s is None else round(script.catch_from_s * STEP_HZ)
        push_row = n if script.jump_from_s is None else round(script.jump_from_s * STEP_HZ)
        pushes = [body.actuator[f"push_{s}"] for s in SIDES]
        caught_s: float | None = None
        # Every look into the engine's data makes a new array: these are taken once, and see each step.
        qpos, qvel, controls, pull = d.qpos, d.qvel, d.ctrl, d.xfrc_applied[body.pelvis, :3]
        com_now, sites, first, second = d.subtree_com[body.torso], d.site_xpos, *body.grip_sites
        for row in range(n):
            at_s = row / STEP_HZ
            while pending and pending[0].at_s <= at_s:
                one = pending.pop(0)
                self.grip(SIDES.index(one.side), one.closed, one.soft_s, at_s)
            if row >= catch_row and caught_s is None and self.caught():
                caught_s = at_s
                for hand in (0, 1):
                    self.grip(hand, True, CATCH_SOFT_s, at_s)
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
            if row == catch_row:
                self.keep_legs(row)
            controls[:] = self.ctrl[row]
            if push_row <= row < catch_row:
                self.enough = self.enough or self.foreseen_apex_m() >= APEX_m
                if self.enough:
                    controls[pushes] = 0.0
            pull[:] = self.forces[row] if pulls[row] else 0.0
            q[row], v[row] = qpos, qvel
            holding[row] = self.closed
            mujoco.mj_step(m, d)
            com[row] = com_now
            hands[row, 0], hands[row, 1] = sites[first], sites[second]
        load = body.loads_N(q, v)
        if not np.isfinite(load).all() or np.abs(load).max() > 40 * body.mass_kg * 9.81:
            raise SimulationFailed(f"{script.name} of person {script.person.seed}")
        blades = q[:, [body.qpos[f"blade_{s}"] for s in SIDES]].mean(axis=1)
        return Course(
            t_s=script.t_s,
            load_N=load,
            com_m=com,
            hands_m=hands.mean(axis=1),
            belly_m=q[:, body.qpos["belly"]].copy(),
            blades_m=blades,
            holding=holding,
            mass_kg=body.mass_kg,
            caught_s=caught_s,
        )


def simulate(script: Script) -> Course:
    """Return what happens when a person does what the script says.

    Raises
    ------
    SimulationFailed
        The script asks for what no body can do.
    """
    return _Run(script).go()
