"""A converter board in software behind a pseudo-terminal; it speaks the wire protocol byte for byte."""

from __future__ import annotations

import contextlib
import logging
import os
import selectors
import threading
import tty
from collections import deque
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.clock import HostClock
from firmware_bridge.counts import NO_READING
from firmware_bridge.decoder import Decoder
from firmware_bridge.errors import VirtualBoardMisused
from firmware_bridge.framing import seal
from firmware_bridge.messages import AskEcho, AskHello, Echo, Fault, Hello, Message, Samples, SetRate, Start, Stop
from firmware_bridge.text_lines import format_line

_log = logging.getLogger(__name__)

Rows = NDArray[np.int32]
Conversions = Callable[[int], Rows | tuple[Rows, NDArray[np.bool_]]]
"""Gives the next n conversions as (n, channels) counts, perhaps with a mask of those missed; fewer rows: the end."""

_RAILS = (2**23 - 1, -(2**23))
_LONGEST_FRAME_S = 0.05
_BUFFER_BYTES = 4096
_MOST_FRAMES_A_TURN = 16
"""A board that has fallen behind, on a busy machine or at high speed, keeps listening while it catches up."""


class VirtualBoard:
    """A board whose readings come from a function; otherwise it behaves like a real one.

    Its thread paces frames by deadlines of a monotonic clock, so lateness does not add up, and never waits for the
    host: what does not fit into the buffer is dropped and counted as missed.

    Parameters
    ----------
    conversions : callable
        ``conversions(n)`` returns the next n conversions, (n, channels) int32, ``NO_READING`` where one failed; or a
        pair with a boolean mask (n,) of conversions that were missed. Fewer than n rows mean the end of the data.
        Called in the board's thread, from the host's start on.
    channels : int
    rate_Hz : float
        True conversions per second, of the host's (perhaps accelerated) time.
    samples_per_frame : int or None
        None: as many as fit into 50 ms.
    board_id : bytes
        8 bytes.
    reading_delay_us : int or None
        From the middle of a conversion to its stamp; None: half an interval.
    start_board_us : int
        Board time at each boot.
    clock_error_ppm : float
        How much too fast the board's clock runs.
    speed : float
        Seconds of the board per real second.
    clock : HostClock or None
        Paces the board instead of a clock of its own at ``speed``.
    dialect : "frames" or "text"
        A text board starts by itself and hears nothing.
    link : path or None
        A symbolic link to the pseudo-terminal that keeps its name when the board is plugged in again.
    buffer_bytes : int or None
        Size of the board's own output buffer; the pseudo-terminal holds some more. None: 4 KiB times the speed, so that
        the same stall of this machine costs as little at every speed.
    at_end : "silent" or "unplug"
        What happens when the data end and everything has been sent. What the host has not fetched by then goes with
        the cable.
    """

    def __init__(
        self,
        conversions: Conversions,
        *,
        channels: int,
        rate_Hz: float = 80.0,
        samples_per_frame: int | None = None,
        board_id: bytes = b"virtual0",
        reading_delay_us: int | None = None,
        start_board_us: int = 0,
        clock_error_ppm: float = 0.0,
        speed: float = 1.0,
        clock: HostClock | None = None,
        dialect: Literal["frames", "text"] = "frames",
        skew_us: int = 0,
        converter: str = "virtual",
        link: str | os.PathLike[str] | None = None,
        buffer_bytes: int | None = None,
        at_end: Literal["silent", "unplug"] = "silent",
    ) -> None:
        rows = max(1, int(rate_Hz * _LONGEST_FRAME_S)) if samples_per_frame is None else samples_per_frame
        if not (rate_Hz > 0 and 1 <= channels <= 16 and 1 <= rows <= 255 and len(board_id) == 8):
            raise VirtualBoardMisused(
                what=f"A virtual board cannot have {channels} channels, {rate_Hz} per second, {rows} rows a frame.",
                means="No board was started.",
                do="Give 1 to 16 channels, a rate above 0, 1 to 255 samples a frame and a board id of 8 bytes.",
            )
        self.channels = channels
        self.rate_Hz = rate_Hz
        self.boot_count = 1
        self.sent_samples = 0
        self.missed_total = 0
        self.wire_lost_samples = 0
        self.finished = threading.Event()
        self.error: Exception | None = None
        self._conversions = conversions
        self._rows = rows
        self._board_id = board_id
        self._delay_us = reading_delay_us
        self._start_us = start_board_us
        self._tick = 1 + clock_error_ppm * 1e-6
        self._clock = clock or HostClock(speed)
        self._text = dialect == "text"
        self._skew_us = skew_us
        self._converter = converter
        self._link = Path(link) if link is not None else None
        usual_bytes = round(_BUFFER_BYTES * max(1.0, self._clock.speed))
        self._buffer_bytes = usual_bytes if buffer_bytes is None else buffer_bytes
        self._at_end = at_end
        self._orders: deque[tuple[Callable[[], None], threading.Event]] = deque()
        self._selector = selectors.DefaultSelector()
        self._wake_read, self._wake_write = -1, -1
        self._master, self._slave, self._slave_name = -1, -1, ""
        self._watching_write = False
        self._stopping = False
        self._thread: threading.Thread | None = None
        self._misses = self._drops = self._doubles = self._corruptions = 0
        self._muted_until_ns = 0
        self._boot()

    # The physical board

    @property
    def port(self) -> str:
        """Path that the host opens: the symbolic link where there is one, else the pseudo-terminal."""
        return str(self._link) if self._link is not None else self._slave_name

    def start(self) -> None:
        """Switch on: make the pseudo-terminal and boot."""
        if self._thread is not None:
            return
        self._wake_read, self._wake_write = os.pipe()
        os.set_blocking(self._wake_read, False)
        self._selector.register(self._wake_read, selectors.EVENT_READ)
        self._plug()
        self._boot()
        self._thread = threading.Thread(target=self._run, name="virtual board", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Switch off and remove the pseudo-terminal; stopping twice is harmless."""
        thread, self._thread = self._thread, None
        if thread is None:
            return
        self._stopping = True
        os.write(self._wake_write, b".")
        thread.join()
        self._unplug()
        self._selector.close()
        os.close(self._wake_read)
        os.close(self._wake_write)

    def __enter__(self) -> VirtualBoard:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def reboot(self) -> None:
        """Restart the firmware: new boot count, board time, numbers and buffer; it waits for the host's start."""
        self._order(self._reboot)

    def unplug(self) -> None:
        """Pull the cable: the pseudo-terminal hangs up and its link vanishes."""
        self._order(self._unplug)

    def replug(self, *, reboot: bool = True) -> None:
        """Plug in again under a new pseudo-terminal; a board powered by its cable reboots."""

        def plug() -> None:
            if self._master < 0:
                self._plug()
            if reboot:
                self._reboot()

        self._order(plug)

    def miss(self, conversions: int) -> None:
        """Let the next conversions happen without being read."""
        self._order(lambda: self._add("_misses", conversions))

    def inject(self, data: bytes) -> None:
        """Put bytes on the wire between two frames."""
        self._order(lambda: self._out.extend(data))

    def report_fault(self, code: int, channel: int, detail: str) -> None:
        """Send a fault frame."""
        self._order(lambda: self._reply(Fault(code, channel, detail)))

    def corrupt_next_frame(self) -> None:
        """Flip bits in the next sample frame."""
        self._order(lambda: self._add("_corruptions", 1))

    def double_next_frame(self) -> None:
        """Send the next sample frame twice."""
        self._order(lambda: self._add("_doubles", 1))

    def drop_next_frame(self) -> None:
        """Lose the next sample frame on the wire."""
        self._order(lambda: self._add("_drops", 1))

    def mute(self, seconds: float) -> None:
        """Send nothing for some seconds of the board's time; conversions in the meantime are missed."""

        def mute() -> None:
            self._muted_until_ns = self._clock.monotonic_ns() + int(seconds * 1e9)

        self._order(mute)

    # Inside the board's thread

    def _add(self, name: str, amount: int) -> None:
        setattr(self, name, getattr(self, name) + amount)

    def _order(self, action: Callable[[], None]) -> None:
        """Run something in the board's thread and wait until it is done."""
        thread = self._thread
        if thread is None or not thread.is_alive():
            raise VirtualBoardMisused(
                what="The virtual board is switched off.",
                means="It cannot do what was requested.",
                do="Call start() first, or use it in a with statement.",
            )
        done = threading.Event()
        self._orders.append((action, done))
        os.write(self._wake_write, b".")
        while not done.wait(0.5):
            if not thread.is_alive():
                break

    def _boot(self) -> None:
        self._boot_ns = self._clock.monotonic_ns()
        self._sequence = 0
        self._missed = 0
        self._out = bytearray()
        self._decoder = Decoder()
        self._sampling = False
        self._ended = False
        self._began_ns = 0
        self._taken = 0

    def _reboot(self) -> None:
        self.boot_count += 1
        self._boot()
        self._wake_up()

    def _wake_up(self) -> None:
        """Greet, or begin to print: what firmware does first."""
        if self._text:
            self._begin()
        else:
            self._reply(self._hello())

    def _plug(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self._slave_name = os.ttyname(self._slave)
        self._selector.register(self._master, selectors.EVENT_READ)
        self._watching_write = False
        if self._link is not None:
            fresh = self._link.with_name(self._link.name + ".new")
            fresh.unlink(missing_ok=True)
            fresh.symlink_to(self._slave_name)
            fresh.replace(self._link)

    def _unplug(self) -> None:
        if self._master < 0:
            return
        self._sampling = False
        self._selector.unregister(self._master)
        if self._link is not None:
            self._link.unlink(missing_ok=True)
        os.close(self._slave)
        os.close(self._master)
        self._master = self._slave = -1

    def _run(self) -> None:
        self._wake_up()
        try:
            while not self._stopping:
                self._turn()
        except Exception as error:
            # The caller's function failed: the board falls silent, and the next call raises the reason.
            _log.exception("virtual board")
            self.error = error
            self.finished.set()

    def _turn(self) -> None:
        if self._master >= 0 and bool(self._out) != self._watching_write:
            self._watching_write = bool(self._out)
            wanted = selectors.EVENT_READ | (selectors.EVENT_WRITE if self._watching_write else 0)
            self._selector.modify(self._master, wanted)
        timeout_s = None
        if self._sampling:
            timeout_s = max(0.0, (self._due_ns() - self._clock.monotonic_ns()) * 1e-9 / self._clock.speed)
        for key, _ in self._selector.select(timeout_s):
            if key.fd == self._wake_read:
                os.read(self._wake_read, 4096)
        while self._orders:
            action, done = self._orders.popleft()
            try:
                action()
            finally:
                done.set()
        self._hear()
        for _ in range(_MOST_FRAMES_A_TURN):
            if not self._sampling or self._clock.monotonic_ns() < self._due_ns():
                break
            self._convert()
            self._speak()
        self._speak()
        if self._ended and not self._out and not self.finished.is_set():
            if self._at_end == "unplug":
                self._unplug()
            self.finished.set()

    def _hear(self) -> None:
        if self._master < 0:
            return
        try:
            data = os.read(self._master, 4096)
        except OSError:
            return
        if self._text:
            return
        for received in self._decoder.push(data):
            value = received.value
            if isinstance(value, AskHello):
                self._reply(self._hello())
            elif isinstance(value, AskEcho):
                self._reply(Echo(value.token, self._board_us(self._clock.monotonic_ns())))
            elif isinstance(value, Start) and not self._sampling and not self._ended:
                self._begin()
            elif isinstance(value, Stop):
                self._sampling = False
            elif isinstance(value, SetRate) and value.rate_cHz > 0:
                self._set_rate(value.rate_cHz / 100)

    def _begin(self) -> None:
        self._sampling = True
        self._began_ns, self._taken = self._clock.monotonic_ns(), 0

    def _set_rate(self, rate_Hz: float) -> None:
        if rate_Hz == self.rate_Hz:
            return
        self.rate_Hz = rate_Hz
        if self._sampling:
            self._begin()
        self._reply(self._hello())

    def _speak(self) -> None:
        if self._master < 0 or not self._out:
            return
        with contextlib.suppress(BlockingIOError):
            del self._out[: os.write(self._master, self._out)]

    def _board_us(self, at_ns: int) -> int:
        return (self._start_us + round((at_ns - self._boot_ns) * 1e-3 * self._tick)) & 0xFFFFFFFF

    def _ready_ns(self, conversion: int) -> int:
        """Return when a conversion since the start is ready, counted from 0."""
        return self._began_ns + round((conversion + 1) * 1e9 / self.rate_Hz)

    def _due_ns(self) -> int:
        return self._ready_ns(self._taken + self._rows - 1)

    def _hello(self) -> Hello:
        delay_us = round(5e5 / self.rate_Hz) if self._delay_us is None else self._delay_us
        return Hello(
            protocol=1,
            firmware=(0, 1, 0),
            board_id=self._board_id,
            boot_count=self.boot_count,
            channels=self.channels,
            rate_cHz=round(self.rate_Hz * 100),
            skew_us=self._skew_us,
            reading_delay_us=delay_us,
            converter=self._converter,
        )

    def _reply(self, message: Message) -> None:
        frame = seal(message.KIND, self._sequence, message.to_body())
        if len(self._out) + len(frame) <= self._buffer_bytes:
            self._sequence = (self._sequence + 1) & 0xFFFF
            self._out += frame

    def _convert(self) -> None:
        """Take the conversions that are due and send them, a frame for each run without a miss."""
        given = self._conversions(self._rows)
        counts, mask = given if isinstance(given, tuple) else (given, np.zeros(len(given), dtype=bool))
        counts = np.asarray(counts, dtype=np.int32).reshape(-1, self.channels)
        mask = np.array(mask, dtype=bool)
        if len(counts) < self._rows:
            self._sampling, self._ended = False, True
        forced = min(self._misses, len(counts))
        mask[:forced] = True
        self._misses -= forced
        first = self._taken
        if self._ready_ns(first) < self._muted_until_ns:
            # By when the conversion was due, not by when a busy machine lets this thread run.
            mask |= [self._ready_ns(first + row) < self._muted_until_ns for row in range(len(counts))]
        self._taken += len(counts)
        if not mask.any():
            self._give(first, counts)
            return
        edges = np.flatnonzero(np.diff(mask)) + 1
        for start, run, missed in zip(
            [0, *edges.tolist()], np.split(counts, edges), np.split(mask, edges), strict=True
        ):
            if len(run) and missed[0]:
                self._not_sent(len(run))
            else:
                self._give(first + start, run)

    def _give(self, first: int, run: Rows) -> None:
        if not len(run):
            return
        if self._text:
            self._print(first, run)
        else:
            self._frame(first, run)

    def _not_sent(self, rows: int) -> None:
        self._missed = (self._missed + rows) & 0xFFFF
        self.missed_total += rows

    def _frame(self, first: int, run: Rows) -> None:
        interval = round(256e6 / self.rate_Hz * self._tick)
        status = 0
        if run.max() >= _RAILS[0] or run.min() <= _RAILS[1]:
            saturated = ((run == _RAILS[0]) | (run == _RAILS[1])).any(axis=0).tolist()
            failed = (run == NO_READING).any(axis=0).tolist()
            for channel in range(self.channels):
                status |= saturated[channel] << (2 * channel) | failed[channel] << (2 * channel + 1)
        samples = Samples(self._board_us(self._ready_ns(first)), interval, self._missed, run, status)
        frame = seal(Samples.KIND, self._sequence, samples.to_body())
        if len(self._out) + len(frame) > self._buffer_bytes:
            self._not_sent(len(run))
            return
        self._sequence = (self._sequence + 1) & 0xFFFF
        if self._drops:
            self._drops -= 1
            self.wire_lost_samples += len(run)
            return
        if self._corruptions:
            self._corruptions -= 1
            self.wire_lost_samples += len(run)
            middle = len(frame) // 2
            frame = frame[:middle] + bytes((frame[middle] ^ 0x55 or 0xAA,)) + frame[middle + 1 :]
        else:
            self.sent_samples += len(run)
        self._out += frame
        if self._doubles:
            self._doubles -= 1
            self._out += frame

    def _print(self, first: int, run: Rows) -> None:
        for row, counts in enumerate(run.tolist()):
            line = format_line(self._board_us(self._ready_ns(first + row)), counts)
            if len(self._out) + len(line) > self._buffer_bytes:
                self._not_sent(1)
                continue
            self.sent_samples += 1
            self._out += line
