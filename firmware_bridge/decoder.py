"""Bytes to messages: finds the dialect, counts what it drops, never raises on any bytes."""

from __future__ import annotations

import re
from dataclasses import dataclass, fields
from typing import Literal

from firmware_bridge.framing import END, LONGEST_FRAME, BadFrame, unseal
from firmware_bridge.messages import FIRST_HOST_KIND, KINDS, BadBody, Message, NoteFrame, Samples
from firmware_bridge.text_lines import parse_line

TEXT_LINE = -1
"""The ``kind`` of a received line of text, which has no type number."""

DAMAGED = -2
"""The ``kind`` of bytes between two delimiters that are neither a frame nor a line."""

LINK_NOTE = "link"
"""Key of the notes by which the link marks a new connection in a journal; the dialect is detected again after one."""

STUB = b"\xff\x00"
"""Placeholder for too many damaged bytes to keep: a frame that can never be whole."""

_MOST_PRINTED_LINES = 100
_PRINTED = re.compile(rb"[\t\r\x1b -~]*")

_ZEROS = re.compile(rb"\0+")

_BLANK = b" \t\r\n\0"

Dialect = Literal["frames", "text"]


@dataclass(frozen=True, slots=True)
class Received:
    """What lies between two delimiters.

    Attributes
    ----------
    kind : int
        The frame's type, ``TEXT_LINE`` or ``DAMAGED``.
    sequence : int
        The frame's sequence number, 0 where there is none.
    value : Message or None
        None for a damaged piece and for a type that this version does not know.
    raw : bytes
        The bytes exactly as received, ending delimiter included (``STUB`` where they were too many).
    """

    kind: int
    sequence: int
    value: Message | None
    raw: bytes

    def summary(self) -> dict[str, object]:
        """Return the message as plain data, for comparison with a stored expectation."""
        name = {TEXT_LINE: "line", DAMAGED: "damaged"}.get(self.kind)
        if name is None:
            name = KINDS[self.kind].__name__ if self.kind in KINDS else f"unknown 0x{self.kind:02x}"
        plain: dict[str, object] = {"kind": name, "sequence": self.sequence}
        if self.value is not None:
            for name in (one.name for one in fields(self.value)):
                value = getattr(self.value, name)
                if name == "counts":
                    value = value.tolist()
                elif isinstance(value, bytes):
                    value = value.hex()
                elif isinstance(value, tuple):
                    value = list(value)
                plain[name] = value
        return plain


@dataclass(slots=True)
class DecoderCounters:
    """A decoder's counts: whole frames or lines, damaged pieces, unknown types, times it came back into step."""

    frames: int = 0
    damaged: int = 0
    unknown: int = 0
    resyncs: int = 0


