"""Frames against published values.

Source of the CRC parameters and check values: catalogue of parametrised CRC algorithms (G. Cook). Source of the
stuffing: S. Cheshire, M. Baker, Consistent Overhead Byte Stuffing, IEEE/ACM Transactions on Networking 7(2), 1999. The
values stand in ``tests/reference/crc_cobs.json``, where their status is told.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.framing import BadFrame, crc16, seal, unseal

REFERENCE = json.loads((Path(__file__).parents[1] / "reference" / "crc_cobs.json").read_text())


def test_the_checksum_gives_the_published_check_value():
    entry = next(one for one in REFERENCE["crc"] if one["name"] == "CRC-16/IBM-3740")
    assert crc16(REFERENCE["check_input_ascii"].encode()) == int(entry["check"], 16)


def test_the_checksum_gives_the_other_published_values():
    more = REFERENCE["crc16_ibm3740_more_recomputed"]
    assert crc16(b"") == int(more["empty"], 16)
    assert crc16(b"A") == int(more["ascii_A"], 16)
    assert crc16(b"123456789\x29\xb1") == int(more["123456789_followed_by_29_B1"], 16)


def test_the_checksum_equals_a_bitwise_division_by_the_polynomial():
    # Independent of the library: long division by 0x1021, as the catalogue's parameters define it.
    register = 0xFFFF
    data = bytes(range(256)) * 3
    for byte in data:
        register ^= byte << 8
        for _ in range(8):
            register = (register << 1 ^ 0x1021 if register & 0x8000 else register << 1) & 0xFFFF
    assert crc16(data) == register


@pytest.mark.parametrize("vector", REFERENCE["cobs"], ids=lambda one: one["decoded"] or "nothing")
def test_stuffing_agrees_with_the_published_vectors(vector):
    decoded, encoded = bytes.fromhex(vector["decoded"]), bytes.fromhex(vector["encoded"])
    assert cobs.encode(decoded) == encoded
    assert cobs.decode(encoded) == decoded


def _span(first: int, last: int) -> bytes:
    return bytes(range(first, last + 1))


# The published long vectors (``cobs_long_ranges``), written out.
LONG = [
    (_span(1, 0xFE), b"\xff" + _span(1, 0xFE)),
    (b"\0" + _span(1, 0xFE), b"\x01\xff" + _span(1, 0xFE)),
    (_span(1, 0xFF), b"\xff" + _span(1, 0xFE) + b"\x02\xff"),
    (_span(2, 0xFF) + b"\0", b"\xff" + _span(2, 0xFF) + b"\x01\x01"),
    (_span(3, 0xFF) + b"\0\x01", b"\xfe" + _span(3, 0xFF) + b"\x02\x01"),
]


@pytest.mark.parametrize(("decoded", "encoded"), LONG)
def test_stuffing_agrees_with_the_published_long_vectors(decoded, encoded):
    assert cobs.encode(decoded) == encoded
    assert cobs.decode(encoded) == decoded


def test_a_decoder_accepts_the_needless_last_byte_of_other_encoders():
    # See ``cobs_note`` of the reference.
    assert cobs.decode(b"\xff" + _span(1, 0xFE) + b"\x01") == _span(1, 0xFE)


@given(st.binary(max_size=1200) | st.integers(0, 1100).map(lambda n: b"\x07" * n))
def test_whatever_is_stuffed_comes_back_and_holds_no_zero(data):
    stuffed = cobs.encode(data)
    assert b"\0" not in stuffed
    assert len(stuffed) <= len(data) + 1 + len(data) // 254
    assert cobs.decode(stuffed) == data


@pytest.mark.parametrize("piece", [b"", b"\x05\x01", b"\xff\x01", b"\x02\x01\x09", b"\x01\x00\x01"])
def test_pieces_that_are_not_valid_cobs_are_refused(piece):
    with pytest.raises(BadFrame):
        unseal(piece)


@given(st.binary(max_size=600), st.integers(0, 255), st.integers(0, 65535), st.data())
def test_a_frame_comes_back_and_any_single_bit_error_is_found(body, kind, sequence, data):
    frame = seal(kind, sequence, body)
    assert frame.count(0) == 1
    assert frame[-1] == 0
    assert unseal(frame[:-1]) == (kind, sequence, body)
    bit = data.draw(st.integers(0, 8 * (len(frame) - 1) - 1))
    broken = bytearray(frame[:-1])
    broken[bit // 8] ^= 1 << bit % 8
    try:
        assert unseal(bytes(broken)) != (kind, sequence, body)
    except BadFrame:
        return
    # A flipped length byte moves zeros about: several bits of the payload change, and the checksum may miss it once
    # in 65,536; whatever passes must not be the original.
