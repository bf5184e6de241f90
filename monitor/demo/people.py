"""Invented people for the demo: none of them exists, and no number here was measured on anybody."""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.rig import STANDARD_GRAVITY_m_s2


@dataclass(frozen=True, slots=True)
class Person:
    """A person made up for the demo.

    Attributes
    ----------
    name : str
        An invented given name.
    mass_kg, stature_m : float
    kappa : float
        m d^2 / I about the hands for the fore-aft swing; near 0.84 for a stretched body (derived from published
        segment tables), 0.75 for a uniform rod, 1 for a point mass.
    com_share : float
        Distance from the hands to the centre of mass over the stature, near 0.58.
    arm_Hz, arm_damping : float
        Natural frequency and damping ratio of the body on its outstretched arms (invented).
    leg_Hz, leg_damping : float
        The same on its legs (invented).
    endurance_s : float
        How long the person could hang with its whole weight; sets the pace of fatigue (invented).
    breaths_per_min : float
    breath_mm : float
        Amplitude of the centre of mass in breathing.
    tremor_N : float
        Rms of the tremor force while fresh and hanging.
    left_share : float
        Share of the bar load in the left hand.
    """

    name: str
    mass_kg: float
    stature_m: float
    kappa: float = 0.84
    com_share: float = 0.585
    arm_Hz: float = 3.2
    arm_damping: float = 0.24
    leg_Hz: float = 2.9
    leg_damping: float = 0.5
    endurance_s: float = 60.0
    breaths_per_min: float = 15.0
    breath_mm: float = 1.0
    tremor_N: float = 1.2
    left_share: float = 0.5

    @property
    def weight_N(self) -> float:
        """Bodyweight at standard gravity, N."""
        return self.mass_kg * STANDARD_GRAVITY_m_s2

    @property
    def com_distance_m(self) -> float:
        """Distance from the hands to the centre of mass, m."""
        return self.com_share * self.stature_m

    @property
    def swing_Hz(self) -> float:
        """Small-angle frequency of the fore-aft swing: sqrt(kappa g / d) / 2 pi, Hz."""
        return math.sqrt(self.kappa * STANDARD_GRAVITY_m_s2 / self.com_distance_m) / (2 * math.pi)


INVENTED_PEOPLE: tuple[Person, ...] = (
    Person("Velka", mass_kg=63.4, stature_m=1.69, kappa=0.845, endurance_s=48.0, tremor_N=1.3, left_share=0.515),
    Person("Joro", mass_kg=78.9, stature_m=1.81, kappa=0.833, endurance_s=75.0, arm_Hz=3.0, breaths_per_min=13.5),
    Person("Tamsi", mass_kg=56.2, stature_m=1.62, kappa=0.852, endurance_s=40.0, arm_Hz=3.5, left_share=0.48),
    Person(
        "Orlo", mass_kg=88.3, stature_m=1.86, kappa=0.838, endurance_s=66.0, arm_Hz=2.9, tremor_N=1.5, left_share=0.49
    ),
)
"""The demo's people, in the order in which they come to the bar."""
