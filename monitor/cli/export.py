"""``hang-monitor export``: the list of holds, or a hold's curve, for other programs."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

import typer

from monitor.cli.telling import tells_errors
from monitor.errors import BadInput


class NoSuchHold(BadInput):
    """An export asks for a hold that is not there."""

    code = "no-such-hold"


@tells_errors
def export(
    hold: str | None = typer.Option(None, help="A hold's uid: export its curve instead of the list of holds."),
    as_json: bool = typer.Option(False, "--json", help="JSON instead of CSV."),
    out: Path | None = typer.Option(None, help="File to write; the terminal if left out.", metavar="FILE"),
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
) -> None:
    """Export the list of holds, or one hold's load curve, as CSV with units in the header or as JSON."""
    from monitor.exports import curve_csv, holds_csv, holds_json, stamps_of
    from monitor.service import hold_curve
    from monitor.store import DataFolder, open_store

    folder = DataFolder.open(data)
    with open_store(folder.database) as store, _opened(out) as file:
        if hold is None:
            (holds_json if as_json else holds_csv)(store.each_hold(), file)
            return
        found, curve = store.get_hold(hold), hold_curve(store, folder, hold)
        if found is None or curve is None:
            known = ", ".join(h.uid for h in store.list_holds(3)) or "none"
            raise NoSuchHold(
                what=f"There is no hold {hold} with a curve in {folder.root}.",
                means="Nothing was exported.",
                do=f"Take a uid from the list of holds (hang-monitor export); the newest are: {known}.",
            )
        t_s, names, load_N = curve
        if as_json:
            rows = [[None if x != x else x for x in row] for row in load_N.tolist()]
            content = {"uid": hold, "names": [f"{n}_N" for n in names], "t_s": t_s.tolist(), "load_N": rows}
            json.dump({**content, "result": found.result.as_dict()}, file, allow_nan=False)
            file.write("\n")
        else:
            curve_csv(stamps_of(t_s), names, load_N, file)


@contextlib.contextmanager
def _opened(out: Path | None) -> Iterator[TextIO]:
    if out is None:
        yield sys.stdout
        return
    try:
        with out.open("w", encoding="utf-8", newline="") as file:
            yield file
    except OSError as error:
        raise BadInput(
            what=f"{out} cannot be written: {error.strerror}.",
            means="Nothing was exported; what is stored is untouched.",
            do="Give a place where you may write.",
        ) from error
