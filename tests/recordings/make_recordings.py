"""Makes the invented recordings: ``python tests/recordings/make_recordings.py`` writes them anew, byte for byte alike.

What must come out is written down from what was put in, never by decoding: this file shares no code with the bridge. It
has its own stuffing, checksum and packing, after ``docs/protocol.md``.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, field
from itertools import pairwise
from math import cos, pi
from pathlib import Path
from random import Random
from struct import pack

HERE = Path(__file__).parent
INTERVAL_US = 12_500
ROWS = 4
WRAP = 2**32
NO_READING = -(2**31)


def checksum(data: bytes) -> int:
    """Divide bit by bit by the polynomial 0x1021, beginning with 0xFFFF."""
    register = 0xFFFF
    for byte in data:
        register ^= byte << 8
        for _ in range(8):
            register = ((register << 1) ^ (0x1021 if register & 0x8000 else 0)) & 0xFFFF
    return register


def stuffed(data: bytes) -> bytes:
    """Walk byte by byte; a length byte is filled in when its run has ended."""
    out, length_at = bytearray(1), 0
    for number, byte in enumerate(data):
        if byte:
            out.append(byte)
        if not byte or len(out) - length_at == 255:
            full = byte != 0
            out[length_at] = len(out) - length_at
            if full and number == len(data) - 1:
                return bytes(out)
            length_at = len(out)
            out.append(0)
    out[length_at] = len(out) - length_at
    return bytes(out)


def frame(kind: int, sequence: int, body: bytes) -> bytes:
    payload = pack("<BH", kind, sequence) + body
    return stuffed(payload + pack("<H", checksum(payload))) + b"\0"


@dataclass
class Recording:
    """A journal in the making, with what must come out of it."""

    journal: bytearray = field(default_factory=bytearray)
    messages: list[dict[str, object]] = field(default_factory=list)
    unknown: int = 0
    repeated: int = 0
    segments: list[dict[str, int]] = field(default_factory=list)

    def put(self, raw: bytes, kind: str, sequence: int, **values: object) -> None:
        self.journal += raw
        self.messages.append({"kind": kind, "sequence": sequence, **values})

    def damage(self, raw: bytes) -> None:
        self.put(raw, "damaged", 0)

    def hello(self, sequence: int, boot_count: int, channels: int) -> None:
        name = b"invented converter"
        body = pack("<B3B8sIBIHI", 1, 0, 9, 1, b"INVENTED", boot_count, channels, 8000, 0, 6250)
        self.put(
            frame(0x01, sequence, body + bytes([len(name)]) + name),
            "Hello",
            sequence,
            protocol=1,
            firmware=[0, 9, 1],
            board_id=b"INVENTED".hex(),
            boot_count=boot_count,
            channels=channels,
            rate_cHz=8000,
            skew_us=0,
            reading_delay_us=6250,
            converter="invented converter",
        )

    def samples(self, sequence: int, at_us: int, missed: int, counts: list[list[int]], status: int = 0) -> None:
        raw = samples_frame(sequence, at_us, missed, counts, status)
        self.put(
            raw,
            "Samples",
            sequence,
            first_us=at_us % WRAP,
            interval_256us=INTERVAL_US * 256,
            missed=missed,
            counts=counts,
            status=status,
        )
        self.rows(len(counts), at_us, lost=0)

    def rows(self, rows: int, at_us: int, *, lost: int) -> None:
        segment = self.segments[-1]
        if not segment["rows"]:
            segment["first_us"] = at_us
        segment["rows"] += rows
        segment["lost"] += lost
        segment["last_us"] = at_us + (rows - 1) * INTERVAL_US

    def begin_segment(self) -> None:
        self.segments.append({"rows": 0, "lost": 0, "first_us": 0, "last_us": 0})

    def lose(self, conversions: int) -> None:
        self.segments[-1]["lost"] += conversions

    def echo(self, sequence: int, token: bytes, at_us: int) -> None:
        body = token + pack("<I", at_us % WRAP)
        self.put(frame(0x04, sequence, body), "Echo", sequence, token=token.hex(), board_us=at_us % WRAP)

    def anchor(self, sequence: int, host_ns: int, utc_ns: int, at_us: int) -> None:
        body = pack("<QQI", host_ns, utc_ns, at_us % WRAP)
        self.put(
            b"\0" + frame(0x20, sequence, body),
            "Anchor",
            sequence,
            monotonic_ns=host_ns,
            utc_ns=utc_ns,
            board_us=at_us % WRAP,
        )

    def note(self, sequence: int, content: dict[str, object]) -> None:
        text = json.dumps(content).encode()
        self.put(b"\0" + frame(0x21, sequence, pack("<H", len(text)) + text), "NoteFrame", sequence, content=content)

    def line(self, at_us: int, counts: list[int], *, checked: bool = True) -> None:
        self.put(
            line_bytes(at_us % WRAP, counts, checked=checked),
            "line",
            0,
            first_us=at_us % WRAP,
            interval_256us=0,
            missed=0,
            counts=[counts],
            status=0,
        )

    def write(self, folder: Path, name: str, dialect: str, torn: bytes) -> None:
        kinds = [one["kind"] for one in self.messages]
        read_back = sum(now != "damaged" and before == "damaged" for before, now in pairwise(kinds))
        expected = {
            "dialect": dialect,
            "counters": {
                "frames": sum(kind != "damaged" for kind in kinds),
                "damaged": kinds.count("damaged"),
                "unknown": self.unknown,
                "resyncs": read_back,
            },
            "torn_bytes": len(torn),
            "repeated": self.repeated,
            "segments": self.segments,
            "messages": self.messages,
        }
        (folder / f"{name}.journal").write_bytes(bytes(self.journal) + torn)
        lines = ",\n".join("  " + json.dumps(one) for one in self.messages)
        head = json.dumps({key: value for key, value in expected.items() if key != "messages"}, indent=1)
        (folder / f"{name}.expected.json").write_text(head[:-2] + ',\n "messages": [\n' + lines + "\n ]\n}\n")


def samples_frame(sequence: int, at_us: int, missed: int, counts: list[list[int]], status: int = 0) -> bytes:
    channels = len(counts[0])
    body = pack("<IIHBB", at_us % WRAP, INTERVAL_US * 256, missed, channels, len(counts))
    body += b"".join(pack("<i", count) for row in counts for count in row) + pack("<I", status)
    return frame(0x02, sequence, body)


def line_bytes(at_us: int, counts: list[int], *, checked: bool) -> bytes:
    text = ",".join([str(at_us), *("" if count == NO_READING else str(count) for count in counts)]).encode()
    exclusive_or = 0
    for byte in text:
        exclusive_or ^= byte
    return text + (b"*%02X" % exclusive_or if checked else b"") + b"\n"


class InventedPerson:
    """Counts of two bar cells and one foot cell: a step off the platform, a small swing, a step back."""

    def __init__(self, seed: int) -> None:
        self._random = Random(seed)

    def counts(self, conversion: int) -> list[int]:
        t_s = conversion * INTERVAL_US * 1e-6
        share = min(1.0, max(0.0, (t_s - 0.8) / 0.4)) - min(1.0, max(0.0, (t_s - 2.6) / 0.3))
        swing = 0.02 * share * cos(2 * pi * 0.9 * t_s)
        loads = (0.48 * share + swing / 2, 0.52 * share + swing / 2, 1.0 - share)
        return [
            round(zero + 690_000 * load + self._random.gauss(0, 40)) for zero, load in zip(ZEROS, loads, strict=True)
        ]


ZEROS = (83_211, -12_904, 4_077)


# A script of events in their order: splitting it would hide the order.
def six_troubles(folder: Path) -> None:  # noqa: C901
    """Frames with every trouble that a wire and a board can have, across the wrap of the board's time."""
    made, person = Recording(), InventedPerson(1)
    host_ns, utc_ns = 7_200_000_000_000, 1_700_000_000_000_000_000
    started_us = WRAP - 700_000
    conversion, sequence, missed, own = 0, 0, 0, 0

    def rows() -> list[list[int]]:
        nonlocal conversion
        block = [person.counts(conversion + k) for k in range(ROWS)]
        conversion += ROWS
        return block

    def at_us() -> int:
        return started_us + conversion * INTERVAL_US

    def anchor(stamp_us: int) -> None:
        nonlocal own
        own += 1
        passed_ns = (stamp_us - started_us) * 1000 + 900_000
        made.anchor(own, host_ns + passed_ns, utc_ns + passed_ns, stamp_us)

    made.note(own, {"link": "opened", "port": "invented"})
    made.note(own, {"about": "invented recording", "channels": ["bar_left", "bar_right", "feet"]})
    made.damage(samples_frame(9, 0, 0, [[0, 0, 0]])[7:])  # the port was opened in the middle of a frame
    made.begin_segment()
    made.hello(0, 1, 3)
    for number in range(44):
        sequence += 1
        start_us = at_us()
        if number == 6:  # the board missed 5 conversions and closed its frame before them
            missed += 5
            conversion += 5
            made.lose(5)
            start_us = at_us()
        block = rows()
        status = 0
        if number == 30:
            block[2][1] = NO_READING
            status |= 0b1000
        if number == 33:
            block[1][0] = 2**23 - 1
            status |= 0b0001
        if number == 12:  # a flipped bit
            broken = bytearray(samples_frame(sequence, start_us, missed, block))
            broken[20] ^= 0x10 if broken[20] != 0x10 else 0x20
            made.damage(bytes(broken))
            made.lose(ROWS)
        elif number in (18, 19):  # bytes lost across the end of a frame: two frames become one piece
            whole = samples_frame(sequence, start_us, missed, block)
            if number == 18:
                first_part = whole[:-9]
            else:
                made.damage(first_part + whole[4:])
            made.lose(ROWS)
        elif number == 25:  # a frame that never came
            made.lose(ROWS)
        else:
            made.samples(sequence, start_us, missed, block, status)
        if number == 22:  # a frame that came twice
            made.put(samples_frame(sequence, start_us, missed, block), **made.messages[-1])  # type: ignore[arg-type]
            made.repeated += 1
        if number == 27:  # a type of newer firmware
            sequence += 1
            made.put(frame(0x47, sequence, b"newer"), "unknown 0x47", sequence)
            made.unknown += 1
        if number == 28:
            sequence += 1
            detail = b"cell 2 loose"
            made.put(
                frame(0x03, sequence, bytes([5, 1, len(detail)]) + detail),
                "Fault",
                sequence,
                code=5,
                channel=1,
                detail=detail.decode(),
            )
        if number % 9 == 4:
            sequence += 1
            stamp_us = at_us() + 300
            sent_ns = host_ns + (stamp_us - started_us) * 1000 - 700_000
            made.echo(sequence, pack("<Q", sent_ns), stamp_us)
            anchor(stamp_us)
        if number % 9 == 8:
            anchor(start_us + (ROWS - 1) * INTERVAL_US)
    # The board reboots: its time and its numbers begin anew.
    made.begin_segment()
    made.hello(0, 2, 3)
    started_us, host_ns = 1_200_000 - conversion * INTERVAL_US, host_ns + 4_000_000_000
    for number in range(8):
        made.samples(number + 1, at_us(), 0, rows())
    anchor(at_us() - INTERVAL_US)
    made.write(folder, "invented_frames", "frames", torn=samples_frame(9, at_us(), 0, rows())[:31])


