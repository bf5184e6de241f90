"""The person, the bar and the platform as a rigid-body model for MuJoCo.

x is to the person's right, y to the front, z up, in metres; the soles stand on z = 0. The bar rides on two springs, the
platform on four: what they push back with is what the cells read. Both are weightless (their weight is tare) but have
their mass. A guide holds the person upright while standing: sideways and in attitude only, so that it carries no
weight; its vertical part stands for the floor beside the rig.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import mujoco  # type: ignore[import-untyped]
import numpy as np

from tests.physics.people import Part, Person, leaning_arm_rad

STEP_HZ = 960
GRAVITY_m_s2 = 9.80665

BAR_HALF_m = 0.55
PLATFORM_HALF_x_m, PLATFORM_HALF_y_m = 0.25, 0.20
BAR_kg, PLATFORM_kg = 7.0, 14.0
BAR_N_m, PLATFORM_N_m = 4.0e5, 5.0e5
BAR_N_s_m, PLATFORM_N_s_m = 700.0, 900.0
BELLY = 0.08
SHOULDER_BLADE = 0.007
FINGERS_m = 0.03
"""From the middle of the hand to the bar."""
OPEN_m = 100.0
"""A grip that is open: the rope is longer than any hall."""
GRIP_s = 0.018
LEG_N_m, LEG_N_s_m = 7.0e4, 1500.0

SIDES = ("left", "right")


@dataclass(frozen=True, slots=True)
class Setting:
    """How the rig stands around the person: height of the bar above reach, half grip width, place of the platform."""

    gap_m: float = 0.0
    grip_half_m: float | None = None
    platform_x_m: float = 0.0
    platform_y_m: float = 0.0
    hands_y_m: float = 0.0


def _inertial(part: Part, mass_kg: float | None = None) -> str:
    inertia = " ".join(f"{max(v, 1e-4):.6f}" for v in part.inertia_kg_m2)
    mass = part.mass_kg if mass_kg is None else mass_kg
    return f'<inertial pos="0 0 {part.z_m:.6f}" mass="{mass:.6f}" diaginertia="{inertia}"/>'


def _leg(person: Person, side: str, sign: int) -> str:
    foot = 0.152 * person.stature_m
    sole = -person.shank_m - person.ankle_m + 0.02
    x = sign * person.half_hips_m
    geoms = "".join(
        f'<geom name="{name}_{side}" type="sphere" size="0.02" pos="{0.02 * sign:.4f} {y:.4f} {sole:.4f}" '
        f'contype="1" conaffinity="2" friction="0.9 0.01 0.001" mass="0"/>'
        for name, y in (("heel", -0.28 * foot), ("toe", 0.5 * foot))
    )
    return f"""
<body name="thigh_{side}" pos="{x:.5f} 0 {-(person.trunk_m - person.lumbar_m):.5f}">{_inertial(person.thigh)}
 <joint name="hip_{side}" type="hinge" axis="1 0 0" damping="2"/>
 <body name="shank_{side}" pos="0 0 {-person.thigh_m:.5f}">{_inertial(person.shank)}
  <joint name="leg_{side}" type="slide" axis="0 0 1" damping="250"/>{geoms}
 </body>
</body>"""


def _arm(person: Person, side: str, sign: int, lean: float) -> str:
    blade = SHOULDER_BLADE * person.mass_kg
    x = sign * person.half_shoulders_m
    return f"""
<body name="blade_{side}" pos="{x:.5f} 0 0">
 <inertial pos="0 0 -0.05" mass="{blade:.5f}" diaginertia="0.002 0.002 0.002"/>
 <joint name="blade_{side}" type="slide" axis="0 0 1"/>
 <body name="upper_arm_{side}" euler="0 {sign * lean:.6f} 0">{_inertial(person.upper_arm)}
  <joint name="flex_{side}" type="hinge" axis="1 0 0" damping="1"/>
  <joint name="spread_{side}" type="hinge" axis="0 1 0" damping="1"/>
  <body name="forearm_{side}" pos="0 0 {person.upper_arm_m:.5f}">{_inertial(person.forearm)}
   <joint name="elbow_{side}" type="hinge" axis="1 0 0" damping="1"/>
   <site name="hand_{side}" pos="0 0 {person.forearm_m:.5f}"/>
  </body>
 </body>
