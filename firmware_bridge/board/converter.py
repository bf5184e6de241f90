"""The small interface behind which a converter hides, and the choice of the driver."""

import math

NO_READING = -(2**31)
RAIL = 0x7FFFFF


def signed(value):
    """Return a 24-bit two's complement number as an integer: 0x800000 is -8388608."""
    return value - 0x1000000 if value & 0x800000 else value


class Converter:
    """What the sampling needs of a converter; a driver fills in the methods.

    The driver reads in its interrupt handler, which allocates nothing, and leaves the raw readings in ``readings``.
    ``take`` runs in the main loop and decodes.

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
        From the middle of a conversion to its stamp.
    tick, lost : int
        Of the reading that ``take`` gave last: the tick at which it was ready, readings lost before it.
    absent : int
        Of the same reading: a bit for each channel that gave none.
    damaged : int
        Transfers that failed their check since the start.
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

    def begin(self):
        """Reset and configure the converter and switch its interrupt on."""
        raise NotImplementedError

    def end(self):
        """Switch the interrupt off."""
        raise NotImplementedError

    def set_rate(self, rate_cHz):
        """Change the rate; False when the converter cannot do it. The conversions start anew."""
        return rate_cHz == self.rate_cHz

    def take(self, counts):
        """Fill ``counts`` with the oldest reading; False when there is none."""
        raise NotImplementedError

    def tend(self, silent_us):
        """See to a converter that has given nothing for ``silent_us``; called often from the main loop."""


def build(settings):
    """Return the converter that the settings name."""
    if not 1 <= settings.CHANNELS <= 8:
        raise ValueError("board_settings.py: CHANNELS has to be 1 to 8")
    if settings.CONVERTER == "simultaneous":
        from simultaneous import Simultaneous

        made = Simultaneous(settings)
    elif settings.CONVERTER == "shared_clock":
        from shared_clock import SharedClock

        made = SharedClock(settings)
    else:
        raise ValueError("board_settings.py: CONVERTER has to be 'shared_clock' or 'simultaneous'")
    if settings.READING_DELAY_us is not None:
        made.delay_us = settings.READING_DELAY_us
    return made


def slots_for(rate_cHz):
    """Return how many readings are kept while the main loop is held up for half a second, 16 at least."""
    return max(16, math.ceil(rate_cHz / 200) + 2)
