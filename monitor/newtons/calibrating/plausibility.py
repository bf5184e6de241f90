"""Plausibility of a reading: whether the mass moved the right cell, the right way, by the right amount."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.newtons.calibrating.averaging import Reading
from monitor.newtons.calibrating.plan import Plan, Step
from monitor.newtons.calibrating.refusals import MassInPounds, MassMovesNothing, MassNotAsGiven, SignFlips
from monitor.newtons.calibration import Calibration
from monitor.rig import Rig

KG_PER_LB = 0.45359237
"""The international pound, exact."""

SURE = 20.0
"""A load must move its cell by at least so many standard uncertainties, as in ``two_point_fit`` (common practice, no
source)."""

POUNDS_WITHIN, AS_GIVEN_WITHIN = 0.05, 0.15
"""Relative tolerances of the ratio to a pound, and of a mass compared with the others (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class StepReading:
    """A step and its reading."""

    step: Step
    reading: Reading


def _cells(rig: Rig, step: Step) -> list[int]:
    return list(rig.bar_index if step.part == "bar" else rig.platform_index)


def _names(masses: tuple[str, ...]) -> str:
    return " + ".join(masses)


def check_reading(
    rig: Rig, plan: Plan, before: list[StepReading], now: StepReading, previous: Calibration | None
) -> None:
    """Refuse a reading that makes no sense next to those before it.

    Parameters
    ----------
    rig, plan : Rig, Plan
    before : list of StepReading
        All readings so far, in order.
    now : StepReading
    previous : Calibration or None
        The last calibration, in the order of the rig's channels.

    Raises
    ------
    MassMovesNothing, SignFlips, MassInPounds, MassNotAsGiven
    """
    step = now.step
    zeros = [t for t in before if not t.step.masses]
    if not step.masses or not zeros:
        return
    moved = now.reading.counts - zeros[-1].reading.counts
    u_moved = np.hypot(now.reading.u_counts, zeros[-1].reading.u_counts)
    cells = _cells(rig, step)
    _feels(rig, step, cells, moved, u_moved)
    if step.place.cell and previous is not None:
        cell = rig.names.index(step.place.cell)
        if moved[cell] * previous.channels[cell].N_per_count < 0:
            raise _flipped(rig.names[cell], "its last calibration says the opposite")
    # The effect of the newest plates, compared with that of others at the same place.
    rising = [t for t in (*before, now) if t.step.place == step.place and t.step.part == step.part]
    direction = moved[cells] / np.linalg.norm(moved[cells])
    steps: list[tuple[tuple[str, ...], float]] = []
    last: NDArray[np.float64] = zeros[-1].reading.counts
    last_masses: tuple[str, ...] = ()
    for reading in rising:
        if not reading.step.masses:
            last, last_masses = reading.reading.counts, ()
            continue
        if reading.step.direction == "rising":
            added = tuple(m for m in reading.step.masses if m not in last_masses)
            answer = float(direction @ (reading.reading.counts - last)[cells])
            known_N = plan.load_N(reading.step) * (1 - _kg(plan, last_masses) / _kg(plan, reading.step.masses))
            steps.append((added, answer / known_N))
        last, last_masses = reading.reading.counts, reading.step.masses
    if step.direction != "rising" or not steps:
        return
    newest, sensitivity = steps[-1]
    if sensitivity < 0:
        raise _flipped(step.place.cell or f"the {step.part}", f"{_names(newest)} lowers a reading that others raise")
    if len(steps) > 1:
        _compare(plan, newest, sensitivity / float(np.median([s for _, s in steps[:-1]])), steps[0][0])
    elif previous is not None:
        answer_N = float(moved[cells] @ [previous.channels[i].N_per_count for i in cells])
        ratio = answer_N / plan.load_N(step)
        if abs(ratio / KG_PER_LB - 1) < POUNDS_WITHIN:
            raise _pounds(plan, newest, ratio)


def _kg(plan: Plan, masses: tuple[str, ...]) -> float:
    return sum(plan.masses[m].kg for m in masses)


def _feels(rig: Rig, step: Step, cells: list[int], moved: NDArray[np.float64], u: NDArray[np.float64]) -> None:
    """Refuse a load that the cells at its place do not register."""
    expected = rig.names.index(step.place.cell) if step.place.cell else cells[int(np.argmax(np.abs(moved[cells])))]
    strongest = cells[int(np.argmax(np.abs(moved[cells])))]
    felt = abs(moved[expected]) >= SURE * u[expected] and abs(moved[expected]) >= 0.3 * abs(moved[strongest])
    if felt:
        return
    others = [i for i in range(len(moved)) if i != expected and np.isfinite(moved[i]) and abs(moved[i]) >= SURE * u[i]]
    instead = max(others, key=lambda i: abs(moved[i]) / u[i], default=None)
    where = step.place.cell or f"the {step.part}"
    raise MassMovesNothing(
        what=f"{_names(step.masses)} moves {where} by {moved[expected]:.0f} counts only, known to {u[expected]:.0f}.",
        means="A scale factor from it would be noise."
        if instead is None
        else f"{rig.names[instead]} moved instead, by {moved[instead]:.0f} counts: two cables are swapped, or the load "
        "hangs elsewhere.",
        do=f"Check that the load hangs on {where} alone and touches nothing, and that the cell's four wires are whole; "
        "then read again.",
    )


def _flipped(where: str, why: str) -> SignFlips:
    return SignFlips(
        what=f"The sign of {where} flips: {why}.",
        means="The cell is loaded the other way round, its signal wires are swapped, or the load was taken off.",
        do="Fix the wiring or the load and read again; if the cell was turned on purpose, remove the old calibration.",
    )


def _pounds(plan: Plan, masses: tuple[str, ...], ratio: float) -> MassInPounds:
    kg = _kg(plan, masses)
    return MassInPounds(
        what=f"{_names(masses)} is given as {kg:g} kg and moves the reading like {kg * ratio:.1f} kg.",
        means=f"{kg:g} lb are {kg * KG_PER_LB:.1f} kg: the number was in pounds. All loads would be wrong by 2.2.",
        do=f"Correct its mass to {kg * KG_PER_LB:.2f} kg; what was read stays.",
    )


def _compare(plan: Plan, newest: tuple[str, ...], ratio: float, first: tuple[str, ...]) -> None:
    """Refuse masses whose answers differ from the others' (``ratio`` is 1 where they agree)."""
    if abs(ratio / KG_PER_LB - 1) < POUNDS_WITHIN:
        raise _pounds(plan, newest, ratio)
    if abs(ratio * KG_PER_LB - 1) < POUNDS_WITHIN:
        raise _pounds(plan, first, 1 / ratio)
    u_rel = max(plan.masses[m].u_kg / plan.masses[m].kg for m in (*newest, *first))
    if abs(ratio - 1) > max(AS_GIVEN_WITHIN, 4 * u_rel):
        raise MassNotAsGiven(
            what=f"{_names(newest)} moves the reading by {ratio:.2f} of what its mass and the others lead to expect.",
            means="Its mass or another one is not as given, or part of it rests on something.",
            do="Weigh the plates and correct their masses, or see that they hang free and read again.",
        )
