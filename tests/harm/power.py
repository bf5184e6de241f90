"""A cut of the power: what had not been forced to the disk goes, and the block in which the cut falls is torn."""

from __future__ import annotations

import os
import random
from pathlib import Path
from typing import Any

from monitor.store import DataFolder
from tests.harm.acks import Acks, AckWriter


def watch_the_disk(ack: AckWriter) -> None:
    """Acknowledge what has been forced to the disk, and each change of a name: a cut of the power may take the rest."""
    real_fsync, real_replace = os.fsync, os.replace

    def fsync(handle: int) -> None:
        size = os.fstat(handle).st_size
        real_fsync(handle)
        ack("forced", path=os.readlink(f"/proc/self/fd/{handle}"), size=size)

    def replace(old: Any, new: Any, **more: Any) -> None:
        fresh = not os.path.exists(new)
        # Told before it is done: a process that ends between the two has then renamed nothing that was not told.
        ack("renamed", old=os.fspath(old), new=os.fspath(new), fresh=fresh)
        real_replace(old, new, **more)

    os.fsync, os.replace = fsync, replace  # type: ignore[assignment]


def log_now(folder: DataFolder) -> dict[str, Any]:
    """Return how long SQLite's log is: once a commit has returned, everything of it has been forced to the disk."""
    try:
        with Path(f"{folder.database}-wal").open("rb") as file:
            return {"head": file.read(32).hex(), "size": file.seek(0, os.SEEK_END)}
    except FileNotFoundError:
        return {}


def cut_power(folder: DataFolder, acks: Acks, rng: random.Random) -> None:
    """Take away what had not been forced to the disk."""
    forced: dict[str, int] = {}
    for one in acks.of("forced"):
        forced[one["path"]] = max(forced.get(one["path"], 0), one["size"])
    for path in folder.journals.rglob("*.journal"):
        if any(a["path"] == str(path) for a in acks.of("journal")):
            _cut(path, forced.get(str(path), 0), rng)
    wal = Path(f"{folder.database}-wal")
    messages = next((a["wal"] for a in reversed(acks.lines) if a.get("wal")), None)
    # A log that was begun anew since has another head.
    if messages is not None and wal.exists() and wal.read_bytes()[:32].hex() == messages["head"]:
        _cut(wal, messages["size"], rng)
    Path(f"{folder.database}-shm").unlink(missing_ok=True)
    _cut_small_files(folder, acks, forced, rng)


def _cut_small_files(folder: DataFolder, acks: Acks, forced: dict[str, int], rng: random.Random) -> None:
    """Cut calibrations and what lies beside them; a new name that was not forced may be gone with the power."""
    place = _calibrations(folder)
    folder_forced = [n for n, a in enumerate(acks.lines) if a["what"] == "forced" and a["path"] == place]
    named_by: dict[str, str] = {}
    for number, one in enumerate(acks.lines):
        new = Path(one["new"]) if one["what"] == "renamed" else None
        if new is None or str(new.parent) != place or not new.exists():
            continue
        named_by[str(new)] = one["old"]
        if one["fresh"] and not any(n > number for n in folder_forced) and rng.random() < 0.5:
            new.rename(one["old"])
    for path in Path(place).glob("*"):
        sizes = [forced.get(str(path), 0), forced.get(named_by.get(str(path), ""), 0)]
        _cut(path, max(sizes), rng)


def _calibrations(folder: DataFolder) -> str:
    return os.path.realpath(folder.calibrations)


def _cut(path: Path, safe: int, rng: random.Random) -> None:
    data = bytearray(path.read_bytes())
    if len(data) <= safe:
        return
    del data[rng.randint(safe, len(data)) :]
    torn = min(len(data) - safe, rng.randint(0, 512))
    if torn:
        data[-torn:] = rng.choice([bytes(torn), rng.randbytes(torn)])
    path.write_bytes(data)
