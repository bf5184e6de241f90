"""Messages to source events: one assembly serves the live link and every journal, so both give the same."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.clock import BoardClock, ClockFitter, FittedClock
from firmware_bridge.continuity import FrameContinuity, LineContinuity
from firmware_bridge.counts import CountBlock
from firmware_bridge.decoder import DAMAGED, LINK_NOTE, TEXT_LINE, Received
from firmware_bridge.events import BoardFacts, BoardFault, ClockFit, Counters, Note, SourceEvent
from firmware_bridge.messages import FIRST_HOST_KIND, Anchor, Echo, Fault, Hello, NoteFrame, Samples

_SATURATED = 0x55555555
_ROWS = np.arange(256, dtype=np.int64)


class Assembly:
    """Puts decoded messages together: segments, unwrapped times, losses, the clock's fit.

    It has no port, file or clock of its own: the host's times come in as anchor frames. The live link feeds
    it exactly what it writes to the journal, in the same order.
    """

    def __init__(self) -> None:
        self.segment = 0
        self._used = False
        self._frames = 0
        self._samples = 0
        self._lost = 0
        self._damaged = 0
        self._damaged_since = 0
        self._unknown = 0
        self._repeated = 0
        self._spikes = 0
        self._reported = Counters()
        self._hello: Hello | None = None
        self._hello_confirmed = False
        self._offsets_for = (0, 0)
        self._offsets = _ROWS[:0]
        self._begin()

    def _begin(self) -> None:
        self._clock = BoardClock()
        self._fitter = ClockFitter()
        self._continuity = FrameContinuity()
        self._lines = LineContinuity()
        self._echo: Echo | None = None
        self._first_line_passed = False
        self._text_facts: BoardFacts | None = None

    @property
    def counters(self) -> Counters:
        """Return the counters so far."""
        return Counters(
            frames=self._frames,
            samples=self._samples,
            lost=self._lost,
            damaged=self._damaged + self._lines.damaged,
            unknown=self._unknown,
            repeated=self._repeated + self._lines.repeated,
            spikes=self._spikes,
        )

    def take(self, received: Received) -> list[SourceEvent]:
        """Take the next message, in order of arrival, and return the events it causes."""
        if received.kind == DAMAGED:
            self._damaged += 1
            self._damaged_since += 1
            return []
        self._frames += 1
        value = received.value
        if isinstance(value, Samples):
            if received.kind == TEXT_LINE:
                return self._take_line(value)
            return self._take_samples(received.sequence, value)
        if received.kind >= FIRST_HOST_KIND:
            if value is None:
                self._unknown += 1
            return self._take_host(value)
        self._used = True
        fresh = self._continuity.other(received.sequence)
        if value is None:
            self._unknown += 1
        elif isinstance(value, Hello):
            return self._take_hello(received.sequence, value)
        elif isinstance(value, Echo):
            self._echo = value
        elif isinstance(value, Fault) and fresh:
            return [BoardFault(self.segment, value.code, value.channel, value.detail)]
        return []

    def _next_segment(self) -> None:
        self._damaged += self._lines.damaged
        self._repeated += self._lines.repeated
        if self._used:
            self.segment += 1
        self._used = False
        self._hello_confirmed = False
        self._begin()

    def _facts(self) -> list[SourceEvent]:
        hello = self._hello
        if hello is None:
            return []
        return [
            BoardFacts(
                segment=self.segment,
                protocol=hello.protocol,
                firmware=hello.firmware,
                board_id=hello.board_id,
                boot_count=hello.boot_count,
                channels=hello.channels,
                rate_Hz=hello.rate_cHz / 100,
                skew_us=hello.skew_us,
                reading_delay_us=hello.reading_delay_us,
                converter=hello.converter,
            )
        ]

    def _take_hello(self, sequence: int, hello: Hello) -> list[SourceEvent]:
        old = self._hello
        if self._hello_confirmed and old is not None:
            if hello == old:
                return []
            if (hello.boot_count, hello.board_id) != (old.boot_count, old.board_id):
                self._next_segment()
                self._used = True
                self._continuity.other(sequence)
        self._hello, self._hello_confirmed = hello, True
        return self._facts()

    def _take_samples(self, sequence: int, new: Samples) -> list[SourceEvent]:
        events: list[SourceEvent] = []
        judgement = self._continuity.samples(sequence, new)
        if judgement.verdict == "repeated":
            self._repeated += 1
            return []
        if judgement.verdict == "restart":
            self._next_segment()
            self._continuity.samples(sequence, new)
            events += self._facts()
        self._used = True
        if new.status & _SATURATED:
            self._spikes += 1
        first_us = self._clock.unwrap(new.first_us)
        rows = len(new.counts)
        # Whole 1/256 us throughout: sums of floats would depend on where frames were cut.
        if self._offsets_for != (rows, new.interval_256us):
            self._offsets_for = (rows, new.interval_256us)
            self._offsets = _ROWS[:rows] * new.interval_256us
        board_s = (self._offsets + (first_us << 8)) / 256e6
        events.append(self._block(board_s, new.counts, judgement.lost, new.status))
        return events

    def _block(self, board_s: NDArray[np.float64], counts: NDArray[np.int32], lost: int, status: int = 0) -> CountBlock:
        self._samples += len(board_s)
        self._lost += lost
        damaged, self._damaged_since = self._damaged_since, 0
        return CountBlock(self.segment, board_s, counts, lost, status, damaged)

    def _take_line(self, new: Samples) -> list[SourceEvent]:
        if not self._first_line_passed:
            # A port is usually opened mid-line: the rest of that line may look whole and be wrong.
            self._first_line_passed = True
            return []
        events: list[SourceEvent] = []
        damaged = self._lines.damaged
        for judgement, line in self._lines.line(new):
            if judgement.verdict == "restart":
                self.segment += 1
                self._clock, self._fitter = BoardClock(), ClockFitter()
                self._text_facts = None
            self._damaged_since += self._lines.damaged - damaged
            damaged = self._lines.damaged
            self._used = True
            board_s = np.array([self._clock.unwrap(line.first_us) / 1e6])
            events += self._facts_of_text(line.counts.shape[1])
            events.append(self._block(board_s, line.counts, judgement.lost))
        self._damaged_since += self._lines.damaged - damaged
        return events

    def _facts_of_text(self, channels: int) -> list[SourceEvent]:
        interval_us = self._lines.interval_us
        facts = self._text_facts
        if facts is not None and (facts.rate_Hz > 0 or not interval_us):
            return []
        rate_Hz = round(1e6 / interval_us, 2) if interval_us else 0.0
        self._text_facts = BoardFacts(self.segment, 0, (0, 0, 0), b"", 0, channels, rate_Hz, 0, 0, "text")
        return [self._text_facts]

    def _take_host(self, value: object) -> list[SourceEvent]:
        if isinstance(value, Anchor):
            events = self._take_anchor(value)
            counters = self.counters
            if counters != self._reported:
                self._reported = counters
                events.append(counters)
            return events
        if isinstance(value, NoteFrame):
            if LINK_NOTE in value.content:
                self._next_segment()
                return []
            return [Note(value.content)]
        return []

    def _take_anchor(self, anchor: Anchor) -> list[SourceEvent]:
        self._used = True
        board_us = self._clock.unwrap(anchor.board_us)
        echo, self._echo = self._echo, None
        if echo is not None and echo.board_us == anchor.board_us:
            sent_ns = int.from_bytes(echo.token, "little")
            clock_fit = self._fitter.echo(sent_ns, anchor.monotonic_ns, board_us, anchor.utc_ns)
        else:
            clock_fit = self._fitter.arrival(anchor.monotonic_ns, board_us, anchor.utc_ns)
        return [] if clock_fit is None else [self._clock_fit(clock_fit)]

    def _clock_fit(self, fit: FittedClock) -> ClockFit:
        return ClockFit(self.segment, fit.rate, fit.u_rate, fit.host_ns_at_zero, fit.utc_ns_at_zero)
