"""Faults that the board detects and reports to the host: each once when it begins and once when it is over."""

CONVERTER_STOPPED = 1
SATURATED = 2
UNCHANGING = 3
NO_READING = 4
DAMAGED_TRANSFER = 5
RATE_DIFFERS = 6
RATE_REFUSED = 7
HOST_SLOW = 8
RESTARTED = 9

OVER = 0x80
"""Added to the code of a fault that is over."""

WHOLE_BOARD = 0xFF

KIND = 0x03
LONGEST_DETAIL = 80
MOST_WAITING = 24


class Faults:
    """Tracks current faults and those still to be reported; a fault that does not fit into the outbox waits."""

    def __init__(self, outbox):
        self._outbox = outbox
        self._payload = bytearray(3 + 3 + LONGEST_DETAIL + 2)
        self._waiting = []
        self._now = {}

    @property
    def any(self):
        """True while any fault is present."""
        return bool(self._now)

    def set(self, wrong, code, channel, detail):
        """Set whether a fault is present; a change is reported."""
        key = code << 8 | channel
        if wrong and key not in self._now:
            self._now[key] = detail
            self.tell(code, channel, detail)
        elif not wrong and key in self._now:
            del self._now[key]
            self.tell(code | OVER, channel, "over")

    def tell(self, code, channel, detail):
        """Report a fault that begins, ends or has no end."""
        if len(self._waiting) == MOST_WAITING:
            self._waiting.pop(0)
        self._waiting.append((code, channel, detail.encode()[:LONGEST_DETAIL]))

    def tell_again(self):
        """Report all current faults, for a host that has just connected."""
        for key in self._now:
            self.tell(key >> 8, key & 0xFF, self._now[key])

    def pump(self):
        """Move waiting reports to the outbox while there is room."""
        while self._waiting:
            code, channel, detail = self._waiting[0]
            payload, size = self._payload, 6 + len(detail)
            payload[0], payload[3], payload[4], payload[5] = KIND, code, channel, len(detail)
            payload[6:size] = detail
            if not self._outbox.send(payload, size):
                return
            self._waiting.pop(0)
