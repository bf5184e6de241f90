"""Bodies of every frame type, byte for byte as the wire protocol's table says (written out by hand from it)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.framing import seal
from firmware_bridge.messages import (
    KINDS,
    Anchor,
    AskEcho,
    AskHello,
    BadBody,
    Echo,
    Fault,
    Hello,
    NoteFrame,
    Samples,
    SetRate,
    Start,
    Stop,
    difference,
)
from firmware_bridge.text_lines import checksum, format_line, parse_line

HELLO = Hello(1, (2, 3, 4), b"ABCDEFGH", 258, 6, 8000, 0, 6250, "HX")
VECTORS = [
    (
        HELLO,
        "01 020304 4142434445464748 02010000 06 401f0000 0000 6a180000 02 4858",
    ),
    (
        Samples(0xFFFFFFFE, 3_200_000, 7, np.array([[1, -1], [-(2**31), 2**31 - 1]], dtype=np.int32), 0x9),
        "feffffff 00d43000 0700 02 02 01000000 ffffffff 00000080 ffffff7f 09000000",
    ),
    (Fault(3, 1, "no clock"), "03 01 08 6e6f20636c6f636b"),
    (Echo(b"\x01\x02\x03\x04\x05\x06\x07\x08", 0x01020304), "0102030405060708 04030201"),
    (AskHello(), ""),
    (Start(), ""),
    (Stop(), ""),
    (AskEcho(b"\x08\x07\x06\x05\x04\x03\x02\x01"), "0807060504030201"),
    (SetRate(8000), "401f0000"),
    (Anchor(1, 2**40, 5), "0100000000000000 0000000000010000 05000000"),
    (NoteFrame({"a": "é"}), "0a00 7b2261223a22c3a9227d"),
]


@pytest.mark.parametrize(
    ("value", "body"), VECTORS, ids=lambda one: type(one).__name__ if not isinstance(one, str) else ""
)
def test_bodies_are_as_the_protocol_says(value, body):
    expected = bytes.fromhex(body)
    assert value.to_body() == expected
    again = KINDS[value.KIND].from_body(expected)
    assert again.to_body() == expected
    if isinstance(value, Samples):
        assert again.counts.tolist() == value.counts.tolist()
        assert (again.first_us, again.interval_256us, again.missed, again.status) == (0xFFFFFFFE, 3_200_000, 7, 9)
    else:
        assert again == value


def test_type_numbers_are_as_the_protocol_says():
    assert {number: kind.__name__ for number, kind in KINDS.items()} == {
        0x01: "Hello",
        0x02: "Samples",
        0x03: "Fault",
        0x04: "Echo",
        0x10: "AskHello",
        0x11: "Start",
        0x12: "Stop",
        0x13: "AskEcho",
        0x14: "SetRate",
        0x20: "Anchor",
        0x21: "NoteFrame",
    }


def test_a_whole_frame_byte_for_byte():
    # Worked by hand: payload 11 34 12 and its checksum, whose value is checked against the catalogue elsewhere.
    frame = seal(Start.KIND, 0x1234, Start().to_body())
    assert frame[:4] == bytes.fromhex("06 11 34 12")
    assert len(frame) == 7
    assert frame[-1] == 0


@pytest.mark.parametrize("kind", [Hello, Samples, Fault, Echo, AskEcho, SetRate, Anchor, NoteFrame])
@given(body=st.binary(max_size=80))
def test_any_body_is_either_parsed_or_refused_as_bad(kind, body):
    try:
        value = kind.from_body(body)
    except BadBody:
        return
    assert value.to_body() == body[: len(value.to_body())] or kind is NoteFrame


@pytest.mark.parametrize(("value", "body"), VECTORS[:4] + VECTORS[7:])
def test_a_body_cut_short_is_refused(value, body):
    whole = bytes.fromhex(body)
    for length in range(len(whole)):
        with pytest.raises(BadBody):
            type(value).from_body(whole[:length])


def test_a_longer_greeting_of_newer_firmware_is_understood():
    assert Hello.from_body(HELLO.to_body() + b"more") == HELLO


@pytest.mark.parametrize(
    ("later", "earlier", "expected"), [(5, 3, 2), (1, 2**32 - 1, 2), (2**32 - 1, 1, -2), (2**31, 0, -(2**31))]
)
def test_differences_of_wrapping_numbers(later, earlier, expected):
    assert difference(later, earlier) == expected


def test_line_checksum_is_that_of_nmea_0183_sentences():
    # A widely printed example sentence of the standard, from memory: $GPGLL,5057.970,N,00146.110,E,142451,A*27
    assert checksum(b"GPGLL,5057.970,N,00146.110,E,142451,A") == 0x27


@pytest.mark.parametrize(
    ("line", "stamp", "counts"),
    [
        (b"1000,5,-6", 1000, [5, -6]),
        (b"  1000,5,-6\r", 1000, [5, -6]),
        (b"4294967296,1", 0, [1]),
        (b"1000,,7", 1000, [-(2**31), 7]),
        (format_line(77, [1, -(2**31), 3]).rstrip(), 77, [1, -(2**31), 3]),
    ],
)
def test_lines_that_count(line, stamp, counts):
    samples = parse_line(line)
    assert samples is not None
    assert samples.first_us == stamp
    assert samples.counts.tolist() == [counts]


@pytest.mark.parametrize(
    "line",
    [b"", b"hello", b"1000", b"1000,5*00", b"1000,5,x", b"-1,5", b"1000,2147483648", b"1000,5.5", b"1000,+", b"time,a"],
)
def test_lines_that_do_not_count(line):
    assert parse_line(line) is None
