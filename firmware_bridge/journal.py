"""Frames as received, to disk and back: an append-only writer, a reader, and the repair of a torn tail."""

from __future__ import annotations

import contextlib
import gzip
import logging
import os
import re
import threading
import time
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

from firmware_bridge.decoder import DAMAGED, Decoder
from firmware_bridge.errors import JournalExists, JournalNotFound, JournalNotWritten, NotAJournal, NoteTooLong
from firmware_bridge.framing import END, LONGEST_FRAME, seal
from firmware_bridge.messages import Anchor, BadBody, NoteFrame

_log = logging.getLogger(__name__)

CHUNK = 1 << 16
PACKED = ".gz"
"""End of a packed journal's name."""

_MEMBER = b"\x1f\x8b\x08\x00"
"""Header of a gzip member without name or comment (RFC 1952 section 2.3)."""

_STEP = 512

_TABLE_HEADER = re.compile(rb'(?:\xef\xbb\xbf)?"?[A-Za-z_]\w*"?(?:[,;\t]"?[A-Za-z_]\w*"?)+\s*\n')
"""First line of a table: names between separators. Its rows may be whole numbers, which pass for lines of counts."""


def note_bytes(content: dict[str, object], sequence: int = 0) -> bytes:
    """Return a note as it stands in a journal, opened and closed by a zero byte.

    Raises
    ------
    NoteTooLong
        The content is no JSON object or takes more than 65,535 bytes.
    """
    try:
        return END + seal(NoteFrame.KIND, sequence, NoteFrame(content).to_body())
    except (BadBody, TypeError, ValueError) as error:
        raise NoteTooLong(
            what=f"A note for the journal cannot be written: {error}.",
            means="The journal would lack what was in force when it was recorded.",
            do="Write plain JSON values only, and less than 65,535 bytes of them.",
        ) from error


def anchor_bytes(monotonic_ns: int, utc_ns: int, board_us: int, sequence: int = 0) -> bytes:
    """Return a time anchor as it stands in a journal, opened and closed by a zero byte."""
    return END + seal(Anchor.KIND, sequence, Anchor(monotonic_ns, utc_ns, board_us & 0xFFFFFFFF).to_body())


