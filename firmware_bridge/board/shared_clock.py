"""Driver for one bridge converter (HX711) per cell, all on one clock line.

Facts (from the converter's data sheet): 24 bits, most significant first, two's complement; 25, 26 or 27 pulses choose
channel and gain of the next conversion; the clock may be high for 50 us at most, and beyond 60 us the chip powers down.
From memory: after a whole transfer the data line is high until the next conversion; it settles within 4 conversions.
"""

import array
import time

import machine
from converter import NO_READING, Converter, signed, slots_for
from machine import Pin
from readings import Readings

POWER_DOWN_us = 100
RATES_cHz = (1000, 8000)
PATIENCE = 3  # intervals that the others wait for a chip before they go on without it


class SharedClock(Converter):
    """Chips that are read together as soon as the last of them is ready.

    Each runs on its own oscillator, so the rate is that of the slowest and rows are askew by up to an interval. A chip
    that stays silent is dropped after three intervals and included again when it is ready. Each transfer is checked
    at its end: a data line that is not high then belongs to a chip that updated in between, has lost pulses or is
    short-circuited; that reading and the next one, whose gain may be wrong, are no readings.
    """

    def __init__(self, settings):
        channels = settings.CHANNELS
        if len(settings.DATA_PINS) < channels or settings.GAIN_PULSES not in (1, 2, 3):
            raise ValueError("board_settings.py: give a DATA_PINS entry for each channel, and 1 to 3 GAIN_PULSES")
        super().__init__(
            "HX711 x %d" % channels,
            channels,
            Readings(slots_for(RATES_cHz[-1]), lambda: array.array("i", bytearray(4 * channels + 4))),
        )
        self._clk = Pin(settings.CLK_PIN, Pin.OUT, value=0)
        # The pull-up makes an unplugged module a chip that is never ready, not one that reads noise.
        self._lines = [Pin(number, Pin.IN, Pin.PULL_UP) for number in settings.DATA_PINS[:channels]]
        self._rate = None if settings.RATE_PIN is None else Pin(settings.RATE_PIN, Pin.OUT)
        self._gain_pulses = settings.GAIN_PULSES
        self._scratch = array.array("i", bytearray(4 * channels + 4))
        self._skew_us = settings.SKEW_us
        self._all = (1 << channels) - 1
        self._awaited = self._all
        self._suspect = 0
        self._busy = False
        self._since_us = 0
        self._settle(round(100 * settings.RATE_Hz))

    def _settle(self, rate_cHz):
        self.rate_cHz = rate_cHz
        interval_us = self.interval_us
        self.skew_us = min(65535, interval_us) if self._skew_us is None else self._skew_us
        self.delay_us = interval_us // 2
        if self._rate is not None:
            self._rate(rate_cHz == RATES_cHz[-1])

    def begin(self):
        """Power all chips down and up, which starts them together, and await them."""
        self.end()
        self._clk(1)
        time.sleep_us(POWER_DOWN_us)
        self._clk(0)
        self.readings.clear()
        self._awaited = self._all
        self._suspect = self._all
        self._busy = False
        for line in self._lines:
            line.irq(self._fell, Pin.IRQ_FALLING, hard=True)

    def end(self):
        """Stop waiting for chips."""
        self._busy = True
        for line in self._lines:
            line.irq(None, Pin.IRQ_FALLING, hard=True)

    def set_rate(self, rate_cHz):
        """Change between 10 and 80 per second where the rate pin is wired."""
        if rate_cHz == self.rate_cHz:
            return True
        if self._rate is None or rate_cHz not in RATES_cHz:
            return False
        self.end()
        self._settle(rate_cHz)
        self.begin()
        return True

    # In the interrupt handler: nothing below allocates until "take".

    def _fell(self, _pin):
        tick = time.ticks_us()
        if self._busy:
            return
        awaited = self._awaited
        channel = 0
        while channel < self.channels:
            if (awaited >> channel) & 1 and self._lines[channel]():
                return
            channel += 1
        self._transfer(tick)

    def _transfer(self, tick):
        values = self.readings.claim()
        lost = values is None
        if lost:
            # Read it anyway: an unread chip does not signal its next conversion.
            values = self._scratch
        channels = self.channels
        lines = self._lines
        waiting = 0
        channel = 0
        while channel < channels:
            values[channel] = 0
            if lines[channel]():
                waiting |= 1 << channel
            channel += 1
        bit = 0
        while bit < 24:
            self._pulse()
            channel = 0
            while channel < channels:
                values[channel] = (values[channel] << 1) | lines[channel]()
                channel += 1
            bit += 1
        bit = 0
        while bit < self._gain_pulses:
            self._pulse()
            bit += 1
        bad = waiting
        channel = 0
        while channel < channels:
            if not lines[channel]():
                bad |= 1 << channel
            channel += 1
        values[channels] = bad | self._suspect
        if bad & ~waiting:
            self.damaged += 1
        self._suspect = bad
        self._awaited = self._all & ~waiting
        if not lost and bad != self._all:
            self.readings.keep(tick)

    def _pulse(self):
        # Another interrupt between the two edges could hold the clock high for so long that the chips power down.
        clk = self._clk
        before = machine.disable_irq()
        clk(1)
        clk(0)
        machine.enable_irq(before)

    # In the main loop.

    def take(self, counts):
        """Fill ``counts`` with the oldest reading; False when there is none."""
        readings = self.readings
        values = readings.oldest()
        if values is None:
            return False
        self.tick = readings.tick
        self.lost = readings.lost
        absent = values[self.channels]
        for channel in range(self.channels):
            counts[channel] = NO_READING if (absent >> channel) & 1 else signed(values[channel])
        self.absent = absent
        readings.release()
        return True

    def tend(self, silent_us):
        """Continue without a silent chip."""
        patience_us = PATIENCE * self.interval_us
        if silent_us < patience_us:
            self._since_us = patience_us
            return
        if silent_us < self._since_us:
            return
        self._since_us = silent_us + self.interval_us
        self._busy = True
        for line in self._lines:
            if not line():
                self._transfer(time.ticks_us())
                break
        self._busy = False
