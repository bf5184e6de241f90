"""``hang-monitor person export, import, erase``: everything of a person moved, or erased."""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import sys
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from monitor.cli.coaching_access import DATA_HELP, PERSON_HELP
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.cli.terminal.text_io import write
from monitor.errors import BadInput

if TYPE_CHECKING:
    from monitor.store import DataFolder, Store

PROGRAM = "hang-monitor"


@contextlib.contextmanager
def _opened(data: Path | None) -> Iterator[tuple[Store, DataFolder]]:
    from monitor.store import DataFolder, open_store

    folder = DataFolder.open(data)
    with open_store(folder.database) as store:
        yield store, folder


@reports_errors
def export_person(
    who: str = typer.Argument(help=PERSON_HELP),
    out: Path = typer.Option(help="File to write, written over if it is there.", metavar="FILE.zip"),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Write everything stored about a person into one file: for a move, or for people who want to see their data."""
    from monitor.coaching.coaching_service import CoachingService
    from monitor.exports.archive import write_archive

    with _opened(data) as (store, folder):
        uid = CoachingService(store).find_person(who).uid
        made = write_archive(store, folder, uid, out, version=version(PROGRAM), made_at=dt.datetime.now(dt.UTC))
        store.audit.add("command line", "export of a person", uid)
    missing = f" {made.missing_journals} sessions no longer have a journal." if made.missing_journals else ""
    write(f"{made.name}: {made.holds} holds and {made.journals} journals are in {out}.{missing}")


@reports_errors
def import_person(
    file: Path = typer.Argument(help="An archive as hang-monitor person export writes it."),
    although_erased: bool = typer.Option(
        False, "--although-erased", help="Bring back somebody who was erased here, at their wish."
    ),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Import a person from an archive with everything; nothing is changed unless all of it fits."""
    from monitor.exports.archive import import_archive

    with _opened(data) as (store, folder):
        made = import_archive(store, folder, file, although_erased=although_erased)
    write(f"{made.name} is here now ({made.person_uid}): {made.holds} holds and {made.journals} journals.")


@reports_errors
def erase(
    who: str = typer.Argument(help=PERSON_HELP),
    receipt: Path | None = typer.Option(None, help="File for the receipt (JSON); the terminal if left out."),
    yes: bool = typer.Option(False, "--yes", help="Do not ask."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Erase a person everywhere, load curves included. This cannot be undone; export first what you still need."""
    from monitor.coaching.coaching_service import CoachingService
    from monitor.exports.erasure import erase_everywhere

    # The running monitor may have a journal of theirs open: its page erases, see /api/jobs/erase.
    with _opened(data) as (store, folder), folder.held():
        one = CoachingService(store).find_person(who)
        if not yes:
            if not sys.stdin.isatty():
                raise BadInput(
                    what="Nobody is at the terminal to confirm.",
                    means="Nothing was erased.",
                    do="Give --yes if the person is to be erased for good.",
                )
            typer.confirm(f"Erase {one.name} ({one.uid}) for good, load curves included?", abort=True)
        made = erase_everywhere(store, folder, one.uid, version=version(PROGRAM))
    text = json.dumps(made, indent=2, ensure_ascii=False) + "\n"
    if receipt is None:
        write(text)
        return
    try:
        receipt.write_text(text, encoding="utf-8")
    except OSError as error:
        write(text)
        raise BadInput(
            what=f"{receipt} cannot be written: {error.strerror or error}.",
            means="The person is erased; the receipt is printed above.",
            do="Copy it from there.",
        ) from error
    write(f"Erased. The receipt is in {receipt}.")
