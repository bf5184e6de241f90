"""A backup put back in place of a data folder."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from monitor.errors import MonitorError
from monitor.store.files.access import AccessFile
from monitor.store.files.file_copies import copy_part, sync_folder
from monitor.store.files.folder import private_folder
from monitor.store.maintenance.backup_contents import DATABASE, Backup, check_backup
from monitor.store.store import open_store

Progress = Callable[[int, int], None]
"""Gets bytes done and bytes in all."""


class RestoreRefused(MonitorError):
    """The backup was not put back, because something is there already."""

    code = "restore-refused"


def restore(
    backup: Backup, folder_root: Path, *, replace: bool = False, progress: Progress | None = None
) -> Path | None:
    """Put a backup in place of a data folder; return where an earlier folder was laid aside.

    Everything is copied and compared beside the goal first; then two renames put it in place. Devices have to sign in
    again: who was sent out after the backup must not be back.

    Raises
    ------
    BackupNotUsable, RestoreRefused
    DatabaseNewer
        A newer program made the backup.
    """
    goal = folder_root.expanduser()
    aside = goal.with_name(f"{goal.name}.before-{backup.stamp}")
    occupied = goal.exists() and any(goal.iterdir())
    if occupied and not replace:
        raise RestoreRefused(
            what=f"{goal} is not empty.",
            means="What is kept there would be hidden by the backup; nothing was changed.",
            do="Give another --data, or --replace: the folder is then laid aside, not deleted.",
        )
    if occupied and aside.exists():
        raise RestoreRefused(
            what=f"An earlier restore has laid {aside} aside.",
            means="It would be overwritten; nothing was changed.",
            do="Move it away, then run this again.",
        )
    check_backup(backup)
    fresh = goal.with_name(f".{goal.name}.restoring")
    try:
        if fresh.exists():
            shutil.rmtree(fresh)
        private_folder(fresh)
        done, whole = 0, sum(e.size for e in backup.entries)
        for entry in backup.entries:
            path = fresh / entry.name
            private_folder(path.parent)
            if copy_part(backup.path_of(entry), path, entry.size) != entry.sha256:
                raise OSError(f"{entry.name} changed while it was read")
            done += entry.size
            if progress is not None:
                progress(done, whole)
        for part in [fresh, *(p for p in fresh.rglob("*") if p.is_dir())]:
            sync_folder(part)
        # Opened once before it is in force: an older schema is brought up to date, a newer one is refused.
        open_store(fresh / DATABASE).close()
        access = AccessFile(fresh / "access.json")
        if access.accounts():
            access.sign_everyone_out()
        if occupied:
            goal.replace(aside)
        elif goal.exists():
            goal.rmdir()
        private_folder(goal.parent)
        fresh.replace(goal)
        sync_folder(goal.parent)
    except OSError as error:
        raise RestoreRefused(
            what=f"The backup could not be put into {goal}: {error.strerror or error}.",
            means="What was there before is there still, or lies beside it under a name with 'before'.",
            do="Check the room and the permissions there, then run this again.",
        ) from error
    return aside if occupied else None
