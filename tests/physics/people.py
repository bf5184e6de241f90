"""Invented people of many sizes, built from two published tables of body segments.

Masses, centres and radii of gyration: ``tests/reference/segments_winter.csv`` and ``segments_deleva.csv``; lengths:
``segment_lengths.json`` (Drillis and Contini) or the lengths of de Leva's own table, scaled by stature.
"""

from __future__ import annotations

import csv
import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

REFERENCE = Path(__file__).parents[1] / "reference"
Table = Literal["winter", "deleva"]

STATURE_m = (1.45, 2.05)
MASS_kg = (45.0, 125.0)
BODY_MASS_INDEX = (17.0, 40.0)
"""Combinations outside of this are drawn again: nobody of 2.05 m has 45 kg."""

SHOULDER_JOINT_SHARE = 0.85
"""Distance of the shoulder joints as a share of the shoulders' breadth (assumed, no source)."""
GRIP_SHARE_OF_HAND = 0.5
"""The bar lies at half of the hand's length beyond the wrist (assumed, no source)."""
LUMBAR_SHARE = 0.2
"""The lumbar hinge stands this share of the trunk's length above the hips (assumed, no source)."""


@dataclass(frozen=True, slots=True)
class Lump:
    """A mass on the body's long axis: height of its centre (m) and its radii of gyration about x, y, z (m)."""

    mass_kg: float
    z_m: float
    gyration_m: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Part:
    """A rigid part: mass, height of its centre above the part's own joint, moments of inertia about x, y, z."""

    mass_kg: float
    z_m: float
    inertia_kg_m2: tuple[float, float, float]


def joined(*lumps: Lump) -> Part:
    """Return one rigid part made of several masses on one axis (parallel axes)."""
    mass = sum(one.mass_kg for one in lumps)
    centre = sum(one.mass_kg * one.z_m for one in lumps) / mass
    inertia = np.zeros(3)
    for one in lumps:
        away2 = (one.z_m - centre) ** 2
        inertia += one.mass_kg * (np.square(one.gyration_m) + np.array([away2, away2, 0.0]))
    return Part(mass, centre, (float(inertia[0]), float(inertia[1]), float(inertia[2])))


@dataclass(frozen=True, slots=True)
class Person:
    """A person standing with the arms straight overhead; lengths in m, heights of parts from their upper joint.

    ``torso`` counts from the shoulders (negative: below), ``pelvis`` from the lumbar hinge, ``thigh`` from the hip,
    ``shank`` (with the foot) from the knee, ``upper_arm`` from the shoulder upwards, ``forearm`` (with the hand) from
    the elbow upwards.
    """

    seed: int
    sex: str
    table: Table
    stature_m: float
    mass_kg: float
    upper_arm_m: float
    forearm_m: float
    trunk_m: float
    thigh_m: float
    shank_m: float
    ankle_m: float
    half_shoulders_m: float
    half_hips_m: float
    torso: Part
    pelvis: Part
    upper_arm: Part
    forearm: Part
    thigh: Part
    shank: Part
    bounce_Hz: float
    bounce_damping: float
    swing_decay_s: float
    breathing_Hz: float
    breathing_m: float
    tremor_N: float
    elbow_bend_rad: float
    hip_stiffness: float
    shoulder_stiffness: float

    @property
    def lumbar_m(self) -> float:
        """Return how far the lumbar hinge lies below the shoulders."""
        return (1 - LUMBAR_SHARE) * self.trunk_m

    @property
    def shoulder_flex_rad(self) -> float:
        """Return the shoulder's angle that brings the hand over the shoulder though the elbow is bent."""
        bend = self.elbow_bend_rad
        return -math.atan2(self.forearm_m * math.sin(bend), self.upper_arm_m + self.forearm_m * math.cos(bend))

    @property
    def arm_m(self) -> float:
        """Return how far the grip lies from the shoulder."""
        return math.sqrt(
            self.upper_arm_m**2
            + self.forearm_m**2
            + 2 * self.upper_arm_m * self.forearm_m * math.cos(self.elbow_bend_rad)
        )

    @property
    def reach_m(self) -> float:
        """Return the height of the grip above the soles, standing with the arms overhead."""
        return self.shoulders_m + self.arm_m

    @property
    def shoulders_m(self) -> float:
        """Return the height of the shoulders above the soles."""
        return self.ankle_m + self.shank_m + self.thigh_m + self.trunk_m


