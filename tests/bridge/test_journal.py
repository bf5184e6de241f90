"""The journal: frames as received, torn at any byte, full disks, killed writers."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from bridge_streams import frames, hello_frame, sample_frame
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge import journal
from firmware_bridge.decoder import DAMAGED, Decoder
from firmware_bridge.errors import JournalExists, JournalNotFound, JournalNotWritten, NotAJournal, NoteTooLong
from firmware_bridge.journal import (
    JournalWriter,
    anchor_bytes,
    check_journal,
    is_journal,
    mend,
    note_bytes,
    read_chunks,
    torn_bytes,
)
from firmware_bridge.messages import Anchor, NoteFrame
from firmware_bridge.text_lines import format_line

FRAMES = [
    note_bytes({"rig": "invented"}),
    *frames(3),
    anchor_bytes(10**15, 10**18, 5),
    sample_frame(4, 12),
    note_bytes({"zero": [1, 2, 3]}),
    sample_frame(5, 16),
]
LINES = [
    note_bytes({"rig": "invented"}),
    *(format_line(1_000_000 + k * 12_500, [k, -k]) for k in range(6)),
    anchor_bytes(10**15, 10**18, 5),
    format_line(1_075_000, [6, -6]),
]
LIMIT_S = 120.0


def whole_frames(path: Path) -> list[bytes]:
    decoder = Decoder()
    return [one.raw for chunk in read_chunks(path) for one in decoder.push(chunk) if one.kind != DAMAGED]


def damaged(path: Path) -> int:
    decoder = Decoder()
    for chunk in read_chunks(path):
        decoder.push(chunk)
    return decoder.counters.damaged


def values(raws: list[bytes]) -> list[bytes]:
    """Frames without the zero byte that opens the host's own; it belongs to no frame."""
    return [raw.lstrip(b"\0") for raw in raws]


def test_frames_are_kept_as_they_came(tmp_path):
    path = tmp_path / "a.journal"
    with JournalWriter(path) as writer:
        for frame in FRAMES:
            writer.append(frame)
    assert path.read_bytes() == b"".join(FRAMES)
    assert writer.bytes_written == path.stat().st_size
    assert values(whole_frames(path)) == values(FRAMES)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_an_existing_file_is_never_overwritten(tmp_path):
    path = tmp_path / "a.journal"
    path.write_bytes(b"somebody's training")
    with pytest.raises(JournalExists) as lines:
        JournalWriter(path)
    assert path.read_bytes() == b"somebody's training"
    assert "never overwritten" in lines.value.means


def test_writing_goes_on_behind_what_is_there(tmp_path):
    path = tmp_path / "a.journal"
    for part in (FRAMES[:3], FRAMES[3:]):
        with JournalWriter(path, append=True) as writer:
            for frame in part:
                writer.append(frame)
    assert path.read_bytes() == b"".join(FRAMES)


def test_a_flush_has_everything_on_the_file_before_it_returns(tmp_path):
    path = tmp_path / "a.journal"
    with JournalWriter(path, sync_every_s=3600.0) as writer:
        for frame in FRAMES:
            writer.append(frame)
            writer.flush()
            assert path.read_bytes().endswith(frame)


@pytest.mark.parametrize("parts", [FRAMES, LINES], ids=["frames", "text"])
def test_torn_at_any_byte_all_whole_frames_are_read_and_writing_goes_on(tmp_path, monkeypatch, parts):
    # Hundreds of files: waiting for the disk each time would tell nothing here.
    monkeypatch.setattr(journal.os, "fsync", lambda _: None)
    whole = b"".join(parts)
    ends = [sum(len(one) for one in parts[: number + 1]) for number in range(len(parts))]
    for cut in range(ends[-5], len(whole) + 1):
        path = tmp_path / f"{cut}.journal"
        path.write_bytes(whole[:cut])
        complete = [one for one, end in zip(parts, ends, strict=True) if end <= cut]
        assert values(whole_frames(path)) == values(complete)
        stored = sum(len(one) for one in complete)
        # A zero byte that opens the next frame of the host may stay; it is no part of any frame.
        opened = int(whole[stored:cut].startswith(b"\0"))
        mending = mend(path)
        assert (mending.whole_bytes, mending.torn_bytes) == (stored + opened, cut - stored - opened)
        if mending.torn_bytes:
            assert mending.tail is not None
            assert mending.tail.read_bytes() == whole[stored + opened : cut]
            assert stat.S_IMODE(mending.tail.stat().st_mode) == 0o600
        else:
            assert mending.tail is None
        with JournalWriter(path, append=True) as writer:
            writer.append(parts[-1])
        assert values(whole_frames(path)) == values([*complete, parts[-1]])
        assert damaged(path) == 0
        assert torn_bytes(path) == 0