</body>"""


def _position(name: str, joint: str, kp: float, kv: float) -> str:
    return f'<position name="{name}" joint="{joint}" kp="{kp:.4f}" kv="{kv:.4f}"/>'


def model_xml(person: Person, setting: Setting) -> str:
    """Return the model in MuJoCo's own language."""
    half = setting.grip_half_m or person.half_shoulders_m
    lean = leaning_arm_rad(person, half)
    bar_z = person.shoulders_m + person.arm_m * math.cos(lean) + FINGERS_m + setting.gap_m
    lumps = 2 * SHOULDER_BLADE * person.mass_kg + BELLY * person.mass_kg
    torso = person.torso
    # Blades and belly are cut out of the torso: its mass shrinks, its centre is shifted so that the whole stays put.
    belly_z, blade_z = 0.55 * -person.trunk_m, -0.05
    rest = torso.mass_kg - lumps
    moved = torso.mass_kg * torso.z_m - BELLY * person.mass_kg * belly_z - 2 * SHOULDER_BLADE * person.mass_kg * blade_z
    inner = Part(rest, moved / rest, tuple(v * rest / torso.mass_kg for v in torso.inertia_kg_m2))  # type: ignore[arg-type]
    pivot = 1.25 * person.mass_kg
    grip_friction = 2.0 * pivot / person.swing_decay_s
    blade_kp = person.mass_kg * (2 * math.pi * person.bounce_Hz) ** 2 / 2
    blade_kv = person.bounce_damping * person.mass_kg * 2 * math.pi * person.bounce_Hz
    # MuJoCo adds a joint's own damping to its servo's; the guide holds a body of the person's mass at about 2 Hz.
    guide = person.mass_kg * (2 * math.pi * 2.0) ** 2
    guide_v = 1.4 * person.mass_kg * 2 * math.pi * 2.0
    scale = person.mass_kg / 75.0
    tendons = ""
    for side, x in zip(SIDES, (-BAR_HALF_m, BAR_HALF_m), strict=True):
        tendons += (
            f'<fixed name="bar_{side}" stiffness="{BAR_N_m}" damping="{BAR_N_s_m}" springlength="0">'
            f'<joint joint="bar_z" coef="1"/><joint joint="bar_roll" coef="{-x}"/></fixed>'
        )
    for name, x, y in (("fl", -1, 1), ("fr", 1, 1), ("rl", -1, -1), ("rr", 1, -1)):
        tendons += (
            f'<fixed name="foot_{name}" stiffness="{PLATFORM_N_m}" damping="{PLATFORM_N_s_m}" springlength="0">'
            f'<joint joint="plate_z" coef="1"/><joint joint="plate_pitch" coef="{y * PLATFORM_HALF_y_m}"/>'
            f'<joint joint="plate_roll" coef="{-x * PLATFORM_HALF_x_m}"/></fixed>'
        )
    actuators = "".join(
        [
            *(_position(f"guide_{a}", f"root_{a}", guide, guide_v) for a in "xyz"),
            *(_position(f"guide_r{a}", f"root_r{a}", 900 * scale, 120 * scale) for a in "xyz"),
            *(_position(f"blade_{s}", f"blade_{s}", blade_kp, blade_kv) for s in SIDES),
            *(_position(f"flex_{s}", f"flex_{s}", person.shoulder_stiffness, 12 * scale) for s in SIDES),
            *(_position(f"spread_{s}", f"spread_{s}", 60 * scale, 8 * scale) for s in SIDES),
            *(_position(f"elbow_{s}", f"elbow_{s}", 2500 * scale, 30 * scale) for s in SIDES),
            _position("lumbar", "lumbar", 900 * scale, 40 * scale),
            *(_position(f"hip_{s}", f"hip_{s}", person.hip_stiffness, 15 * scale) for s in SIDES),
            *(_position(f"leg_{s}", f"leg_{s}", LEG_N_m * scale, LEG_N_s_m * scale) for s in SIDES),
            _position("belly", "belly", 4000, 150),
            *(f'<motor name="push_{s}" joint="leg_{s}" gear="-1"/>' for s in SIDES),
            *(f'<motor name="shake_{s}" joint="blade_{s}"/>' for s in SIDES),
        ]
    )
    # Hooked fingers pull and never push: a short rope, slack while the hand is nearer.
    for side in SIDES:
        tendons += (
            f'<spatial name="grip_{side}" limited="true" range="0 {OPEN_m}" solreflimit="{GRIP_s} 1" '
            f'solimplimit="0.95 0.99 0.001"><site site="hand_{side}"/><site site="grip_{side}"/></spatial>'
        )
    grips = "".join(
        f'<site name="grip_{s}" pos="{sign * half:.5f} 0 0"/>' for s, sign in zip(SIDES, (-1, 1), strict=True)
    )
    arms = "".join(_arm(person, s, sign, lean) for s, sign in zip(SIDES, (-1, 1), strict=True))
    legs = "".join(_leg(person, s, sign) for s, sign in zip(SIDES, (-1, 1), strict=True))
    px, py = setting.platform_x_m, setting.platform_y_m
    return f"""
<mujoco model="hang">
<compiler angle="radian" inertiafromgeom="false"/>
<option timestep="{1 / STEP_HZ:.12f}" gravity="0 0 {-GRAVITY_m_s2}" integrator="implicitfast"
 iterations="12" ls_iterations="8"/>
<worldbody>
 <body name="bar" pos="0 {setting.hands_y_m:.5f} {bar_z:.6f}" gravcomp="1">
  <inertial pos="0 0 0" mass="{BAR_kg}" diaginertia="{BAR_kg * 0.1:.3f} {BAR_kg * 0.1:.3f} {BAR_kg * 0.1:.3f}"/>
  <joint name="bar_z" type="slide" axis="0 0 1"/><joint name="bar_roll" type="hinge" axis="0 1 0"/>{grips}
 </body>
 <body name="plate" pos="{px} {py} -0.02" gravcomp="1">
  <inertial pos="0 0 0" mass="{PLATFORM_kg}" diaginertia="0.25 0.35 0.5"/>
  <joint name="plate_z" type="slide" axis="0 0 1"/><joint name="plate_pitch" type="hinge" axis="1 0 0"/>
  <joint name="plate_roll" type="hinge" axis="0 1 0"/>
  <geom type="box" size="{PLATFORM_HALF_x_m + 0.1} {PLATFORM_HALF_y_m + 0.15} 0.02"
   contype="2" conaffinity="1" mass="0"/>
 </body>
 <body name="torso" pos="0 0 {person.shoulders_m:.6f}">{_inertial(inner)}
  <joint name="root_x" type="slide" axis="1 0 0"/><joint name="root_y" type="slide" axis="0 1 0"/>
  <joint name="root_z" type="slide" axis="0 0 1"/>
  <joint name="root_rz" type="hinge" axis="0 0 1" damping="{4 * scale:.3f}" stiffness="{15 * scale:.3f}"/>
  <joint name="root_rx" type="hinge" axis="1 0 0" damping="{grip_friction:.4f}"/>
  <joint name="root_ry" type="hinge" axis="0 1 0" damping="{70 * scale:.3f}"/>
  <body name="belly" pos="0 0 {belly_z:.5f}">
   <inertial pos="0 0 0" mass="{BELLY * person.mass_kg:.5f}" diaginertia="0.02 0.02 0.02"/>
   <joint name="belly" type="slide" axis="0 0 1"/>
  </body>{arms}
  <body name="pelvis" pos="0 0 {-person.lumbar_m:.5f}">{_inertial(person.pelvis)}
   <joint name="lumbar" type="hinge" axis="1 0 0" damping="4"/>{legs}
  </body>
 </body>
</worldbody>
<tendon>{tendons}</tendon>
<actuator>{actuators}</actuator>
</mujoco>"""


