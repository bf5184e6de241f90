"""The plan of a calibration: which known masses hang where, in which order."""

from __future__ import annotations

import math
import os
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from monitor.newtons.budget import u_rectangular
from monitor.newtons.calibrating.refusals import BadPlan, CellOverloaded
from monitor.newtons.gravity import HALF_RANGE_ON_EARTH_m_s2, U_NORMAL_GRAVITY_m_s2, normal_gravity
from monitor.rig import Part, Rig, STANDARD_GRAVITY_m_s2

AIR_kg_m3, CONVENTIONAL_DENSITY_kg_m3 = 1.2, 8000.0
"""Air and the density that conventional masses refer to (OIML D 28; from memory)."""

BUOYANCY = 1 - AIR_kg_m3 / CONVENTIONAL_DENSITY_kg_m3

DEFAULT_WANTED_u_rel = 5e-3
DEFAULT_TOLERANCE = 0.02
"""Half-width of an unweighed gym plate's mass, as a fraction (common practice, no source)."""

DEFAULT_PLACE_u_m = 0.005

Direction = Literal["zero", "rising", "falling"]


@dataclass(frozen=True, slots=True)
class Mass:
    """A known mass (kg, conventional) and its standard uncertainty."""

    name: str
    kg: float
    u_kg: float


@dataclass(frozen=True, slots=True)
class Place:
    """Where a load acts: ``x_m`` and ``y_m`` are None where nobody measured it, then only the sum counts.

    ``cell`` names the cell under (or above) it, empty for any other place.
    """

    label: str
    x_m: float | None = None
    y_m: float | None = None
    u_m: float = DEFAULT_PLACE_u_m
    cell: str = ""


ANYWHERE = Place("anywhere")


@dataclass(frozen=True, slots=True)
class Step:
    """One state of the rig to be read; without masses it is a zero.

    ``dwell_s`` is the shortest time to average; 0 leaves it to the reading.
    """

    number: int
    part: Part
    place: Place
    masses: tuple[str, ...] = ()
    direction: Direction = "zero"
    dwell_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be done, and what is known of masses and place.

    ``wanted_u_rel`` is the largest relative standard uncertainty of a span that is worth saving. ``grade`` and
    ``intervals`` choose the limits of OIML R 60 that the verdict compares with.
    """

    masses: Mapping[str, Mass]
    steps: tuple[Step, ...]
    gravity_m_s2: float = STANDARD_GRAVITY_m_s2
    u_gravity_m_s2: float = U_NORMAL_GRAVITY_m_s2
    temperature_degC: float | None = None
    wanted_u_rel: float = DEFAULT_WANTED_u_rel
    grade: str = "C"
    intervals: int = 1000
    gravity_from: str = "the rig description"

    def load_N(self, step: Step) -> float:
        """Return the force of a step's masses: m g, the air's buoyancy taken off."""
        return math.fsum(self.masses[name].kg for name in step.masses) * self.gravity_m_s2 * BUOYANCY

    def u_mass_N(self, name: str) -> float:
        """Return the standard uncertainty of one mass's force from the mass alone."""
        return self.masses[name].u_kg * self.gravity_m_s2 * BUOYANCY

    @property
    def parts(self) -> tuple[Part, ...]:
        """Return the parts that the plan loads, the bar first."""
        loaded = {s.part for s in self.steps if s.masses}
        both: tuple[Part, ...] = ("bar", "platform")
        return tuple(p for p in both if p in loaded)


def _bad(what: str, do: str) -> BadPlan:
    return BadPlan(what=what, means="Nothing was measured.", do=do)


def staircase(
    part: Part, place: Place, masses: Sequence[Sequence[str]], *, first: int = 1, dwell_s: float = 60.0
) -> list[Step]:
    """Return zero, masses hung one after the other, taken off in reverse order, zero.

    The first zero and the first load are held for ``dwell_s``: creep shows cleanly where no older load is still
    creeping, and what the zero drifts meanwhile is taken off it.
    """
    steps = [Step(first, part, place, dwell_s=dwell_s)]
    stacks = [tuple(name for group in masses[: n + 1] for name in group) for n in range(len(masses))]
    for stack in stacks:
        dwell = dwell_s if stack is stacks[0] else 0.0
        steps.append(Step(first + len(steps), part, place, stack, "rising", dwell))
    for stack in reversed(stacks[:-1]):
        steps.append(Step(first + len(steps), part, place, stack, "falling"))
    steps.append(Step(first + len(steps), part, place))
    return steps


