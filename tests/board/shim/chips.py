"""Two converters, bit by bit, as their data sheets and public drivers describe them (what is from memory is said)."""

import machine
import micropython
import world

# Every count tells which conversion it is and of which channel, so that nothing can be invented unseen.
ZERO = 100000

POWERS_DOWN_BEYOND_us = 60


def truth(conversion, channel):
    return (conversion * 8 + channel - ZERO) & 0xFFFFFF


class BridgeChip:
    """A 24-bit bridge converter (HX711): clock line in, data line out.

    From the data sheet: data ready when the line falls; 24 bits, most significant first, each valid after the rising
    edge; 25 to 27 pulses choose gain and channel of the next conversion; high for longer than 60 us powers down. From
    memory: the line is high after the last bit until the next conversion, and pulses high before one that was not
    read; a conversion that ends in mid-transfer spoils it.
    """

    def __init__(self, channel, data_pin, rate_Hz, settling=4):
        self._channel = channel
        self._line = machine.line_of(data_pin, 1)
        self._rate_mHz = int(rate_Hz * 1000)
        self._settling = settling
        self._gain = 1
        self._pulses = 0
        self._register = 0
        self._ready = False
        self._spoilt = False
        self._converting = False
        self.next_us = 0
        self._schedule(settling)
        self._saturated = world.faults("saturated", channel)
        self._dead = world.faults("dead", channel)
        self._stopped = world.faults("stopped", channel)
        self._unplugged = world.faults("unplugged", channel)
        self._shorted = world.faults("shorted", channel)
        self._wire_fails = bool(self._unplugged or self._shorted)
        self.conversions = 0

    def _schedule(self, intervals):
        """Conversions end at whole multiples of the interval, so that their number follows from the time."""
        number = world.now * self._rate_mHz // 1000000000 + intervals
        self.next_us = number * 1000000000 // self._rate_mHz + 1
        self._number = number

    def fire(self):
        number = self._number
        at_us = self.next_us
        self._schedule_after(number)
        if world.within(self._stopped, at_us):
            return
        self.conversions = number
        if self._pulses and self._pulses < 25:
            self._spoilt = True
            world.violation("channel {} converted in mid-transfer", self._channel)
            return
        if self._pulses:
            self._gain = self._pulses - 24
            if self._pulses > 27:
                world.violation("more than 27 pulses")
        self._pulses = 0
        self._converting = False
        value = truth(number, self._channel)
        if self._gain != 1:
            value = 0x2BAD00
        if world.within(self._dead, at_us):
            value = 0x012345
        if world.within(self._saturated, at_us):
            value = 0x7FFFFF
        self._register = value
        self._ready = True
        self._drive(1)
        self._drive(0)

    def _schedule_after(self, number):
        self._number = number + 1
        self.next_us = (number + 1) * 1000000000 // self._rate_mHz + 1

    def _drive(self, level):
        if world.within(self._unplugged, world.now):
            level = 1
        elif world.within(self._shorted, world.now):
            level = 0
        if self._line.level != level:
            self._line.set(level)

    @micropython.native
    def rise(self, long_after):
        """See the clock rise, ``long_after`` its last pulse or not."""
        pulses = self._pulses
        if long_after and pulses >= 25:
            # Pulses that are meant for the others, long after this chip's own: it is converting.
            self._converting = True
        if self._converting:
            return
        if pulses:
            pulses += 1
        elif self._ready:
            self._ready = False
            self._spoilt = False
            pulses = 1
        self._pulses = pulses
        if not pulses:
            level = 1
        elif pulses <= 24:
            level = 1 if self._spoilt else (self._register >> (24 - pulses)) & 1
        else:
            level = 0 if self._spoilt else 1
        if self._wire_fails:
            self._drive(level)
        elif level != self._line.level:
            self._line.set(level)

    def power_down(self):
        """See the clock fall after it was high for so long that the chip powered down; it starts anew."""
        self._pulses = 0
        self._ready = False
        self._gain = 1
        self._drive(1)
        self._schedule(self._settling)
        world.compute()

    def report(self, report):
        report["conversions"] = max(report.get("conversions", 0), self.conversions)


class Chips:
    """The clock line that they share."""

    def __init__(self, clk_pin, chips):
        self._chips = chips
        self._rose_us = 0
        machine.line_of(clk_pin, 0).listener = self.clock
        for chip in chips:
            world.add(chip)

    @micropython.native
    def clock(self, level):
        now = world.now
        high_us = now - self._rose_us
        if level:
            self._rose_us = now
            for chip in self._chips:
                chip.rise(high_us > 2000)
        elif high_us > POWERS_DOWN_BEYOND_us:
            if world.now > 100000:
                world.violation("the clock was high for {} us", high_us)
            for chip in self._chips:
                chip.power_down()


@micropython.viper
def crc16(data: ptr8, size: int) -> int:  # noqa: F821 - viper's own types
    """Return the checksum bit by bit, in another way than the firmware's table."""
    value = 0xFFFF
    for index in range(size):
        value ^= data[index] << 8
        for _ in range(8):
            value = (value << 1) ^ 0x11021 if value & 0x8000 else value << 1
    return value & 0xFFFF


