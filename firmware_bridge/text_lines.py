"""The text dialect: one line a sample, ``microseconds,count,count,...`` with an optional ``*HH`` checksum."""

from __future__ import annotations

import re
from functools import reduce
from operator import xor

import numpy as np

from firmware_bridge.messages import Samples

_LINE = re.compile(rb"([0-9]{1,20})((?:,[+-]?[0-9]{0,10})+)(?:\*([0-9A-Fa-f]{2}))?\Z")
_NO_READING = -(2**31)
_MOST_CHANNELS = 64


def checksum(text: bytes) -> int:
    """Return the exclusive-or of all bytes, as the sentences of NMEA 0183 use it (there: between ``$`` and ``*``)."""
    return reduce(xor, text, 0)


def parse_line(line: bytes) -> Samples | None:
    """Return the one reading of a line, or None where it is no line of the dialect or its checksum is wrong.

    Parameters
    ----------
    line : bytes
        Without its line feed; surrounding blanks and a carriage return are ignored.

    Returns
    -------
    Samples or None
        One row; ``interval_256us`` and ``missed`` are 0 (unknown). Microseconds are taken modulo 2**32. An empty
        field is "no reading".
    """
    line = line.strip()
    match = _LINE.match(line)
    if match is None:
        return None
    stamp, fields, check = match.groups()
    if check is not None and checksum(line[:-3]) != int(check, 16):
        return None
    names = fields[1:].split(b",")
    if len(names) > _MOST_CHANNELS:
        return None
    counts: list[int] = []
    for field in names:
        if field in (b"+", b"-"):
            return None
        count = int(field) if field else _NO_READING
        if not _NO_READING <= count < 2**31:
            return None
        counts.append(count)
    return Samples(int(stamp) & 0xFFFFFFFF, 0, 0, np.array([counts], dtype=np.int32))


def format_line(board_us: int, counts: list[int], *, checked: bool = True) -> bytes:
    """Return one line with its line feed; ``checked`` adds the checksum. "No reading" becomes an empty field."""
    fields = ["" if count == _NO_READING else str(count) for count in counts]
    text = ",".join([str(board_us), *fields]).encode("ascii")
    return text + (b"*%02X\n" % checksum(text) if checked else b"\n")
