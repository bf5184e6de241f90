"""The commands of ``hang-monitor``."""

from __future__ import annotations

import os
import sys
from typing import Any

import typer

from monitor.cli.commands import (
    analyse,
    backup,
    calibrate,
    check,
    demo_hall,
    doctor,
    export,
    flash,
    hold,
    install_service,
    passcode,
    person,
    person_transfer,
    ports,
    programme,
    progress,
    reanalyse,
    report,
    run,
    zero,
)

app = typer.Typer(
    name="hang-monitor",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="markdown",
    help="Times and weighs hangs from a bar: load cells under the bar and under the feet, a live page, every load "
    "curve kept. It measures and suggests; it does not diagnose.",
)


def _version(wanted: bool) -> None:
    if not wanted:
        return
    from importlib.metadata import PackageNotFoundError, version

    try:
        sys.stdout.write(f"hang-monitor {version('hang-monitor')}\n")
    except PackageNotFoundError:
        sys.stdout.write("hang-monitor (not installed)\n")
    raise typer.Exit


@app.callback()
def root(
    show_version: bool = typer.Option(
        False, "--version", help="Show the version and end.", callback=_version, is_eager=True
    ),
) -> None:
    """Take the options that precede a command."""


app.command("demo")(run.demo)
app.command("run")(run.run)
app.command("analyse")(analyse.analyse)
app.command("calibrate")(calibrate.calibrate)
app.command("check")(check.check)
app.command("zero")(zero.zero)
app.command("export")(export.export)
app.command("backup")(backup.backup)
app.command("restore")(backup.restore)
app.command("doctor")(doctor.doctor)
app.command("storage")(doctor.storage)
app.command("passcode")(passcode.passcode)
app.command("ports")(ports.ports)
app.command("reanalyse")(reanalyse.reanalyse)
app.command("flash")(flash.flash)
app.command("install-service")(install_service.install_service)
person.person.command("export")(person_transfer.export_person)
person.person.command("import")(person_transfer.import_person)
person.person.command("erase")(person_transfer.erase)
app.add_typer(person.person, name="person")
app.add_typer(programme.programme, name="programme")
app.command("prescribe")(programme.prescribe)
app.command("progress")(progress.progress)
app.add_typer(hold.hold, name="hold")
app.command("report")(report.report)
app.add_typer(demo_hall.demo_hall, name="demo-hall")


def main() -> None:
    """Run the command line."""
    # Before NumPy is imported. Arrays here are small: threads for linear algebra would mostly wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    commands = typer.main.get_command(app)
    _hide_types_of_flags(commands)
    commands()


def _hide_types_of_flags(command: Any) -> None:
    """Remove the type from the help of options without a value: it would look as if one were required."""
    for one in command.params:
        if getattr(one, "is_flag", False):
            one.metavar = ""
    for below in getattr(command, "commands", {}).values():
        _hide_types_of_flags(below)