def test_damage_at_the_end_is_cut_and_damage_before_a_whole_frame_stays(tmp_path):
    path = tmp_path / "a.journal"
    inside = b"".join(FRAMES) + b"\x55\x66\0" + sample_frame(6, 20)
    path.write_bytes(inside + b"\x77\x88\0\x99\0\x11")
    assert mend(path).torn_bytes == 6
    assert path.read_bytes() == inside


@pytest.mark.parametrize(
    "tail", [b"\x77" + bytes(500), bytes(300) + b"\x77\x88", b"\x77\x88" + bytes(30) + b"\x99\0\0"]
)
def test_a_tail_with_zeros_in_it_is_cut_whole(tmp_path, tail):
    """File systems fill with zeros what was not written before a cut of the power."""
    path = tmp_path / "a.journal"
    whole = b"".join(FRAMES)
    path.write_bytes(whole + tail)
    mend(path)
    assert torn_bytes(path) == 0
    assert path.read_bytes().rstrip(b"\0") == whole.rstrip(b"\0")


def test_a_journal_without_a_torn_tail_is_not_touched(tmp_path):
    path = tmp_path / "a.journal"
    path.write_bytes(b"".join(FRAMES))
    path.chmod(0o400)
    before = path.stat()
    assert mend(path) == journal.Mending(before.st_size, 0, None)
    assert path.stat() == before
    assert list(tmp_path.iterdir()) == [path]


def test_each_torn_tail_is_kept_even_where_two_were_torn_at_the_same_place(tmp_path):
    path = tmp_path / "a.journal"
    tails = []
    for torn in (b"\x11first", b"\x11second"):
        path.write_bytes(b"".join(FRAMES) + torn)
        tails.append(mend(path).tail)
    assert [tail.read_bytes() for tail in tails if tail is not None] == [b"\x11first", b"\x11second"]


def test_a_file_of_garbage_alone_is_all_tail(tmp_path):
    path = tmp_path / "a.journal"
    path.write_bytes(b"\x11\x22\0\x33")
    assert torn_bytes(path) == 4


@given(st.dictionaries(st.text(max_size=8), st.integers() | st.text(max_size=20) | st.booleans(), max_size=5))
def test_notes_come_back(content):
    (received,) = Decoder().push(note_bytes(content))
    assert isinstance(received.value, NoteFrame)
    assert received.value.content == content


def test_a_note_of_65_535_bytes_is_the_longest(tmp_path):
    path = tmp_path / "a.journal"
    longest = {"a": "x" * (65_535 - len('{"a":""}'))}
    too_long = {"a": "x" * (65_536 - len('{"a":""}'))}
    with JournalWriter(path) as writer:
        writer.note(longest)
        with pytest.raises(NoteTooLong) as lines:
            writer.note(too_long)
    assert "65,535" in lines.value.do
    assert path.read_bytes() == note_bytes(longest)
    decoder = Decoder()
    (received,) = [one for chunk in read_chunks(path) for one in decoder.push(chunk)]
    assert received.value == NoteFrame(longest)


@pytest.mark.parametrize("content", [{"a": {1, 2}}, {"a": b"bytes"}, {"a": float("nan")}, {"a": float("inf")}])
def test_a_note_that_is_no_json_is_refused(content):
    # RFC 8259, section 6: neither NaN nor infinity is a JSON number.
    with pytest.raises(NoteTooLong):
        note_bytes(content)


def test_anchors_wrap_the_boards_time():
    (received,) = Decoder().push(anchor_bytes(7, 8, 2**32 + 9, sequence=3))
    assert received.value == Anchor(7, 8, 9)
    assert received.sequence == 3


def test_a_full_disk_is_told_and_not_forgotten():
    # /dev/full answers every write with "no space left on device" (full(4), from memory).
    writer = JournalWriter("/dev/full", append=True)
    writer.append(FRAMES[0])
    with pytest.raises(JournalNotWritten, match="No space left") as lines:
        writer.flush()
    assert "room" in lines.value.do
    with pytest.raises(JournalNotWritten):
        writer.append(FRAMES[1])
    with pytest.raises(JournalNotWritten):
        writer.close()
    writer.close()


def test_a_missing_folder_is_told(tmp_path):
    with pytest.raises(JournalNotWritten, match="No such file"):
        JournalWriter(tmp_path / "gone" / "a.journal")


def test_a_closed_journal_takes_nothing(tmp_path):
    writer = JournalWriter(tmp_path / "a.journal")
    writer.append(FRAMES[0])
    writer.close()
    writer.close()
    writer.flush()
    with pytest.raises(JournalNotWritten, match="closed"):
        writer.append(FRAMES[1])
    assert (tmp_path / "a.journal").read_bytes() == FRAMES[0]