def draw_person(seed: int) -> Person:
    """Return a person drawn over the range of statures, masses, sexes, tables and manners."""
    rng = np.random.default_rng([seed, 0xB0D1])
    while True:
        stature, mass = rng.uniform(*STATURE_m), rng.uniform(*MASS_kg)
        if BODY_MASS_INDEX[0] < mass / stature**2 < BODY_MASS_INDEX[1]:
            break
    table: Table = "winter" if rng.random() < 0.5 else "deleva"
    sex = "male" if rng.random() < 0.5 else "female"
    make = _from_winter if table == "winter" else _from_deleva
    lengths, parts = make(sex, stature, mass, rng)
    build: dict[str, Any] = {**lengths, **parts}
    bent = rng.random() < 0.2
    return Person(
        seed=seed,
        sex=sex,
        table=table,
        stature_m=stature,
        mass_kg=mass,
        **build,
        bounce_Hz=rng.uniform(3.0, 5.5),
        bounce_damping=rng.uniform(0.10, 0.22),
        swing_decay_s=rng.uniform(20.0, 70.0),
        breathing_Hz=rng.uniform(0.2, 0.333),
        breathing_m=rng.uniform(0.0006, 0.0016),
        tremor_N=rng.uniform(0.8, 3.0) * mass / 75.0,
        elbow_bend_rad=rng.uniform(0.15, 0.35) if bent else 0.0,
        hip_stiffness=rng.uniform(150.0, 350.0) * mass / 75.0,
        shoulder_stiffness=rng.uniform(200.0, 450.0) * mass / 75.0,
    )


def _varied(rng: np.random.Generator, fractions: dict[str, float], times: dict[str, int]) -> dict[str, float]:
    """Return mass fractions that differ from the table by some 4 % each and sum to one."""
    own = {name: share * (1 + 0.04 * float(rng.standard_normal())) for name, share in fractions.items()}
    total = sum(own[name] * times[name] for name in own)
    return {name: share / total for name, share in own.items()}


_TIMES = {
    "head": 1,
    "torso": 1,
    "pelvis": 1,
    "upper_arm": 2,
    "forearm": 2,
    "hand": 2,
    "thigh": 2,
    "shank": 2,
    "foot": 2,
}

Lengths = dict[str, float]
Parts = dict[str, Part]


