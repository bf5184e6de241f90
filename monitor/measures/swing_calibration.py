"""A person's own kappa, from one deliberate swing whose amplitude somebody has measured at a known time.

Loads tell a swing's beat; the angle follows from it by ``kappa = m d^2 / I_pivot``, which nobody can weigh. Timing the
swing does not tell it either: ``omega^2 = m g d / I`` gives ``kappa = omega^2 d / g``, and the distance d from the bar
to the centre of mass of a hanging person is known no better than kappa is. An angle can be measured: with a phone
along the body at a turning point, or from how far apart the turning points of the toes are. What the beat is then over
what it would be for kappa = 1 is the person's own kappa, compliance of arms and shoulders included.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from monitor.errors import BadInput
from monitor.measures.swing import ANYBODY, KAPPA, Pendulum, beat_from_amplitude
from monitor.records.hold_result import HoldResult

LEAST_DELIBERATE_DEG = 4.0
"""A smaller swing is measured no better by hand than kappa is known anyway (1 cm of 0.3 m: 7 % of kappa)."""

MOST_DELIBERATE_DEG = 40.0
"""A larger swing is dangerous, and the expansion of the pivot force no longer holds (docs/measurement.md)."""

U_ANGLE_DEG = 0.5
"""Standard uncertainty of an angle read from a phone held along the body (common practice, no source)."""

U_REACH_M, U_LENGTH_M = 0.015, 0.02
"""Standard uncertainties of a tape on the floor and of one along the body (common practice, no source)."""

NEAR_S = 0.6
"""The amplitude nearest to the measured time counts if it lies so near (common practice, no source)."""

BELIEVED_REL = 0.15
"""A kappa that is farther from anybody's is no body's: angle, time or person are wrong (common practice, no
source)."""

U_DAY_REL = 0.01
"""What a posture changes of kappa from hang to hang (common practice, no source)."""


class SwingNotUsable(BadInput):
    """A hold and an angle from which no kappa follows."""

    code = "swing-not-usable"


@dataclass(frozen=True, slots=True)
class MeasuredAngle:
    """A swing's amplitude as somebody measured it, and its standard uncertainty (degrees)."""

    degrees: float
    u_degrees: float = U_ANGLE_DEG


@dataclass(frozen=True, slots=True)
class OwnKappa:
    """A kappa from one deliberate swing: its relative standard uncertainty, and the angle by the cells."""

    kappa: float
    u_rel: float
    cells_deg: float


def angle_from_reach(
    reach_m: float, length_m: float, u_reach_m: float = U_REACH_M, u_length_m: float = U_LENGTH_M
) -> MeasuredAngle:
    """Return the amplitude of a swing whose turning points lie ``reach_m`` apart, ``length_m`` below the bar.

    ``theta = asin(reach / (2 length))`` for a body that does not bend; the law of propagation gives the uncertainty.

    Raises
    ------
    SwingNotUsable
        Lengths of no hanging person.
    """
    if not 0.3 <= length_m <= 3.5 or not 0.0 < reach_m < 2 * length_m * math.sin(math.radians(MOST_DELIBERATE_DEG)):
        raise SwingNotUsable(
            what=f"Turning points {reach_m:g} m apart at {length_m:g} m below the bar are no swing of a person.",
            means="Nothing was saved.",
            do="Measure between both turning points of the toes along the floor, and from the bar to the toes.",
        )
    sine = reach_m / (2 * length_m)
    u_sine = sine * math.hypot(u_reach_m / reach_m, u_length_m / length_m)
    return MeasuredAngle(math.degrees(math.asin(sine)), math.degrees(u_sine / math.sqrt(1 - sine**2)))


def own_kappa(hold: HoldResult, after_s: float, angle: MeasuredAngle) -> OwnKappa:
    """Return the kappa with which a hold's beat gives the angle that was measured ``after_s`` after its onset.

    ``kappa = beat / (theta^2 (1 - 5/24 theta^2))``, so ``u(kappa) / kappa`` is twice that of the measured angle, and
    twice that of the course's (its own kappa's share taken off).

    Raises
    ------
    SwingNotUsable
        There is no swing at that time, it is too small, or it does not fit the angle.
    """
    if not LEAST_DELIBERATE_DEG <= angle.degrees <= MOST_DELIBERATE_DEG or angle.u_degrees <= 0:
        raise _not_usable(
            f"An amplitude of {angle.degrees:g} degrees is outside {LEAST_DELIBERATE_DEG:g} to "
            f"{MOST_DELIBERATE_DEG:g} degrees, or its uncertainty is not above nothing."
        )
    swing, at_s = hold.swing, hold.onset_s + after_s
    rows = [] if swing is None else [row for row in swing.course if row[1] is not None and abs(row[0] - at_s) <= NEAR_S]
    if swing is None or not rows:
        raise _not_usable(f"The hold has no amplitude of a swing at {after_s:.1f} s after its onset.")
    _, cells_deg, u_cells_deg = min(rows, key=lambda row: abs(row[0] - at_s))
    assert cells_deg is not None
    assert u_cells_deg is not None
    used = Pendulum(swing.kappa, swing.kappa_u / swing.kappa) if swing.kappa and swing.kappa_u else ANYBODY
    u_course_deg = math.sqrt(max(0.0, u_cells_deg**2 - (0.5 * used.u_rel * cells_deg) ** 2))
    beat_by_cells, beat_by_angle = (
        float(beat_from_amplitude(math.radians(deg), k)) for deg, k in ((cells_deg, used.kappa), (angle.degrees, 1.0))
    )
    kappa = beat_by_cells / beat_by_angle
    if abs(kappa / KAPPA - 1) > BELIEVED_REL:
        raise _not_usable(
            f"The cells tell {cells_deg:.1f} degrees at that time, {angle.degrees:.1f} were measured: "
            f"that would be a kappa of {kappa:.2f}."
        )
    u_rel = 2 * math.hypot(angle.u_degrees / angle.degrees, u_course_deg / cells_deg)
    return OwnKappa(kappa, math.hypot(u_rel, U_DAY_REL), cells_deg)


def pendulum_of(swings: Iterable[tuple[float, float]], before: Pendulum = ANYBODY) -> Pendulum:
    """Return a person's pendulum from what is known of anybody and (kappa, relative uncertainty) of their swings.

    The mean weighted by the inverse variances (independent readings); never surer than ``U_DAY_REL``.
    """
    every = [(before.kappa, before.u_rel * before.kappa), *((kappa, u_rel * kappa) for kappa, u_rel in swings)]
    weights = [1.0 / u**2 for _, u in every]
    kappa = sum(weight * one for weight, (one, _) in zip(weights, every, strict=True)) / sum(weights)
    return Pendulum(kappa, max(U_DAY_REL, 1.0 / math.sqrt(sum(weights)) / kappa))


def _not_usable(what: str) -> SwingNotUsable:
    return SwingNotUsable(
        what=what,
        means="No kappa was saved; swings are computed as before.",
        do="Swing by 8 to 15 degrees, arms and body straight, for ten seconds; measure the turning points, "
        "and give the time after the onset at which you did.",
    )
