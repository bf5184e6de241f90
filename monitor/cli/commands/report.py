"""``hang-monitor report``: a person's report as PDF."""

from __future__ import annotations

import datetime as dt
from importlib.metadata import version
from pathlib import Path

import typer

from monitor.cli.coaching_access import DATA_HELP, PERSON_HELP
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.cli.terminal.text_io import write
from monitor.errors import BadInput


@reports_errors
def report(
    who: str = typer.Argument(help=PERSON_HELP),
    first: str | None = typer.Option(
        None, "--from", help="First day, as 2026-03-01; that of the first hold if left out.", metavar="DATE"
    ),
    last: str | None = typer.Option(None, "--to", help="Last day, included; today if left out.", metavar="DATE"),
    out: Path | None = typer.Option(
        None, help="File to write, written over if it is there; report-NAME-DATE.pdf if left out.", metavar="FILE.pdf"
    ),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Write a person's report: what was done, curves, progress, what comes next, and how sure all of it is."""
    from monitor.coaching.coaching_service import CoachingService
    from monitor.exports.hold_curve import hold_curve
    from monitor.reports.person_report import report_data
    from monitor.reports.typeset import typeset
    from monitor.store import DataFolder, open_store

    begin, end = _day(first), _day(last)
    now = dt.datetime.now(dt.UTC)
    folder = DataFolder.open(data)
    with open_store(folder.database) as store:
        coaching = CoachingService(store)
        person = coaching.find_person(who)
        content = report_data(
            coaching, person.uid, begin, end, now, lambda uid: hold_curve(store, folder, uid), version("hang-monitor")
        )
    made = typeset(content, now)
    path = out if out is not None else Path(f"report-{_file_word(person.name)}-{end or now.date()}.pdf")
    try:
        path.write_bytes(made)
    except OSError as error:
        raise BadInput(
            what=f"{path} cannot be written: {error.strerror or error}.",
            means="The report was not written; what is stored is untouched.",
            do="Give a place where you may write with --out.",
        ) from error
    write(f"The report of {person.name} is in {path}.")


def _file_word(name: str) -> str:
    """Return a name as part of a file name that means nothing to any system."""
    plain = "".join(c if c.isalnum() else "-" for c in name).strip("-")
    return plain[:40] or "person"


def _day(text: str | None) -> dt.date | None:
    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(
            what=f"{text!r} is no date.", means="No report was written.", do="Give dates as 2026-03-31."
        ) from error
