"""A deliberate swing of a person, measured by somebody else, and what follows for their pendulum."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SwingCalibration:
    """One deliberate swing of a person.

    Attributes
    ----------
    id : int
        0 until it is stored.
    after_s : float
        When the angle was measured, after the hold's onset.
    measured_deg, u_measured_deg : float
        The amplitude as it was measured, and its standard uncertainty.
    told_deg : float
        The amplitude from the cells.
    kappa, u_rel : float
        The constant that follows, and its relative standard uncertainty.
    """

    id: int
    person_uid: str
    hold_uid: str
    at_utc_ns: int
    after_s: float
    measured_deg: float
    u_measured_deg: float
    told_deg: float
    kappa: float
    u_rel: float
