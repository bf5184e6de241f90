"""What every converter's driver is built on."""

import math

NO_READING = -(2**31)
RAIL = 0x7FFFFF


def signed(value):
    """Return a 24-bit two's complement number as an integer: 0x800000 is -8388608."""
    return value - 0x1000000 if value & 0x800000 else value


class Converter:
    """What the sampling needs of a converter.

    A driver reads in its interrupt handler, which allocates nothing, and leaves the raw readings in ``readings``. It
    adds three methods: ``begin`` resets and configures the converter and switches its interrupt on, ``end`` switches
    the interrupt off, ``take(counts)`` runs in the main loop, fills ``counts`` with the oldest reading and returns
    False when there is none.

    Attributes
    ----------
    name : str
        ASCII, at most 32 characters.
    channels : int
    rate_cHz : int
        Nominal conversions per second, in hundredths.
    skew_us : int
        How far apart the channels of one row may be, 0 .. 65535.
    delay_us : int
        From the middle of a conversion to its time stamp.
    tick, lost : int
        Of the reading that ``take`` returned last: the tick at which it was ready, readings lost before it.
    absent : int
        Of the same reading: a bit for each channel that gave none.
    damaged : int
        Transfers since the start that failed their check.
    """

    def __init__(self, name, channels, readings):
        self.name = name
        self.channels = channels
        self.readings = readings
        self.rate_cHz = 0
        self.skew_us = 0
        self.delay_us = 0
        self.tick = 0
        self.lost = 0
        self.absent = 0
        self.damaged = 0

    @property
    def interval_us(self):
        """Nominal microseconds from one conversion to the next."""
        return 100_000_000 // self.rate_cHz

    def set_rate(self, rate_cHz):
        """Change the rate and restart the conversions; False when the converter cannot do it."""
        return rate_cHz == self.rate_cHz

    def tend(self, silent_us):
        """Recover a converter that has been silent for ``silent_us``; called often from the main loop."""


def slots_for(rate_cHz):
    """Return how many readings to buffer: enough for half a second of a busy main loop, at least 16."""
    return max(16, math.ceil(rate_cHz / 200) + 2)
