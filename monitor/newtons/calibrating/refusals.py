"""What a calibration refuses."""

from __future__ import annotations

from monitor.errors import BadInput, MonitorError


class BadPlan(BadInput):
    """A plan of loads that cannot be carried out."""

    code = "bad-plan"


class BadReadings(BadInput):
    """Recorded readings that do not fit the plan."""

    code = "bad-readings"


class CellOverloaded(MonitorError):
    """The plan would load a cell or the mount beyond its rating."""

    code = "cell-overloaded"


class MassMovesNothing(MonitorError):
    """A mass was hung, and the cell that should feel it does not."""

    code = "mass-moves-nothing"


class MassInPounds(MonitorError):
    """A mass moves the reading as if it had been given in pounds."""

    code = "mass-in-pounds"


class MassNotAsGiven(MonitorError):
    """A mass does not fit the others."""

    code = "mass-not-as-given"


class SignFlips(MonitorError):
    """A cell answers the same kind of load once with more and once with less."""

    code = "sign-flips"


class NeverStill(MonitorError):
    """A reading did not become still."""

    code = "never-still"


class ConverterSaturated(MonitorError):
    """The converter is at the end of its range."""

    code = "converter-saturated"


class SpanTooUncertain(MonitorError):
    """The loads are too small, too few or too badly known for the wanted uncertainty."""

    code = "span-too-uncertain"


class CalibrationUnfinished(MonitorError):
    """A result was requested before the last reading."""

    code = "calibration-unfinished"