def _from_winter(sex: str, stature: float, mass: float, rng: np.random.Generator) -> tuple[Lengths, Parts]:
    """Build a person from Winter's table and the lengths of Drillis and Contini (one table for both sexes)."""
    del sex
    with (REFERENCE / "segments_winter.csv").open(newline="", encoding="utf-8") as file:
        rows = {
            r["segment"]: {k: float(v) for k, v in r.items() if k not in ("segment", "endpoints") and v}
            for r in csv.DictReader(file)
        }
    share = json.loads((REFERENCE / "segment_lengths.json").read_text())["drillis_contini_fraction_of_stature"]
    names = {"head": "Head neck", "torso": "Thorax abdomen", "pelvis": "Pelvis", "upper_arm": "Upper arm"}
    names |= {"forearm": "Forearm", "hand": "Hand", "thigh": "Thigh", "shank": "Leg", "foot": "Foot"}
    kg = {k: mass * v for k, v in _varied(rng, {k: rows[n]["mass_fraction"] for k, n in names.items()}, _TIMES).items()}
    trunk, thigh, shank = (
        (share["shoulder_height"] - share["hip_height"]) * stature,
        share["thigh"] * stature,
        share["shank"] * stature,
    )
    upper, fore, hand = share["upper_arm"] * stature, share["forearm"] * stature, share["hand"] * stature
    lumbar = (1 - LUMBAR_SHARE) * trunk

    def slim(name: str, length: float) -> tuple[float, float, float]:
        about = rows[name]["gyration_about_com"] * length
        return (about, about, 0.3 * about)

    # The whole trunk's centre lies halfway between shoulders and hips (table): the thorax takes what the pelvis leaves.
    pelvis_z = -trunk + rows["Pelvis"]["com_from_proximal"] * 0 + 0.5 * LUMBAR_SHARE * trunk
    torso_z = (-0.5 * trunk * (kg["torso"] + kg["pelvis"]) - kg["pelvis"] * pelvis_z) / kg["torso"]
    head_height = 0.93 * stature - share["shoulder_height"] * stature  # the ear, Drillis and Contini, from memory
    lengths = {
        "upper_arm_m": upper,
        "forearm_m": fore + GRIP_SHARE_OF_HAND * hand,
        "trunk_m": trunk,
        "thigh_m": thigh,
        "shank_m": shank,
        "ankle_m": share["ankle_height"] * stature,
        "half_shoulders_m": 0.5 * SHOULDER_JOINT_SHARE * share["shoulder_width"] * stature,
        "half_hips_m": 0.25 * share["hip_width"] * stature,
    }
    wide = 0.32 * trunk
    parts = {
        "torso": joined(
            Lump(kg["torso"], torso_z, (0.30 * trunk, 0.32 * trunk, 0.5 * wide)),
            Lump(kg["head"], head_height, slim("Head neck", 0.182 * stature)),
        ),
        "pelvis": joined(Lump(kg["pelvis"], pelvis_z + lumbar, (0.16 * trunk, 0.2 * trunk, 0.5 * wide))),
        "upper_arm": joined(
            Lump(kg["upper_arm"], rows["Upper arm"]["com_from_proximal"] * upper, slim("Upper arm", upper))
        ),
        "forearm": joined(
            Lump(kg["forearm"], rows["Forearm"]["com_from_proximal"] * fore, slim("Forearm", fore)),
            Lump(kg["hand"], fore + rows["Hand"]["com_from_proximal"] * GRIP_SHARE_OF_HAND * hand, slim("Hand", hand)),
        ),
        "thigh": joined(Lump(kg["thigh"], -rows["Thigh"]["com_from_proximal"] * thigh, slim("Thigh", thigh))),
        "shank": joined(
            Lump(kg["shank"], -rows["Leg"]["com_from_proximal"] * shank, slim("Leg", shank)),
            Lump(kg["foot"], -shank - 0.5 * lengths["ankle_m"], slim("Foot", 0.152 * stature)),
        ),
    }
    return lengths, parts


