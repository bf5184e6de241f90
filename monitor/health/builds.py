"""The builds that ``hardware/rigs`` describes, for a newcomer who has no rig description yet."""

from __future__ import annotations

import dataclasses

from monitor.rig import STANDARD_CHANNELS, Channel, Rig

BAR_CELL_N, FOOT_CELL_N = 3000.0, 2000.0
"""Ratings of the example parts (hardware/parts.csv)."""

_BAR = tuple(dataclasses.replace(c, rated_N=BAR_CELL_N) for c in STANDARD_CHANNELS if c.part == "bar")
_FEET = tuple(dataclasses.replace(c, rated_N=FOOT_CELL_N) for c in STANDARD_CHANNELS if c.part == "platform")
_RINGS = (Channel("bar_left", "bar", -0.25, 0.0, BAR_CELL_N), Channel("bar_right", "bar", 0.25, 0.0, BAR_CELL_N))

BUILDS: dict[str, Rig] = {
    "hangers": Rig("Bar on two hangers", _BAR),
    "hangers_and_platform": Rig("Bar and platform", (*_BAR, *_FEET)),
    "rings": Rig("Two rings", _RINGS),
    "platform": Rig("Platform", _FEET),
}
"""The mount's working load is left out: nobody knows it but who built the mount."""
