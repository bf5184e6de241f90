"""From readings to sample frames: time stamps, missed conversions, status bits."""

import struct

import faults
from converter import NO_READING, RAIL

KIND = 0x02
HEAD = 15  # type, sequence, time, interval, missed, channels, count
FRAME_ms = 50  # time covered by a frame
MOST_ROWS = 64
STALE_us = 120_000  # a frame that is not full goes out after that

SETTLING = 4  # conversions after a start during which the converter settles
LEARNING = 8  # intervals used to measure the rate before anything is sent
SHIFT = 6  # the interval is smoothed over 2**SHIFT conversions

TROUBLE_us = 1_000_000  # a rail or an unchanging reading is a fault after that
STOPPED_INTERVALS = 8


class Sampling:
    """Takes readings from the converter and sends them; a frame never spans a missed conversion.

    Conversions never stop, so that the converter stays warm and its rate is known when the host says start.
    ``missed`` counts what was converted and not sent since then: while the main loop was held up, while the converter
    was silent, and whole frames that the outbox refused. It wraps at 65536.
    """

    def __init__(self, converter, clock, outbox, troubles):
        self._converter = converter
        self._clock = clock
        self._outbox = outbox
        self._faults = troubles
        channels = converter.channels
        self._payload = bytearray(HEAD + MOST_ROWS * channels * 4 + 4 + 2)
        self._row = "<%di" % channels
        self._counts = [0] * channels
        self._latest = [0] * channels
        self._steady_us = [0] * channels
        self._railed_us = [0] * channels
        self._absent_us = [0] * channels
        self.sending = False
        self.missed = 0
        self._refused = 0
        self.restart()

    @staticmethod
    def longest_payload(channels):
        """Return the bytes of the longest sample frame before its checksum."""
        return HEAD + MOST_ROWS * channels * 4 + 4

    def restart(self):
        """Begin measuring the interval; call whenever the converter restarts."""
        self._interval_us = self._converter.interval_us
        self._smooth = (self._interval_us << 8) << SHIFT
        rows = FRAME_ms * self._converter.rate_cHz // 100_000
        self._rows = max(1, min(MOST_ROWS, rows))
        self._settling = SETTLING
        self._learnt = []
        self._learning = True
        self._ready_us = self._clock.now()
        self._any = False
        self._count = 0
        self._status = 0

    def start(self):
        """Send readings from now on."""
        self.sending = True

    def stop(self):
        """Send what is waiting, then stop."""
        self.flush()
        self.sending = False

    def service(self):
        """Process all pending readings; called often from the main loop."""
        converter = self._converter
        while converter.take(self._counts):
            self._take(self._clock.at(converter.tick), converter.lost)
        now_us = self._clock.now()
        silent_us = (now_us - self._ready_us) & 0xFFFFFFFF
        if silent_us >= 0x80000000:
            # A reading was ready just after this "now" was taken.
            silent_us = 0
        if self._count and (now_us - self._first_us) & 0xFFFFFFFF > max(STALE_us, 2 * self._interval_us):
            self.flush()
        stopped = silent_us > max(STOPPED_INTERVALS * self._interval_us, 250_000)
        if stopped:
            self.flush()
        self._faults.set(
            stopped, faults.CONVERTER_STOPPED, faults.WHOLE_BOARD, "the converter gives no readings; check its wiring"
        )
        converter.tend(silent_us)

    def _take(self, ready_us, lost):
        since_us = (ready_us - self._ready_us) & 0xFFFFFFFF
        if since_us >= 0x80000000:
            # Stamped before the converter was restarted.
            return
        self._ready_us = ready_us
        if self._settling:
            self._settling -= 1
            return
        if self._learning:
            self._learn(since_us)
            return
        interval_us = self._interval_us
        missing = max(lost, (since_us + interval_us // 2) // interval_us - 1)
        if missing > 0:
            self.flush()
            if self._any and self.sending:
                self.missed = (self.missed + missing) & 0xFFFF
        else:
            self._smooth += (since_us << 8) - (self._smooth >> SHIFT)
            self._interval_us = self._smooth >> (SHIFT + 8)
        self._watch()
        if self.sending:
            self._any = True
            self._add(ready_us)

    def _learn(self, since_us):
        """Take the median of the first intervals: modules are often strapped differently than assumed, and inexact."""
        self._learnt.append(since_us)
        if len(self._learnt) < LEARNING:
            return
        nominal_us = self._converter.interval_us
        self._interval_us = max(1, sorted(self._learnt)[LEARNING // 2])
        self._smooth = (self._interval_us << 8) << SHIFT
        self._learning = False
        self._rows = max(1, min(MOST_ROWS, FRAME_ms * 1000 // self._interval_us))
        self._faults.set(
            5 * abs(self._interval_us - nominal_us) > nominal_us,
            faults.RATE_DIFFERS,
            faults.WHOLE_BOARD,
            "%d readings in 10 s; the settings say %d"
            % (10_000_000 // self._interval_us, self._converter.rate_cHz // 10),
        )

    def _watch(self):
        """Look for rails, for readings that never change and for channels without readings."""
        absent = self._converter.absent
        for channel in range(self._converter.channels):
            count = self._counts[channel]
            away = bool((absent >> channel) & 1)
            railed = not away and (count == RAIL or count == -RAIL - 1)
            same = not away and not railed and count == self._latest[channel]
            self._latest[channel] = count
            self._lasting(self._absent_us, away, channel, faults.NO_READING, "no readings from this channel")
            self._lasting(self._railed_us, railed, channel, faults.SATURATED, "at the end of the converter's range")
            self._lasting(self._steady_us, same, channel, faults.UNCHANGING, "the reading never changes: a dead cell?")

    def _lasting(self, lasted_us, wrong, channel, code, detail):
        lasted_us[channel] = min(lasted_us[channel] + self._interval_us, TROUBLE_us) if wrong else 0
        if not wrong or lasted_us[channel] >= TROUBLE_us:
            self._faults.set(wrong, code, channel, detail)

    def _add(self, ready_us):
        if not self._count:
            self._first_us = ready_us
        counts = self._counts
        struct.pack_into(self._row, self._payload, HEAD + self._count * 4 * len(counts), *counts)
        for channel, count in enumerate(counts):
            if count == NO_READING:
                self._status |= 2 << (2 * channel)
            elif count == RAIL or count == -RAIL - 1:
                self._status |= 1 << (2 * channel)
        self._count += 1
        if self._count >= self._rows:
            self.flush()

    def flush(self):
        """Send the frame that is being filled; what the outbox refuses counts as missed."""
        count = self._count
        if not count:
            return
        self._count = 0
        channels = len(self._counts)
        payload = self._payload
        payload[0] = KIND
        struct.pack_into("<IIHBB", payload, 3, self._first_us, self._smooth >> SHIFT, self.missed, channels, count)
        size = HEAD + count * channels * 4
        struct.pack_into("<I", payload, size, self._status)
        self._status = 0
        if not self._outbox.send(payload, size + 4):
            self.missed = (self.missed + count) & 0xFFFF
            self._refused += count
        elif self._refused:
            self._faults.tell(
                faults.HOST_SLOW, faults.WHOLE_BOARD, "%d readings lost while the host did not read" % self._refused
            )
            self._refused = 0
