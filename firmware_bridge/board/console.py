"""The USB console as a plain byte pipe: no received byte may interrupt the program, and no write may block."""

import select
import sys

import micropython

CTRL_C = 3
LONGEST_PIECE = 128
MOST_BYTES = 256

LEAVE = b"\r\x03"
"""How programs that put files on a board begin. No frame of the host can begin so: its first code byte would be 13 and
the frame's type 3, which hosts do not send."""


class Console:
    """Standard input and output.

    The byte 3 of a binary stream must not stop the program, so the interrupt character is switched off while it runs.
    """

    def __init__(self):
        self.output = sys.stdout.buffer
        self._input = sys.stdin.buffer
        self._poller = select.poll()
        self._poller.register(sys.stdin, select.POLLIN)
        self._writing = False
        self._piece = bytearray()
        self._skipping = False
        self.leaving = False
        micropython.kbd_intr(-1)

    def release(self):
        """Give the interrupt character back."""
        micropython.kbd_intr(CTRL_C)

    def wait(self, timeout_ms, writing):
        """Wait for input, or with ``writing`` for room to write; return (readable, writable)."""
        if writing != self._writing:
            self._writing = writing
            if writing:
                self._poller.register(sys.stdout, select.POLLOUT)
            else:
                self._poller.unregister(sys.stdout)
        readable = writable = False
        for ready in self._poller.poll(timeout_ms):
            if ready[1] & select.POLLIN:
                readable = True
            if ready[1] & select.POLLOUT:
                writable = True
        return readable, writable

    def pieces(self):
        """Return the complete pieces between zero bytes; a piece that is too long is skipped."""
        pieces = []
        for _ in range(MOST_BYTES):
            # One at a time: a read of more waits until all of them are there.
            data = self._input.read(1)
            if not data:
                break
            byte = data[0]
            if byte == 0:
                if self._piece and not self._skipping:
                    pieces.append(bytes(self._piece))
                self._piece = bytearray()
                self._skipping = False
            elif not self._skipping:
                self._piece.append(byte)
                if self._piece == LEAVE:
                    self.leaving = True
                    break
                self._skipping = len(self._piece) > LONGEST_PIECE
            if not self._readable():
                break
        return pieces

    def _readable(self):
        return any(ready[1] & select.POLLIN for ready in self._poller.poll(0))
