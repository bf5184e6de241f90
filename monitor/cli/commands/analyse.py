"""``hang-monitor analyse``: recorded curves and journals to numbers."""

from __future__ import annotations

import json
import os
import sys
from concurrent.futures import Future, ProcessPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from monitor.cli.terminal.error_reporting import BAD_INPUT, reports_errors, write_error
from monitor.errors import BadInput, TellableError

if TYPE_CHECKING:
    from monitor.measures.session_analysis import AnalysisSettings
    from monitor.newtons.calibration import Calibration
    from monitor.records.session_result import SessionResult
    from monitor.rig import Rig

ONE_PROCESS_BYTES = 3_000_000
"""Below this many bytes in all, starting more processes takes longer than the work."""


@reports_errors
def analyse(
    files: list[Path] = typer.Argument(..., help="Load curves (CSV, CSV.gz) or journals.", metavar="FILE..."),
    as_json: bool = typer.Option(False, "--json", help="One JSON object a file (JSON Lines for several)."),
    plot: Path | None = typer.Option(None, help="Draw the curve with its holds into an SVG.", metavar="OUT.svg"),
    bodyweight: float | None = typer.Option(None, help="Bodyweight in newtons, if the curve does not show it."),
    alpha_max: float = typer.Option(0.10, help="Allowed assistance, as a fraction of bodyweight."),
    start: str | None = typer.Option(None, help="Shoulders at the start of each hold: passive or active."),
    rig: Path | None = typer.Option(None, help="Rig description for a journal that does not hold one."),
    calibration: Path | None = typer.Option(None, help="Calibration for a journal that does not hold one."),
    jobs: int = typer.Option(0, help="Processes to use; 0: as many as there are processors.", min=0),
) -> None:
    """Analyse recorded load curves: holds, their length, assistance, swing, travel, each with its uncertainty.

    Files are only read. In a batch each bad file gets its own message, and the good ones are analysed all the same.
    """
    from monitor.measures.session_analysis import AnalysisSettings

    if bodyweight is not None and not 50 <= bodyweight <= 5000:
        raise BadInput(
            what=f"A bodyweight of {bodyweight:g} N is not possible.",
            means="Every share of bodyweight would be wrong; nothing was analysed.",
            do="Give newtons between 50 and 5000: kilograms times 9.81.",
        )
    if not 0 <= alpha_max <= 1:
        raise BadInput(
            what=f"An allowed assistance of {alpha_max:g} is not possible.",
            means="It decides how much of a hold counts as clean; nothing was analysed.",
            do="Give a fraction of bodyweight between 0 and 1: 0.1 for a tenth.",
        )
    if start not in (None, "passive", "active"):
        raise BadInput(
            what=f"The shoulders' start is given as {start!r}.",
            means="It decides which stretches count as passive or active; nothing was analysed.",
            do="Write --start passive or --start active, or leave it out.",
        )
    analysis_settings = AnalysisSettings(bodyweight_N=bodyweight, alpha_max=alpha_max, given_start=start)
    rig_description, in_force = _rig(rig, calibration)
    work = [
        (path, analysis_settings, rig_description, in_force, _plot_place(plot, path, len(files) > 1)) for path in files
    ]
    bad = 0
    for path, outcome in _analysed(work, jobs):
        if isinstance(outcome, TellableError):
            bad += 1
            write_error(outcome)
        elif as_json:
            sys.stdout.write(json.dumps({"file": str(path), **outcome.as_dict()}, allow_nan=False) + "\n")
        else:
            from monitor.cli.terminal.result_tables import show_record

            show_record(path, outcome)
        sys.stdout.flush()
    if bad:
        raise typer.Exit(BAD_INPUT)


def _rig(rig: Path | None, calibration: Path | None) -> tuple[Rig | None, Calibration | None]:
    if rig is None and calibration is None:
        return None, None
    if rig is None or calibration is None:
        raise BadInput(
            what="Only one of rig description and calibration is given.",
            means="Counts need both to become newtons; nothing was analysed.",
            do="Give --rig and --calibration together.",
        )
    from monitor.newtons.calibration import load_calibration
    from monitor.rig import load_rig

    description = load_rig(rig)
    return description, load_calibration(calibration, description.names)


def _plot_place(plot: Path | None, path: Path, several: bool) -> Path | None:
    """Return where a file's plot goes: for several files each gets its own name beside the given one."""
    if plot is None or not several:
        return plot
    return plot.with_name(f"{plot.stem}_{path.name.split('.')[0]}{plot.suffix or '.svg'}")


Job = tuple[Path, "AnalysisSettings", "Rig | None", "Calibration | None", "Path | None"]


def _one(job: Job) -> SessionResult:
    """Analyse one file; runs in a process of its own when there are several."""
    from monitor.analysis import analyse_file

    path, analysis_settings, rig, calibration, plot = job
    analysis = analyse_file(path, analysis_settings, rig=rig, calibration=calibration)
    if plot is not None:
        from monitor.reports.plot import plot_curve

        curve = analysis.curve
        plot_curve(plot, path.name, curve.t_s, curve.bar_N, curve.feet_N, analysis.result)
    return analysis.result


class _ErrorParts(Exception):
    """Carries a ``TellableError`` out of another process: an exception is pickled by its positional arguments."""

    def __init__(self, kind: type[TellableError], what: str, means: str, do: str) -> None:
        super().__init__(kind, what, means, do)
        self.kind, self.what, self.means, self.do = kind, what, means, do


def _one_in_process(job: Job) -> SessionResult:
    try:
        return _one(job)
    except TellableError as error:
        raise _ErrorParts(type(error), error.what, error.means, error.do) from None


def _analysed(work: list[Job], jobs: int) -> Any:
    """Yield each file with its result or its error, in the order given; a progress bar shows on long work."""
    from rich.console import Console
    from rich.progress import Progress

    size = sum(job[0].stat().st_size for job in work if job[0].is_file())
    processes = min(len(work), jobs or os.cpu_count() or 1)
    with Progress(console=Console(stderr=True), transient=True, disable=size < ONE_PROCESS_BYTES) as progress:
        bar = progress.add_task("analysing", total=len(work))
        if processes < 2 or size < ONE_PROCESS_BYTES:
            for job in work:
                try:
                    yield job[0], _one(job)
                except TellableError as error:
                    yield job[0], error
                progress.advance(bar)
            return
        import multiprocessing

        with ProcessPoolExecutor(processes, mp_context=multiprocessing.get_context("spawn")) as pool:
            futures: list[tuple[Path, Future[SessionResult]]] = [
                (job[0], pool.submit(_one_in_process, job)) for job in work
            ]
            for path, future in futures:
                try:
                    yield path, future.result()
                except _ErrorParts as parts:
                    yield path, parts.kind(what=parts.what, means=parts.means, do=parts.do)
                progress.advance(bar)