def printed_lines(folder: Path) -> None:
    """Lines of a board that prints: chatter, a cut line, a failed reading, a lost line."""
    made, person = Recording(), InventedPerson(2)
    host_ns, utc_ns = 9_000_000_000_000, 1_700_000_100_000_000_000
    made.note(0, {"link": "opened", "port": "invented"})
    made.damage(b"converter ready\n")
    made.begin_segment()
    started_us = WRAP - 300_000
    for conversion in range(90):
        stamp_us = started_us + conversion * INTERVAL_US
        counts = person.counts(conversion)
        if conversion == 40:
            counts[2] = NO_READING
        if conversion == 55:  # cut in the middle, its line feed still there
            made.damage(line_bytes(stamp_us % WRAP, counts, checked=True)[:13] + b",*1\n")
            made.lose(1)
        elif conversion == 70:
            made.lose(1)
        else:
            made.line(stamp_us, counts, checked=conversion % 2 == 0)
            if conversion > 0:  # the first line might be the end of one, and is left out
                made.rows(1, stamp_us, lost=0)
        if conversion % 30 == 29:
            passed_ns = conversion * INTERVAL_US * 1000 + 1_500_000
            made.anchor(1 + conversion // 30, host_ns + passed_ns, utc_ns + passed_ns, stamp_us)
    torn = line_bytes((started_us + 90 * INTERVAL_US) % WRAP, person.counts(90), checked=True)[:-4]
    made.write(folder, "invented_lines", "text", torn)


def main(folder: Path = HERE) -> None:
    six_troubles(folder)
    printed_lines(folder)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