class EightChannels:
    """The simultaneous converter (ADS131M08): frames of ten 24-bit words.

    As in public drivers: commands, registers, over-sampling codes. From memory: the status word, the two readings that
    are kept, the data-ready line that pulses before a reading that was not fetched.
    """

    RATIOS = (128, 256, 512, 1024, 2048, 4096, 8192, 16256)

    def __init__(self, settings):
        self._modulator_Hz = settings.CLKIN_Hz // 2
        self._drdy = machine.line_of(settings.DRDY_PIN, 1)
        machine.line_of(settings.CS_PIN, 1).listener = self._select
        machine.line_of(settings.RESET_PIN, 1).listener = self._reset_pin
        machine.BUS.chip = self
        code = 0
        while 1 << code < settings.GAIN:
            code += 1
        self._good_gain = 0x1111 * code
        self._out = bytearray(30)
        self._in = bytearray(30)
        self._bytes = 0
        self._registers = [0] * 8
        self._first = 0
        self._second = 0
        self._held = 0
        self._answer = 0
        self._saturated = [world.faults("saturated", channel) for channel in range(8)]
        self._dead = [world.faults("dead", channel) for channel in range(8)]
        self._stopped = world.faults("stopped")
        self._noisy = world.faults("noisy")
        self._brown_out = world.faults("brown_out")
        self.conversions = 0
        self.frames = 0
        self._reset()
        world.add(self)

    def _reset(self):
        self._registers[2], self._registers[3] = 0x0510, 0xFF0E
        self._registers[4] = self._registers[5] = 0
        self._held = 0
        self._schedule(1)

    def _reset_pin(self, level):
        if level:
            self._reset()
            world.compute()

    def _ratio(self):
        return self.RATIOS[(self._registers[3] >> 2) & 7]

    def _schedule(self, intervals):
        self._number = world.now * self._modulator_Hz // (1000000 * self._ratio()) + intervals
        self.next_us = self._number * self._ratio() * 1000000 // self._modulator_Hz + 1

    def fire(self):
        number, at_us = self._number, self.next_us
        if self._brown_out and at_us >= self._brown_out[0][0]:
            self._brown_out.pop(0)
            self._reset()
            return
        self._number += 1
        self.next_us = self._number * self._ratio() * 1000000 // self._modulator_Hz + 1
        if world.within(self._stopped, at_us):
            return
        self.conversions = number
        if self._held == 0:
            self._first = number
            self._held = 1
        else:
            if self._held == 2:
                self._first = self._second
            self._second = number
            self._held = 2
        self._drdy.set(1)
        self._drdy.set(0)

    @micropython.native
    def _value(self, number, at_us, channel):
        if self._registers[4] != self._good_gain or self._registers[5] != self._good_gain:
            return 0x2BAD00
        if world.within(self._dead[channel], at_us):
            return 0x012345
        if world.within(self._saturated[channel], at_us):
            return 0x800000
        return truth(number, channel)

    @micropython.native
    def _select(self, level):
        if level:
            self._take_command()
            return
        self._bytes = 0
        out = self._out
        status = self._registers[2] & 0x0700
        out[0], out[1], out[2] = status >> 8, 0xFF, 0
        number = self._first
        if self._held == 2:
            self._first = self._second
            self._held = 1
        elif self._held == 1:
            self._held = 0
        at_us = number * self._ratio() * 1000000 // self._modulator_Hz
        for channel in range(8):
            value = self._value(number, at_us, channel)
            at = 3 + 3 * channel
            out[at], out[at + 1], out[at + 2] = value >> 16, (value >> 8) & 0xFF, value & 0xFF
        check = crc16(out, 27)
        out[27], out[28], out[29] = check >> 8, check & 0xFF, 0
        self.frames += 1
        if self.frames % 37 == 0 and world.within(self._noisy, world.now):
            out[5] ^= 0x10

    @micropython.native
    def exchange(self, sent, received):
        """Shift bytes in and out; the bus has seen to their bits."""
        at = self._bytes
        for index in range(len(sent)):
            if at >= 30:
                world.violation("more than ten words")
                received[index] = 0
            else:
                self._in[at] = sent[index]
                received[index] = self._out[at]
            at += 1
        self._bytes = at

    def _take_command(self):
        if self._bytes and self._bytes != 30:
            world.violation("a frame of {} bytes", self._bytes)
        self._drdy.level = 1
        command = self._in[0] << 8 | self._in[1]
        if command & 0xE000 == 0x6000:
            register = (command >> 7) & 0x3F
            self._registers[register] = self._in[3] << 8 | self._in[4]
            if register == 3:
                self._schedule(1)
                world.compute()
        elif command:
            world.violation("unknown command {:04x}", command)

    def report(self, report):
        report["conversions"] = self.conversions
        report["frames"] = self.frames
