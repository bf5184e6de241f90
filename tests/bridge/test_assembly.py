"""From bytes to source events: a ramp of row numbers goes through the whole chain and tells where any piece belongs."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from bridge_streams import (
    INTERVAL_256US,
    assemble,
    blocks_of,
    check_ramp,
    cut_at_random,
    frames,
    hello_frame,
    plain_all,
    ramp,
    rows_in,
    sample_frame,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_bridge.counts import NO_READING
from firmware_bridge.events import BoardFacts, BoardFault, ClockFit, Counters, Note
from firmware_bridge.framing import seal
from firmware_bridge.journal import anchor_bytes, note_bytes
from firmware_bridge.messages import Echo, Fault, Samples
from firmware_bridge.text_lines import format_line

INTERVAL_US = INTERVAL_256US // 256
EVENTFUL = b"".join(
    [
        sample_frame(1, 0)[5:],
        *frames(4),
        sample_frame(5, 16)[:-6] + b"\0",
        sample_frame(6, 20),
        sample_frame(6, 20),
        note_bytes({"rig": "invented"}),
        seal(0x47, 7, b"from the future"),
        sample_frame(8, 27, missed=3),
        seal(Fault.KIND, 9, Fault(3, 1, "no clock").to_body()),
        anchor_bytes(10**15, 10**18, 500_000),
        *frames(3, boot_count=2),
        anchor_bytes(10**15 + 10**9, 10**18, 5_000),
    ]
)
TEXT_INTERVAL_US = 12_500
EVENTFUL_TEXT = b"".join(
    [
        b"boot: ready\n",
        *(format_line(1_000_000 + k * TEXT_INTERVAL_US, [k, -k, 256 * k]) for k in range(20)),
        b"1250000,20,-2\n",
        *(format_line(1_000_000 + k * TEXT_INTERVAL_US, [k, -k, 256 * k]) for k in range(22, 30)),
        anchor_bytes(10**15, 10**18, 1_000_000 + 29 * TEXT_INTERVAL_US),
        *(format_line(k * TEXT_INTERVAL_US, [k, -k, 256 * k]) for k in range(5)),
    ]
)


@pytest.mark.parametrize("stream", [EVENTFUL, EVENTFUL_TEXT], ids=["frames", "text"])
def test_a_cut_at_any_position_gives_the_same_events(stream):
    events, assembly, _ = assemble(stream)
    whole, counters = plain_all(events), assembly.counters
    for position in range(len(stream) + 1):
        events, assembly, _ = assemble([stream[:position], stream[position:]])
        assert plain_all(events) == whole
        assert assembly.counters == counters
    assert plain_all(assemble([stream[k : k + 1] for k in range(len(stream))])[0]) == whole


def test_an_eventful_stream_is_told_and_counted_line_by_line():
    events, assembly, _ = assemble(EVENTFUL)
    assert [type(one).__name__ for one in events] == [
        "BoardFacts",
        *["CountBlock"] * 5,
        "Note",
        "CountBlock",
        "BoardFault",
        "ClockFit",
        "Counters",
        "BoardFacts",
        *["CountBlock"] * 3,
        "ClockFit",
        "Counters",
    ]
    blocks = blocks_of(events)
    assert [block.lost_before for block in blocks] == [0, 0, 0, 0, 4, 3, 0, 0, 0]
    assert [block.damaged for block in blocks] == [1, 0, 0, 0, 1, 0, 0, 0, 0]
    assert [block.segment for block in blocks] == [0] * 6 + [1] * 3
    assert BoardFault(0, 3, 1, "no clock") in events
    assert Note({"rig": "invented"}) in events
    assert [one.boot_count for one in events if isinstance(one, BoardFacts)] == [1, 2]
    assert assembly.counters == Counters(frames=17, samples=36, lost=7, damaged=2, unknown=1, repeated=1, spikes=0)
    check_ramp(events, first=0)


def test_the_greeting_is_told_in_plain_numbers():
    facts = assemble(hello_frame(boot_count=7))[0]
    assert facts == [BoardFacts(0, 1, (0, 1, 0), b"invented", 7, 3, 80.0, 0, 6250, "ramp")]
    assert assemble(hello_frame(0) + hello_frame(1))[0] == [
        BoardFacts(0, 1, (0, 1, 0), b"invented", 1, 3, 80.0, 0, 6250, "ramp")
    ]


@given(st.integers(0, 2**32 - 1), st.integers(0, 65535), st.lists(st.integers(1, 30), min_size=1, max_size=12))
def test_the_ramp_comes_through_with_exact_times_wherever_it_wraps(start_us, sequence, sizes):
    stream, row = [hello_frame((sequence - 1) & 0xFFFF)], 0
    for number, rows in enumerate(sizes):
        stream.append(sample_frame((sequence + number) & 0xFFFF, row, rows, start_us=start_us))
        row += rows
    events, _, _ = assemble(b"".join(stream))
    assert check_ramp(events, first=0) == row
    blocks = blocks_of(events)
    assert all(block.segment == 0 and block.lost_before == 0 for block in blocks)
    board_s = np.concatenate([block.board_s for block in blocks])
    # Whole microseconds as integers: the truth, without any rounding.
    assert np.round(board_s * 1e6).astype(int).tolist() == [start_us + k * INTERVAL_US for k in range(row)]
    assert np.diff(board_s).min(initial=1.0) > 0


def test_times_do_not_depend_on_how_the_board_cuts_its_frames():
    start_us = 2**32 - 1_000_000
    once = blocks_of(assemble(frames(1, rows=240, start_us=start_us))[0])
    often = blocks_of(assemble(frames(80, rows=3, start_us=start_us))[0])
    assert once[0].board_s.tolist() == np.concatenate([block.board_s for block in often]).tolist()


def test_a_stream_that_wraps_while_bytes_are_lost_keeps_its_times():
    whole = frames(400, start_us=2**32 - 100 * 4 * INTERVAL_US - 3)
    del whole[95:107]
    events, assembly, _ = assemble(whole)
    blocks = blocks_of(events)
    assert assembly.counters.lost == 12 * 4
    assert check_ramp(events, first=0) == 388 * 4
    start = blocks[0].board_s[0]
    for block in blocks:
        assert block.board_s[0] - start == pytest.approx(block.counts[0, 0] * INTERVAL_US * 1e-6, abs=1e-9)


@given(st.data())
@settings(max_examples=80, deadline=None, derandomize=True)
def test_garbage_losses_and_doubles_cost_only_what_they_hit(data):
    """Every row that comes through is a true row, and every hole is exactly as wide as it is said to be."""
    count = data.draw(st.integers(5, 40))
    missed, row, sent = 0, 0, []
    for number in range(count):
        skipped = data.draw(st.sampled_from([0, 0, 0, 2])) if number else 0
        missed, row = missed + skipped, row + skipped
        sent.append(sample_frame(number + 1, row, missed=missed))
        row += 4
    stream, lost, damaged_pieces = [hello_frame(0), sent[0]], 0, 0
    for frame in sent[1:-1]:
        fate = data.draw(st.sampled_from(["whole"] * 6 + ["dropped", "cut", "flipped", "doubled", "garbage before"]))
        if fate == "dropped":
            lost += 1
        elif fate == "cut":
            at = data.draw(st.integers(1, len(frame) - 2))
            stream.append(frame[:at] + b"\0")
            lost, damaged_pieces = lost + 1, damaged_pieces + 1
        elif fate == "flipped":
            at = data.draw(st.integers(0, len(frame) - 2))
            broken = bytearray(frame)
            broken[at] = broken[at] ^ (1 << data.draw(st.integers(0, 7))) or 0x55
            stream.append(bytes(broken))
            lost, damaged_pieces = lost + 1, damaged_pieces + 1
        elif fate == "garbage before":
            stream += [data.draw(st.binary(min_size=1, max_size=20)).replace(b"\0", b"\x01") + b"\0", frame]
            damaged_pieces += 1
        else:
            stream += [frame] * (2 if fate == "doubled" else 1)
    stream.append(sent[-1])
    joined = b"".join(stream)
    events, assembly, _ = assemble(cut_at_random(joined, data.draw(st.integers(0, 2**32))))
    assert check_ramp(events, first=0) == rows_in(events) == 4 * (count - lost)
    assert assembly.counters.samples == 4 * (count - lost)
    assert assembly.counters.lost == 4 * lost + missed
    assert assembly.counters.damaged == sum(block.damaged for block in blocks_of(events)) == damaged_pieces
    assert assembly.segment == 0


@given(st.lists(st.sampled_from(frames(12)) | st.binary(max_size=40), max_size=30), st.integers(0, 2**32))
@settings(max_examples=200, derandomize=True)
def test_any_bytes_in_any_order_are_taken_and_no_row_is_invented(parts, seed):
    data = b"".join(parts)
    events, assembly, _ = assemble(cut_at_random(data, seed))
    for block in blocks_of(events):
        if block.counts.shape[1] == 3:
            assert block.counts.tolist() == ramp(int(block.counts[0, 0]), len(block)).tolist()
        assert np.isfinite(block.board_s).all()
    assert assembly.counters.samples == rows_in(events)
    assert plain_all(events) == plain_all(assemble(data)[0])


@pytest.mark.parametrize("lost_bytes", [1, 2, 7, 60, 500])
def test_bytes_lost_anywhere_cost_the_frames_they_touch(lost_bytes):
    whole = frames(40)
    stream = b"".join(whole)
    edges = np.cumsum([len(one) for one in whole])
    random = Random(lost_bytes)
    for _ in range(60):
        start = random.randrange(int(edges[2]), int(edges[-2]) - lost_bytes - 1)
        events, assembly, _ = assemble(stream[:start] + stream[start + lost_bytes :])
        first, last = np.searchsorted(edges, [start, start + lost_bytes - 1], side="right")
        # Losing a frame's ending zero glues the next one to it.
        touched = last - first + 1 + int(start + lost_bytes in edges)
        stored = check_ramp(events, first=0)
        assert 160 - 4 * touched <= stored <= 160 - 4 * (touched - 2)
        assert assembly.counters.lost == 160 - stored
        assert assembly.segment == 0


def test_a_reboot_in_mid_stream_starts_a_segment():
    after = frames(5, boot_count=2)
    events, assembly, _ = assemble(frames(30) + after)
    assert [block.segment for block in blocks_of(events)] == [0] * 30 + [1] * 5
    assert [facts.segment for facts in events if isinstance(facts, BoardFacts)] == [0, 1]
    assert blocks_of(events)[30].board_s[0] == 0.0
    assert blocks_of(events)[30].lost_before == 0
    assert assembly.counters.lost == 0


def test_a_reboot_whose_greeting_was_lost_is_noticed_by_its_time():
    events, _, _ = assemble(frames(30) + frames(5, start_us=61)[1:])
    assert [block.segment for block in blocks_of(events)] == [0] * 30 + [1] * 5
    # What the board said before is all that is known of it; it is told anew for the new segment.
    assert [facts.segment for facts in events if isinstance(facts, BoardFacts)] == [0, 1]


def test_the_board_times_after_a_reconnection_are_a_segment_of_their_own():
    opened = note_bytes({"link": "opened"})
    events, _, _ = assemble([opened, *frames(5), opened, *frames(5, start_us=90_000_000, sequence=700)])
    assert [block.segment for block in blocks_of(events)] == [0] * 5 + [1] * 5
    assert not any(isinstance(one, Note) for one in events)


def test_a_reboot_hides_no_damage_and_no_repetition():
    streams = [frames(5), [b"\x11\x22\0"], [frames(5)[3]], frames(5, boot_count=2)]
    events, assembly, _ = assemble([one for stream in streams for one in stream])
    assert assembly.counters.damaged == 1
    assert assembly.counters.repeated == 1
    assert [block.damaged for block in blocks_of(events)] == [0] * 5 + [1] + [0] * 4


def test_failed_readings_and_status_bits_pass_unchanged():
    counts = ramp(0, 4)
    counts[2, 1] = NO_READING
    frame = seal(Samples.KIND, 1, Samples(0, INTERVAL_256US, 0, counts, 0b001001).to_body())
    events, assembly, _ = assemble([hello_frame(0), frame])
    (block,) = blocks_of(events)
    assert block.counts.tolist() == counts.tolist()
    assert block.counts.dtype == np.int32
    assert block.status == 0b001001
    assert assembly.counters.spikes == 1  # channel 0 is marked as saturated, channel 1 as not ready


def test_a_board_that_marks_no_channel_as_saturated_has_no_spikes():
    frame = seal(Samples.KIND, 1, Samples(0, INTERVAL_256US, 0, ramp(0, 4), 0b101010).to_body())
    assert assemble([hello_frame(0), frame])[1].counters.spikes == 0


def test_a_fault_that_comes_twice_is_told_once():
    fault = seal(Fault.KIND, 1, Fault(2, 0, "saturated").to_body())
    assert [one for one in assemble([hello_frame(0), fault, fault])[0] if isinstance(one, BoardFault)] == [
        BoardFault(0, 2, 0, "saturated")
    ]


def test_an_echo_and_its_anchor_bound_the_offset_on_both_sides():
    sent_ns, received_ns = 10**12, 10**12 + 4_000_000
    echo = seal(Echo.KIND, 1, Echo(sent_ns.to_bytes(8, "little"), 3_000_000).to_body())
    events, _, _ = assemble([hello_frame(0), echo, anchor_bytes(received_ns, 10**18, 3_000_000)])
    (fit,) = [one for one in events if isinstance(one, ClockFit)]
    assert fit.host_ns_at_zero == sent_ns + 2_000_000 - 3_000_000_000
    assert fit.utc_ns_at_zero == fit.host_ns_at_zero + 10**18 - received_ns
    assert fit.segment == 0


def test_an_anchor_without_its_echo_is_an_arrival():
    events, _, _ = assemble([hello_frame(0), anchor_bytes(10**12, 10**18, 3_000_000)])
    (fit,) = [one for one in events if isinstance(one, ClockFit)]
    assert fit.host_ns_at_zero == 10**12 - 3_000_000_000


def test_lines_of_text_become_blocks_of_one_row():
    events, assembly, _ = assemble(EVENTFUL_TEXT)
    blocks = blocks_of(events)
    # The first line after opening may be half of one and is left out; line 20 is cut, line 21 never came.
    assert [int(block.counts[0, 0]) for block in blocks] == [*range(1, 20), *range(22, 30), *range(5)]
    assert [block.segment for block in blocks] == [0] * 27 + [1] * 5
    assert [block.lost_before for block in blocks] == [0] * 19 + [2] + [0] * 12
    assert assembly.counters.lost == 2
    assert assembly.counters.damaged == 2
    assert sum(block.damaged for block in blocks) == 2
    for block in blocks[:27]:
        assert block.board_s.tolist() == [(1_000_000 + int(block.counts[0, 0]) * TEXT_INTERVAL_US) / 1e6]


def test_a_text_boards_facts_are_inferred_and_its_rate_told_once_known():
    facts = [one for one in assemble(EVENTFUL_TEXT)[0] if isinstance(one, BoardFacts)]
    assert [(one.segment, one.rate_Hz) for one in facts[:2]] == [(0, 0.0), (0, 80.0)]
    assert all((one.protocol, one.converter, one.channels) == (0, "text", 3) for one in facts)
    assert facts[-1].segment == 1


def test_a_reconnection_forgets_no_damage_among_lines():
    lines = [format_line(1_000_000 + k * TEXT_INTERVAL_US, [k]) for k in range(30)]
    opened = note_bytes({"link": "opened"})
    _, assembly, _ = assemble([*lines[:20], format_line(3, [7]), lines[21], lines[21], *lines[22:], opened, *lines])
    assert assembly.segment == 1
    assert (assembly.counters.damaged, assembly.counters.repeated) == (1, 1)


def test_counters_are_told_with_the_anchors_and_only_when_they_moved():
    anchors = [anchor_bytes(10**15 + k, 10**18, 500_000 + k) for k in range(3)]
    events, assembly, _ = assemble([*frames(3), *anchors])
    reported = [one for one in events if isinstance(one, Counters)]
    assert reported[-1] == assembly.counters
    assert [one.samples for one in reported] == [12, 12, 12]  # the anchors themselves are frames, and are counted
