"""``hang-monitor check`` and ``hang-monitor zero``: whether the rig is in order, and a new zero for it."""

from __future__ import annotations

import datetime as dt
import json
import re
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING, Any

import typer

from monitor.cli.terminal.error_reporting import reports_errors
from monitor.errors import BadInput

if TYPE_CHECKING:
    from firmware_bridge.sources import SourceEvent
    from monitor.demo.scripted_person import ScriptedPerson
    from monitor.health.checkup import Checkup
    from monitor.health.zero import ZeroReading
    from monitor.newtons.calibration import Calibration
    from monitor.rig import Rig
    from monitor.store import DataFolder

SILENCE_S = 10.0
LOOK_S = 0.1
LONGEST_WATCH_S = 3600.0
SOMETHING_BAD = 1
HOLDS_LOOKED_AT = 2000

_MARKS = {"good": "good", "doubtful": "doubtful", "bad": "TO BE MENDED", "not_told": "not told"}


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

    The check asks for one thing after the other and sees for itself when it is done. The result is kept in the data
    folder, as JSON and as a page to print. Exit status 1: something has to be mended.
    """
    from monitor.health.checkup import Checkup
    from monitor.health.history import keep_check

    _one_source(port, virtual)
    if drift is not None:
        watch = _seconds(drift)
    folder = _folder(data, virtual)
    with ExitStack() as stack:
        description, in_force, person, events = stack.enter_context(
            _opened(folder, port, rig, calibration, speed, seed)
        )
        checkup = Checkup(
            description,
            in_force,
            empty_s=watch,
            heaviest_kg=heaviest,
            with_person=not empty_only,
            largest_peak_N=_largest_peak_N(folder),
        )
        _procedure(checkup, events, person)
    now = dt.datetime.now(dt.UTC)
    report = checkup.report(_iso(now))
    files: dict[str, str] = {}
    if folder is not None:
        kept, page = keep_check(folder.root, report, now)
        files = {"json": str(kept), "page": str(page)}
    if as_json:
        sys.stdout.write(json.dumps({**report, "files": files}, allow_nan=False) + "\n")
    else:
        _show(report, files)
    if report["outcome"] == "bad":
        raise typer.Exit(SOMETHING_BAD)


@reports_errors
def zero(
    port: str | None = typer.Option(None, help="Serial port of the converter board, as hang-monitor ports lists it."),
    virtual: bool = typer.Option(False, "--virtual", help="Practise on a virtual rig; kept only where --data says so."),
    rig: Path | None = typer.Option(None, help="Rig description; rig.toml of the data folder if left out."),
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
    seconds: float = typer.Option(10.0, help="How long the zero is read.", min=3.0, max=600.0),
    yes: bool = typer.Option(False, "--yes", help="Take the zero without asking, if the rig is empty and still."),
    as_json: bool = typer.Option(False, "--json", help="One JSON object instead of a table."),
    speed: float = typer.Option(1.0, help="With --virtual: times as fast as life.", min=0.1, max=60.0),
    seed: int = typer.Option(1, help="With --virtual: another number, other cells.", min=0),
) -> None:
    """Take a new zero of an empty, still rig: a new dated calibration; spans stay, nothing is overwritten."""
    from monitor.health.zero import read_zero
    from monitor.newtons.calibration import BadCalibration, CalibrationNotFound, save_calibration

    _one_source(port, virtual)
    folder = _folder(data, virtual)
    with ExitStack() as stack:
        description, in_force, _, events = stack.enter_context(_opened(folder, port, rig, None, speed, seed))
        if in_force is None:
            raise CalibrationNotFound(
                what="The rig has no calibration yet.",
                means="A zero alone turns no count into newtons.",
                do="Calibrate the rig with known masses: hang-monitor calibrate.",
            )
        counts, rate_Hz = _collected(events, seconds, len(description.names))
    reading = read_zero(description, in_force, counts, rate_Hz)
    now = dt.datetime.now(dt.UTC)
    saved: Path | None = None
    if _confirmed(reading, yes, as_json) and folder is not None:
        try:
            saved = save_calibration(folder.calibrations, reading.applied(in_force, _iso(now)), now)
        except OSError as error:
            raise BadCalibration(
                what=f"The new calibration could not be written: {error.strerror or error}.",
                means="The zero in force is as it was.",
                do="Free some space or mend the folder's permissions, then try again.",
            ) from error
    if as_json:
        told = {"zero": reading.as_dict(), "calibration": str(saved) if saved else None}
        sys.stdout.write(json.dumps(told, allow_nan=False) + "\n")
    elif saved is not None:
        sys.stdout.write(f"The new zero is in force: {saved}\n")
    else:
        sys.stdout.write("A practice: nothing was saved.\n")


def _one_source(port: str | None, virtual: bool) -> None:
    if (port is not None) == virtual:
        raise BadInput(
            what="It is not clear which rig is meant.",
            means="Nothing was looked at.",
            do="Give either --port (hang-monitor ports lists them) or --virtual.",
        )


def _seconds(text: str) -> float:
    """Return a duration such as ``90s``, ``30m`` or ``1h`` in seconds.

    Raises
    ------
    BadInput
    """
    found = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(s|m|min|h)?", text.strip())
    seconds = float(found[1]) * {"h": 3600.0, "m": 60.0, "min": 60.0}.get(found[2] or "s", 1.0) if found else 0.0
    if not 10 <= seconds <= LONGEST_WATCH_S:
        raise BadInput(
            what=f"{text!r} is no time between 10 s and an hour.",
            means="Nothing was looked at.",
            do="Write for example 30m (minutes) or 90s (seconds).",
        )
    return seconds


def _folder(data: Path | None, virtual: bool) -> DataFolder | None:
    """Return the data folder; None for a virtual rig whose result nobody asked to be kept."""
    from monitor.store import DataFolder

    if virtual and data is None:
        return None
    return DataFolder.open(data)


def _iso(now: dt.datetime) -> str:
    return now.isoformat(timespec="seconds").replace("+00:00", "Z")


Events = SimpleQueue["SourceEvent | None"]


@contextmanager
def _opened(
    folder: DataFolder | None, port: str | None, rig: Path | None, calibration: Path | None, speed: float, seed: int
) -> Iterator[tuple[Rig, Calibration | None, ScriptedPerson | None, Events]]:
    """Open the board, real or virtual; yield rig, calibration, the invented person, and what the board sends."""
    from monitor.demo.scripted_person import ScriptedPerson
    from monitor.station.sources import SourceConfig, open_source

    person: ScriptedPerson | None = None
    if port is not None:
        config = SourceConfig("port", port=port, rig=rig, calibration=calibration)
    else:
        person = ScriptedPerson(_virtual_rig(folder, rig), seed=seed)
        in_force = person.calibration if calibration is None else calibration
        config = SourceConfig("virtual", virtual=person, calibration=in_force, speed=speed)
    with open_source(config, folder) as rig_source:
        link, description = rig_source.source, rig_source.rig
        assert description is not None
        events: Events = SimpleQueue()

        def read() -> None:
            for event in link.events():
                events.put(event)
            events.put(None)

        reader = threading.Thread(target=read, name="check source", daemon=True)
        reader.start()
        try:
            yield description, rig_source.calibration, person, events
        finally:
            link.close()
            reader.join()


def _virtual_rig(folder: DataFolder | None, rig: Path | None) -> Rig:
    """Return the described rig, or else the demo's, marked as invented: nothing of it is measured."""
    from monitor.demo import demo_rig
    from monitor.rig import load_rig

    if rig is None and folder is not None and folder.rig_file.exists():
        rig = folder.rig_file
    return replace(load_rig(rig) if rig is not None else demo_rig(), invented=True)