class JournalWriter:
    """Appends frames to a file in a thread of its own; the reader of the port never waits for the disk.

    Parameters
    ----------
    path : Path
        Created with mode 0600; its folder must exist.
    append : bool
        Go on with an existing file (mend it first). Without it an existing file is never touched.
    sync_every_s : float
        Longest time until written frames are forced to the disk. Each batch reaches the operating system at once, so
        that a killed process loses next to nothing; only a power cut can cost the last ``sync_every_s``.

    Raises
    ------
    JournalExists, JournalNotWritten
    """

    def __init__(self, path: str | os.PathLike[str], *, append: bool = False, sync_every_s: float = 1.0) -> None:
        self.path = Path(path)
        flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC | (0 if append else os.O_EXCL)
        try:
            self._fd = os.open(self.path, flags, 0o600)
        except FileExistsError as error:
            raise JournalExists(
                what=f"The journal {self.path} exists already.",
                means="Nothing was written: a recording is never overwritten.",
                do="Choose another name, or move the file away.",
            ) from error
        except OSError as error:
            raise self._not_written(error) from error
        self.bytes_written = 0
        self._sync_every_s = sync_every_s
        self._waiting: list[bytes] = []
        self._condition = threading.Condition()
        self._closing = False
        self._written_all = True
        self._flushes_wanted = 0
        self._flushes_done = 0
        self._error: OSError | None = None
        self._thread = threading.Thread(target=self._run, name=f"journal {self.path.name}", daemon=True)
        self._thread.start()

    def append(self, frame: bytes) -> None:
        """Queue one frame; returns at once. Fit to be a tap.

        Raises
        ------
        JournalNotWritten
            An earlier frame could not be written, or the journal is closed.
        """
        with self._condition:
            if self._error is not None:
                raise self._not_written(self._error) from self._error
            if self._closing:
                raise self._not_written(OSError("it is closed"))
            self._waiting.append(frame)
            self._condition.notify_all()

    def note(self, content: dict[str, object]) -> None:
        """Queue a note; raises like ``append`` and ``note_bytes``."""
        self.append(note_bytes(content))

    def flush(self) -> None:
        """Wait until everything queued so far is on the disk; raises ``JournalNotWritten``."""
        with self._condition:
            self._flushes_wanted += 1
            ticket = self._flushes_wanted
            self._condition.notify_all()
            self._condition.wait_for(lambda: self._flushes_done >= ticket or not self._thread.is_alive())
            if self._error is not None:
                raise self._not_written(self._error) from self._error

    def close(self) -> None:
        """Write and sync what is queued and close the file; closing twice is harmless."""
        with self._condition:
            self._closing = True
            self._condition.notify_all()
        self._thread.join()
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1
            if self._error is not None:
                raise self._not_written(self._error) from self._error

    def __enter__(self) -> JournalWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _not_written(self, error: OSError) -> JournalNotWritten:
        return JournalNotWritten(
            what=f"The journal {self.path} could not be written: {error.strerror or error}.",
            means="Readings from now on are shown but not stored.",
            do="Make room on the disk and check that its folder exists and may be written, then start again.",
        )

    def _run(self) -> None:
        # Without this a power cut may leave the bytes on the disk and no name that leads to them. Not every file
        # system knows how to do it, and then nothing better can be done.
        with contextlib.suppress(OSError):
            _sync_folder(self.path.parent)
        unsynced_since: float | None = None
        while True:
            with self._condition:
                until_sync = None
                if unsynced_since is not None:
                    until_sync = max(0.0, unsynced_since + self._sync_every_s - time.monotonic())
                self._condition.wait_for(
                    lambda: self._waiting or self._closing or self._flushes_wanted > self._flushes_done, until_sync
                )
                batch, self._waiting = self._waiting, []
                closing, wanted = self._closing, self._flushes_wanted
            try:
                if batch:
                    self._write(b"".join(batch))
                    if unsynced_since is None:
                        unsynced_since = time.monotonic()
                due = unsynced_since is not None and time.monotonic() >= unsynced_since + self._sync_every_s
                if due or ((closing or wanted > self._flushes_done) and unsynced_since is not None):
                    os.fsync(self._fd)
                    unsynced_since = None
            except OSError as error:
                _log.error("journal %s: %s", self.path, error)
                with self._condition:
                    self._error = error
                    self._flushes_done = self._flushes_wanted
                    self._condition.notify_all()
                return
            with self._condition:
                self._flushes_done = wanted
                self._condition.notify_all()
                if closing and not self._waiting:
                    return

    def _write(self, data: bytes) -> None:
        view = memoryview(data)
        while view:
            done = os.write(self._fd, view)
            self.bytes_written += done
            view = view[done:]


def read_chunks(path: str | os.PathLike[str], size: int = CHUNK) -> Iterator[bytes]:
    """Yield the raw bytes of a journal in pieces of at most ``size``; raises ``JournalNotFound``.

    A name that ends in ``.gz`` is unpacked on the way; what is damaged in it is missing, like frames lost on the wire.
    """
    try:
        with Path(path).open("rb") as file:
            chunks = iter(lambda: file.read(size), b"")
            yield from _unpacked(chunks, size) if Path(path).suffix == PACKED else chunks
    except OSError as error:
        raise JournalNotFound(
            what=f"The journal {path} cannot be read: {error.strerror or error}.",
            means="There is nothing to analyse.",
            do="Check the name, and that the file may be read.",
        ) from error


def pack_bytes(chunks: Iterable[bytes]) -> Iterator[bytes]:
    """Pack a journal's bytes: gzip members (RFC 1952) of 64 KiB each, so that damage costs one of them at most."""
    waiting = bytearray()
    for chunk in chunks:
        waiting += chunk
        while len(waiting) >= CHUNK:
            yield gzip.compress(bytes(waiting[:CHUNK]), 6, mtime=0)
            del waiting[:CHUNK]
    if waiting:
        yield gzip.compress(bytes(waiting), 6, mtime=0)


def _unpacked(chunks: Iterable[bytes], size: int) -> Iterator[bytes]:
    """Unpack gzip members, never more than ``size`` bytes at a time; after damage go on with the next member."""
    unpack, waiting, searching = zlib.decompressobj(wbits=31), b"", False
    for chunk in chunks:
        waiting += chunk
        while waiting:
            if searching:
                at = waiting.find(_MEMBER)
                if at < 0:
                    waiting = waiting[1 - len(_MEMBER) :]
                    break
                waiting, searching, unpack = waiting[at:], False, zlib.decompressobj(wbits=31)
            # Small steps: what a step had unpacked before it failed is lost.
            step, waiting = waiting[:_STEP], waiting[_STEP:]
            left, full = step, False
            try:
                while left or full:
                    piece = unpack.decompress(left, size)
                    if piece:
                        yield piece
                    # A full piece may leave more behind although everything was taken in.
                    left, full = unpack.unconsumed_tail, len(piece) == size
            except zlib.error as error:
                _log.warning("a packed journal is damaged: %s", error)
                waiting, searching = step[1:] + waiting, True
                continue
            if unpack.eof:
                waiting, unpack = unpack.unused_data + waiting, zlib.decompressobj(wbits=31)


