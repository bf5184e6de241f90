"""``hang-monitor reanalyse``: every stored hold measured anew with the present version."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from monitor.cli.terminal.error_reporting import reports_errors


@reports_errors
def reanalyse(
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
    everything: bool = typer.Option(False, "--all", help="Also holds that carry the present version already."),
    jobs: int = typer.Option(0, help="Processes to use; 0: as many as there are processors.", min=0),
) -> None:
    """Measure every stored hold anew from its journal with the present version of the measurement.

    What earlier versions said stays in the database; a coach's corrections stay in force. Differences are listed.
    """
    from rich.console import Console
    from rich.progress import Progress

    from monitor.reanalysis import reanalyse as run
    from monitor.records.hold_result import MEASUREMENT_VERSION
    from monitor.store import DataFolder, open_store

    folder = DataFolder.open(data)
    sessions = measured = 0
    with open_store(folder.database) as store, Progress(console=Console(stderr=True), transient=True) as progress:
        bar = progress.add_task("measuring again", total=None)
        for report in run(store, folder, jobs=jobs, everything=everything):
            progress.advance(bar)
            sessions, measured = sessions + 1, measured + report.measured
            if report.trouble:
                sys.stdout.write(f"{report.session_uid}: not measured: {report.trouble}\n")
            for one in report.differences:
                alpha = " to ".join("not known" if a is None else f"{a:.2%}" for a in one.alpha_mean)
                sys.stdout.write(
                    f"{one.uid}: version {one.versions[0]} to {one.versions[1]}, held {one.duration_s[0]:.3f} s to "
                    f"{one.duration_s[1]:.3f} s, feet {alpha}\n"
                )
            if report.new or report.gone:
                sys.stdout.write(f"{report.session_uid}: {report.new} found new, {report.gone} no longer holds\n")
    sys.stdout.write(f"{measured} holds of {sessions} sessions carry version {MEASUREMENT_VERSION} now.\n")
