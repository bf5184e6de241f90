"""Files copied for good: hashed while they are read, and forced to the disk."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

_PIECE = 1 << 20


def copy_part(source: Path, goal: Path, size: int) -> str:
    """Copy the first bytes of a file to a new private one, force it to the disk, return its SHA-256."""
    digest, left = hashlib.sha256(), size
    with source.open("rb") as old, open(os.open(goal, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as new:
        while left:
            piece = old.read(min(left, _PIECE))
            if not piece:
                raise OSError(f"{source.name} became shorter while it was read")
            digest.update(piece)
            new.write(piece)
            left -= len(piece)
        new.flush()
        os.fsync(new.fileno())
    return digest.hexdigest()


def sha256_of(path: Path, size: int) -> str:
    """Return the SHA-256 of a file's first bytes; raises ``EOFError`` where it is shorter."""
    digest, left = hashlib.sha256(), size
    with path.open("rb") as file:
        while left:
            piece = file.read(min(left, _PIECE))
            if not piece:
                raise EOFError(f"{left} bytes are missing")
            digest.update(piece)
            left -= len(piece)
    return digest.hexdigest()


def forget_cached(path: Path) -> None:
    """Have the system read a file from the disk again, where it knows how: what is in memory proves nothing."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
    finally:
        os.close(handle)


def write_forced(path: Path, data: bytes) -> None:
    """Write a new private file and force it to the disk."""
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def force(path: Path) -> None:
    """Force a file's content to the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(path: Path) -> None:
    """Force a folder's entries to the disk: a file that was made or renamed there is found after a power cut."""
    handle = os.open(path, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
