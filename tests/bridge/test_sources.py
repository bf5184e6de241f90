"""Replay of journals: the same events as live, at any speed, ended from anywhere."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from bridge_streams import INTERVAL_256US, assemble, blocks_of, frames, plain_all, sample_frame

from firmware_bridge import sources
from firmware_bridge.errors import JournalNotFound, NotAJournal
from firmware_bridge.journal import anchor_bytes, note_bytes, read_chunks
from firmware_bridge.sources import Counters, HostClock, JournalSource, LinkState, Note, Source, SourceEvent
from firmware_bridge.text_lines import format_line

LIMIT_S = 120.0
RUN = [
    note_bytes({"link": "opened", "port": "invented"}),
    note_bytes({"rig": "invented"}),
    *frames(20),
    anchor_bytes(10**15, 10**18, 800_000),
    sample_frame(24, 92),
    anchor_bytes(10**15 + 10**9, 10**18 + 10**9, 1_800_000),
]
FRAME_S = 4 * INTERVAL_256US / 256e6


class StandingClock(HostClock):
    """A clock that moves only while somebody waits on it."""

    def __init__(self) -> None:
        super().__init__()
        self.now_ns = 10**12

    def monotonic_ns(self) -> int:
        return self.now_ns

    def wait(self, event: threading.Event, seconds: float) -> bool:
        if event.is_set():
            return True
        self.now_ns += round(max(0.0, seconds) * 1e9)
        return False


def written(tmp_path: Path, *parts: bytes, name: str = "a.journal") -> Path:
    path = tmp_path / name
    path.write_bytes(b"".join(parts))
    return path


def test_a_replay_tells_what_the_assembly_told_live(tmp_path):
    events, assembly, _ = assemble(RUN)
    replayed = list(JournalSource(written(tmp_path, *RUN)).events())
    assert plain_all(replayed) == [*plain_all(events), assembly.counters]
    assert Note({"rig": "invented"}) in replayed
    assert isinstance(replayed[0], LinkState)
    assert replayed[0].condition == "connected"
    assert isinstance(replayed[-1], LinkState)
    assert (replayed[-1].condition, replayed[-1].reason) == ("ended", "")


@pytest.mark.parametrize("size", [1, 7, 64, 4096])
def test_a_replay_does_not_depend_on_how_the_file_is_read(tmp_path, monkeypatch, size):
    path = written(tmp_path, *RUN)
    whole = plain_all(JournalSource(path).events())
    monkeypatch.setattr(sources, "read_chunks", lambda path: read_chunks(path, size))
    assert plain_all(JournalSource(path).events()) == whole


def test_a_second_iteration_begins_at_the_start(tmp_path):
    source = JournalSource(written(tmp_path, *RUN))
    assert plain_all(source.events()) == plain_all(source.events())


def test_a_journal_of_lines_is_replayed(tmp_path):
    lines = [format_line(1_000_000 + k * 12_500, [k, -k]) for k in range(40)]
    path = written(tmp_path, note_bytes({"link": "opened"}), *lines)
    blocks = blocks_of(JournalSource(path).events())
    assert [block.counts.tolist() for block in blocks] == [[[k, -k]] for k in range(1, 40)]


@pytest.mark.parametrize("cut", range(1, 40, 3))
def test_a_torn_tail_is_told_with_its_length(tmp_path, cut):
    torn = sample_frame(25, 96)[:cut]
    replayed = list(JournalSource(written(tmp_path, *RUN, torn)).events())
    whole = list(JournalSource(written(tmp_path, *RUN, name="whole.journal")).events())
    assert plain_all(replayed) == plain_all(whole)
    ended = replayed[-1]
    assert isinstance(ended, LinkState)
    assert ended.condition == "ended"
    assert f"last {cut} bytes" in ended.reason


@pytest.mark.parametrize("speed", [0.5, 1.0, 10.0, 250.0])
def test_blocks_are_held_back_until_their_board_time_has_come(tmp_path, speed):
    clock = StandingClock()
    start_ns = clock.now_ns
    replay = JournalSource(written(tmp_path, *RUN), speed, clock=clock).events()
    observed = [(clock.now_ns - start_ns) * 1e-9 for event in replay if blocks_of([event])]
    blocks = blocks_of(JournalSource(tmp_path / "a.journal").events())
    # A block comes when its last reading would have been ready; the count begins with the first reading.
    due = [(float(block.board_s[-1]) - float(blocks[0].board_s[0])) / speed for block in blocks]
    assert observed == pytest.approx(due, abs=1e-6)
    assert observed[-1] == pytest.approx((95 * INTERVAL_256US / 256e6) / speed, abs=1e-6)


def test_a_new_segment_is_paced_from_its_own_start(tmp_path):
    # The first run ends at 20 frames of board time, the second starts an hour ahead on its own clock.
    path = written(tmp_path, *frames(20), *frames(20, start_us=3_600_000_000, boot_count=2))
    clock = StandingClock()
    start_ns = clock.now_ns
    assert len(blocks_of(JournalSource(path, 1.0, clock=clock).events())) == 40
    assert (clock.now_ns - start_ns) * 1e-9 == pytest.approx(2 * 20 * FRAME_S - 2 * FRAME_S / 4, abs=1e-6)


def test_as_fast_as_possible_waits_for_nothing(tmp_path):
    clock = StandingClock()
    start_ns = clock.now_ns
    assert len(blocks_of(JournalSource(written(tmp_path, *RUN), clock=clock).events())) == 21
    assert clock.now_ns == start_ns


def test_a_replay_ends_soon_when_another_thread_closes_it(tmp_path):
    source = JournalSource(written(tmp_path, *RUN), 1e-6)
    begun, ended = threading.Event(), threading.Event()
    taken: list[SourceEvent] = []

    def read() -> None:
        for event in source.events():
            taken.append(event)
            begun.set()
        ended.set()

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    assert begun.wait(LIMIT_S)
    source.close()
    source.close()
    assert ended.wait(LIMIT_S)  # at this speed the first block alone would take ten hours
    reader.join(LIMIT_S)
    assert not blocks_of(taken)
    assert not any(isinstance(event, Counters) for event in taken)


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan")])
def test_a_speed_that_leads_nowhere_is_refused(tmp_path, speed):
    with pytest.raises(ValueError, match="above 0"):
        JournalSource(written(tmp_path, *RUN), speed)


def test_a_file_that_is_no_journal_is_refused_at_once(tmp_path):
    with pytest.raises(JournalNotFound):
        JournalSource(tmp_path / "gone.journal")
    with pytest.raises(NotAJournal):
        JournalSource(written(tmp_path, b"t_s,bar_left_N\n0.0125,300.0\n"))


def test_a_journal_source_is_a_source(tmp_path):
    source: Source = JournalSource(written(tmp_path, *RUN))
    assert len(list(source.events())) > len(RUN)
