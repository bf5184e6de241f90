"""``hang-monitor export``: the list of holds, or a hold's curve, for other programs."""

from __future__ import annotations

import contextlib
import enum
import json
import sys
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import typer

from monitor.cli.terminal.error_reporting import reports_errors
from monitor.errors import BadInput

if TYPE_CHECKING:
    from monitor.store import DataFolder, Store


class Form(enum.Enum):
    """Files for other programs than spreadsheets."""

    C3D = "c3d"
    EDF = "edf"
    PARQUET = "parquet"


class NoSuchHold(BadInput):
    """An export asks for a hold that is not there."""

    code = "no-such-hold"


@reports_errors
def export(
    hold: str | None = typer.Option(None, help="A hold's uid, as the list has it: export its curve, not the list."),
    as_json: bool = typer.Option(False, "--json", help="JSON instead of CSV."),
    form: Form | None = typer.Option(
        None, help="A hold's curve as C3D or EDF+, with --hold and --out; as Parquet, with --out, the list, too."
    ),
    out: Path | None = typer.Option(None, help="File to write; the terminal if left out.", metavar="FILE"),
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
) -> None:
    """Export the list of holds, or one hold's load curve, as CSV with units in the header or as JSON."""
    from monitor.exports import curve_csv, holds_csv, holds_json, stamps_of
    from monitor.exports.hold_curve import hold_curve
    from monitor.store import DataFolder, open_store

    folder = DataFolder.open(data)
    if form is not None:
        if out is None or (hold is None and form is not Form.PARQUET):
            raise BadInput(
                what=f"A {form.value} file needs a hold and a place.",
                means="Nothing was exported.",
                do="Give --hold with a uid from hang-monitor export, and --out with a file.",
            )
        with open_store(folder.database) as store:
            made = _table(store) if hold is None else _lab_file(store, folder, hold, form)
        _write_bytes(out, made)
        return
    with open_store(folder.database) as store, _opened(out) as file:
        if hold is None:
            (holds_json if as_json else holds_csv)(store.each_hold(), file)
            return
        found, curve = store.get_hold(hold), hold_curve(store, folder, hold)
        if found is None or curve is None:
            raise _no_such_hold(store, folder, hold)
        t_s, names, load_N = curve
        if as_json:
            rows = [[None if x != x else x for x in row] for row in load_N.tolist()]
            content = {"uid": hold, "names": [f"{n}_N" for n in names], "t_s": t_s.tolist(), "load_N": rows}
            json.dump({**content, "result": found.result.as_dict()}, file, allow_nan=False)
            file.write("\n")
        else:
            curve_csv(stamps_of(t_s), names, load_N, file)


def _table(store: Store) -> bytes:
    from monitor.exports.parquet_file import holds_parquet

    return holds_parquet(list(store.each_hold()), version=version("hang-monitor"))


def _lab_file(store: Store, folder: DataFolder, uid: str, form: Form) -> bytes:
    from monitor.exports.c3d_file import c3d_bytes
    from monitor.exports.edf_file import edf_bytes
    from monitor.exports.hold_curve import hold_curve
    from monitor.exports.recording import recording

    found, curve = store.get_hold(uid), hold_curve(store, folder, uid)
    session = None if found is None else store.get_session(found.session_uid)
    if found is None or curve is None or session is None:
        raise _no_such_hold(store, folder, uid)
    t_s, names, load_N = curve
    if form is Form.PARQUET:
        from monitor.exports.parquet_file import curve_parquet

        told = version("hang-monitor")
        return curve_parquet(t_s, names, load_N, found, session.rig, session.calibration, version=told)
    made = recording(t_s, names, load_N, found, session.rig, session.calibration, version("hang-monitor"))
    return c3d_bytes(made) if form is Form.C3D else edf_bytes(made)


def _no_such_hold(store: Store, folder: DataFolder, uid: str) -> NoSuchHold:
    known = ", ".join(h.uid for h in store.list_holds(3)) or "none"
    return NoSuchHold(
        what=f"There is no hold {uid} with a curve in {folder.root}.",
        means="Nothing was exported.",
        do=f"Take a uid from the list of holds (hang-monitor export); the newest are: {known}.",
    )


def _write_bytes(out: Path, content: bytes) -> None:
    try:
        out.write_bytes(content)
    except OSError as error:
        raise BadInput(
            what=f"{out} cannot be written: {error.strerror}.",
            means="Nothing was exported; what is stored is untouched.",
            do="Give a place where you may write.",
        ) from error


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
