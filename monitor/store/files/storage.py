"""Room on the disk: packs yesterday's journals, and warns long before the disk is full."""

from __future__ import annotations

import contextlib
import hashlib
import logging
import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Literal

from firmware_bridge.journal import PACKED, pack_bytes, read_chunks
from monitor.errors import BadInput, TellableError
from monitor.store.files.file_copies import sync_folder
from monitor.store.files.folder import DataFolder
from monitor.store.maintenance.rebuild import all_journals, started_of, uid_of
from monitor.store.store import Store

_log = logging.getLogger(__name__)

STORAGE_KEY = "storage"
DAY_S = 86_400.0
LOOKED_BACK_DAYS = 30.0
WARN_DAYS, WARN_BYTES = 90.0, 2_000_000_000
"""Warnings begin here: three months leave time to bring a larger card. Common practice, no source."""

LEAST_FREE_BYTES = 500_000_000
"""Kept free for the database and the system where old curves may be removed."""

EVERY_S = 3600.0
_PIECE = 1 << 16


class BadPolicy(BadInput):
    """A policy for old raw curves that cannot be used."""

    code = "bad-policy"


@dataclass(frozen=True, slots=True)
class Policy:
    """What happens to the oldest raw curves when the disk is nearly full.

    ``keep``: nothing, the monitor only warns. ``remove``: those that are older than ``keep_days`` are removed, oldest
    first, until there is room again; each removal is in the audit log. Holds and their numbers are always kept.
    """

    oldest: Literal["keep", "remove"] = "keep"
    keep_days: int = 365


@dataclass(frozen=True, slots=True)
class Budget:
    """Room on the disk that holds the data folder.

    Attributes
    ----------
    free_bytes, journal_bytes : int
    per_day_bytes : float
        What journals grew by in the last 30 days, in the size that they have now.
    days_left : float or None
        Until the disk is full at that pace; None while nothing grows.
    """

    free_bytes: int
    journal_bytes: int
    per_day_bytes: float
    days_left: float | None

    def warnings(self) -> list[str]:
        """Return what a screen is to tell; nothing while there is room."""
        if self.free_bytes < LEAST_FREE_BYTES:
            return [
                f"The disk is nearly full: {self.free_bytes / 1e6:.0f} MB are free. Make room today, or curves will "
                "not be kept; hang-monitor storage tells how."
            ]
        short = self.days_left is not None and self.days_left < WARN_DAYS
        if not short and self.free_bytes >= WARN_BYTES:
            return []
        pace = f", about {self.days_left:.0f} days" if self.days_left is not None else ""
        return [f"Room for curves grows short: {self.free_bytes / 1e9:.1f} GB are free{pace}."]


def budget_of(folder: DataFolder, now_s: float | None = None) -> Budget:
    """Return the room that is left for a data folder; raises ``OSError`` where the disk is gone."""
    now = time.time() if now_s is None else now_s
    whole, recent, oldest_s = 0, 0, now
    for path in all_journals(folder):
        with contextlib.suppress(FileNotFoundError):
            size = path.stat().st_size
            whole += size
            begun_s = started_of(uid_of(path) or "") / 1e9
            if now - LOOKED_BACK_DAYS * DAY_S < begun_s <= now:
                recent += size
                oldest_s = min(oldest_s, begun_s)
    per_day = recent / max(1.0, (now - oldest_s) / DAY_S)
    free = shutil.disk_usage(folder.root).free
    return Budget(free, whole, per_day, free / per_day if per_day > 0 else None)


def policy_of(store: Store) -> Policy:
    """Return the policy in force."""
    stored: dict[str, Any] = store.get_setting(STORAGE_KEY) or {}
    return Policy("remove" if stored.get("oldest") == "remove" else "keep", int(stored.get("keep_days", 365)))


def set_policy(store: Store, policy: Policy, who: str) -> None:
    """Put a policy in force; raises ``BadPolicy``."""
    if policy.oldest not in ("keep", "remove") or policy.keep_days < 30:
        raise BadPolicy(
            what=f"Old curves cannot be kept by the rule {policy.oldest!r} with {policy.keep_days} days.",
            means="Nothing was changed.",
            do="Give keep or remove, and at least 30 days.",
        )
    store.set_setting(STORAGE_KEY, {"oldest": policy.oldest, "keep_days": policy.keep_days})
    store.audit.add(who, f"storage policy: {policy.oldest}, {policy.keep_days} days")


