"""The board's clock: 32-bit microseconds, made from the port's ticks, which wrap earlier."""

import time

# Where the microseconds begin; a test begins shortly before the wrap.
START_us = 0


class BoardClock:
    """Microseconds since boot modulo 2**32.

    The port's ticks wrap at 2**30 where integers are small. Only their differences are used, so ``now`` has to be
    called at least every 4 minutes; the main loop does it every few milliseconds. Not for interrupt handlers: numbers
    beyond 2**30 are allocated. A handler keeps the tick, and ``at`` turns it into microseconds later.
    """

    def __init__(self):
        self._us = START_us
        self._tick = time.ticks_us()

    def now(self):
        """Return the microseconds now, 0 .. 2**32 - 1."""
        tick = time.ticks_us()
        self._us = (self._us + time.ticks_diff(tick, self._tick)) & 0xFFFFFFFF
        self._tick = tick
        return self._us

    def at(self, tick):
        """Return the microseconds of a tick at most 4 minutes from the latest ``now``, earlier or later."""
        return (self._us + time.ticks_diff(tick, self._tick)) & 0xFFFFFFFF
