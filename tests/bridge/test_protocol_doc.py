"""The page on the wire protocol is true: each of its examples decodes as it says, and it names everything there is."""

from __future__ import annotations

import inspect
import json
import re
from pathlib import Path

import pytest
from bridge_streams import hello_frame, sample_frame
from cobs import cobs

from firmware_bridge.counts import NO_READING
from firmware_bridge.decoder import STUB, Decoder
from firmware_bridge.events import Counters
from firmware_bridge.framing import LONGEST_FRAME, crc16
from firmware_bridge.journal import JournalWriter, mend
from firmware_bridge.link import ASK_AGAIN_S, LONGEST_PAUSE_S, SHORTEST_PAUSE_S, LinkSource
from firmware_bridge.messages import KINDS, Start

PAGE = (Path(__file__).parents[2] / "docs" / "protocol.md").read_text()
BLOCKS = re.findall(r"^```(frame|line|journal)\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)


def blocks(kind: str) -> list[str]:
    return [text for name, text in BLOCKS if name == kind]


def decoded(data: bytes) -> list[dict[str, object]]:
    return [one.summary() for one in Decoder().push(data)]


@pytest.mark.parametrize("block", blocks("frame"), ids=lambda text: json.loads(text.split("\n", 1)[1])["kind"])
def test_a_frame_on_the_page_decodes_as_it_says(block):
    frame, said = block.split("\n", 1)
    (received,) = Decoder().push(bytes.fromhex(frame))
    assert received.summary() == json.loads(said)
    # ... and is what this side would send.
    assert received.value is not None
    body = received.value.to_body()
    payload = bytes([received.kind]) + received.sequence.to_bytes(2, "little") + body
    assert cobs.encode(payload + crc16(payload).to_bytes(2, "little")) + b"\0" == bytes.fromhex(frame)


@pytest.mark.parametrize("block", blocks("line"), ids=lambda text: text.split("\n", 1)[0])
def test_a_line_on_the_page_decodes_as_it_says(block):
    line, said = block.split("\n", 1)
    assert decoded(line.encode() + b"\n" + b"\0") == [json.loads(said)]


@pytest.mark.parametrize("block", blocks("journal"), ids=["frames", "lines"])
def test_a_journal_on_the_page_decodes_as_it_says(block):
    *pieces, said = block.strip().split("\n")
    assert [one["kind"] for one in decoded(bytes.fromhex("".join(pieces)))] == json.loads(said)


def test_the_page_has_an_example_of_every_type_and_names_its_number():
    shown = {json.loads(text.split("\n", 1)[1])["kind"] for text in blocks("frame")}
    assert shown == {kind.__name__ for kind in KINDS.values()}
    named = {int(number, 16) for number in re.findall(r"^\| (0x[0-9a-f]{2}) \|", PAGE, re.MULTILINE)}
    assert named == set(KINDS)


def test_the_steps_of_the_worked_example_are_right():
    payload = bytes.fromhex("11 02 00")
    assert payload == bytes([Start.KIND, 2, 0]) + Start().to_body()
    sealed = payload + crc16(payload).to_bytes(2, "little")
    assert f"0x{crc16(payload):04X} as chance has it" in PAGE
    for step in (payload, sealed, cobs.encode(sealed) + b"\0"):
        assert f"`{step.hex(' ')}`" in PAGE
    assert f"0x{crc16(b'123456789'):04X}" in PAGE


def test_every_counter_has_its_line():
    for name in Counters.__dataclass_fields__:
        assert re.search(rf"^\| {name} \| ", PAGE, re.MULTILINE), name


def test_the_numbers_of_the_page_are_those_of_the_program(tmp_path):
    assert f"{LONGEST_FRAME:,} bytes" in PAGE
    assert f"A count of {NO_READING}" in PAGE
    assert f"`{STUB.hex(' ')}`" in PAGE
    assert f"tries again after {SHORTEST_PAUSE_S:g} s" in PAGE
    assert f"up to every {LONGEST_PAUSE_S:g} s" in PAGE
    assert ASK_AGAIN_S == 1.0  # "once a second until samples come"
    link = inspect.signature(LinkSource).parameters
    assert f"then every {link['echo_period_s'].default} s" in PAGE
    assert link["silence_s"].default == 1.0  # "No samples for a second"
    assert inspect.signature(JournalWriter).parameters["sync_every_s"].default == 1.0  # "at least once a second"
    assert f"{2**32 / 60e6:.1f} minutes" in PAGE
    assert f"{2**31 / 60e6:.1f} minutes" in PAGE
    path = tmp_path / "NAME"
    path.write_bytes(hello_frame() + sample_frame(1, 0)[:-3])
    tail = mend(path).tail
    assert tail is not None
    assert tail.name.replace(str(len(hello_frame())), "POSITION") == "NAME.torn-POSITION"
    assert "`NAME.torn-POSITION`" in PAGE