def _procedure(checkup: Checkup, events: Events, person: ScriptedPerson | None) -> None:
    """Feed the check until it is finished; tell the person what to do on the error stream."""
    from rich.console import Console
    from rich.live import Live

    console, told = Console(stderr=True), ""
    with Live(console=console, auto_refresh=False, transient=True) as live:
        while not checkup.finished:
            progress = checkup.progress
            task = progress.task
            if task is not None and task.key != told:
                told = task.key
                if person is not None:
                    person.begin(told)
                if not console.is_terminal:
                    console.print(f"{progress.number} of {progress.of}: {task.do}", highlight=False)
            if task is not None and console.is_terminal:
                words = f"{progress.number} of {progress.of}   {task.do}\n{progress.seen}   {progress.seconds:.0f} s"
                live.update(words, refresh=True)
            if not _fed(checkup.take, events, lambda: checkup.finished):
                checkup.give_up("The board has sent nothing for ten seconds.", "Check its cable and its lamp.")


def _fed(take: Callable[[SourceEvent], None], events: Events, enough: Callable[[], bool]) -> bool:
    """Hand on what came; wait for it at most ``SILENCE_S``. False where nothing came, or the source ended."""
    try:
        event = events.get(timeout=SILENCE_S)
    except Empty:
        return False
    while event is not None:
        take(event)
        if enough():
            return True
        try:
            event = events.get_nowait()
        except Empty:
            return True
    return False


