"""``hang-monitor export``: the list of holds, or a hold's curve, for other programs."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import typer

from monitor.cli.terminal.error_reporting import reports_errors
from monitor.errors import BadInput

if TYPE_CHECKING:
    from monitor.exports.export_format import ExportFormat
    from monitor.store import DataFolder, Store


class NoSuchHold(BadInput):
    """An export asks for a hold that is not there."""

    code = "no-such-hold"


@reports_errors
def export(
    hold: str | None = typer.Option(None, help="A hold's uid, as the list has it: export its curve, not the list."),
    format_name: str = typer.Option(
        "csv", "--format", "--form", help="Format of the file; --formats lists them.", metavar="NAME"
    ),
    as_json: bool = typer.Option(False, "--json", help="The same as --format json."),
    formats: bool = typer.Option(False, "--formats", help="List the formats and what each can hold."),
    out: Path | None = typer.Option(None, help="File to write; the terminal if left out.", metavar="FILE"),
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
) -> None:
    """Export the list of holds, or one hold's load curve, for spreadsheets and other programs."""
    from monitor.exports.formats import FORMATS, exported_curve, format_named
    from monitor.store import DataFolder, open_store

    if formats:
        for name, one in FORMATS.items():
            content = " and ".join(w for w, can in (("the list of holds", one.holds), ("curves", one.curve)) if can)
            typer.echo(f"{name}: {content}{'' if one.missing is None else f'. {one.missing}'}")
        return
    name = "json" if as_json else format_name
    chosen, program = format_named(name), version("hang-monitor")
    _check_fit(name, chosen, hold, out)
    folder = DataFolder.open(data)
    with open_store(folder.database) as store:
        curve = None if hold is None else exported_curve(store, folder, hold)
        if hold is not None and curve is None:
            raise _no_such_hold(store, folder, hold)
        with _opened(out) as file:
            if curve is not None and chosen.curve is not None:
                chosen.curve(curve, file, program)
            elif chosen.holds is not None:
                chosen.holds(store.each_hold(), file, program)


def _check_fit(name: str, chosen: ExportFormat, hold: str | None, out: Path | None) -> None:
    """Raise an error where a format cannot be written here, cannot hold what is wanted, or needs a file."""
    if chosen.missing is not None:
        chosen.load_library()
    needed = ["a hold"] if hold is None and chosen.holds is None else []
    needed += ["a place"] if out is None and not chosen.is_text else []
    if needed:
        raise BadInput(
            what=f"A {name} file needs {' and '.join(needed)}.",
            means="Nothing was exported.",
            do="Give --hold with a uid from hang-monitor export, and --out with a file.",
        )
    if hold is not None and chosen.curve is None:
        raise BadInput(
            what=f"A {name} file cannot hold a curve.",
            means="Nothing was exported.",
            do="Leave --hold out, or take another format (--formats lists them).",
        )


def _no_such_hold(store: Store, folder: DataFolder, uid: str) -> NoSuchHold:
    known = ", ".join(h.uid for h in store.list_holds(3)) or "none"
    return NoSuchHold(
        what=f"There is no hold {uid} with a curve in {folder.root}.",
        means="Nothing was exported.",
        do=f"Take a uid from the list of holds (hang-monitor export); the newest are: {known}.",
    )


@contextlib.contextmanager
def _opened(out: Path | None) -> Iterator[BinaryIO]:
    if out is None:
        yield sys.stdout.buffer
        return
    try:
        with out.open("wb") as file:
            yield file
    except OSError as error:
        raise BadInput(
            what=f"{out} cannot be written: {error.strerror}.",
            means="Nothing was exported; what is stored is untouched.",
            do="Give a place where you may write.",
        ) from error
