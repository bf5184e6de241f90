"""The board in software, spoken to byte by byte through its pseudo-terminal as a real one."""

from __future__ import annotations

import os
import select
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise

import numpy as np
import pytest
from bridge_streams import Ramp, ramp

from firmware_bridge.counts import NO_READING
from firmware_bridge.decoder import DAMAGED, TEXT_LINE, Decoder, Received
from firmware_bridge.errors import VirtualBoardMisused
from firmware_bridge.framing import seal
from firmware_bridge.messages import AskEcho, AskHello, Echo, Fault, Hello, Message, Samples, SetRate, Start, Stop
from firmware_bridge.virtual_board import VirtualBoard

LIMIT_S = 120.0
SPEED = 50.0


class Host:
    """The other end of the wire: sends messages and takes what comes, and knows nothing of the link."""

    def __init__(self, board: VirtualBoard) -> None:
        self._board = board
        self._fd = os.open(board.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self._decoder = Decoder()
        self._sequence = 0
        self.received: list[Received] = []

    def send(self, *messages: Message) -> None:
        for message in messages:
            self._sequence += 1
            os.write(self._fd, seal(message.KIND, self._sequence, message.to_body()))

    def take(self, enough: Callable[[Received], bool]) -> list[Received]:
        """Read until something that came is enough; fails after the limit."""
        deadline = time.monotonic() + LIMIT_S
        new: list[Received] = []
        while not any(enough(one) for one in new):
            left_s = deadline - time.monotonic()
            assert left_s > 0, f"the board sent {len(new)} things and not the one waited for"
            if select.select([self._fd], [], [], left_s)[0]:
                came = self._decoder.push(os.read(self._fd, 65536))
                new += came
                self.received += came
        return new

    def close(self) -> None:
        os.close(self._fd)


@contextmanager
def spoken_to(board: VirtualBoard) -> Iterator[Host]:
    with board:
        host = Host(board)
        try:
            yield host
        finally:
            host.close()


def board_of(conversions: Ramp | Callable[[int], object], **more: object) -> VirtualBoard:
    settings = {"channels": 3, "speed": SPEED, "samples_per_frame": 8, "buffer_bytes": 1 << 22, **more}
    return VirtualBoard(conversions, **settings)  # type: ignore[arg-type]


def kind(wanted: type) -> Callable[[Received], bool]:
    return lambda one: isinstance(one.value, wanted)


def row(wanted: int) -> Callable[[Received], bool]:
    return lambda one: isinstance(one.value, Samples) and int(one.value.counts[-1, 0]) >= wanted


def samples_of(received: list[Received]) -> list[Samples]:
    return [one.value for one in received if isinstance(one.value, Samples)]


def test_it_greets_at_boot_and_when_asked():
    board = board_of(
        Ramp(), board_id=b"ABCDEFGH", rate_Hz=320.0, skew_us=120, reading_delay_us=900, converter="invented"
    )
    expected = Hello(1, (0, 1, 0), b"ABCDEFGH", 1, 3, 32_000, 120, 900, "invented")
    with spoken_to(board) as host:
        host.take(kind(Hello))
        host.send(AskHello())
        host.take(kind(Hello))
        board.reboot()
        host.take(kind(Hello))
    greetings = [(one.sequence, one.value) for one in host.received]
    again = Hello(1, (0, 1, 0), b"ABCDEFGH", 2, 3, 32_000, 120, 900, "invented")
    assert greetings == [(0, expected), (1, expected), (0, again)]


def test_the_delay_of_a_reading_is_half_an_interval_unless_given():
    with spoken_to(board_of(Ramp(), rate_Hz=100.0)) as host:
        (greeting,) = host.take(kind(Hello))
    assert isinstance(greeting.value, Hello)
    assert greeting.value.reading_delay_us == 5000


def test_readings_come_from_the_start_until_the_stop_with_true_stamps():
    ramp_of_board = Ramp()
    with spoken_to(board_of(ramp_of_board, start_board_us=2**32 - 500_000, rate_Hz=80.0)) as host:
        host.take(kind(Hello))
        assert ramp_of_board.given == 0
        host.send(Start())
        host.take(row(159))
        host.send(Start())  # a board that runs already is not disturbed
        host.take(row(319))
        host.send(Stop(), AskEcho(b"the end!"))
        host.take(kind(Echo))
    frames = samples_of(host.received)
    assert [one.sequence for one in host.received] == list(range(len(host.received)))
    assert all(one.interval_256us == 12_500 * 256 and one.missed == 0 for one in frames)
    row_due = 0
    for one in frames:
        assert one.counts.tolist() == ramp(row_due, 8).tolist()
        late_us = (one.first_us - frames[0].first_us - row_due * 12_500) % 2**32
        assert late_us in (0, 1, 2**32 - 1)  # rounded to whole microseconds
        row_due += 8
    # The echo that was asked for behind the stop is the last thing that came.
    assert isinstance(host.received[-1].value, Echo)


def test_an_echo_brings_the_token_back_with_the_boards_time():
    with spoken_to(board_of(Ramp(), start_board_us=1000)) as host:
        host.take(kind(Hello))
        host.send(AskEcho(b"\x00\x01\x02\x03\xff\xfe\x00\x00"))
        first = host.take(kind(Echo))[-1].value
        host.send(AskEcho(b"12345678"))
        second = host.take(kind(Echo))[-1].value
    assert isinstance(first, Echo)
    assert isinstance(second, Echo)
    assert (first.token, second.token) == (b"\x00\x01\x02\x03\xff\xfe\x00\x00", b"12345678")
    assert 1000 <= first.board_us < second.board_us < LIMIT_S * SPEED * 1e6


def test_a_fast_crystal_shows_in_stamps_and_interval():
    # 1 % fast: 12,625 of its microseconds between readings that are 12,500 true ones apart.
    with spoken_to(board_of(Ramp(), clock_error_ppm=10_000.0)) as host:
        host.send(Start())
        host.take(row(799))
    frames = samples_of(host.received)
    assert all(one.interval_256us == 12_625 * 256 for one in frames)
    assert frames[-1].first_us - frames[0].first_us == pytest.approx((len(frames) - 1) * 8 * 12_625, abs=1)


def test_another_rate_is_taken_up_and_greeted():
    board = board_of(Ramp(), rate_Hz=80.0)
    with spoken_to(board) as host:
        host.send(Start())
        host.take(row(79))
        host.send(SetRate(20_000))
        host.take(kind(Hello))
        host.take(row(10 * 80))
    assert board.rate_Hz == 200.0
    greeting = [one.value for one in host.received if isinstance(one.value, Hello)][-1]
    assert greeting.rate_cHz == 20_000
    assert samples_of(host.received)[-1].interval_256us == 5_000 * 256


def test_a_frame_never_spans_a_missed_conversion_and_the_counter_tells_how_many():
    board = board_of(Ramp())
    with spoken_to(board) as host:
        host.send(Start())
        host.take(row(15))
        board.miss(11)
        host.take(row(799))
    assert board.missed_total == 11
    due, missed = 0, 0
    for one in samples_of(host.received):
        start = int(one.counts[0, 0])
        missed += start - due
        assert one.missed == missed
        assert one.counts.tolist() == ramp(start, len(one.counts)).tolist()
        due = start + len(one.counts)
    assert missed == 11


def test_the_caller_says_which_conversions_were_missed():
    given = Ramp()

    def with_gaps(n: int) -> tuple[np.ndarray, np.ndarray]:
        rows = given(n)
        return rows, rows[:, 0] % 10 == 3

    board = board_of(with_gaps)
    with spoken_to(board) as host:
        host.send(Start())
        host.take(row(200))
    rows = [int(k) for one in samples_of(host.received) for k in one.counts[:, 0]]
    assert rows == [k for k in range(rows[-1] + 1) if k % 10 != 3]
    last = samples_of(host.received)[-1]
    assert last.missed == sum(k % 10 == 3 for k in range(int(last.counts[0, 0])))


def test_failed_and_saturated_readings_set_the_status_bits():
    # Wire protocol 1: per channel bit 2c saturated, bit 2c + 1 not ready; a 24-bit converter's rails are +-2**23.
    rows = np.zeros((8, 3), dtype=np.int32)
    rows[1, 0], rows[2, 1], rows[3, 1], rows[4, 2] = 2**23 - 1, -(2**23), NO_READING, NO_READING
    waiting = [rows]
    with spoken_to(board_of(lambda n: waiting.pop() if waiting else rows[:0])) as host:
        host.send(Start())
        host.take(kind(Samples))
    (frame,) = samples_of(host.received)
    assert frame.counts.tolist() == rows.tolist()
    assert frame.status == 0b10_11_01


def test_disturbances_happen_as_ordered():
    given = Ramp()
    board = board_of(given)
    with spoken_to(board) as host:
        host.send(Start())
        host.take(row(15))
        for disturb in (board.double_next_frame, board.drop_next_frame, board.corrupt_next_frame):
            disturb()
            host.take(row(given.given + 31))  # by then the next frame has come, or not
        board.inject(b"noise\x00")
        board.report_fault(2, 1, "loose wire")
        host.take(kind(Fault))
        given.end_after(80)
        host.take(row(given.total - 1))
        assert board.finished.wait(LIMIT_S)
    assert [one.kind for one in host.received].count(DAMAGED) == 2
    stamps = [one.first_us for one in samples_of(host.received)]
    assert len(stamps) - len(set(stamps)) == 1
    assert board.wire_lost_samples == 16
    assert board.sent_samples == given.total - 16 == 8 * len(set(stamps))
    assert [one.value for one in host.received if isinstance(one.value, Fault)] == [Fault(2, 1, "loose wire")]


def test_an_unread_buffer_overflows_into_missed_conversions_and_stops_nothing():
    given = Ramp(40_000)
    board = board_of(given, speed=500.0, samples_per_frame=40, buffer_bytes=2048)
    with spoken_to(board) as host:
        host.send(Start())
        # Nobody reads: the board goes on to the end of its data, though nothing more fits.
        assert given.reached.wait(LIMIT_S)
        assert given.given == 40_000
        host.take(lambda one: sum(len(got.counts) for got in samples_of(host.received)) >= board.sent_samples)
        assert board.finished.wait(LIMIT_S)
    assert board.missed_total > 0
    assert board.sent_samples + board.missed_total == 40_000
    assert all(one.kind != DAMAGED for one in host.received)
    for one in samples_of(host.received):
        assert one.counts.tolist() == ramp(int(one.counts[0, 0]), 40).tolist()


def test_a_board_that_cannot_keep_up_still_listens():
    # A million conversions a second are asked of it: it falls further and further behind.
    board = board_of(Ramp(), rate_Hz=20_000.0, speed=50.0, buffer_bytes=4096)
    with spoken_to(board) as host:
        host.send(Start())
        host.take(row(79))
        host.send(AskEcho(b"12345678"))
        host.take(kind(Echo))
        board.reboot()
        host.take(kind(Hello))
    assert board.boot_count == 2


def test_a_text_board_prints_by_itself_and_hears_nothing():
    with spoken_to(board_of(Ramp(100), dialect="text")) as host:
        host.send(AskHello(), Stop(), SetRate(100))
        host.take(lambda one: one.kind == TEXT_LINE and int(one.value.counts[0, 0]) == 99)
    lines = samples_of(host.received)
    assert all(one.kind == TEXT_LINE for one in host.received)
    assert [one.counts.tolist()[0] for one in lines] == ramp(0, 100).tolist()
    assert {b.first_us - a.first_us for a, b in pairwise(lines)} <= {12_499, 12_500, 12_501}


def test_its_link_leads_to_where_it_is_plugged_in(tmp_path):
    link = tmp_path / "board"
    board = board_of(Ramp(), link=link)
    assert not link.exists()
    with board:
        first = os.path.realpath(link)
        assert board.port == str(link)
        holding = os.open(first, os.O_RDWR | os.O_NOCTTY)  # its number is not given away while somebody has it open
        board.unplug()
        assert not link.exists()
        board.unplug()
        board.replug()
        assert os.path.realpath(link) != first
        assert board.boot_count == 2
        board.replug(reboot=False)
        assert board.boot_count == 2
        os.close(holding)
    assert not link.is_symlink()


def test_a_fault_of_the_callers_function_silences_the_board_and_is_kept():
    def fail(n: int) -> np.ndarray:
        raise RuntimeError("no more load")

    board = board_of(fail)
    with spoken_to(board) as host:
        host.send(Start())
        assert board.finished.wait(LIMIT_S)
        assert isinstance(board.error, RuntimeError)
        with pytest.raises(VirtualBoardMisused):
            board.reboot()


@pytest.mark.parametrize(
    "wrong",
    [{"channels": 0}, {"channels": 17}, {"rate_Hz": 0.0}, {"samples_per_frame": 256}, {"board_id": b"short"}],
)
def test_what_no_board_can_be_is_refused(wrong):
    with pytest.raises(VirtualBoardMisused) as reported:
        board_of(Ramp(), **wrong)
    assert "1 to 16 channels" in reported.value.do


def test_a_board_that_is_switched_off_takes_no_orders():
    board = board_of(Ramp())
    for order in (board.reboot, board.unplug, board.replug, board.drop_next_frame, lambda: board.miss(1)):
        with pytest.raises(VirtualBoardMisused, match="switched off"):
            order()
    before = set(threading.enumerate())
    board.stop()
    board.start()
    board.start()
    assert len(set(threading.enumerate()) - before) == 1
    board.stop()
    board.stop()
    assert set(threading.enumerate()) <= before
