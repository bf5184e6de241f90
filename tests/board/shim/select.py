"""The board's select module: real files, invented time."""

import sys

import micropython
import world

_path = sys.path[:]
sys.path[:] = []
from select import POLLERR, POLLHUP, POLLIN, POLLOUT  # noqa: E402 - the real module, not this file
from select import poll as _real_poll  # noqa: E402

sys.path[:] = _path


class poll:  # noqa: N801 - the name that MicroPython gives it
    def __init__(self):
        self._real = _real_poll()
        self._wants_room = False

    def register(self, stream, flags):
        self._real.register(stream, flags)
        if flags & POLLOUT:
            self._wants_room = True

    def unregister(self, stream):
        self._real.unregister(stream)
        if stream is sys.stdout:
            self._wants_room = False

    @micropython.native
    def poll(self, timeout_ms=0):
        until = world.now + 1000 * timeout_ms
        while True:
            world.spend(2)
            world.keep_pace()
            ready = self._real.poll(0)
            if ready:
                for one in ready:
                    if one[1] & (POLLHUP | POLLERR):
                        world.finish("hung up")
                    if one[1] & POLLIN:
                        world.heard = True
                return ready
            if self._wants_room and timeout_ms and world.is_patient():
                # The host is behind: the invented time waits for it.
                self._real.poll(1000)
                continue
            if world.waits_for_host():
                self._real.poll(1000)
                continue
            left_us = until - world.now
            if left_us <= 0:
                return ready
            ahead_us = world.ahead_us()
            if ahead_us > 0:
                self._real.poll(ahead_us // 1000 + 1)
                continue
            world.spend(left_us)
            return ready
