"""Payloads and frozen values: one class per frame type of wire protocol 1, pure in both directions."""

from __future__ import annotations

import json
from dataclasses import dataclass
from struct import Struct
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

_HELLO = Struct("<B3B8sIBIHI")
_SAMPLES = Struct("<IIHBB")
_STATUS = Struct("<I")
_ANCHOR = Struct("<QQI")
_U32 = Struct("<I")
_U16 = Struct("<H")


class BadBody(ValueError):
    """The checksum holds but the body does not fit its type; caught by the decoder, which counts it as damaged."""


def difference(later: int, earlier: int, bits: int = 32) -> int:
    """Return ``later - earlier`` of two numbers that wrap at ``2**bits``, between -2**(bits-1) and 2**(bits-1) - 1."""
    half = 1 << (bits - 1)
    return ((later - earlier + half) & ((1 << bits) - 1)) - half


def _text(data: bytes, what: str, encoding: str = "ascii") -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        raise BadBody(f"{what}: text is not {encoding}") from error


@dataclass(frozen=True, slots=True)
class Hello:
    """The board's greeting.

    ``rate_cHz`` is in 1/100 per second, ``board_id`` has 8 bytes; bytes after the converter's name are ignored, so
    that a later protocol may add some.
    """

    KIND: ClassVar[int] = 0x01

    protocol: int
    firmware: tuple[int, int, int]
    board_id: bytes
    boot_count: int
    channels: int
    rate_cHz: int
    skew_us: int
    reading_delay_us: int
    converter: str

    @classmethod
    def from_body(cls, body: bytes) -> Hello:
        """Parse a body; raises ``BadBody``."""
        if len(body) < _HELLO.size + 1 or len(body) < _HELLO.size + 1 + body[_HELLO.size]:
            raise BadBody("hello: too short")
        protocol, major, minor, patch, board_id, boot, channels, rate, skew, delay = _HELLO.unpack_from(body)
        start = _HELLO.size + 1
        name = _text(body[start : start + body[_HELLO.size]], "hello")
        return cls(protocol, (major, minor, patch), board_id, boot, channels, rate, skew, delay, name)

    def to_body(self) -> bytes:
        """Return the body."""
        name = self.converter.encode("ascii")
        fixed = _HELLO.pack(
            self.protocol,
            *self.firmware,
            self.board_id,
            self.boot_count,
            self.channels,
            self.rate_cHz,
            self.skew_us,
            self.reading_delay_us,
        )
        return fixed + bytes((len(name),)) + name


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Consecutive readings without a missed conversion.

    ``first_us`` is raw and still wraps at 2**32; ``interval_256us`` is in 1/256 us, 0 where it is unknown (a line of
    text); ``missed`` counts conversions since boot and wraps at 65536; ``counts`` is (n, channels) int32, read-only.
    """

    KIND: ClassVar[int] = 0x02

    first_us: int
    interval_256us: int
    missed: int
    counts: NDArray[np.int32]
    status: int = 0

    @classmethod
    def from_body(cls, body: bytes) -> Samples:
        """Parse a body; raises ``BadBody``."""
        size = len(body)
        if size < 16:
            raise BadBody("samples: too short")
        first_us, interval, missed, channels, count = _SAMPLES.unpack_from(body)
        readings = channels * count
        if size != 16 + 4 * readings or not readings or not interval:
            raise BadBody("samples: length, channels, count or interval do not fit together")
        counts = np.frombuffer(body, "<i4", readings, 12).reshape(count, channels)
        return cls(first_us, interval, missed, counts, int.from_bytes(body[-4:], "little"))

    def to_body(self) -> bytes:
        """Return the body."""
        count, channels = self.counts.shape
        head = _SAMPLES.pack(self.first_us, self.interval_256us, self.missed, channels, count)
        return head + self.counts.astype("<i4").tobytes() + _STATUS.pack(self.status)


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault that the board noticed itself; ``detail`` is ASCII."""

    KIND: ClassVar[int] = 0x03

    code: int
    channel: int
    detail: str

    @classmethod
    def from_body(cls, body: bytes) -> Fault:
        """Parse a body; raises ``BadBody``."""
        if len(body) < 3 or len(body) < 3 + body[2]:
            raise BadBody("fault: too short")
        return cls(body[0], body[1], _text(body[3 : 3 + body[2]], "fault"))

    def to_body(self) -> bytes:
        """Return the body."""
        detail = self.detail.encode("ascii")
        return bytes((self.code, self.channel, len(detail))) + detail


@dataclass(frozen=True, slots=True)
class Echo:
    """The board's answer to an echo request: the host's 8 bytes and raw microseconds that wrap at 2**32."""

    KIND: ClassVar[int] = 0x04

    token: bytes
    board_us: int

    @classmethod
    def from_body(cls, body: bytes) -> Echo:
        """Parse a body; raises ``BadBody``."""
        if len(body) != 12:
            raise BadBody("echo: not 12 bytes")
        return cls(body[:8], int.from_bytes(body[8:], "little"))

    def to_body(self) -> bytes:
        """Return the body."""
        return self.token + _U32.pack(self.board_us)


