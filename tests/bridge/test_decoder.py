"""However bytes arrive, and whatever they are, the decoder says the same and never fails."""

from __future__ import annotations

import pytest
from bridge_streams import cut_at_random, frames, hello_frame, sample_frame
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_bridge.decoder import DAMAGED, STUB, TEXT_LINE, Decoder
from firmware_bridge.framing import LONGEST_FRAME, seal
from firmware_bridge.journal import anchor_bytes, note_bytes
from firmware_bridge.text_lines import format_line

BINARY = b"".join(
    [
        b"half a frame\0",
        *frames(6),
        b"\n\nnoise\x00\x00",
        seal(0x47, 9, b"from the future"),
        sample_frame(7, 24)[:-9] + b"\0",
        sample_frame(8, 28),
        anchor_bytes(10**15, 10**18, 5),
        sample_frame(9, 32),
    ]
)
TEXT = b"".join(
    [
        b"boot: ready\n345,1,2\n",
        *(format_line(1_000_000 + k * 12_500, [k, -k]) for k in range(5)),
        b"12,bad\n\r\n1100000,5,6*00\n",
        anchor_bytes(10**15, 10**18, 10),
        note_bytes({"rig": "invented\n1,2\n"}),
        *(format_line(1_200_000 + k * 12_500, [k, -k], checked=False) for k in range(3)),
        b"\0",
        format_line(1_300_000, [1, 1]),
    ]
)


def summaries(pieces: list[bytes]) -> tuple[list[object], object, str | None, list[bytes]]:
    decoder = Decoder()
    received = [one for piece in pieces for one in decoder.push(piece)]
    return [one.summary() for one in received], decoder.counters, decoder.dialect, [one.raw for one in received]


@pytest.mark.parametrize("stream", [BINARY, TEXT], ids=["frames", "text"])
def test_a_cut_at_any_position_changes_nothing(stream):
    whole = summaries([stream])
    for position in range(len(stream) + 1):
        assert summaries([stream[:position], stream[position:]]) == whole
    assert summaries([stream[k : k + 1] for k in range(len(stream))]) == whole


@given(
    st.lists(st.sampled_from([BINARY, TEXT, b"\0", b"\n", b"1,2\n", b"7"]) | st.binary(max_size=30), max_size=6),
    st.integers(0, 2**32),
)
def test_random_cuts_of_random_mixtures_change_nothing(parts, seed):
    data = b"".join(parts)
    assert summaries(cut_at_random(data, seed)) == summaries([data])


@given(st.binary(max_size=2000))
@settings(max_examples=300)
def test_any_bytes_are_taken_and_a_whole_frame_after_them_is_found(garbage):
    decoder = Decoder()
    decoder.push(garbage)
    decoder.push(b"\0" + hello_frame())
    assert [one.kind for one in decoder.push(hello_frame(1))] == [1]


def test_frames_are_counted():
    messages, counters, dialect, raws = summaries([BINARY])
    assert dialect == "frames"
    assert [one["kind"] for one in messages] == [
        "damaged",
        "Hello",
        *["Samples"] * 6,
        "damaged",
        "unknown 0x47",
        "damaged",
        "Samples",
        "Anchor",
        "Samples",
    ]
    assert (counters.frames, counters.damaged, counters.unknown, counters.resyncs) == (11, 3, 1, 3)
    assert raws[1] == hello_frame()


def test_lines_are_counted_and_the_hosts_frames_stand_between_them():
    messages, counters, dialect, raws = summaries([TEXT])
    assert dialect == "text"
    assert [one["kind"] for one in messages] == [
        "damaged",
        *["line"] * 6,
        "damaged",
        "damaged",
        "Anchor",
        "NoteFrame",
        *["line"] * 4,
    ]
    assert (counters.frames, counters.damaged) == (12, 3)
    assert raws[2] == format_line(1_000_000, [0, 0])


PARTS = [*frames(3), b"\0", b"\n", b"1,2\n", b"half", b"1000,1\n", b"no line\n", b"\r\n", sample_frame(4, 12)[:-5]]


@given(st.lists(st.sampled_from(PARTS) | st.binary(max_size=12), max_size=14))
@settings(max_examples=400, derandomize=True)
def test_what_a_board_sent_can_be_decoded_again_from_the_raw_pieces(parts):
    # The journal holds the raw pieces, not the stream; both have to tell the same.
    messages, counters, _, raws = summaries([b"".join(parts), b"\0", hello_frame()])
    again, counters_again, _, _ = summaries(raws)
    assert again == messages
    assert counters_again == counters


@pytest.mark.parametrize("filler", [b"\x55", b"1", b"\n"])
def test_memory_is_bounded_when_a_frame_never_ends(filler):
    decoder = Decoder()
    for frame in frames(2):
        decoder.push(frame)
    for _ in range(300):
        decoder.push(filler * 1000)
        assert decoder.pending <= LONGEST_FRAME
    decoder.push(b"\0")
    assert decoder.counters.damaged >= 1
    assert [one.kind for one in decoder.push(hello_frame())] == [1]


@pytest.mark.parametrize("excess", [-1, 0, 1, 2, 500])
@pytest.mark.parametrize("before", [b"", hello_frame()])
def test_the_bound_does_not_depend_on_cuts(excess, before):
    stream = before + b"\x55" * (LONGEST_FRAME + excess) + b"\0" + hello_frame(1) + b"1,2\n\0"
    pieces = [stream[k : k + 997] for k in range(0, len(stream), 997)]
    assert summaries(pieces) == summaries([stream])
    if excess > 0:
        assert STUB in summaries([stream])[3]


def test_a_board_that_changes_its_dialect_is_followed():
    decoder = Decoder()
    lines = decoder.push(b"1000,1\n2000,2\n")
    framed = decoder.push(b"\0" + hello_frame())
    assert [one.kind for one in lines] == [TEXT_LINE, TEXT_LINE]
    assert [one.kind for one in framed] == [1]
    assert decoder.push(b"3000,3\n\0")[0].kind == DAMAGED
    decoder.restart()
    assert [one.kind for one in decoder.push(b"3000,3\n")] == [TEXT_LINE]
