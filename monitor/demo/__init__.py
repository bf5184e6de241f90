"""Invented people on an invented rig, for demonstrations and tests."""

from monitor.demo.electronics import PERFECT, Electronics, Faults
from monitor.demo.people import INVENTED_PEOPLE, Person
from monitor.demo.playback import CurvePlayback, curve_conversions
from monitor.demo.scenario import Scenario
from monitor.demo.truth import HoldTruth
from monitor.demo.virtual_rig import DemoRig, calibrate, demo_rig

__all__ = [
    "INVENTED_PEOPLE",
    "PERFECT",
    "CurvePlayback",
    "DemoRig",
    "Electronics",
    "Faults",
    "HoldTruth",
    "Person",
    "Scenario",
    "calibrate",
    "curve_conversions",
    "demo_rig",
]