def is_journal(path: str | os.PathLike[str]) -> bool:
    """Return whether a file begins like a journal: a whole frame or a line of counts within its first bytes.

    A table of numbers with a header is none. Raises ``JournalNotFound``.
    """
    decoder = Decoder()
    read = 0
    for chunk in read_chunks(path):
        if not read and _TABLE_HEADER.match(chunk):
            return False
        if any(one.kind != DAMAGED for one in decoder.push(chunk)):
            return True
        read += len(chunk)
        if read > 2 * LONGEST_FRAME:
            break
    return False


def check_journal(path: str | os.PathLike[str]) -> None:
    """Raise ``NotAJournal`` or ``JournalNotFound`` with what to do, unless the file begins like a journal."""
    if not is_journal(path):
        raise NotAJournal(
            what=f"{path} is no journal: it holds no whole frame.",
            means="There is nothing to analyse in it.",
            do="Give a journal written by this program, or a load curve as CSV.",
        )


@dataclass(frozen=True, slots=True)
class Mending:
    """Result of a repair: bytes of whole frames and of the torn tail, and where the tail is now."""

    whole_bytes: int
    torn_bytes: int
    tail: Path | None


def torn_bytes(path: str | os.PathLike[str]) -> int:
    """Return how many bytes at the end of a journal belong to no whole frame or line; raises ``JournalNotFound``.

    Zero bytes alone are no damage: they end frames, and a file system may fill up with them after a cut of the power.
    Together with other remains they are torn.
    """
    decoder = Decoder()
    carried, total, sound, remains = b"", 0, 0, False
    for chunk in read_chunks(path):
        window = carried + chunk
        total += len(chunk)
        whole = [one.raw for one in decoder.push(chunk) if one.kind != DAMAGED]
        behind = 0
        if whole:
            # Searched for, not counted back: damaged pieces do not account for every byte between them.
            # The zero byte that opened a piece may lie in the chunk before, or have blanks behind it.
            last = whole[-1] if whole[-1] in window else whole[-1].removeprefix(END)
            behind = window.rindex(last) + len(last)
            behind += window[behind : behind + 1] == END  # it opens the next frame of the host
            sound, remains = total - len(window) + behind, False
        remains = remains or bool(window[behind:].strip(END))
        carried = window[len(window) - decoder.pending :]
    return total - sound if remains else 0


def _sync_folder(path: Path) -> None:
    """Force a new name in a folder to the disk."""
    folder = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def _keep_tail(path: Path, offset: int, tail: bytes) -> Path:
    """Write a torn tail to a new file beside the journal and force it to the disk; return its path."""
    number = 1
    while True:
        beside = path.with_name(f"{path.name}.torn-{offset}" + (f"-{number}" if number > 1 else ""))
        try:
            descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
        except FileExistsError:
            number += 1
            continue
        with open(descriptor, "wb") as copy:
            copy.write(tail)
            copy.flush()
            os.fsync(copy.fileno())
        _sync_folder(beside.parent)
        return beside


def mend(path: str | os.PathLike[str]) -> Mending:
    """Cut a torn tail off a journal, so that it can be appended to.

    Bytes behind the last whole frame are first copied to a file of their own beside the journal and forced to the
    disk; only then is the journal shortened. A journal without a torn tail is not touched.

    Raises
    ------
    JournalNotFound, JournalNotWritten
    """
    path = Path(path)
    torn = torn_bytes(path)
    size = path.stat().st_size
    if not torn:
        return Mending(size, 0, None)
    whole = size - torn
    try:
        with path.open("rb+") as file:
            file.seek(whole)
            tail = _keep_tail(path, whole, file.read())
            file.truncate(whole)
            os.fsync(file.fileno())
    except OSError as error:
        raise JournalNotWritten(
            what=f"The torn journal {path} could not be repaired: {error.strerror or error}.",
            means="Its whole frames can still be read; nothing can be appended.",
            do="Make room on the disk and check that the folder may be written.",
        ) from error
    _log.warning("journal %s: %d bytes at its end were no whole frame; they are kept in %s", path, torn, tail.name)
    return Mending(whole, torn, tail)