def gravity_of(rig: Rig, latitude_deg: float | None = None, height_m: float = 0.0) -> tuple[float, float, str]:
    """Return gravity, its standard uncertainty, and where it is from: the latitude, the rig, or nobody's knowledge."""
    if latitude_deg is not None:
        from_place = f"latitude {latitude_deg:g}°, height {height_m:g} m"
        return normal_gravity(latitude_deg, height_m), U_NORMAL_GRAVITY_m_s2, from_place
    if rig.gravity_m_s2 != STANDARD_GRAVITY_m_s2:
        return rig.gravity_m_s2, U_NORMAL_GRAVITY_m_s2, "the rig description"
    return rig.gravity_m_s2, u_rectangular(HALF_RANGE_ON_EARTH_m_s2), "standard gravity, the place being unknown"


_PLAN_KEYS = {
    "latitude_deg",
    "height_m",
    "temperature_degC",
    "wanted_u_rel",
    "grade",
    "intervals",
    "dwell_s",
    "masses",
    "series",
}
_MASS_KEYS = {"name", "kg", "tolerance_kg", "u_kg"}
_SERIES_KEYS = {"part", "at", "u_at_m", "masses", "repeats"}


def _number(table: Mapping[str, Any], key: str, where: str, fallback: float | None = None) -> float:
    value = table.get(key, fallback)
    if not isinstance(value, (int, float)) or isinstance(value, bool) or not math.isfinite(value):
        raise _bad(f"{key} in {where} is {value!r}.", f"Write {key} as a plain number.")
    return float(value)


def _table(value: object, keys: set[str], where: str) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise _bad(f"{where} is no table.", "Compare with the example in docs/calibration.md.")
    for key in value:
        if key not in keys:
            raise _bad(f"{where} has an unknown key {key!r}.", f"Known keys: {', '.join(sorted(keys))}.")
    return value


def mass_of(name: str, kg: float, *, tolerance_kg: float | None = None, u_kg: float | None = None) -> Mass:
    """Return a mass; known to +- ``tolerance_kg``, or to a standard uncertainty, or like any gym plate.

    Raises
    ------
    BadPlan
    """
    if not (math.isfinite(kg) and kg > 0):
        raise _bad(f"The mass {name} is given as {kg:g} kg.", "Give kilograms above 0.")
    if u_kg is None:
        u_kg = u_rectangular(DEFAULT_TOLERANCE * kg if tolerance_kg is None else tolerance_kg)
    if not (math.isfinite(u_kg) and 0 < u_kg < kg):
        raise _bad(
            f"The mass {name} of {kg:g} kg is said to be known to {u_kg:g} kg.",
            "Give tolerance_kg (half-width) or u_kg (standard uncertainty) above 0 and below the mass itself.",
        )
    return Mass(name, kg, u_kg)


def place_of(rig: Rig, part: Part, at: object, u_m: float = DEFAULT_PLACE_u_m) -> Place:
    """Return a place from a cell's name, a pair ``[x_m, y_m]``, or nothing.

    Raises
    ------
    BadPlan
    """
    cells = [c for c in rig.channels if c.part == part]
    if not cells:
        raise _bad(f"The rig has no {part}.", "Calibrate the parts that rig.toml describes.")
    if not (math.isfinite(u_m) and u_m > 0):
        raise _bad(f"A place is said to be known to {u_m:g} m.", "Give u_at_m in metres above 0, for example 0.005.")
    if at is None:
        return Place("anywhere", cell=cells[0].name if len(cells) == 1 else "")
    for cell in cells:
        if at == cell.name:
            return Place(cell.name, cell.x_m, cell.y_m, u_m, cell.name)
    if isinstance(at, (list, tuple)) and len(at) == 2:
        x_m, y_m = (_number({"at": v}, "at", "a series") for v in at)
        return Place(f"({x_m:g}, {y_m:g}) m", x_m, y_m, u_m)
    names = ", ".join(c.name for c in cells)
    raise _bad(f"The {part} has no place {at!r}.", f"Give one of {names}, a pair [x_m, y_m], or leave it out.")


