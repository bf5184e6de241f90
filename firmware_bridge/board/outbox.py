"""What waits for the host: a bounded buffer that never blocks."""

import wire

# At most this many bytes per write: one packet of full-speed USB. A write that the driver cannot take at once
# may wait there; with one packet, and only after it said that it has room, that happens at most once or twice.
CHUNK = 64

MOST_BYTES = 8192


class Outbox:
    """Frames in the order of their sequence numbers.

    What does not fit is refused and uses up no number; the sender then counts the samples as missed.
    """

    def __init__(self, stream, longest_payload):
        self._stream = stream
        self._frame = bytearray(wire.room_for(longest_payload + 2))
        self._sequence = 0
        self._waiting = []
        self._sent = 0
        self.size = 0

    def send(self, payload, size):
        """Queue a payload whose sequence number is filled in here; False when there is no room.

        ``payload`` is a bytearray: type, two bytes for the number, body, two bytes for the checksum; ``size`` leaves
        the checksum out.
        """
        payload[1] = self._sequence & 0xFF
        payload[2] = self._sequence >> 8
        length = wire.seal(payload, size, self._frame)
        if self.size + length > MOST_BYTES:
            return False
        self._sequence = (self._sequence + 1) & 0xFFFF
        self._waiting.append(bytes(memoryview(self._frame)[:length]))
        self.size += length
        return True

    def pump(self):
        """Write one chunk once the stream has reported room; its return value says how much was accepted."""
        if not self._waiting:
            return
        frame = self._waiting[0]
        written = self._stream.write(memoryview(frame)[self._sent : self._sent + CHUNK])
        if not written:
            return
        self._sent += written
        self.size -= written
        if self._sent >= len(frame):
            self._waiting.pop(0)
            self._sent = 0
