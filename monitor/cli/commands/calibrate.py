"""``hang-monitor calibrate``: known masses to zero, span and their uncertainty, guided step by step."""

from __future__ import annotations

import datetime as dt
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from monitor.cli.procedure_source import procedure_folder, procedure_rig
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.errors import BadInput, MonitorError

if TYPE_CHECKING:
    from monitor.newtons.calibrating.plan import Plan
    from monitor.newtons.calibration import Calibration
    from monitor.procedures.calibration import CalibrationProcedure
    from monitor.rig import Rig
    from monitor.store import DataFolder


class NobodyToAsk(MonitorError):
    """A person is needed at the terminal, and there is none."""

    code = "nobody-to-ask"


@reports_errors
def calibrate(
    port: str | None = typer.Option(None, help="Serial port of the converter board, as hang-monitor ports lists it."),
    virtual: bool = typer.Option(False, "--virtual", help="Practise on a virtual rig with invented plates."),
    readings: Path | None = typer.Option(None, help="Recorded readings (CSV) instead of a port.", metavar="FILE"),
    plan: Path | None = typer.Option(None, help="Plan of the loads (TOML); asked for if left out.", metavar="FILE"),
    rig: Path | None = typer.Option(None, help="Rig description; rig.toml of the data folder if left out."),
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
    fresh: bool = typer.Option(False, "--fresh", help="Leave the last calibration aside."),
    sheet: Path | None = typer.Option(None, help="Where the calibration sheet (PDF) goes; beside the calibration."),
    as_json: bool = typer.Option(False, "--json", help="One JSON object instead of tables."),
    auto: bool = typer.Option(False, "--auto", help="With --virtual: invented hands hang the plates, nobody is asked."),
    speed: float = typer.Option(1.0, help="With --virtual: times as fast as life.", min=0.1, max=60.0),
    seed: int = typer.Option(1, help="With --virtual: another number, other cells and plates.", min=0),
) -> None:
    """Calibrate a rig with known masses: warm-up, zero, loads rising and falling, zero; then fit, verdict and sheet.

    Nothing is overwritten: the calibration gets a file of its own, dated, with its raw readings and a sheet beside it.
    A practice on the virtual rig is saved only where --data says so.
    """
    from monitor.newtons.calibrating.plan import check_whole
    from monitor.newtons.calibrating.raw_readings import read_readings
    from monitor.procedures.calibration import CalibrationProcedure

    if sum((port is not None, virtual, readings is not None)) != 1:
        raise BadInput(
            what="It is not clear where readings are to come from.",
            means="Nothing was measured.",
            do="Give one of --port (hang-monitor ports lists them), --virtual, or --readings.",
        )
    if readings is not None and plan is None:
        raise BadInput(
            what="Recorded readings need the plan that they were taken by.",
            means="It is not known which mass belongs to which reading.",
            do="Give --plan as well; docs/calibration.md shows one.",
        )
    folder = procedure_folder(data, virtual)
    description = procedure_rig(folder, rig, virtual)
    previous = None if fresh or folder is None else _previous(folder, description)
    loads = _plan(description, plan, virtual, whole=previous is None)
    if not virtual:
        check_whole(loads, description, known=previous is not None)
    if readings is not None:
        procedure = CalibrationProcedure(description, loads, previous)
        procedure.carry_out(read_readings(readings, description))
    else:
        if not auto:
            _need_a_person()
        procedure = _guided(description, loads, previous, folder, port, auto=auto, speed=speed, seed=seed)
    files = save(procedure, folder, dt.datetime.now(dt.UTC), sheet)
    outcome = procedure.outcome
    assert outcome is not None
    if as_json:
        from monitor.newtons.calibrating.summary import outcome_to_dict

        places = {name: str(path) for name, path in files.items()}
        sys.stdout.write(json.dumps({**outcome_to_dict(outcome), "files": places}, allow_nan=False) + "\n")
        return
    from monitor.cli.terminal.calibration_tables import show_outcome

    show_outcome(outcome, files)


def _previous(folder: DataFolder, rig: Rig) -> Calibration | None:
    """Return the last calibration where there is one for all channels of the rig."""
    from monitor.newtons.calibration import BadCalibration, CalibrationNotFound, latest_calibration

    try:
        return latest_calibration(folder.calibrations, rig.names)
    except (CalibrationNotFound, BadCalibration):
        return None


def _plan(rig: Rig, file: Path | None, virtual: bool, *, whole: bool) -> Plan:
    """Return the plan of the loads: of a file, a practice's own, or asked for at the terminal."""
    from monitor.newtons.calibrating.plan import load_plan

    if file is not None:
        return load_plan(file, rig)
    if virtual:
        from monitor.demo.practice import practice_plan

        return practice_plan(rig)
    from monitor.cli.terminal.prompts import ask_plan

    _need_a_person()
    return ask_plan(rig, whole=whole)


def _need_a_person() -> None:
    if not sys.stdin.isatty():
        raise NobodyToAsk(
            what="A guided calibration asks a person to hang masses, and nobody sits at this terminal.",
            means="Nothing was measured.",
            do="Start it in a terminal, give --readings with --plan, or practise with --virtual --auto.",
        )


def _guided(
    rig: Rig,
    plan: Plan,
    previous: Calibration | None,
    folder: DataFolder | None,
    port: str | None,
    *,
    auto: bool,
    speed: float,
    seed: int,
) -> CalibrationProcedure:
    """Lead a person through the plan at a real rig, or at a virtual one where no port is given."""
    from monitor.cli.terminal.procedure_screen import ProcedureScreen
    from monitor.demo.practice import PracticeRig
    from monitor.procedures.calibration import CalibrationProcedure
    from monitor.station.sources import SourceConfig, open_source

    if port is not None:
        procedure = CalibrationProcedure(rig, plan, previous)
        config = SourceConfig("port", port=port, rig=rig, is_calibrated=False)
    else:
        practice = PracticeRig(rig, plan, seed=seed)
        procedure = CalibrationProcedure(rig, plan, previous, place=practice.place)
        config = SourceConfig("virtual", virtual=practice, is_calibrated=False, speed=speed)
    with open_source(config, folder) as opened:
        ProcedureScreen(procedure, opened.source, automatic=auto, silence_s=None).run()
    return procedure


def save(
    procedure: CalibrationProcedure, folder: DataFolder | None, at: dt.datetime, sheet: Path | None
) -> dict[str, Path]:
    """Write calibration, raw readings and sheet; return their files.

    Raises
    ------
    TellableError
        The calibration was refused as a whole, or cannot be written.
    """
    from monitor.procedures.procedure import not_ready
    from monitor.reports.calibration_sheet import write_sheet

    files = dict(procedure.save(folder.root, folder.calibrations, at).files) if folder is not None else {}
    outcome = procedure.outcome
    if outcome is None:
        raise procedure.state().refusal or not_ready()
    place = sheet if sheet is not None else files["calibration"].with_suffix(".pdf") if files else None
    if place is not None:
        write_sheet(place, outcome)
        files["sheet"] = place
    return files