class Body:
    """A compiled model with the places of its joints, actuators and springs."""

    def __init__(self, person: Person, setting: Setting) -> None:
        self.person, self.setting = person, setting
        self.model = mujoco.MjModel.from_xml_string(model_xml(person, setting))
        m = self.model
        self.actuator = {m.actuator(i).name: i for i in range(m.nu)}
        self.qpos = {m.joint(i).name: int(m.jnt_qposadr[i]) for i in range(m.njnt)}
        self.torso, self.pelvis = m.body("torso").id, m.body("pelvis").id
        self.hands = tuple(m.site(f"hand_{s}").id for s in SIDES)
        self.grips = tuple(m.tendon(f"grip_{s}").id for s in SIDES)
        self.grip_sites = tuple(m.site(f"grip_{s}").id for s in SIDES)
        self.mass_kg = float(m.body_subtreemass[self.torso])
        z, roll = self.qpos["bar_z"], self.qpos["bar_roll"]
        pz, pitch, proll = (self.qpos[f"plate_{a}"] for a in ("z", "pitch", "roll"))
        stretch = np.zeros((6, m.nq))
        for row, x in enumerate((-BAR_HALF_m, BAR_HALF_m)):
            stretch[row, z], stretch[row, roll] = 1.0, -x
        for row, (x, y) in enumerate(((-1, 1), (1, 1), (-1, -1), (1, -1)), start=2):
            stretch[row, pz], stretch[row, pitch] = 1.0, y * PLATFORM_HALF_y_m
            stretch[row, proll] = -x * PLATFORM_HALF_x_m
        self._stretch = stretch
        self._k = np.array([BAR_N_m] * 2 + [PLATFORM_N_m] * 4)
        self._c = np.array([BAR_N_s_m] * 2 + [PLATFORM_N_s_m] * 4)

    def loads_N(self, qpos: np.ndarray, qvel: np.ndarray) -> np.ndarray:
        """Return (n, 6) what the cells carry, downward positive, of (n, nq) states."""
        return np.asarray(-(self._k * (qpos @ self._stretch.T) + self._c * (qvel @ self._stretch.T)))
