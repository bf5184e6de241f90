"""Questions for a calibration plan when no file gives one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from monitor.errors import TellableError

if TYPE_CHECKING:
    from monitor.newtons.calibrating.plan import Plan
    from monitor.rig import Rig


def ask_plan(rig: Rig, *, whole: bool) -> Plan:
    """Ask for masses and place until they make a plan; for the ``whole`` rig where it was never calibrated."""
    from monitor.newtons.calibrating.plan import plan_from_dict
    from monitor.newtons.calibrating.standard_plan import plan_answers

    parts = [part for part in ("bar", "platform") if any(channel.part == part for channel in rig.channels)]
    if len(parts) > 1 and not whole:
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