def _collected(events: Events, seconds: float, channels: int) -> tuple[Any, float]:
    """Return the counts (n, channels) of so many seconds, and their rate."""
    import numpy as np

    from firmware_bridge.counts import CountBlock
    from monitor.analysis import WrongBoard
    from monitor.cli.terminal.guided_calibration import CalibrationGivenUp

    blocks: list[CountBlock] = []

    def take(event: SourceEvent) -> None:
        if not isinstance(event, CountBlock) or not len(event):
            return
        if event.counts.shape[1] != channels:
            raise WrongBoard(
                what=f"The board sends {event.counts.shape[1]} channels; the rig description has {channels}.",
                means="It is not known which cell sends what, so no zero was taken.",
                do="Use the rig description that belongs to this board.",
            )
        if blocks and event.segment != blocks[-1].segment:
            blocks.clear()
        blocks.append(event)

    def enough() -> bool:
        return bool(blocks) and float(blocks[-1].board_s[-1] - blocks[0].board_s[0]) >= seconds

    while not enough():
        if not _fed(take, events, enough):
            raise CalibrationGivenUp(
                what="The board has sent nothing for ten seconds.",
                means="No zero was taken.",
                do="Check its cable and its lamp, then try again.",
            )
    rows = sum(len(block) + block.lost_before for block in blocks)
    length_s = float(blocks[-1].board_s[-1] - blocks[0].board_s[0])
    return np.concatenate([block.counts for block in blocks]), (rows - 1) / length_s


def _confirmed(reading: ZeroReading, yes: bool, as_json: bool) -> bool:
    """Show the proposed zero and ask; raises ``ZeroNotTaken`` where the answer is no or nobody is there."""
    from monitor.health.zero import ZeroNotTaken

    if not as_json:
        for name, shift in zip(reading.names, reading.shift_N, strict=True):
            sys.stdout.write(f"{name:>16}  moved by {shift:+8.2f} N since its last zero\n")
        for name in reading.unusual:
            sys.stdout.write(f"{name} moved unusually far: look at the cell before you go on.\n")
        sys.stdout.flush()
    if yes:
        return True
    if not sys.stdin.isatty():
        raise ZeroNotTaken(
            what="A zero is taken only when somebody says so, and nobody sits at this terminal.",
            means="The zero in force is as it was.",
            do="Start the command in a terminal, or give --yes.",
        )
    if not typer.confirm("Take this as the new zero?"):
        raise ZeroNotTaken(
            what="The zero was not taken.",
            means="The one in force is as it was.",
            do="Start the command again when the rig is empty and still.",
        )
    return True


def _largest_peak_N(folder: DataFolder | None) -> float | None:
    """Return the largest load that a kept hold put on the bar."""
    if folder is None or not folder.database.exists():
        return None
    from monitor.store import open_store

    with open_store(folder.database) as store:
        peaks = [hold.result.peak_N for hold in store.list_holds(HOLDS_LOOKED_AT, 0)]
    return max((peak for peak in peaks if peak is not None), default=None)


def _show(report: dict[str, Any], files: dict[str, str]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table

    from monitor.health.page import SUMMARY

    console = Console()
    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    for name in ("", "looked at", "found"):
        table.add_column(name, overflow="fold")
    for verdict in report["verdicts"]:
        do = f"\n{verdict['do']}" if verdict["do"] else ""
        table.add_row(_MARKS[verdict["outcome"]], verdict["title"], f"{verdict['words']}{do}")
    console.print(table)
    if report["zero_proposal"]:
        console.print("A new zero is proposed; nothing was changed. hang-monitor zero takes it when you say so.")
    console.print(f"[bold]{SUMMARY[report['outcome']]}[/bold]")
    for path in files.values():
        console.print(path, highlight=False, soft_wrap=True)