def plan_from_dict(data: object, rig: Rig) -> Plan:
    """Build a plan from plain data.

    Raises
    ------
    BadPlan, BadPlace, CellOverloaded
    """
    plan = _table(data, _PLAN_KEYS, "the plan")
    masses: dict[str, Mass] = {}
    for entry in plan.get("masses", []):
        table = _table(entry, _MASS_KEYS, "a mass")
        name = str(table.get("name", ""))
        if not name or name in masses:
            raise _bad(f"A mass is called {name!r}.", "Give every [[masses]] a name of its own.")
        known = {k: _number(table, k, name) for k in ("tolerance_kg", "u_kg") if k in table}
        masses[name] = mass_of(name, _number(table, "kg", name), **known)
    steps: list[Step] = []
    dwell_s = _number(plan, "dwell_s", "the plan", 60.0)
    for entry in plan.get("series", []):
        table = _table(entry, _SERIES_KEYS, "a series")
        part = table.get("part")
        if part not in ("bar", "platform"):
            raise _bad(f"The part of a series is {part!r}.", 'Write part = "bar" or part = "platform".')
        place = place_of(rig, part, table.get("at"), _number(table, "u_at_m", "a series", DEFAULT_PLACE_u_m))
        groups = [[g] if isinstance(g, str) else list(g) for g in table.get("masses", [])]
        used = [name for group in groups for name in group]
        for name in used:
            if name not in masses:
                raise _bad(f"A series hangs {name!r}, which is no mass of the plan.", "Add it under [[masses]].")
            if used.count(name) > 1:
                raise _bad(f"A series hangs {name} twice.", "Give each plate a name of its own.")
        if not groups:
            raise _bad("A series has no masses.", 'Write for example masses = ["A", "B"].')
        for _ in range(max(1, int(_number(table, "repeats", "a series", 1)))):
            more = staircase(part, place, groups, first=len(steps) + 1, dwell_s=dwell_s)
            # The zero that ends a series begins the next one of the same part.
            join = bool(steps) and steps[-1].part == part
            steps += staircase(part, place, groups, first=len(steps), dwell_s=dwell_s)[1:] if join else more
    latitude = _number(plan, "latitude_deg", "the plan") if "latitude_deg" in plan else None
    gravity, u_gravity, source = gravity_of(rig, latitude, _number(plan, "height_m", "the plan", 0.0))
    made = Plan(
        masses,
        tuple(steps),
        gravity,
        u_gravity,
        _number(plan, "temperature_degC", "the plan") if "temperature_degC" in plan else None,
        _number(plan, "wanted_u_rel", "the plan", DEFAULT_WANTED_u_rel),
        str(plan.get("grade", "C")),
        int(_number(plan, "intervals", "the plan", 1000)),
        source,
    )
    check_plan(made, rig)
    return made


def check_plan(plan: Plan, rig: Rig) -> None:
    """Refuse a plan that cannot give a span or would overload the rig, before anybody lifts a plate.

    Raises
    ------
    BadPlan, CellOverloaded
    """
    if plan.grade not in ("A", "B", "C", "D") or plan.intervals < 100:
        raise _bad(
            f"There are no limits for grade {plan.grade!r} with {plan.intervals} intervals.",
            'Write grade = "C" (A to D) and intervals = 1000, or more for better cells.',
        )
    if not 0 < plan.wanted_u_rel < 0.1:
        raise _bad(f"wanted_u_rel is {plan.wanted_u_rel:g}.", "Write a fraction: 0.005 is half a percent.")
    if not plan.parts:
        raise _bad("The plan hangs nothing.", "Add at least one [[series]] with known masses.")
    for part in plan.parts:
        cells = [c for c in rig.channels if c.part == part]
        loads = {step.masses for step in plan.steps if step.part == part and step.masses}
        if len(loads) < 2:
            raise _bad(
                f"The {part} gets one load only.",
                "Plan at least two different loads: a single one cannot show that a mass or a cell is wrong.",
            )
        heaviest = max(plan.load_N(step) for step in plan.steps if step.part == part)
        limits = [c.rated_N for c in cells if c.rated_N is not None]
        alone = any(step.place.cell for step in plan.steps if step.part == part)
        limit = min(limits, default=math.inf) if alone else sum(limits) if len(limits) == len(cells) else math.inf
        if part == "bar" and rig.mount_rating_N is not None:
            limit = min(limit, rig.mount_rating_N)
        if heaviest > limit:
            raise CellOverloaded(
                what=f"The plan loads the {part} with {heaviest:.0f} N; it is rated for {limit:.0f} N.",
                means="A cell or its mount could be damaged, and something could fall.",
                do="Plan less mass, or spread it; nothing was hung yet.",
            )


def check_whole(plan: Plan, rig: Rig, *, known: bool) -> None:
    """Refuse a plan that leaves a part out of which nothing is known: the monitor could not use its result.

    Parameters
    ----------
    known : bool
        Whether an earlier calibration of all channels stands in for what the plan leaves out.

    Raises
    ------
    BadPlan
    """
    there = {channel.part for channel in rig.channels}
    left_out = [part for part in ("bar", "platform") if part in there and part not in plan.parts]
    if left_out and not known:
        raise BadPlan(
            what=f"The plan leaves out the {left_out[0]}, and no earlier calibration stands in for it.",
            means="Half a calibration could not be used; nothing was begun.",
            do="Calibrate bar and platform in one go.",
        )


def load_plan(path: str | os.PathLike[str], rig: Rig) -> Plan:
    """Read a plan (TOML).

    Raises
    ------
    BadPlan, BadPlace, CellOverloaded
    """
    try:
        data = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise _bad(f"The plan {path} cannot be read: {error.strerror}.", "Give the path of a plan file.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise _bad(f"{path} is not valid TOML: {error}.", "Fix the line that is named.") from error
    return plan_from_dict(data, rig)