def pack(path: Path) -> Path:
    """Pack a journal, compare what unpacks with what was packed, and only then remove it; return the packed one.

    Raises
    ------
    OSError
        The journal is as it was.
    """
    packed = path.with_name(path.name + PACKED)
    # A name that is no journal's: whatever is left of an interruption is taken for nothing.
    beside = path.with_name(f".{packed.name}.new")
    beside.unlink(missing_ok=True)
    digest = hashlib.sha256()

    def read(old: BinaryIO) -> Iterator[bytes]:
        while piece := old.read(_PIECE):
            digest.update(piece)
            yield piece

    try:
        with path.open("rb") as old, open(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as new:
            new.writelines(pack_bytes(read(old)))
            new.flush()
            os.fsync(new.fileno())
        beside.replace(packed)
        again = hashlib.sha256()
        for piece in read_chunks(packed):
            again.update(piece)
        if again.digest() != digest.digest():
            packed.unlink()
            raise OSError(f"{packed.name} did not unpack to what was packed")
    except (OSError, TellableError) as error:
        beside.unlink(missing_ok=True)
        raise error if isinstance(error, OSError) else OSError(str(error)) from error
    sync_folder(path.parent)
    path.unlink()
    sync_folder(path.parent)
    return packed


def pack_finished(
    store: Store, folder: DataFolder, *, now_s: float | None = None, stop: Callable[[], bool] = lambda: False
) -> int:
    """Pack the journals of sessions that ended before today (local time); return how many."""
    now = time.time() if now_s is None else now_s
    today = time.localtime(now)[:3]
    done = 0
    for path in all_journals(folder):
        if stop():
            break
        uid = uid_of(path)
        if uid is None or path.suffix == PACKED or time.localtime(started_of(uid) / 1e9)[:3] >= today:
            continue
        session = store.get_session(uid)
        if session is None or session.ended_utc_ns is None:
            continue
        pack(path)
        done += 1
    return done


def remove_oldest(store: Store, folder: DataFolder, policy: Policy, *, now_s: float | None = None) -> list[str]:
    """Remove old curves where the policy says so and the disk is nearly full; return the sessions that lost theirs."""
    now = time.time() if now_s is None else now_s
    gone: list[str] = []
    if policy.oldest != "remove":
        return gone
    for path in all_journals(folder):
        uid = uid_of(path)
        old = uid is not None and started_of(uid) / 1e9 < now - policy.keep_days * DAY_S
        if not old or uid is None or shutil.disk_usage(folder.root).free >= LEAST_FREE_BYTES:
            break
        # Logged first: no removal may happen without an entry.
        store.audit.add("storage policy", "raw curve removed", uid)
        path.unlink()
        _log.warning("the disk is nearly full: the raw curve of session %s was removed", uid)
        gone.append(uid)
    return gone


class StorageKeeper:
    """A thread that packs, looks at the room, and removes by policy; once a minute after the start, then hourly.

    A failure is a warning on the screen; the next hour tries again.
    """

    def __init__(self, store: Store, folder: DataFolder, *, first_s: float = 60.0, every_s: float = EVERY_S) -> None:
        self._store, self._folder = store, folder
        self._first_s, self._every_s = first_s, every_s
        self._ended = threading.Event()
        self._warnings: list[str] = []
        self._thread = threading.Thread(target=self._run, name="storage", daemon=True)

    def __enter__(self) -> StorageKeeper:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join()

    def warnings(self) -> list[str]:
        """Return what the screen is to tell."""
        return self._warnings

    def once(self) -> None:
        """Do the round once."""
        warnings: list[str] = []
        try:
            pack_finished(self._store, self._folder, stop=self._ended.is_set)
            gone = remove_oldest(self._store, self._folder, policy_of(self._store))
            if gone:
                warnings.append(
                    f"Room was made: {len(gone)} raw curves were removed by the storage policy, oldest first."
                )
            warnings += budget_of(self._folder).warnings()
        except (OSError, TellableError) as error:
            _log.warning("storage: %s", error)
            warnings.append(f"Curves could not be packed, or the disk could not be examined: {error}")
        self._warnings = warnings

    def _run(self) -> None:
        # Linux takes a thread's number for a process: packing gives way to measuring.
        with contextlib.suppress(OSError, AttributeError):
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), 10)
        pause_s = self._first_s
        while not self._ended.wait(pause_s):
            pause_s = self._every_s
            self.once()
