"""The standard plan of loads for a rig's shape, from a few answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from monitor.rig import Rig


def plan_answers(
    rig: Rig,
    parts: Sequence[str],
    masses_kg: Sequence[float],
    tolerance_kg: float | None,
    latitude_deg: float | None,
    **more: float,
) -> dict[str, Any]:
    """Return the plan (as plain data) that fits a rig: all masses at every bar cell, and at five places of a platform.

    Parameters
    ----------
    tolerance_kg : float or None
        Half-width of every mass; None: that of unweighed gym plates.
    more : float
        Further keys of a plan, such as ``height_m``.
    """
    masses = [
        {"name": f"{letter} ({kg:g} kg)", "kg": kg} | ({} if tolerance_kg is None else {"tolerance_kg": tolerance_kg})
        for letter, kg in zip("ABCDEFGHIJKLMNOPQRSTUVWXYZ", masses_kg, strict=False)
    ]
    names = [m["name"] for m in masses]
    series: list[dict[str, Any]] = []
    if "bar" in parts:
        series += [{"part": "bar", "at": rig.names[i], "masses": names} for i in rig.bar_index]
    if "platform" in parts:
        cells = [rig.channels[i] for i in rig.platform_index]
        middle = [sum(c.x_m for c in cells) / len(cells), sum(c.y_m for c in cells) / len(cells)]
        places: list[list[float] | None] = [middle] if len(cells) > 1 else [None]
        if len(cells) > 1:
            # Half-way to each cell: directly above one cell the opposite one would lift off.
            places += [[round((middle[0] + c.x_m) / 2, 4), round((middle[1] + c.y_m) / 2, 4)] for c in cells]
        for place in places:
            series.append({"part": "platform", "masses": names} | ({} if place is None else {"at": place}))
    return {"masses": masses, "series": series, **more} | (
        {} if latitude_deg is None else {"latitude_deg": latitude_deg}
    )
