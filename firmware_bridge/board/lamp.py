"""The lamp: slow blinks while waiting for the host, steady while sending, quick blinks while something is wrong."""

from machine import Pin

SLOW_us = 1_000_000
QUICK_us = 125_000


class Lamp:
    """A lamp on a pin, or none."""

    def __init__(self, pin):
        self._pin = None if pin is None else Pin(pin, Pin.OUT, value=0)
        self._lit = False

    def show(self, now_us, sending, fault):
        """Set the lamp for this moment."""
        if self._pin is None:
            return
        lit = bool(now_us // QUICK_us % 2) if fault else sending or bool(now_us // SLOW_us % 2)
        if lit != self._lit:
            # On some boards the lamp hangs on the radio chip, and setting it takes long.
            self._lit = lit
            self._pin(lit)
