"""``hang-monitor backup`` and ``restore``: verified copies of a data folder, and putting one back."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import typer

from monitor.cli.terminal.error_reporting import reports_errors


@reports_errors
def backup(
    into: Path = typer.Argument(..., help="Folder for backups, as on a USB stick; made where it is missing."),
    keep: int = typer.Option(
        7, help="Backups to keep there; older ones are removed once the new one is complete.", min=1
    ),
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
) -> None:
    """Copy the whole data folder, while the monitor runs or not, and read the copy back.

    Raw curves are copied once; the next backup into the same folder adds what is new.
    """
    from monitor.store import DataFolder
    from monitor.store.maintenance.backup import BackupNotMade, make_backup

    folder = DataFolder.open(data)
    if not folder.database.exists():
        raise BackupNotMade(
            what=f"There is no database in {folder.root}.",
            means="Nothing was copied.",
            do="Give the data folder that the monitor uses with --data.",
        )
    with _progress("Copying curves") as progress:
        made = make_backup(folder, into, keep=keep, progress=progress)
    sys.stdout.write(
        f"Backup {made.stamp} in {made.root}: {len(made.entries)} files, {made.copied_bytes / 1e6:.1f} MB of curves "
        "new, everything read back and compared.\n"
    )
    if made.missing:
        sys.stdout.write(f"{len(made.missing)} sessions no longer have a raw curve; their holds are in the database.\n")
    if made.removed:
        sys.stdout.write(f"Removed: {', '.join(made.removed)}.\n")


@reports_errors
def restore(
    place: Path = typer.Argument(..., help="Folder that was given to hang-monitor backup."),
    data: Path | None = typer.Option(None, help="Data folder to fill; your own default folder if left out."),
    which: str | None = typer.Option(None, help="Backup to take; the newest if left out.", metavar="STAMP"),
    replace: bool = typer.Option(False, "--replace", help="Move a folder that is not empty aside."),
    check: bool = typer.Option(False, "--check", help="Only read all backups and say whether they are intact."),
) -> None:
    """Put a backup in place of the data folder, on this machine or another.

    Everything is compared with what was copied before anything is changed. Devices have to sign in again.
    """
    from monitor.store import DataFolder
    from monitor.store.files.folder import default_folder
    from monitor.store.maintenance.backup_contents import DATABASE, BackupNotUsable, check_backup, list_backups
    from monitor.store.maintenance.restore import restore as restore_backup

    backups = list_backups(place)
    if check:
        for one in backups:
            check_backup(one)
            sys.stdout.write(f"{one.stamp}: {len(one.entries)} files, intact.\n")
        return
    chosen = [one for one in backups if which in (None, one.stamp)]
    if not chosen:
        raise BackupNotUsable(
            what=f"There is no backup {which} at {place}.",
            means="Nothing was changed.",
            do=f"Take one of these with --which: {', '.join(one.stamp for one in backups)}.",
        )
    target = default_folder() if data is None else data.expanduser()
    with contextlib.ExitStack() as stack:
        if (target / DATABASE).exists():
            stack.enter_context(DataFolder(target).held())
        progress = stack.enter_context(_progress("Copying back"))
        aside = restore_backup(chosen[-1], target, replace=replace, progress=progress)
    sys.stdout.write(f"{target} is as it was at {chosen[-1].stamp}. Devices have to sign in again.\n")
    if aside is not None:
        sys.stdout.write(f"What was there before is in {aside}.\n")


@contextlib.contextmanager
def _progress(what: str) -> Iterator[Callable[[int, int], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), DownloadColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, whole: bar.update(task, completed=done, total=whole)
