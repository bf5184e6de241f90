"""Where interrupt handlers leave their readings: a preallocated ring of slots."""

import array


class Readings:
    """A ring that one writer (the interrupt handler) and one reader (the main loop) share without locks.

    ``claim`` and ``keep`` allocate nothing. When the ring is full the new reading is dropped and counted, and the
    count goes with the next one that is stored.
    """

    def __init__(self, slots, make):
        self._slots = [make() for _ in range(slots)]
        self._ticks = array.array("i", bytearray(4 * slots))
        self._lost = array.array("i", bytearray(4 * slots))
        self._size = slots
        self._head = 0
        self._tail = 0
        self._overrun = 0
        self.tick = 0
        self.lost = 0

    def claim(self):
        """Return the slot to read into, or None (counted) when the ring is full."""
        following = self._head + 1
        if following == self._size:
            following = 0
        if following == self._tail:
            self._overrun += 1
            return None
        return self._slots[self._head]

    def keep(self, tick):
        """Hand the claimed slot over, stamped with the tick at which the conversion was ready."""
        head = self._head
        self._ticks[head] = tick
        self._lost[head] = self._overrun
        self._overrun = 0
        head += 1
        self._head = 0 if head == self._size else head

    def oldest(self):
        """Return the oldest slot with its ``tick`` and the number ``lost`` before it, or None; then ``release``."""
        tail = self._tail
        if tail == self._head:
            return None
        self.tick = self._ticks[tail]
        self.lost = self._lost[tail]
        return self._slots[tail]

    def release(self):
        """Give the oldest slot back to the writer."""
        tail = self._tail + 1
        self._tail = 0 if tail == self._size else tail

    def clear(self):
        """Forget what is in the ring; only while the writer is off."""
        self._head = self._tail = self._overrun = 0
