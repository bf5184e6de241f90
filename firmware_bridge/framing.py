"""Bytes and payloads: consistent-overhead byte stuffing and the frame's checksum."""

from __future__ import annotations

from binascii import crc_hqx

END = b"\x00"
"""The byte that ends every frame; it occurs nowhere inside one."""

SHORTEST_PAYLOAD = 5
"""Bytes of a payload with an empty body: type, sequence (2), checksum (2)."""

LONGEST_FRAME = 70_000
"""Encoded bytes after which a frame that has not ended is given up; a note of 65,535 bytes still fits."""


class BadFrame(ValueError):
    """The bytes between two zero bytes are no whole frame; always caught by the decoder, which counts it."""


def crc16(data: bytes) -> int:
    """Return the CRC-16/IBM-3740 of ``data``, 0 .. 65535.

    Polynomial 0x1021, initial value 0xFFFF, nothing reflected, check value 0x29B1. Source: the parameters in the
    wire protocol; the standard library's ``crc_hqx`` is this polynomial with a free initial value.
    """
    return crc_hqx(data, 0xFFFF)


_CODES = [bytes((length + 1,)) for length in range(254)]


def stuff(data: bytes) -> bytes:
    """Return ``data`` encoded without zero bytes (COBS); the ending zero is not added.

    Every run of up to 254 bytes without a zero is preceded by its length plus one; a full run of 254 stands for no
    zero. No byte is spent on an empty run after a full one at the very end. Source: S. Cheshire and M. Baker,
    consistent overhead byte stuffing (1999), from memory.
    """
    runs = data.split(b"\x00")
    if len(data) < 254 or max(map(len, runs)) < 254:
        return b"".join([_CODES[len(run)] + run for run in runs])
    out = bytearray()
    last = len(runs) - 1
    for number, whole_run in enumerate(runs):
        run = whole_run
        while len(run) > 254 or (len(run) == 254 and number == last):
            out.append(255)
            out += run[:254]
            run = run[254:]
            if number == last and not run:
                return bytes(out)
        if len(run) == 254:
            # A full run followed by a zero: the zero needs a code byte of its own.
            out.append(255)
            out += run
            run = b""
        out.append(len(run) + 1)
        out += run
    return bytes(out)


def unstuff(piece: bytes) -> bytes:
    """Return the payload of a stuffed piece (without its ending zero).

    Raises
    ------
    BadFrame
        A length points beyond the end, or the piece is empty or holds a zero byte.
    """
    size = len(piece)
    if not size or b"\x00" in piece:
        raise BadFrame("empty, or a zero byte inside")
    position = 0
    if size < 255:
        # Too short for a full run, so every length byte but the first stands where a zero was.
        payload = bytearray(piece)
        while position < size:
            code = payload[position]
            payload[position] = 0
            position += code
        if position != size:
            raise BadFrame("a length points beyond the end")
        return bytes(payload[1:])
    runs: list[bytes] = []
    pending = b""
    while position < size:
        code = piece[position]
        following = position + code
        if following > size:
            raise BadFrame("a length points beyond the end")
        runs += (pending, piece[position + 1 : following])
        pending = b"" if code == 255 else b"\x00"
        position = following
    return b"".join(runs)


def seal(kind: int, sequence: int, body: bytes) -> bytes:
    """Return one whole frame, ending zero included.

    Parameters
    ----------
    kind : int, 0 .. 255
    sequence : int
        Taken modulo 65536.
    body : bytes
    """
    payload = bytes((kind, sequence & 0xFF, (sequence >> 8) & 0xFF)) + body
    return stuff(payload + crc16(payload).to_bytes(2, "little")) + END


def unseal(piece: bytes) -> tuple[int, int, bytes]:
    """Return type, sequence number and body of a piece between two zero bytes.

    Raises
    ------
    BadFrame
        The piece is no stuffed payload, is too short, or its checksum is wrong.
    """
    payload = unstuff(piece)
    if len(payload) < SHORTEST_PAYLOAD:
        raise BadFrame("too short")
    if crc_hqx(payload[:-2], 0xFFFF) != payload[-2] | payload[-1] << 8:
        raise BadFrame("wrong checksum")
    return payload[0], payload[1] | payload[2] << 8, payload[3:-2]
