"""``hang-monitor zero``: a new zero of the empty rig."""

from __future__ import annotations

import datetime as dt
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from monitor.cli.procedure_source import procedure_folder, procedure_rig, require_one_source
from monitor.cli.terminal.error_reporting import reports_errors

if TYPE_CHECKING:
    from monitor.health.zero import ZeroReading


@reports_errors
def zero(
    port: str | None = typer.Option(None, help="Serial port of the converter board, as hang-monitor ports lists it."),
    virtual: bool = typer.Option(False, "--virtual", help="Practise on a virtual rig; kept only where --data says so."),
    rig: Path | None = typer.Option(None, help="Rig description; rig.toml of the data folder if left out."),
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
    seconds: float = typer.Option(10.0, help="How long the zero is read.", min=3.0, max=600.0),
    yes: bool = typer.Option(False, "--yes", help="Take the zero without asking, if the rig is empty and still."),
    as_json: bool = typer.Option(False, "--json", help="One JSON object instead of a table."),
    speed: float = typer.Option(1.0, help="With --virtual: times as fast as life.", min=0.1, max=60.0),
    seed: int = typer.Option(1, help="With --virtual: another number, other cells.", min=0),
) -> None:
    """Take a new zero of an empty, still rig: a new dated calibration; spans stay, nothing is overwritten."""
    from monitor.cli.terminal.procedure_screen import ProcedureScreen
    from monitor.demo.scripted_person import ScriptedPerson
    from monitor.procedures.zero import ZeroProcedure
    from monitor.station.sources import SourceConfig, open_source

    require_one_source(port, virtual)
    folder = procedure_folder(data, virtual)
    description = procedure_rig(folder, rig, virtual)
    person = ScriptedPerson(description, seed=seed) if virtual else None
    if person is not None:
        config = SourceConfig("virtual", virtual=person, calibration=person.calibration, speed=speed)
    else:
        config = SourceConfig("port", port=port or "", rig=description)
    with open_source(config, folder) as opened:
        procedure = ZeroProcedure(description, opened.calibration, seconds)
        ProcedureScreen(procedure, opened.source, automatic=True).run()
    reading = procedure.reading
    assert reading is not None
    _confirm(reading, yes, as_json)
    path: Path | None = None
    if folder is not None:
        saved = procedure.save(folder.root, folder.calibrations, dt.datetime.now(dt.UTC))
        path = saved.files["calibration"]
    if as_json:
        result = {"zero": reading.as_dict(), "calibration": str(path) if path else None}
        sys.stdout.write(json.dumps(result, allow_nan=False) + "\n")
    elif path is not None:
        sys.stdout.write(f"The new zero is in force: {path}\n")
    else:
        sys.stdout.write("A practice: nothing was saved.\n")


def _confirm(reading: ZeroReading, yes: bool, as_json: bool) -> None:
    """Show the proposed zero and ask for a yes.

    Raises
    ------
    ZeroNotTaken
        The answer is no, or nobody is there to ask.
    """
    from monitor.health.zero import ZeroNotTaken

    if not as_json:
        for name, shift in zip(reading.names, reading.shift_N, strict=True):
            sys.stdout.write(f"{name:>16}  moved by {shift:+8.2f} N since its last zero\n")
        for name in reading.unusual:
            sys.stdout.write(f"{name} moved unusually far: look at the cell before you go on.\n")
        sys.stdout.flush()
    if yes:
        return
    if not sys.stdin.isatty():
        raise ZeroNotTaken(
            what="A zero is taken only when somebody confirms it, and nobody sits at this terminal.",
            means="The zero in force is unchanged.",
            do="Start the command in a terminal, or give --yes.",
        )
    if not typer.confirm("Take this as the new zero?"):
        raise ZeroNotTaken(
            what="The zero was not taken.",
            means="The one in force is unchanged.",
            do="Start the command again when the rig is empty and still.",
        )