@dataclass(frozen=True, slots=True)
class AskHello:
    """The host asks for the greeting."""

    KIND: ClassVar[int] = 0x10

    @classmethod
    def from_body(cls, body: bytes) -> AskHello:
        """Accept any body: it carries nothing."""
        return cls()

    def to_body(self) -> bytes:
        """Return the empty body."""
        return b""


@dataclass(frozen=True, slots=True)
class Start:
    """The host asks for samples."""

    KIND: ClassVar[int] = 0x11

    @classmethod
    def from_body(cls, body: bytes) -> Start:
        """Accept any body: it carries nothing."""
        return cls()

    def to_body(self) -> bytes:
        """Return the empty body."""
        return b""


@dataclass(frozen=True, slots=True)
class Stop:
    """The host asks for no more samples."""

    KIND: ClassVar[int] = 0x12

    @classmethod
    def from_body(cls, body: bytes) -> Stop:
        """Accept any body: it carries nothing."""
        return cls()

    def to_body(self) -> bytes:
        """Return the empty body."""
        return b""


@dataclass(frozen=True, slots=True)
class AskEcho:
    """The host asks for an echo of 8 bytes."""

    KIND: ClassVar[int] = 0x13

    token: bytes

    @classmethod
    def from_body(cls, body: bytes) -> AskEcho:
        """Parse a body; raises ``BadBody``."""
        if len(body) != 8:
            raise BadBody("ask echo: not 8 bytes")
        return cls(body)

    def to_body(self) -> bytes:
        """Return the body."""
        return self.token


@dataclass(frozen=True, slots=True)
class SetRate:
    """The host asks for another rate, in 1/100 per second."""

    KIND: ClassVar[int] = 0x14

    rate_cHz: int

    @classmethod
    def from_body(cls, body: bytes) -> SetRate:
        """Parse a body; raises ``BadBody``."""
        if len(body) != 4:
            raise BadBody("set rate: not 4 bytes")
        return cls(int.from_bytes(body, "little"))

    def to_body(self) -> bytes:
        """Return the body."""
        return _U32.pack(self.rate_cHz)


@dataclass(frozen=True, slots=True)
class Anchor:
    """Journal only: the host received something that bears the board time ``board_us`` at these host times."""

    KIND: ClassVar[int] = 0x20

    monotonic_ns: int
    utc_ns: int
    board_us: int

    @classmethod
    def from_body(cls, body: bytes) -> Anchor:
        """Parse a body; raises ``BadBody``."""
        if len(body) != _ANCHOR.size:
            raise BadBody("anchor: not 20 bytes")
        return cls(*_ANCHOR.unpack(body))

    def to_body(self) -> bytes:
        """Return the body."""
        return _ANCHOR.pack(self.monotonic_ns, self.utc_ns, self.board_us)


@dataclass(frozen=True, slots=True)
class NoteFrame:
    """Journal only: one JSON object of the host, at most 65,535 bytes of UTF-8."""

    KIND: ClassVar[int] = 0x21

    content: dict[str, object]

    @classmethod
    def from_body(cls, body: bytes) -> NoteFrame:
        """Parse a body; raises ``BadBody``."""
        if len(body) < 2 or len(body) != 2 + int.from_bytes(body[:2], "little"):
            raise BadBody("note: wrong length")
        try:
            content = json.loads(_text(body[2:], "note", "utf-8"))
        except (ValueError, RecursionError) as error:
            raise BadBody("note: no JSON") from error
        if not isinstance(content, dict):
            raise BadBody("note: no JSON object")
        return cls(content)

    def to_body(self) -> bytes:
        """Return the body; raises ``BadBody`` where it is too long, ``ValueError`` where a number is not finite."""
        plain = json.dumps(self.content, ensure_ascii=False, separators=(",", ":"), sort_keys=True, allow_nan=False)
        text = plain.encode()
        if len(text) > 0xFFFF:
            raise BadBody("note: longer than 65,535 bytes")
        return _U16.pack(len(text)) + text


Message = Hello | Samples | Fault | Echo | AskHello | Start | Stop | AskEcho | SetRate | Anchor | NoteFrame

KINDS: dict[int, type[Message]] = {
    kind.KIND: kind
    for kind in (Hello, Samples, Fault, Echo, AskHello, Start, Stop, AskEcho, SetRate, Anchor, NoteFrame)
}
"""Every frame type of the protocol by its number."""

FIRST_HOST_KIND = 0x10
"""Types from here on are sent or written by the host; the board's sequence numbers do not count them."""

FIRST_JOURNAL_KIND = 0x20
"""Types from here on stand in journals only."""
