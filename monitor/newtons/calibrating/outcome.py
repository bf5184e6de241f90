"""The result of a calibration: the figures of each part, and the calibration that is saved."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from monitor.newtons.budget import u_rectangular
from monitor.newtons.calibrating.part_figures import PartFigures, part_figures
from monitor.newtons.calibrating.plan import Plan
from monitor.newtons.calibrating.plausibility import StepReading
from monitor.newtons.calibrating.refusals import SpanTooUncertain
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.rig import Rig

Array = NDArray[np.float64]
Verdict = Literal["pass", "fail", "unsure"]

CELL_ALLOWANCE = 5.0
"""A single cell may be this much less certain than the sum is required to be (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """A finished calibration.

    ``flags`` says in words what was not done or looks odd; ``change_rel`` how far each channel's span lies from the
    last calibration's.
    """

    calibration: Calibration
    rig: Rig
    plan: Plan
    parts: tuple[PartFigures, ...]
    flags: tuple[str, ...]
    at: str
    change_rel: Mapping[str, float]


def _refuse_uncertain(rig: Rig, plan: Plan, figures: PartFigures) -> None:
    """Refuse spans that are not worth saving, and say what would make them better."""
    u_cells = np.array([b.u for b in figures.budgets])
    worst = int(np.argmax(u_cells))
    too_loose = figures.u_rel_sum > plan.wanted_u_rel
    if not too_loose and u_cells[worst] <= CELL_ALLOWANCE * plan.wanted_u_rel:
        return
    u_rel = figures.u_rel_sum if too_loose else float(u_cells[worst])
    wanted = plan.wanted_u_rel * (1.0 if too_loose else CELL_ALLOWANCE)
    name = f"the {figures.part}" if too_loose else rig.names[figures.fit.index[worst]]
    main = max(figures.budgets[worst].contributions, key=lambda c: c.part)
    heaviest_kg = float(figures.fit.load_N.max()) / plan.gravity_m_s2
    needed_kg = math.ceil(heaviest_kg * u_rel / wanted)
    # Creep that does not stand out of the noise is noise.
    creep_is_noise = abs(figures.creep_rel[worst]) < 3 * figures.u_creep_rel[worst]
    cause = "noise" if main.name == "creep" and creep_is_noise else main.name
    do = {
        "masses": f"Weigh the plates on a scale that is right to {wanted / 2:.1%}, and give tolerance_kg.",
        "gravity": "Give latitude_deg in the plan, or gravity_m_s2 in rig.toml.",
        "places": "Place the loads more exactly (u_at_m), or hang them from one cell at a time.",
        "creep": f"Let the rig warm up for half an hour, hang at least {needed_kg} kg; a cell that creeps on is worn.",
    }.get(cause, f"Hang at least {needed_kg} kg, wait until it is still, read again.")
    raise SpanTooUncertain(
        what=f"With these loads the scale factor of {name} is known to {u_rel:.2%} only; {wanted:.2%} was wanted. "
        f"Most of it comes from {cause}.",
        means="Every load would be uncertain by as much, and nothing was saved.",
        do=f"{do} Or accept it: set wanted_u_rel = {math.ceil(u_rel * 1e3 + 0.1) / 1e3:g} in the plan.",
    )


def evaluate(
    rig: Rig,
    plan: Plan,
    taken: Sequence[StepReading],
    *,
    at: str,
    previous: Calibration | None = None,
    flags: Sequence[str] = (),
) -> Outcome:
    """Return the calibration that the readings give, with its figures.

    Parameters
    ----------
    taken : sequence of StepReading
    at : str
        ISO 8601 date and time of the calibration.
    previous : Calibration, optional
        Gives what this plan does not touch; in the order of the rig's channels.

    Raises
    ------
    FitNotPossible, SpanTooUncertain, BadCalibration
    """
    parts = tuple(part_figures(rig, plan, part, taken) for part in plan.parts)
    for figures in parts:
        _refuse_uncertain(rig, plan, figures)
    fresh: dict[int, ChannelCalibration] = {}
    n = len(rig.channels)
    covariance = np.zeros((2 * n, 2 * n))
    if previous is not None:
        covariance = previous.covariance_of(range(n))
    for figures in parts:
        fit = figures.fit
        k, columns = len(fit.index), list(fit.index)
        zero = [t.reading for t in taken if t.step.part == figures.part and not t.step.masses][-1]
        both = columns + [n + i for i in columns]
        own = fit.covariance + np.diag(np.concatenate([figures.creep_rel**2, np.zeros(k)]))
        covariance[both, :] = covariance[:, both] = 0.0
        covariance[np.ix_(both, both)] = own
        for c, column in enumerate(columns):
            wandered = u_rectangular(abs(float(figures.zero_drift_N[c] / fit.span_N_per_count[c])))
            fresh[column] = ChannelCalibration(
                channel=rig.names[column],
                zero_counts=float(zero.counts[column]),
                N_per_count=float(fit.span_N_per_count[c]),
                u_zero_counts=math.hypot(float(zero.u_counts[column]), wandered),
                u_rel_span=math.sqrt(float(own[c, c])),
                zero_at=at,
                span_at=at,
                bend_per_N=float(fit.bend_per_N[c]),
                u_curve_N=fit.scatter_N,
            )
    # Masses and gravity of one calibration are common to bar and platform.
    if len(parts) == 2:
        _common(covariance, plan, parts, n)
    known = [i for i in range(n) if i in fresh or previous is not None]
    channels = tuple(fresh[i] if i in fresh else previous.channels[i] for i in known)  # type: ignore[union-attr]
    bent = any(c.bend_per_N for c in channels)
    rows = known + [n + i for i in known] if bent else known
    matrix = covariance[np.ix_(rows, rows)]
    matrix = (matrix + matrix.T) / 2
    change = {
        c.channel: c.N_per_count / previous.channels[i].N_per_count - 1
        for i, c in fresh.items()
        if previous is not None
    }
    return Outcome(
        calibration=Calibration(
            channels,
            span_covariance=tuple(tuple(row) for row in matrix.tolist()),
            gravity_m_s2=plan.gravity_m_s2,
            temperature_degC=plan.temperature_degC,
        ),
        rig=rig,
        plan=plan,
        parts=parts,
        flags=(*flags, *_remarks(parts, change), *_untouched(rig, fresh, previous)),
        at=at,
        change_rel=change,
    )


def _common(covariance: Array, plan: Plan, parts: Sequence[PartFigures], n: int) -> None:
    """Add what bar and platform share: gravity wholly, and the masses that hung on both."""
    first, second = parts
    u_gravity2 = (plan.u_gravity_m_s2 / plan.gravity_m_s2) ** 2
    for (a, i), (b, j) in itertools.product(enumerate(first.fit.index), enumerate(second.fit.index)):
        effects = (  # one standard error of each mass that hung on both
            (u[a], second.fit.mass_effects[name][b])
            for name, u in first.fit.mass_effects.items()
            if name in second.fit.mass_effects
        )
        shared = u_gravity2 + math.fsum(float(one * other) for one, other in effects)
        covariance[i, j] += shared
        covariance[j, i] += shared


def _untouched(rig: Rig, fresh: Mapping[int, object], previous: Calibration | None) -> list[str]:
    """Return what was not calibrated, and where its numbers are from."""
    left = [i for i in range(len(rig.channels)) if i not in fresh]
    if not left:
        return []
    names = ", ".join(rig.names[i] for i in left)
    if previous is None:
        return [f"not calibrated: {names}; the rig needs them, calibrate them too"]
    return [f"as in the last calibration: {names}"]


def _remarks(parts: Sequence[PartFigures], change: Mapping[str, float]) -> list[str]:
    remarks = []
    for figures in parts:
        if not figures.creep_s:
            remarks.append(f"{figures.part}: creep was not watched")
        if figures.repeatability_N is None:
            remarks.append(f"{figures.part}: no load was repeated, so repeatability is not known")
        if figures.fit.bend_per_N.any():
            remarks.append(
                f"{figures.part}: the cells are bent; a quadratic is used (chance {figures.fit.bend_chance:.1g})"
            )
    remarks += [f"{name}: span {c:+.1%} from the last calibration" for name, c in change.items() if abs(c) > 0.02]
    return remarks
