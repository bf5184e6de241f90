"""``hang-monitor calibrate``: known masses to zero, span and their uncertainty, guided step by step."""

from __future__ import annotations

import datetime as dt
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from monitor.cli.terminal.error_reporting import reports_errors
from monitor.errors import BadInput, MonitorError

if TYPE_CHECKING:
    from monitor.newtons.calibrating.guide import GuidedCalibration
    from monitor.newtons.calibrating.outcome import Outcome
    from monitor.newtons.calibrating.plan import Plan
    from monitor.newtons.calibrating.recorded import Record
    from monitor.newtons.calibration import Calibration
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
    from monitor.newtons.calibrating.plan import check_whole, load_plan
    from monitor.store import DataFolder

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
    folder = DataFolder.open(data) if data is not None or not virtual else None
    description = _description(folder, rig, virtual)
    previous = None if fresh or folder is None else _previous(folder, description)
    if virtual and plan is None:
        from monitor.demo.practice import practice_plan

        steps = practice_plan(description)
    elif plan is None:
        from monitor.cli.terminal.prompts import ask_plan

        _need_a_person()
        steps = ask_plan(description, whole=previous is None)
    else:
        steps = load_plan(plan, description)
    if not virtual:
        check_whole(steps, description, known=previous is not None)
    if not auto and readings is None:
        _need_a_person()
    if readings is not None:
        machine, record = _recorded(description, steps, previous, readings)
    else:
        machine, record = _live(folder, description, steps, previous, port, auto, speed, seed)
    at = dt.datetime.now(dt.UTC)
    outcome = machine.finish(at.isoformat(timespec="seconds").replace("+00:00", "Z"))
    places = _save(folder, outcome, record, at, sheet)
    if as_json:
        from monitor.newtons.calibrating.summary import outcome_to_dict

        files = {name: str(path) for name, path in places.items()}
        sys.stdout.write(json.dumps({**outcome_to_dict(outcome), "files": files}, allow_nan=False) + "\n")
        return
    from monitor.cli.terminal.calibration_tables import show_outcome

    show_outcome(outcome, places)


def _description(folder: DataFolder | None, rig: Path | None, virtual: bool) -> Rig:
    from monitor.rig import load_rig

    if rig is None and virtual:
        from monitor.demo import demo_rig

        return demo_rig()
    if rig is None and folder is not None:
        return load_rig(folder.rig_file)
    return load_rig(rig if rig is not None else "rig.toml")


def _previous(folder: DataFolder, rig: Rig) -> Calibration | None:
    """Return the last calibration where there is one for all channels of the rig."""
    from monitor.newtons.calibration import BadCalibration, CalibrationNotFound, latest_calibration

    try:
        return latest_calibration(folder.calibrations, rig.names)
    except (CalibrationNotFound, BadCalibration):
        return None


def _need_a_person() -> None:
    if not sys.stdin.isatty():
        raise NobodyToAsk(
            what="A guided calibration asks a person to hang masses, and nobody sits at this terminal.",
            means="Nothing was measured.",
            do="Start it in a terminal, give --readings with --plan, or practise with --virtual --auto.",
        )


def _recorded(
    rig: Rig, plan: Plan, previous: Calibration | None, readings: Path
) -> tuple[GuidedCalibration, Record | None]:
    from monitor.newtons.calibrating.guide import GuidedCalibration
    from monitor.newtons.calibrating.recorded import carry_out, read_readings

    machine = GuidedCalibration(rig, plan, previous=previous)
    carry_out(machine, read_readings(readings, rig))
    return machine, None


def _live(
    folder: DataFolder | None,
    rig: Rig,
    plan: Plan,
    previous: Calibration | None,
    port: str | None,
    auto: bool,
    speed: float,
    seed: int,
) -> tuple[GuidedCalibration, Record]:
    from monitor.cli.terminal.guided_calibration import GuidedScreen
    from monitor.demo.practice import PracticeRig
    from monitor.newtons.calibrating.guide import GuidedCalibration
    from monitor.station.sources import SourceConfig, open_source

    machine = GuidedCalibration(rig, plan, previous=previous)
    practice = PracticeRig(rig, plan, seed=seed) if port is None else None
    config = SourceConfig(
        "port" if port is not None else "virtual",
        port=port or "",
        virtual=practice,
        rig=rig,
        is_calibrated=False,
        speed=speed,
    )
    with open_source(config, folder) as rig_source:
        screen = GuidedScreen(machine, rig_source.source, practice, auto=auto)
        screen.run()
    return machine, screen.record


def _save(
    folder: DataFolder | None, outcome: Outcome, record: Record | None, at: dt.datetime, sheet: Path | None
) -> dict[str, Path]:
    """Write calibration, raw readings and sheet; return where they lie."""
    from monitor.newtons.calibration import save_calibration
    from monitor.reports.calibration_sheet import write_sheet
    from monitor.rig import write_whole

    places: dict[str, Path] = {}
    if folder is not None:
        places["calibration"] = save_calibration(folder.calibrations, outcome.calibration, at)
        if record is not None:
            places["readings"] = places["calibration"].with_suffix(".readings.csv")
            write_whole(places["readings"], record.csv())
    place = sheet if sheet is not None else places["calibration"].with_suffix(".pdf") if places else None
    if place is not None:
        write_sheet(place, outcome)
        places["sheet"] = place
    return places
