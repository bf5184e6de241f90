"""Each recording decodes to what was written down beside it, however its bytes arrive."""

from __future__ import annotations

import json
import runpy
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest
from bridge_streams import assemble, blocks_of, cut_at_random, plain_all
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_bridge.decoder import Decoder
from firmware_bridge.journal import mend, torn_bytes
from firmware_bridge.sources import JournalSource

RECORDINGS = Path(__file__).parents[1] / "recordings"
LOGS = sorted(RECORDINGS.glob("*.journal"))


def expectation(log: Path) -> dict:
    return json.loads(log.with_suffix(".expected.json").read_text())


each_recording = pytest.mark.parametrize("log", LOGS, ids=lambda one: one.stem)


def test_there_are_recordings():
    assert {log.stem for log in LOGS} >= {"invented_frames", "invented_lines"}


@each_recording
@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=30)
def test_a_recording_decodes_alike_however_its_bytes_arrive(log, seed):
    expected = expectation(log)
    decoder, messages = Decoder(), []
    for piece in cut_at_random(log.read_bytes(), seed):
        messages += decoder.push(piece)
    assert [message.summary() for message in messages] == expected["messages"]
    assert asdict(decoder.counters) == expected["counters"]
    assert decoder.dialect == expected["dialect"]


@each_recording
def test_a_recording_gives_the_rows_times_and_losses_that_were_put_in(log):
    expected = expectation(log)
    events, assembly, _ = assemble(log.read_bytes())
    blocks = blocks_of(events)
    segments = []
    for number in range(len(expected["segments"])):
        own = [block for block in blocks if block.segment == number]
        board_us = np.round(np.concatenate([block.board_s for block in own]) * 1e6).astype(int)
        segments.append(
            {
                "rows": sum(len(block) for block in own),
                "lost": sum(block.lost_before for block in own),
                "first_us": int(board_us[0]),
                "last_us": int(board_us[-1]),
            }
        )
    assert segments == expected["segments"]
    assert {block.segment for block in blocks} == set(range(len(segments)))
    counters = assembly.counters
    assert counters.frames == expected["counters"]["frames"]
    assert counters.unknown == expected["counters"]["unknown"]
    assert counters.repeated == expected["repeated"]
    assert counters.lost == sum(segment["lost"] for segment in segments)


@each_recording
def test_a_recordings_torn_end_is_found_and_mended(log, tmp_path):
    expected = expectation(log)
    assert torn_bytes(log) == expected["torn_bytes"] > 0
    copy = tmp_path / log.name
    copy.write_bytes(log.read_bytes())
    mending = mend(copy)
    assert mending.torn_bytes == expected["torn_bytes"]
    assert copy.read_bytes() == log.read_bytes()[: mending.whole_bytes]
    # The last event before the states: final counters, equal for both.
    assert plain_all(JournalSource(copy).events()) == plain_all(JournalSource(log).events())


@each_recording
def test_a_recording_says_what_it_is(log):
    note = log.with_suffix(".note.md").read_text()
    for said in ("Rig:", "Firmware:", "Date:", "Invented or measured:"):
        assert said in note
    assert log.stat().st_size < 50_000


def test_the_invented_recordings_can_be_made_again_byte_for_byte(tmp_path):
    make = runpy.run_path(str(RECORDINGS / "make_recordings.py"))["main"]
    make(tmp_path)
    made = sorted(path.name for path in tmp_path.iterdir())
    assert len(made) == 4
    for name in made:
        assert (tmp_path / name).read_bytes() == (RECORDINGS / name).read_bytes()
