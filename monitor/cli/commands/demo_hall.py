"""``hang-monitor demo-hall``: a small hall of invented people, so that every chart has something to show."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import typer

from monitor.cli.coaching_access import DATA_HELP
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.cli.terminal.text_io import write

demo_hall = typer.Typer(
    no_args_is_help=True,
    help="Six invented people with 60 days of invented hangs: put into a data folder, or taken out again.",
)


@demo_hall.command("load")
@reports_errors
def load(
    data: Path | None = typer.Option(None, help=DATA_HELP),
    seed: int = typer.Option(7, help="Another number, another history.", min=0),
) -> None:
    """Put the invented hall into a data folder, beside what is there. It takes a few seconds."""
    from monitor.demo.hall import load_hall
    from monitor.store import DataFolder, open_store

    folder = DataFolder.open(data)
    with open_store(folder.database) as store:
        count = load_hall(store, folder, dt.datetime.now(dt.UTC), seed)
    write(
        f"{count.people} invented people with {count.holds} holds are in {folder.root}; {count.journals} sessions have "
        "their load curve.\nTake them away with: hang-monitor demo-hall remove"
    )


@demo_hall.command("remove")
@reports_errors
def remove(data: Path | None = typer.Option(None, help=DATA_HELP)) -> None:
    """Take the invented hall away; everything else stays."""
    from monitor.demo.hall import remove_hall
    from monitor.store import DataFolder, open_store

    folder = DataFolder.open(data)
    with open_store(folder.database) as store:
        count = remove_hall(store, folder)
    write(f"{count.people} invented people with {count.holds} holds and {count.journals} load curves are gone.")
