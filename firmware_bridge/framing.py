"""Bytes and payloads: consistent overhead byte stuffing (COBS) and the frame's checksum."""

from __future__ import annotations

from binascii import crc_hqx

from cobs import cobs  # type: ignore[import-untyped]

END = b"\x00"
"""The byte that ends every frame; it never occurs inside one."""

SHORTEST_PAYLOAD = 5
"""Bytes of a payload with an empty body: type, sequence (2), checksum (2)."""

LONGEST_FRAME = 70_000
"""Encoded bytes after which an unfinished frame is dropped; a note of 65,535 bytes still fits."""


class BadFrame(ValueError):
    """The bytes between two zero bytes are not a whole frame; the decoder always catches and counts it."""


def crc16(data: bytes) -> int:
    """Return the CRC-16/IBM-3740 of ``data``, 0 .. 65535.

    Polynomial 0x1021, initial value 0xFFFF, nothing reflected, check value 0x29B1. Source: the parameters in the
    wire protocol; the standard library's ``crc_hqx`` is this polynomial with a free initial value.
    """
    return crc_hqx(data, 0xFFFF)


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
    frame: bytes = cobs.encode(payload + crc16(payload).to_bytes(2, "little")) + END
    return frame


def unseal(piece: bytes) -> tuple[int, int, bytes]:
    """Return type, sequence number and body of a piece between two zero bytes.

    Raises
    ------
    BadFrame
        The piece is not valid COBS, is too short, or its checksum is wrong.
    """
    try:
        payload: bytes = cobs.decode(piece)
    except cobs.DecodeError as error:
        raise BadFrame(str(error)) from error
    if len(payload) < SHORTEST_PAYLOAD:
        raise BadFrame("too short")
    if crc_hqx(payload[:-2], 0xFFFF) != payload[-2] | payload[-1] << 8:
        raise BadFrame("wrong checksum")
    return payload[0], payload[1] | payload[2] << 8, payload[3:-2]
