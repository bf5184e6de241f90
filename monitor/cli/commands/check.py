"""``hang-monitor check``: whether the rig is in order."""

from __future__ import annotations

import datetime as dt
import json
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from monitor.cli.procedure_source import procedure_folder, procedure_rig, require_one_source
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.errors import BadInput

if TYPE_CHECKING:
    from monitor.store import DataFolder

SHORTEST_WATCH_S, LONGEST_WATCH_S = 10.0, 3600.0
SOMETHING_BAD = 1


@reports_errors
def check(
    port: str | None = typer.Option(None, help="Serial port of the converter board, as hang-monitor ports lists it."),
    virtual: bool = typer.Option(False, "--virtual", help="Check a virtual rig, with an invented person."),
    rig: Path | None = typer.Option(None, help="Rig description; rig.toml of the data folder if left out."),
    calibration: Path | None = typer.Option(None, help="Calibration; the data folder's newest if left out."),
    data: Path | None = typer.Option(None, help="Data folder, which keeps the result; your default one if left out."),
    watch: float = typer.Option(60.0, help="Seconds for which the empty rig is watched.", min=10.0, max=3600.0),
    drift: str | None = typer.Option(
        None, help="The same in minutes or hours, such as 30m: then the creep limits are applied.", metavar="TIME"
    ),
    heaviest: float = typer.Option(130.0, help="Mass of the heaviest person who may use the rig, kg.", min=20, max=300),
    empty_only: bool = typer.Option(False, "--empty-only", help="Nobody at the rig: only what an empty one shows."),
    as_json: bool = typer.Option(False, "--json", help="The result as one JSON object."),
    speed: float = typer.Option(1.0, help="With --virtual: times as fast as life.", min=0.1, max=60.0),
    seed: int = typer.Option(1, help="With --virtual: another number, other cells.", min=0),
) -> None:
    """Check a rig: board, rate, losses, noise, drift, each cell and its wires, corners, bar against platform, ratings.

    The check asks for one thing after the other and notices by itself when it is done. The result is saved in the data
    folder, as JSON and as a page to print. Exit status 1: something has to be mended.
    """
    from monitor.cli.terminal.procedure_screen import ProcedureScreen
    from monitor.demo.scripted_person import ScriptedPerson
    from monitor.health.checkup import Checkup
    from monitor.procedures.check import CheckProcedure
    from monitor.station.sources import SourceConfig, open_source

    require_one_source(port, virtual)
    if drift is not None:
        watch = _seconds(drift)
    folder = procedure_folder(data, virtual)
    description = procedure_rig(folder, rig, virtual)
    person = ScriptedPerson(description, seed=seed) if virtual else None
    if person is not None:
        config = SourceConfig("virtual", virtual=person, calibration=calibration or person.calibration, speed=speed)
    else:
        config = SourceConfig("port", port=port or "", rig=description, calibration=calibration)
    with open_source(config, folder) as opened:
        checkup = Checkup(
            description,
            opened.calibration,
            empty_s=watch,
            heaviest_kg=heaviest,
            with_person=not empty_only,
            largest_peak_N=_largest_peak_N(folder),
        )
        procedure = CheckProcedure(checkup) if person is None else CheckProcedure(checkup, do=person.begin)
        ProcedureScreen(procedure, opened.source, automatic=not sys.stdin.isatty()).run()
    report, files = procedure.report or {}, {}
    if folder is not None:
        saved = procedure.save(folder.root, folder.calibrations, dt.datetime.now(dt.UTC))
        files = {name: str(path) for name, path in saved.files.items()}
    if as_json:
        sys.stdout.write(json.dumps({**report, "files": files}, allow_nan=False) + "\n")
    else:
        _show(report, files)
    if report["outcome"] == "bad":
        raise typer.Exit(SOMETHING_BAD)


def _seconds(text: str) -> float:
    """Return a duration such as ``90s``, ``30m`` or ``1h`` in seconds.

    Raises
    ------
    BadInput
    """
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(s|m|min|h)?", text.strip())
    seconds = float(match[1]) * {"h": 3600.0, "m": 60.0, "min": 60.0}.get(match[2] or "s", 1.0) if match else 0.0
    if not 10 <= seconds <= LONGEST_WATCH_S:
        raise BadInput(
            what=f"{text!r} is not a time between 10 s and an hour.",
            means="Nothing was checked.",
            do="Write for example 30m (minutes) or 90s (seconds).",
        )
    return seconds


def _largest_peak_N(folder: DataFolder | None) -> float | None:
    if folder is None or not folder.database.exists():
        return None
    from monitor.health.ratings import HOLDS_CONSIDERED, largest_peak_N
    from monitor.store import open_store

    with open_store(folder.database) as store:
        return largest_peak_N(store.list_holds(HOLDS_CONSIDERED, 0))


def _show(report: dict[str, Any], files: dict[str, str]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table

    from monitor.health.check_page import SUMMARY, WORDS

    console = Console()
    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    for name in ("", "checked", "result"):
        table.add_column(name, overflow="fold")
    for verdict in report["verdicts"]:
        do = f"\n{verdict['do']}" if verdict["do"] else ""
        words = WORDS[verdict["outcome"]]
        table.add_row(
            words if verdict["outcome"] != "bad" else words.upper(), verdict["title"], f"{verdict['words']}{do}"
        )
    console.print(table)
    if report["zero_proposal"]:
        console.print("A new zero is proposed; nothing was changed. hang-monitor zero takes it when you say so.")
    console.print(f"[bold]{SUMMARY[report['outcome']]}[/bold]")
    for path in files.values():
        console.print(path, highlight=False, soft_wrap=True)