def _from_deleva(sex: str, stature: float, mass: float, rng: np.random.Generator) -> tuple[Lengths, Parts]:
    """Build a person from de Leva's table; its lengths grow with stature."""
    with (REFERENCE / "segments_deleva.csv").open(newline="", encoding="utf-8") as file:
        rows = {
            r["segment"]: {k: float(v) for k, v in r.items() if k not in ("sex", "segment", "endpoints") and v}
            for r in csv.DictReader(file)
            if r["sex"] == sex
        }
    mean_m = (
        json.loads((REFERENCE / "segment_lengths.json").read_text())["deleva_mean_subjects"][sex]["stature_mm"] * 1e-3
    )
    names = {"head": "Head", "upper": "Upper trunk", "middle": "Middle trunk", "pelvis": "Lower trunk"}
    names |= {
        "upper_arm": "Upper arm",
        "forearm": "Forearm",
        "hand": "Hand",
        "thigh": "Thigh",
        "shank": "Shank",
        "foot": "Foot",
    }
    times = {**_TIMES, "upper": 1, "middle": 1}
    kg = {k: mass * v for k, v in _varied(rng, {k: rows[n]["mass_fraction"] for k, n in names.items()}, times).items()}

    def long(name: str) -> float:
        return float(rows[name]["length_mm"] * 1e-3 * stature / mean_m)

    def slim(name: str) -> tuple[float, float, float]:
        row = rows[name]
        length = long(name)
        return (
            row["gyration_transverse_axis"] * length,
            row["gyration_sagittal_axis"] * length,
            row["gyration_longitudinal_axis"] * length,
        )

    # Shoulders stand at the level of the middle of the shoulder joints: trunk 3 runs from there to the hips.
    trunk, above = long("Trunk 3"), long("Trunk") - long("Trunk 3")
    upper_z = above - rows["Upper trunk"]["com_from_first_endpoint"] * long("Upper trunk")
    middle_z = above - long("Upper trunk") - rows["Middle trunk"]["com_from_first_endpoint"] * long("Middle trunk")
    lower_z = -trunk + (1 - rows["Lower trunk"]["com_from_first_endpoint"]) * long("Lower trunk")
    # MIDG, the chin's end of the head, is taken to stand over the breast bone's notch by the neck's length.
    head_z = above + long("Head 2") - long("Head") + (1 - rows["Head"]["com_from_first_endpoint"]) * long("Head")
    upper, fore, hand = long("Upper arm"), long("Forearm"), long("Hand")
    grip = hand
    share = json.loads((REFERENCE / "segment_lengths.json").read_text())["drillis_contini_fraction_of_stature"]
    lengths = {
        "upper_arm_m": upper,
        "forearm_m": fore + grip,
        "trunk_m": trunk,
        "thigh_m": long("Thigh"),
        "shank_m": long("Shank"),
        "ankle_m": share["ankle_height"] * stature,
        "half_shoulders_m": 0.5 * SHOULDER_JOINT_SHARE * share["shoulder_width"] * stature,
        "half_hips_m": 0.25 * share["hip_width"] * stature,
    }
    lumbar = (1 - LUMBAR_SHARE) * trunk
    parts = {
        "torso": joined(
            Lump(kg["upper"], upper_z, slim("Upper trunk")),
            Lump(kg["middle"], middle_z, slim("Middle trunk")),
            Lump(kg["head"], head_z, slim("Head")),
        ),
        "pelvis": joined(Lump(kg["pelvis"], lower_z + lumbar, slim("Lower trunk"))),
        "upper_arm": joined(
            Lump(kg["upper_arm"], rows["Upper arm"]["com_from_first_endpoint"] * upper, slim("Upper arm"))
        ),
        "forearm": joined(
            Lump(kg["forearm"], rows["Forearm"]["com_from_first_endpoint"] * fore, slim("Forearm")),
            Lump(kg["hand"], fore + rows["Hand"]["com_from_first_endpoint"] * hand, slim("Hand")),
        ),
        "thigh": joined(Lump(kg["thigh"], -rows["Thigh"]["com_from_first_endpoint"] * long("Thigh"), slim("Thigh"))),
        "shank": joined(
            Lump(kg["shank"], -rows["Shank"]["com_from_first_endpoint"] * long("Shank"), slim("Shank")),
            Lump(kg["foot"], -long("Shank") - 0.5 * lengths["ankle_m"], slim("Foot")),
        ),
    }
    return lengths, parts


def hanging_pendulum(person: Person) -> tuple[float, float]:
    """Return (d, kappa) of the rigid hanging body, fore-aft: centre of mass below the grip (m), m d^2 / I_pivot."""
    reach = person.upper_arm_m + person.forearm_m
    lumbar = person.lumbar_m
    places: list[tuple[Part, float, int]] = [
        (person.torso, 0.0, 1),
        (person.pelvis, -lumbar, 1),
        (person.upper_arm, 0.0, 2),
        (person.forearm, person.upper_arm_m, 2),
        (person.thigh, -person.trunk_m, 2),
        (person.shank, -person.trunk_m - person.thigh_m, 2),
    ]
    mass = sum(part.mass_kg * n for part, _, n in places)
    below = [(part, reach - (z + part.z_m), n) for part, z, n in places]
    d = sum(part.mass_kg * n * away for part, away, n in below) / mass
    pivot = sum(n * (part.inertia_kg_m2[0] + part.mass_kg * away**2) for part, away, n in below)
    return d, mass * d**2 / pivot


def leaning_arm_rad(person: Person, grip_half_m: float) -> float:
    """Return how far each straight arm leans outwards to a grip that is wider than the shoulders."""
    return math.asin((grip_half_m - person.half_shoulders_m) / person.arm_m)
