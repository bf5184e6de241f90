"""The firmware: reads the converter and speaks wire protocol 1, whatever the host does."""

import struct

import board_clock
import board_settings
import converters
import faults
import identity
import wire
from console import Console
from lamp import Lamp
from outbox import Outbox
from sampling import Sampling
from watchdog import Watchdog, bit

VERSION = (0, 1, 0)
PROTOCOL = 1

HELLO, ECHO = 0x01, 0x04
ASK_HELLO, START, STOP, ASK_ECHO, SET_RATE = 0x10, 0x11, 0x12, 0x13, 0x14

TURN_ms = 5
MOST_CHUNKS = 16


class Board:
    """Everything on the board, and the loop that never waits for the host."""

    def __init__(self, settings):
        self._clock = board_clock.BoardClock()
        self._converter = converters.build(settings)
        self._boot_count = identity.next_boot_count()
        self._board_id = identity.board_id()
        self._lamp = Lamp(settings.LED_PIN)
        self._damaged = 0
        self._converter.begin()
        # Last: from here on Ctrl-C does not stop the program any more.
        self._console = Console()
        self._outbox = Outbox(self._console.output, Sampling.longest_payload(self._converter.channels))
        self._faults = faults.Faults(self._outbox)
        self._sampling = Sampling(self._converter, self._clock, self._outbox, self._faults)

    def run(self, watchdog):
        """Run until the host requests the prompt."""
        self._hello()
        if bit():
            self._faults.tell(faults.RESTARTED, faults.WHOLE_BOARD, "restarted by its watchdog or by a program")
        try:
            while not self._console.leaving:
                watchdog.feed()
                self.turn()
        finally:
            self._converter.end()
            self._console.release()

    def turn(self):
        """Process input from the converter and the host, and send what fits."""
        now_us = self._clock.now()
        self._sampling.service()
        damaged = self._converter.damaged
        if damaged != self._damaged:
            self._faults.set(
                True, faults.DAMAGED_TRANSFER, faults.WHOLE_BOARD, "readings damaged on the way from the converter"
            )
            self._damaged, self._damaged_us = damaged, now_us
        elif damaged and (now_us - self._damaged_us) & 0xFFFFFFFF > 10_000_000:
            self._faults.set(False, faults.DAMAGED_TRANSFER, faults.WHOLE_BOARD, "")
        self._faults.pump()
        self._lamp.show(now_us, self._sampling.sending, self._faults.any)
        readable, writable = self._console.wait(TURN_ms, self._outbox.size > 0)
        chunks = MOST_CHUNKS
        while writable and self._outbox.size and chunks:
            self._outbox.pump()
            chunks -= 1
            writable = self._console.wait(0, True)[1]
        if readable:
            for piece in self._console.pieces():
                received = wire.unseal(piece)
                if received is not None:
                    self._answer(received[0], received[1])

    def _answer(self, kind, body):
        """Carry out the host's request; types that this version does not know are skipped."""
        if kind == ASK_HELLO:
            self._hello()
            self._faults.tell_again()
        elif kind == START:
            self._sampling.start()
        elif kind == STOP:
            self._sampling.stop()
        elif kind == ASK_ECHO and len(body) == 8:
            self._reply(ECHO, body + struct.pack("<I", self._clock.now()))
        elif kind == SET_RATE and len(body) == 4:
            self._set_rate(struct.unpack("<I", body)[0])

    def _set_rate(self, rate_cHz):
        before_cHz = self._converter.rate_cHz
        self._sampling.flush()
        if not self._converter.set_rate(rate_cHz):
            self._faults.tell(
                faults.RATE_REFUSED,
                faults.WHOLE_BOARD,
                "%d.%02d per second is not to be had; it stays at %d.%02d"
                % (rate_cHz // 100, rate_cHz % 100, before_cHz // 100, before_cHz % 100),
            )
        elif self._converter.rate_cHz != before_cHz:
            self._sampling.restart()
            self._hello()

    def _hello(self):
        chip = self._converter
        name = chip.name.encode()
        self._reply(
            HELLO,
            struct.pack("<B3B8sI", PROTOCOL, VERSION[0], VERSION[1], VERSION[2], self._board_id, self._boot_count)
            + struct.pack("<BIHIB", chip.channels, chip.rate_cHz, chip.skew_us, chip.delay_us, len(name))
            + name,
        )

    def _reply(self, kind, body):
        """Queue a frame; a host that does not read loses it and requests it again."""
        payload = bytearray(3 + len(body) + 2)
        payload[0] = kind
        payload[3 : 3 + len(body)] = body
        self._outbox.send(payload, 3 + len(body))


def main():
    """Start, unless the host requested the prompt; a mistake in the settings also ends there, with its message."""
    if identity.is_to_keep_out():
        return
    board = Board(board_settings)
    board.run(Watchdog(board_settings.WATCHDOG_ms))
    identity.leave()


if __name__ == "__main__":
    main()
