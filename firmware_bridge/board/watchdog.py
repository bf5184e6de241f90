"""Restarts the board when its program hangs."""

import machine


class Watchdog:
    """The chip's own watchdog; once started it cannot be stopped, so it is started last, right before the loop.

    Parameters
    ----------
    timeout_ms : int
        0: no watchdog.
    """

    def __init__(self, timeout_ms):
        self._dog = machine.WDT(timeout=timeout_ms) if timeout_ms else None

    def feed(self):
        """Say that the loop goes round."""
        if self._dog is not None:
            self._dog.feed()


def bit():
    """Return whether the watchdog restarted the board; a restart by a program looks the same (from memory)."""
    return machine.reset_cause() == machine.WDT_RESET
