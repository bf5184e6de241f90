"""The board's wire and the host's are written apart; the same bytes bind both."""

from __future__ import annotations

import json
import random
from pathlib import Path

import numpy as np
import pytest
from cobs import cobs
from invented_board import needs_micropython, run_micropython

from firmware_bridge.framing import seal, unseal
from firmware_bridge.messages import AskEcho, AskHello, Echo, Fault, Hello, Message, Samples, SetRate, Start, Stop

REFERENCE = json.loads((Path(__file__).parents[1] / "reference" / "crc_cobs.json").read_text(encoding="utf-8"))

SEAL = """
import wire
from binascii import hexlify, unhexlify
for text in {payloads!r}:
    payload = bytearray(unhexlify(text)) + bytearray(2)
    frame = bytearray(wire.room_for(len(payload)))
    print(hexlify(memoryview(frame)[:wire.seal(payload, len(payload) - 2, frame)]).decode())
"""

UNSEAL = """
import wire
from binascii import hexlify, unhexlify
for text in {pieces!r}:
    received = wire.unseal(unhexlify(text))
    print(None if received is None else (received[0], hexlify(received[1]).decode()))
"""

# Written out by hand from the wire protocol's table: type, sequence, body; no code of either side made them.
FROM_THE_BOARD: list[tuple[Message, int, str]] = [
    (
        Hello(1, (0, 1, 0), b"abcdefgh", 7, 6, 8000, 12500, 6250, "HX711 x 6"),
        0x0102,
        "0102010100010061626364656667680700000006401f0000d4306a18000009485837313120782036",
    ),
    (
        Samples(0xFFFFFFFE, 3_200_000, 0xFFFF, np.array([[1, -(2**31)], [-8_388_608, 8_388_607]], np.int32), 0b1001),
        0xFFFF,
        "02fffffeffffff00d43000ffff02020100000000000080000080ffffff7f0009000000",
    ),
    (Fault(1, 255, "silent"), 3, "03030001ff0673696c656e74"),
    (Echo(b"\x03\x00\x01\x02\x03\x04\x05\x06", 0x80000000), 4, "040400030001020304050600000080"),
]
FROM_THE_HOST: list[tuple[Message, str]] = [
    (AskHello(), ""),
    (Start(), ""),
    (Stop(), ""),
    (AskEcho(b"\x00\x03\x0d\x00\xff\x00\x00\x01"), "00030d00ff000001"),
    (SetRate(50_000), "50c30000"),
]


def sealed_by_the_board(payloads: list[bytes]) -> list[bytes]:
    out = run_micropython(SEAL.format(payloads=[payload.hex() for payload in payloads]))
    return [bytes.fromhex(line) for line in out.split()]


@needs_micropython
def test_the_checksum_gives_the_published_check_value() -> None:
    # CRC-16/IBM-3740, check value for "123456789": G. Cook, catalogue of parametrised CRC algorithms.
    assert int(run_micropython("import wire; print(wire.crc16(b'123456789', 9))")) == 0x29B1


@needs_micropython
def test_messages_written_by_hand_are_what_both_sides_send() -> None:
    payloads = [bytes.fromhex(text) for _, _, text in FROM_THE_BOARD]
    frames = sealed_by_the_board(payloads)
    for (message, sequence, _), payload, frame in zip(FROM_THE_BOARD, payloads, frames, strict=True):
        assert seal(message.KIND, sequence, message.to_body()) == frame
        kind, number, body = unseal(frame[:-1])
        assert bytes((kind,)) + number.to_bytes(2, "little") + body == payload
        assert type(message).from_body(body).to_body() == message.to_body()


@needs_micropython
def test_the_board_understands_what_the_host_sends() -> None:
    pieces = [
        seal(message.KIND, 0x0300 + n, message.to_body())[:-1].hex() for n, (message, _) in enumerate(FROM_THE_HOST)
    ]
    out = run_micropython(UNSEAL.format(pieces=pieces)).splitlines()
    assert out == [str((message.KIND, body)) for message, body in FROM_THE_HOST]


@needs_micropython
def test_both_sides_stuff_alike_at_every_length_that_matters() -> None:
    rng = random.Random(5)
    lengths = [*range(3, 40), *range(248, 262), *range(502, 516), 760, 1012, 2066]
    payloads = [
        bytes(0 if rng.random() < zeros else rng.randrange(1, 256) for _ in range(length))
        for length in lengths
        for zeros in (0.0, 0.02, 0.5, 1.0)
    ]
    for payload, frame in zip(payloads, sealed_by_the_board(payloads), strict=True):
        assert frame == seal(payload[0], payload[1] | payload[2] << 8, payload[3:])
        assert unseal(frame[:-1]) == (payload[0], payload[1] | payload[2] << 8, payload[3:])


@needs_micropython
def test_a_damaged_piece_is_no_message_to_the_board() -> None:
    whole = seal(0x13, 9, b"\x00\x01\x02\x03\x04\x05\x06\x07")[:-1]
    pieces = [whole[:cut].hex() for cut in range(len(whole))]
    for at in range(len(whole)):
        for flip in (1, 0x80):
            changed = bytearray(whole)
            changed[at] ^= flip
            if 0 not in changed:
                pieces.append(changed.hex())
    pieces.append(cobs.encode(b"\x13\x01").hex())
    assert len(pieces) > 30
    out = run_micropython(UNSEAL.format(pieces=pieces)).splitlines()
    assert out == ["None"] * len(pieces)


@needs_micropython
@pytest.mark.parametrize("example", REFERENCE["cobs"], ids=lambda one: one["decoded"] or "nothing")
def test_published_examples_of_stuffing(example: dict[str, str]) -> None:
    # Source: S. Cheshire and M. Baker (1999), as listed in tests/reference/crc_cobs.json.
    script = (
        "import wire\nfrom binascii import hexlify, unhexlify\n"
        f"data = unhexlify({example['decoded']!r})\ntarget = bytearray(wire.room_for(len(data)))\n"
        "print(hexlify(memoryview(target)[:wire._stuff(data, len(data), target)]).decode())"
    )
    assert run_micropython(script).strip() == example["encoded"].lower()
