"""Questions for a plan, where none is given as a file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from monitor.errors import TellableError

if TYPE_CHECKING:
    from monitor.newtons.calibrating.plan import Plan
    from monitor.rig import Rig


def plan_answers(
    rig: Rig, parts: list[str], masses_kg: list[float], tolerance_kg: float | None, latitude_deg: float | None
) -> dict[str, Any]:
    """Return the plan (as plain data) that fits a rig: all masses at every bar cell, and at five places of a platform.

    Parameters
    ----------
    tolerance_kg : float or None
        Half-width of every mass; None: that of unweighed gym plates.
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
            # Half-way to each cell: right over a cell, the opposite one would lift off.
            places += [[round((middle[0] + c.x_m) / 2, 4), round((middle[1] + c.y_m) / 2, 4)] for c in cells]
        for place in places:
            series.append({"part": "platform", "masses": names} | ({} if place is None else {"at": place}))
    return {"masses": masses, "series": series} | ({} if latitude_deg is None else {"latitude_deg": latitude_deg})


def ask_plan(rig: Rig) -> Plan:
    """Ask for masses and place until they make a plan."""
    from monitor.newtons.calibrating.plan import plan_from_dict

    parts = ["bar"]
    if rig.has_platform:
        answer = typer.prompt("What is to be calibrated: bar, platform or both", default="both")
        parts = {"bar": ["bar"], "platform": ["platform"]}.get(answer.strip().lower(), ["bar", "platform"])
    while True:
        try:
            text = typer.prompt("Masses in kilograms, heaviest first, for example 20 20 15")
            masses = [float(word.replace(",", ".")) for word in text.replace(";", " ").split()]
            known = typer.prompt("Each known to plus or minus how many kilograms (empty: unweighed plates)", default="")
            where = typer.prompt("Latitude in degrees, for local gravity (empty: as in rig.toml)", default="")
            tolerance = float(known.replace(",", ".")) if known.strip() else None
            latitude = float(where.replace(",", ".")) if where.strip() else None
            return plan_from_dict(plan_answers(rig, parts, masses, tolerance, latitude), rig)
        except ValueError:
            typer.echo("That is not a number.")
        except TellableError as error:
            typer.echo(f"{error.what} {error.do}")
