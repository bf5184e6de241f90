"""Frames of wire protocol 1: byte stuffing and checksum. No code is shared with the host."""

import array

import micropython

END = 0


def _table():
    table = array.array("H", bytearray(512))
    for index in range(256):
        value = index << 8
        for _ in range(8):
            value = ((value << 1) ^ 0x1021 if value & 0x8000 else value << 1) & 0xFFFF
        table[index] = value
    return table


_TABLE = _table()


@micropython.viper
def _crc(data: ptr8, size: int, table: ptr16) -> int:  # noqa: F821 - viper's own types
    value = 0xFFFF
    for index in range(size):
        value = ((value << 8) & 0xFF00) ^ table[(value >> 8) ^ data[index]]
    return value


@micropython.viper
def _stuff(source: ptr8, size: int, target: ptr8) -> int:  # noqa: F821 - viper's own types
    code_at = 0
    out = 1
    code = 1
    for index in range(size):
        byte = source[index]
        if byte:
            target[out] = byte
            out += 1
            code += 1
            if code < 255:
                continue
            target[code_at] = 255
            if index == size - 1:
                # A full run at the very end needs no empty run after it.
                return out
        else:
            target[code_at] = code
        code_at = out
        out += 1
        code = 1
    target[code_at] = code
    return out


def crc16(data, size):
    """Return the CRC-16/IBM-3740 of the first ``size`` bytes: polynomial 0x1021, initial value 0xFFFF."""
    return _crc(data, size, _TABLE)


def room_for(size):
    """Return the bytes that a payload of ``size`` bytes (checksum included) needs at most once stuffed and ended."""
    return size + size // 254 + 2


def seal(payload, size, frame):
    """Write a payload's whole frame into ``frame`` and return its length.

    ``payload`` is a bytearray with type, sequence and body in its first ``size`` bytes and room for two more, where
    the checksum goes; ``frame`` has ``room_for(size + 2)`` bytes.
    """
    check = _crc(payload, size, _TABLE)
    payload[size] = check & 0xFF
    payload[size + 1] = check >> 8
    length = _stuff(payload, size + 2, frame)
    frame[length] = END
    return length + 1


def unseal(piece):
    """Return type and body of the bytes between two zero bytes, or None where they are no whole frame."""
    payload = bytearray()
    position = 0
    while position < len(piece):
        code = piece[position]
        following = position + code
        if not code or following > len(piece):
            return None
        payload += piece[position + 1 : following]
        position = following
        if code < 255 and position < len(piece):
            payload.append(0)
    size = len(payload) - 2
    if size < 3 or _crc(payload, size, _TABLE) != payload[size] | payload[size + 1] << 8:
        return None
    return payload[0], bytes(payload[3:size])
