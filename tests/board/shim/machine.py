"""The board's machine module: pins, the serial bus, the watchdog, played by chips in invented time."""

import sys

import micropython
import world

WDT_RESET = 3
PWRON_RESET = 1

disable_irq = world.disable_irq
enable_irq = world.enable_irq


class Line:
    """A wire: its level, and who listens."""

    def __init__(self, level):
        self.level = level
        self.handler = None
        self.pin = None
        self.listener = None

    @micropython.native
    def set(self, level):
        """Drive the wire from the chip's end."""
        fell = self.level and not level
        self.level = level
        if fell and self.handler is not None:
            world.edge(self)


_lines = {}


def line_of(number, level=1):
    """Return the wire at a pin, for a chip to hold its other end."""
    if number not in _lines:
        _lines[number] = Line(level)
    return _lines[number]


class Pin:
    OUT = 1
    IN = 0
    PULL_UP = 1
    IRQ_FALLING = 4

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self._line = line_of(number)
        self._line.pin = self
        if mode == self.OUT and value is not None:
            self._line.level = value

    @micropython.native
    def __call__(self, level=None):
        now = world.now + 1
        world.now = now
        if now >= world.wake_us:
            world.catch_up()
        line = self._line
        if level is None:
            return line.level
        level = 1 if level else 0
        if level != line.level:
            line.level = level
            if line.listener is not None:
                line.listener(level)
        return None

    def irq(self, handler, trigger, hard=False):
        if handler is not None and not hard:
            world.violation("a soft interrupt handler")
        self._line.handler = handler


class SPI:
    def __init__(self, number, baudrate, polarity, phase, sck, mosi, miso):
        self._bit_ns = 1000000000 // baudrate
        self._mode = 2 * polarity + phase
        self.chip = None

    def write_readinto(self, out, into):
        if self._mode != 1:
            world.violation("the bus is in mode {}", self._mode)
        BUS.chip.exchange(out, into)
        world.spend(2 + len(out) * 8 * self._bit_ns // 1000)


class BUS:
    chip = None


class WDT:
    def __init__(self, timeout):
        self._timeout_us = 1000 * timeout
        self._fed = world.now

    def feed(self):
        if world.now - self._fed > self._timeout_us:
            world.violation("the watchdog would have bitten")
        self._fed = world.now


def unique_id():
    return b"shim-brd"


def reset_cause():
    return world.scenario.get("reset_cause", PWRON_RESET)


def reset():
    sys.stderr.write('{"ended": "reset"}\n')
    raise SystemExit
