"""The rig as a screen needs it."""

from __future__ import annotations

from monitor.dashboard.interfaces import Channel, RigView
from monitor.rig import Rig


def rig_view(rig: Rig | None) -> RigView:
    """Return the rig as a screen needs it; one without cells where none was chosen yet."""
    if rig is None:
        return {
            "name": "Hang monitor",
            "channels": [],
            "has_platform": False,
            "bar_cells": 0,
            "nominal_rate_Hz": 0.0,
            "invented": False,
        }
    channels: list[Channel] = [{"name": c.name, "part": c.part} for c in rig.channels]
    return {
        "name": rig.name,
        "channels": channels,
        "has_platform": rig.has_platform,
        "bar_cells": len(rig.bar_index),
        "nominal_rate_Hz": rig.nominal_rate_Hz,
        "invented": rig.invented,
        "gravity_m_s2": rig.gravity_m_s2,
    }
