"""Corrected masses: a plan with other kilograms, for readings that were already taken."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from monitor.newtons.calibrating.plan import Mass, Plan, mass_of
from monitor.newtons.calibrating.refusals import BadPlan


def corrected_plan(plan: Plan, masses_kg: Mapping[str, float]) -> Plan:
    """Return the plan with other masses; its steps stay, and a name that contains the kilograms gets the new ones.

    A given uncertainty stays; where none was given it is that of an unweighed gym plate of the new mass.

    Parameters
    ----------
    masses_kg : mapping of str to float
        Kilograms by the mass's name; masses left out are unchanged.

    Raises
    ------
    BadPlan
        A mass that the plan does not know, or one that is none.
    """
    for name in masses_kg:
        if name not in plan.masses:
            raise BadPlan(
                what=f"The plan has no mass {name[:40]!r}.",
                means="Nothing was corrected; every reading is unchanged.",
                do=f"Correct one of {', '.join(plan.masses)}.",
            )
    masses: dict[str, Mass] = {}
    named: dict[str, str] = {}
    for name, mass in plan.masses.items():
        kg = masses_kg.get(name, mass.kg)
        named[name] = _renamed(name, mass.kg, kg)
        unweighed = math.isclose(mass.u_kg, mass_of(name, mass.kg).u_kg)
        masses[named[name]] = mass_of(named[name], kg, u_kg=None if unweighed else mass.u_kg)
    steps = tuple(replace(step, masses=tuple(named[name] for name in step.masses)) for step in plan.steps)
    return replace(plan, masses=masses, steps=steps)


def _renamed(name: str, kg: float, new_kg: float) -> str:
    tail = f"({kg:g} kg)"
    return f"{name.removesuffix(tail)}({new_kg:g} kg)" if name.endswith(tail) else name