class Decoder:
    """Turns a stream of bytes into messages, however the stream is cut.

    A piece that ends with a zero byte is tried as a frame. Until a frame of the board has been seen, a piece that
    ends with a line feed is tried as a line of text as well; the host's own frames in the journal of a text board are
    opened *and* closed by a zero byte, so both kinds fit in one file. Memory is bounded: a piece not ended within
    ``LONGEST_FRAME`` bytes is dropped and counted as damaged.
    """

    def __init__(self) -> None:
        self.counters = DecoderCounters()
        self.dialect: Dialect | None = None
        self._pending = b""
        self._scanned = 0
        self._line_start = 0
        self._maybe_frame = True
        self._skipping = False
        self._out_of_step = False
        self._opening_zero = False

    @property
    def pending(self) -> int:
        """Number of bytes that wait for their delimiter (a torn tail, at the end of a file)."""
        return len(self._pending)

    def restart(self) -> None:
        """Forget an unfinished piece and the dialect: the bytes to come are from a new connection."""
        self._pending = b""
        self._scanned = self._line_start = 0
        self._skipping = self._opening_zero = False
        self._seek_dialect()

    def push(self, data: bytes) -> list[Received]:
        """Take the next bytes of the stream and return what is complete; any bytes are allowed."""
        out: list[Received] = []
        buffer = self._pending + data
        start, scan, line_start = 0, self._scanned, self._line_start
        size = len(buffer)
        zero = -2  # position of the next zero byte; -2 not sought yet, -1 none in this buffer
        while start < size:
            if self._skipping:
                ends = [end for end in (buffer.find(b"\n", start), buffer.find(b"\0", start)) if end >= 0]
                if not ends:
                    start = scan = line_start = size
                    break
                self._skipping = False
                start = scan = line_start = min(ends) + 1
                continue
            if zero != -1 and zero < scan:
                zero = buffer.find(b"\0", scan)
            feed = -1 if self.dialect == "frames" else buffer.find(b"\n", scan)
            end = zero if feed < 0 or 0 <= zero < feed else feed
            if end < 0 or end - start > LONGEST_FRAME:
                if size - start <= LONGEST_FRAME:
                    scan = size
                    break
                self._give_up(out)
                start += LONGEST_FRAME + 1
                scan = line_start = start
                continue
            if end == zero:
                first = len(out)
                if end > start:
                    self._piece(buffer[start : end + 1], out)
                    self._open(out, first)
                elif self.dialect != "frames":
                    self._opening_zero = True
                self._maybe_frame = True
                run = _ZEROS.match(buffer, end)
                start = scan = line_start = run.end() if run is not None and end == start else end + 1
                continue
            scan = end + 1
            first = len(out)
            line = parse_line(buffer[line_start:end])
            if line is not None:
                self._junk(buffer[start:line_start], out)
                self._line(buffer[line_start : end + 1], line, out)
                start = line_start = scan
            elif self._maybe_frame:
                line_start = scan
            else:
                self._junk(buffer[start:scan], out)
                start = line_start = scan
            self._open(out, first)
        self._pending = buffer[start:]
        self._scanned, self._line_start = scan - start, line_start - start
        return out

    def _open(self, out: list[Received], first: int) -> None:
        """Give a zero byte that opened a piece among lines back to it; without it the raw bytes read otherwise."""
        if self._opening_zero and len(out) > first:
            one = out[first]
            out[first] = Received(one.kind, one.sequence, one.value, END + one.raw)
            self._opening_zero = False

    def _seek_dialect(self) -> None:
        self.dialect = None
        self._maybe_frame = True

    def _in_step(self) -> None:
        if self._out_of_step:
            self.counters.resyncs += 1
            self._out_of_step = False

    def _damaged(self, raw: bytes, out: list[Received]) -> None:
        self.counters.damaged += 1
        self._out_of_step = True
        out.append(Received(DAMAGED, 0, None, raw))

    def _give_up(self, out: list[Received]) -> None:
        self._damaged(STUB, out)
        self._skipping = True
        self._seek_dialect()

    def _junk(self, raw: bytes, out: list[Received]) -> None:
        """Count every line that is neither blank nor valid; blank ones are attached to their neighbours."""
        line_run = b""
        for line in raw.splitlines(keepends=True):
            if line_run.strip(_BLANK) and line.strip(_BLANK):
                self._damaged(line_run, out)
                line_run = b""
            line_run += line
        if line_run.strip(_BLANK):
            self._damaged(line_run, out)

    def _line(self, raw: bytes, value: Samples, out: list[Received]) -> None:
        self._in_step()
        self.counters.frames += 1
        self.dialect = "text"
        self._maybe_frame = False
        out.append(Received(TEXT_LINE, 0, value, raw))

    def _piece(self, raw: bytes, out: list[Received]) -> None:
        """Judge a piece that ends with a zero byte."""
        if self._frame(raw, out):
            return
        # A board that starts up may print a few lines first; its first frame then follows without a zero byte.
        start = 0
        for _ in range(_MOST_PRINTED_LINES):
            end = raw.find(b"\n", start)
            if end < 0 or not _PRINTED.fullmatch(raw, start, end):
                break
            start = end + 1
            printed = len(out)
            if self._frame(raw[start:], out):
                frame = out.pop(printed)
                self._junk(raw[:start], out)
                out.append(frame)
                self._in_step()
                return
        if self.dialect == "frames":
            self._damaged(raw, out)
        else:
            self._junk(raw, out)

    def _frame(self, raw: bytes, out: list[Received]) -> bool:
        """Take a piece as a frame; False where it is none."""
        try:
            kind, sequence, body = unseal(raw[:-1])
            known = KINDS.get(kind)
            value = None if known is None else known.from_body(body)
        except (BadFrame, BadBody):
            return False
        if self._out_of_step:
            self._in_step()
        self.counters.frames += 1
        if value is None:
            self.counters.unknown += 1
        elif kind < FIRST_HOST_KIND:
            self.dialect = "frames"
        elif isinstance(value, NoteFrame) and LINK_NOTE in value.content:
            self._seek_dialect()
        out.append(Received(kind, sequence, value, raw))
        return True