def test_a_disk_that_hangs_does_not_hold_up_who_appends(tmp_path, monkeypatch):
    released, held = threading.Event(), threading.Event()
    write = os.write

    def hang(fd: int, data: bytes) -> int:
        held.set()
        released.wait(LIMIT_S)
        return write(fd, data)

    monkeypatch.setattr(journal.os, "write", hang)
    path = tmp_path / "a.journal"
    writer = JournalWriter(path)
    writer.append(FRAMES[0])
    assert held.wait(LIMIT_S)
    for frame in FRAMES[1:]:
        writer.append(frame)  # returns although nothing can be written
    assert path.read_bytes() == b""
    released.set()
    writer.close()
    assert path.read_bytes() == b"".join(FRAMES)


def test_a_disk_that_takes_a_few_bytes_at_a_time_gets_them_all(tmp_path, monkeypatch):
    write = os.write
    monkeypatch.setattr(journal.os, "write", lambda fd, data: write(fd, bytes(data[:7])))
    path = tmp_path / "a.journal"
    with JournalWriter(path) as writer:
        for frame in FRAMES:
            writer.append(frame)
    assert path.read_bytes() == b"".join(FRAMES)


def test_frames_are_forced_to_the_disk_after_a_while_without_being_asked(tmp_path, monkeypatch):
    synced = threading.Event()
    sizes = []
    fsync = os.fsync

    def record(fd: int) -> None:
        fsync(fd)
        if stat.S_ISREG(os.fstat(fd).st_mode):
            sizes.append(os.fstat(fd).st_size)
            synced.set()

    monkeypatch.setattr(journal.os, "fsync", record)
    with JournalWriter(tmp_path / "a.journal", sync_every_s=0.01) as writer:
        writer.append(FRAMES[0])
        assert synced.wait(LIMIT_S)
    assert sizes[0] == len(FRAMES[0])


def test_the_writer_sleeps_until_the_next_sync_is_due(tmp_path):
    timeouts: list[float] = []
    slept = threading.Event()
    with JournalWriter(tmp_path / "a.journal", sync_every_s=60.0) as writer:
        wait_for = writer._condition.wait_for

        def record(predicate, timeout=None):
            if timeout is not None:
                timeouts.append(timeout)
                slept.set()
            return wait_for(predicate, timeout)

        writer._condition.wait_for = record
        writer.append(FRAMES[0])
        assert slept.wait(LIMIT_S)
    # Something is written and not yet synced: neither at once nor after the sync is due.
    assert 0.0 < timeouts[0] <= 60.0


def test_a_killed_writer_has_lost_nothing_that_it_wrote(tmp_path):
    path = tmp_path / "a.journal"
    code = (
        "import sys, threading\n"
        "from firmware_bridge.journal import JournalWriter\n"
        "writer = JournalWriter(sys.argv[1], sync_every_s=3600.0)\n"
        "parts = [b'%d\\0' % number for number in range(500)]\n"
        "for part in parts: writer.append(part)\n"
        "while writer.bytes_written < len(b''.join(parts)): threading.Event().wait(0.001)\n"
        "print('written', flush=True)\n"
        "threading.Event().wait()\n"
    )
    child = subprocess.Popen(
        [sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, cwd=Path(__file__).parents[2]
    )
    watchdog = threading.Timer(LIMIT_S, child.kill)
    watchdog.start()
    assert child.stdout is not None
    lines = child.stdout.readline()
    watchdog.cancel()
    child.send_signal(signal.SIGKILL)
    child.communicate(timeout=LIMIT_S)
    assert lines == b"written\n"
    assert path.read_bytes() == b"".join(b"%d\0" % number for number in range(500))


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"".join(FRAMES), True),
        (b"".join(FRAMES)[11:], True),
        (b"".join(LINES), True),
        (b"boot: ready\n1000,5,6\n2000,5,6\n", True),
        (b"", False),
        (b"\0\0\0\n\n", False),
        (bytes(range(256)) * 40, False),
        (b"t_s,bar_left_N\n0.0125,300.25\n0.0250,300.5\n", False),
        (b"t_s,bar_left_N\n0,300\n1,300\n", False),
        (b"\xef\xbb\xbft_s,bar_left_N\r\n0,300\r\n", False),
        (hello_frame()[:-1], False),
    ],
)
def test_a_journal_is_told_from_other_files(tmp_path, content, expected):
    path = tmp_path / "file"
    path.write_bytes(content)
    assert is_journal(path) is expected
    if expected:
        check_journal(path)
    else:
        with pytest.raises(NotAJournal):
            check_journal(path)


@pytest.mark.parametrize("call", [is_journal, check_journal, torn_bytes, mend, lambda path: list(read_chunks(path))])
def test_a_missing_journal_is_told(tmp_path, call):
    with pytest.raises(JournalNotFound) as lines:
        call(tmp_path / "gone.journal")
    assert "gone.journal" in lines.value.what
