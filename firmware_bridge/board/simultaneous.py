"""Driver for the reference design: an eight-channel simultaneous-sampling converter (ADS131M08) on the serial bus.

Commands, registers and over-sampling codes agree with several public drivers for this chip. From memory, to be checked
with the data sheet before a board is made: the bits of the status word, the two readings that the chip keeps, the
delay of its filter.
"""

import time

import wire
from converter import NO_READING, Converter, signed, slots_for
from machine import SPI, Pin
from readings import Readings

WORD = 3
FRAME = 10 * WORD  # status or answer, eight channels, checksum
CHECKED = 9 * WORD

RESET = 0x0011
UNLOCK = 0x0655
WRITE = 0x6000
MODE, CLOCK, GAIN_1, GAIN_2 = 0x02, 0x03, 0x04, 0x05

WORDS_OF_24 = 0x0110  # 24-bit words, a bus that hangs times out, all flags cleared
HIGH_RESOLUTION = 0b10
OVERSAMPLING = ((0b111, 16256), (0b110, 8192), (0b101, 4096))
FIRST_STAGE = 1024  # conversions of the modulator that the filter's first stage, a third-order one, covers

WAS_RESET = 0x04  # in the upper byte of the status word
BUS_Hz = 8_000_000
TRY_AGAIN_us = 1_000_000
UNSETTLED = 4  # readings after a reset in which the filter still fills


class Simultaneous(Converter):
    """A converter that samples all channels at one instant and signals it on its data-ready line.

    The handler reads the whole frame; the main loop checks its checksum and decodes it. A frame whose checksum is
    wrong is no reading.
    """

    def __init__(self, settings):
        super().__init__("ADS131M08", settings.CHANNELS, None)
        self._cs = Pin(settings.CS_PIN, Pin.OUT, value=1)
        self._reset = Pin(settings.RESET_PIN, Pin.OUT, value=1)
        self._ready = Pin(settings.DRDY_PIN, Pin.IN, Pin.PULL_UP)
        self._bus = SPI(
            settings.SPI_BUS,
            baudrate=BUS_Hz,
            polarity=0,
            phase=1,
            sck=Pin(settings.SCLK_PIN),
            mosi=Pin(settings.MOSI_PIN),
            miso=Pin(settings.MISO_PIN),
        )
        self._asking = bytearray(FRAME)
        self._scratch = bytearray(FRAME)
        self._modulator_Hz = settings.CLKIN_Hz // 2
        code = 0
        while 1 << code < settings.GAIN:
            code += 1
        if code > 7 or 1 << code != settings.GAIN:
            raise ValueError("board_settings.py: GAIN has to be 1, 2, 4, 8, 16, 32, 64 or 128")
        self._gain = 0x1111 * code
        self._last_tick = 0
        self._late_us = 0
        self._tried_us = 0
        self._unsettled = 0
        self._settle(self._nearest(round(100 * settings.RATE_Hz)))
        self.readings = Readings(slots_for(100 * self._modulator_Hz // OVERSAMPLING[-1][1]), lambda: bytearray(FRAME))

    def _nearest(self, rate_cHz):
        """Return the over-sampling whose rate is nearest."""
        return min(OVERSAMPLING, key=lambda one: abs(100 * self._modulator_Hz // one[1] - rate_cHz))

    def _settle(self, oversampling):
        self._code, ratio = oversampling
        self.rate_cHz = (100 * self._modulator_Hz + ratio // 2) // ratio
        self._late_us = self.interval_us * 3 // 2
        # The middle of a third-order filter over 3 x 1024 conversions of the modulator and of the plain mean after it.
        self.delay_us = 1_000_000 * (3 * FIRST_STAGE + ratio - FIRST_STAGE) // (2 * self._modulator_Hz)

    def _write(self, register, value):
        command = WRITE | register << 7
        asking = self._asking
        asking[0], asking[1], asking[3], asking[4] = command >> 8, command & 0xFF, value >> 8, value & 0xFF
        self._swap(self._scratch)
        asking[0] = asking[1] = asking[3] = asking[4] = 0

    def _swap(self, into):
        self._cs(0)
        self._bus.write_readinto(self._asking, into)
        self._cs(1)

    def begin(self):
        """Reset the chip by its pin, set rate, gain and words, and listen to its data-ready line."""
        self.end()
        self._reset(0)
        time.sleep_us(1000)
        self._reset(1)
        time.sleep_us(1000)
        self._write(MODE, WORDS_OF_24)
        self._write(CLOCK, ((1 << self.channels) - 1) << 8 | self._code << 2 | HIGH_RESOLUTION)
        self._write(GAIN_1, self._gain)
        self._write(GAIN_2, self._gain)
        self.readings.clear()
        self._unsettled = UNSETTLED
        self._last_tick = time.ticks_us()
        self._ready.irq(self._converted, Pin.IRQ_FALLING, hard=True)

    def end(self):
        """Listen to the data-ready line no more."""
        self._ready.irq(None, Pin.IRQ_FALLING, hard=True)

    def set_rate(self, rate_cHz):
        """Take the nearest rate; False when it is more than a tenth away from the requested one."""
        nearest = self._nearest(rate_cHz)
        nearest_cHz = 100 * self._modulator_Hz // nearest[1]
        if 10 * abs(nearest_cHz - rate_cHz) > rate_cHz:
            return False
        if nearest[0] != self._code:
            self._settle(nearest)
            self.begin()
        return True

    # In the interrupt handler: nothing here allocates.

    def _converted(self, _pin):
        tick = time.ticks_us()
        if time.ticks_diff(tick, self._last_tick) > self._late_us:
            # The chip keeps two readings; after a missed one the older would come first, ever after.
            self._swap(self._scratch)
        self._last_tick = tick
        slot = self.readings.claim()
        if slot is None:
            self._swap(self._scratch)
            return
        self._swap(slot)
        self.readings.keep(tick)

    # In the main loop.

    def take(self, counts):
        """Fill ``counts`` with the oldest reading; False when there is none."""
        readings = self.readings
        frame = readings.oldest()
        if frame is None:
            return False
        self.tick = readings.tick
        self.lost = readings.lost
        self.absent = 0
        if wire.crc16(frame, CHECKED) != frame[CHECKED] << 8 | frame[CHECKED + 1]:
            self.damaged += 1
            self.absent = (1 << self.channels) - 1
        elif frame[0] & WAS_RESET:
            # The chip has restarted by itself: rate and gain are not ours until it is set up again.
            self.begin()
            return False
        elif self._unsettled:
            self._unsettled -= 1
            self.absent = (1 << self.channels) - 1
        at = WORD
        for channel in range(self.channels):
            counts[channel] = (
                NO_READING if self.absent else signed(frame[at] << 16 | frame[at + 1] << 8 | frame[at + 2])
            )
            at += WORD
        readings.release()
        return True

    def tend(self, silent_us):
        """Start a chip anew that has fallen silent, every second."""
        if silent_us < max(TRY_AGAIN_us, 8 * self.interval_us):
            self._tried_us = 0
        elif silent_us - self._tried_us >= TRY_AGAIN_us:
            self._tried_us = silent_us
            self.begin()
