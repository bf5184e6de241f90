"""The link on real pseudo-terminals: whatever happens on the wire, sent equals received plus known lost.

The board's and the host's clocks run faster than real time; nothing here waits for time to pass, only for events.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable

import numpy as np
import pytest
from bridge_streams import Ramp, blocks_of, check_ramp, collect, plain_all, rows_in

from firmware_bridge.decoder import STUB
from firmware_bridge.errors import JournalNotWritten, PortInUse, PortNotFound
from firmware_bridge.events import BoardFacts, BoardFault, ClockFit, Counters, LinkState, SourceEvent
from firmware_bridge.journal import JournalWriter, anchor_bytes, note_bytes
from firmware_bridge.link import LinkSource
from firmware_bridge.sources import CountBlock, HostClock, JournalSource, Note
from firmware_bridge.virtual_board import VirtualBoard

SPEED = 50.0
LIMIT_S = 120.0
Enough = Callable[[list[SourceEvent]], bool]


def board_of(ramp: Ramp, **more: object) -> VirtualBoard:
    # A buffer so large that a busy machine cannot make it overflow: what is lost is lost on purpose.
    settings = {"channels": 3, "speed": SPEED, "samples_per_frame": 8, "buffer_bytes": 1 << 22, **more}
    return VirtualBoard(ramp, **settings)  # type: ignore[arg-type]


def link_to(board: VirtualBoard, **more: object) -> LinkSource:
    # Ten real seconds: only the tests of silence want to hear of it sooner.
    settings: dict[str, object] = {"clock": HostClock(SPEED), "silence_s": 10 * SPEED, **more}
    return LinkSource(board.port, **settings)  # type: ignore[arg-type]


def lost_in(events: Iterable[SourceEvent]) -> int:
    return sum(block.lost_before for block in blocks_of(events))


def conditions(events: Iterable[SourceEvent]) -> list[str]:
    """Return the conditions in order; the same one told again, with more of a reason, counts once."""
    messages = [event.condition for event in events if isinstance(event, LinkState)]
    return [one for one, before in zip(messages, ["", *messages], strict=False) if one != before]


# Each of these looks at the newest event alone: the reading thread needs the time more than the test does.


def messages(condition: str) -> Enough:
    return lambda events: isinstance(events[-1], LinkState) and events[-1].condition == condition


def segment(number: int) -> Enough:
    return lambda events: isinstance(events[-1], CountBlock) and events[-1].segment == number


def row(wanted: Callable[[], int]) -> Enough:
    """Until the ramp's row ``wanted()`` has arrived."""
    return lambda events: isinstance(events[-1], CountBlock) and int(events[-1].counts[-1, 0]) >= wanted()


def rows(wanted: int) -> Enough:
    arrived = 0

    def enough(events: list[SourceEvent]) -> bool:
        nonlocal arrived
        arrived += rows_in(events[-1:])
        return arrived >= wanted

    return enough


def times_by_row(events: Iterable[SourceEvent]) -> dict[int, float]:
    blocks = blocks_of(events)
    return {int(row): float(t) for block in blocks for row, t in zip(block.counts[:, 0], block.board_s, strict=True)}


def rest(source: LinkSource) -> list[SourceEvent]:
    """Close the source and return what it still had to tell."""
    source.close()
    return collect(source, lambda _: False, limit_s=LIMIT_S)


def take(source: LinkSource, enough: Enough) -> list[SourceEvent]:
    return collect(source, enough, limit_s=LIMIT_S)


def test_the_board_is_greeted_and_its_readings_arrive():
    with board_of(Ramp()) as board, link_to(board) as source:
        source.open_now()
        events = take(source, rows(400))
        events += rest(source)
    assert conditions(events) == ["connecting", "connected", "ended"]
    facts = [event for event in events if isinstance(event, BoardFacts)]
    assert facts == [BoardFacts(0, 1, (0, 1, 0), b"virtual0", 1, 3, 80.0, 0, 6250, "virtual")]
    first_block = next(k for k, event in enumerate(events) if not isinstance(event, (LinkState, Counters, ClockFit)))
    assert events[first_block] == facts[0]  # the facts come before the first reading
    received = check_ramp(events, first=0)
    assert received >= 400
    final = [event for event in events if isinstance(event, Counters)][-1]
    assert (final.samples, final.lost, final.damaged, final.unknown, final.repeated) == (received, 0, 0, 0, 0)
    assert source.counters == final
    assert source.state == events[-1]


def test_an_undisturbed_stream_adds_up_across_the_wrap_of_the_boards_time():
    # A minute before the wrap at 2**32 us; the board's crystal is 40 ppm fast.
    ramp, wrap_s = Ramp(), 2**32 * 1e-6
    with board_of(ramp, start_board_us=2**32 - 60_000_000, clock_error_ppm=40.0) as board:
        with link_to(board) as source:
            events = take(source, lambda new: isinstance(new[-1], CountBlock) and new[-1].board_s[0] > wrap_s)
            ramp.end_after(400)
            events += take(source, row(lambda: ramp.total - 1))
        assert rows_in(events) == board.sent_samples == ramp.total
        assert lost_in(events) == board.missed_total == 0
    assert check_ramp(events, first=0) == ramp.total
    blocks = blocks_of(events)
    assert blocks[0].board_s[0] < wrap_s < blocks[-1].board_s[-1]
    start_s, start = blocks[0].board_s[0], int(blocks[0].counts[0, 0])
    for block in blocks:
        # Stamps are whole microseconds and the interval is a whole number of 1/256 us.
        due_s = start_s + (block.counts[:, 0] - start) / 80 * (1 + 40e-6)
        assert np.abs(block.board_s - due_s).max() < 3e-6
    fits = [event for event in events if isinstance(event, ClockFit)]
    # Five standard uncertainties: once in 1.7 million, were the errors normal.
    assert fits
    assert all(abs(fit.rate - 1 / (1 + 40e-6)) <= 5 * fit.u_rate for fit in fits)


def test_disturbances_on_the_wire_are_counted_exactly():
    ramp = Ramp()
    with board_of(ramp) as board, link_to(board) as source:
        events = take(source, rows(40))
        for number in range(5):
            board.double_next_frame()
            board.corrupt_next_frame()
            events += take(source, rows(40))
            board.drop_next_frame()
            board.miss(7)
            board.inject(b"\x55garbage\x00" * (number + 1))
            events += take(source, rows(40))
        ramp.end_after(400)
        events += take(source, row(lambda: ramp.total - 1))
        events += rest(source)
        assert board.wire_lost_samples > 0
        assert board.missed_total == 35
        assert rows_in(events) == board.sent_samples
        assert lost_in(events) == board.missed_total + board.wire_lost_samples
        assert rows_in(events) + lost_in(events) == ramp.total
    assert check_ramp(events, first=0) == rows_in(events)
    final = source.counters
    # 15 pieces of garbage, 5 corrupted frames, and those of them that were doubled as well count twice.
    assert 20 <= final.damaged <= 25
    assert {block.segment for block in blocks_of(events)} == {0}
    assert sum(block.damaged for block in blocks_of(events)) == final.damaged


def test_a_doubled_frame_is_dropped_and_counted():
    with board_of(Ramp()) as board, link_to(board) as source:
        events = take(source, rows(40))
        board.double_next_frame()
        events += take(source, lambda _: source.counters.repeated == 1)
        events += rest(source)
    assert check_ramp(events, first=0) == rows_in(events)
    assert lost_in(events) == 0
    assert source.counters.repeated == 1


def test_a_cable_pulled_and_plugged_in_again(tmp_path):
    ramp = Ramp()
    with board_of(ramp, link=tmp_path / "board") as board, link_to(board) as source:
        events = take(source, rows(200))
        board.unplug()
        events += take(source, messages("absent"))
        board.replug()
        events += take(source, rows(200))
        events += rest(source)
    assert conditions(events) == [
        *("connecting", "connected", "absent"),
        *("connecting", "connected", "ended"),
    ]
    assert check_ramp(events, first=0) == rows_in(events)
    assert sorted({block.segment for block in blocks_of(events)}) == [0, 1]
    assert [(one.segment, one.boot_count) for one in events if isinstance(one, BoardFacts)] == [(0, 1), (1, 2)]
    assert lost_in(events) == 0
    gone = next(one for one in events if isinstance(one, LinkState) and one.condition == "absent")
    assert "gone" in gone.reason
    assert "plug" in gone.do


def test_a_connection_lost_without_a_reboot_is_a_segment_of_its_own(tmp_path):
    with board_of(Ramp(), link=tmp_path / "board") as board, link_to(board) as source:
        events = take(source, rows(100))
        for number in (1, 2, 3):
            board.unplug()
            events += take(source, messages("absent"))
            board.replug(reboot=False)
            events += take(source, rows(100))
            assert blocks_of(events)[-1].segment == number
        events += rest(source)
    assert check_ramp(events, first=0) == rows_in(events)
    assert [one.boot_count for one in events if isinstance(one, BoardFacts)] == [1, 1, 1, 1]


def test_a_printing_board_plugged_in_where_another_one_was_is_understood(tmp_path):
    first, second = board_of(Ramp(), link=tmp_path / "board"), board_of(Ramp(), link=tmp_path / "board", dialect="text")
    pieces: list[bytes] = []
    with link_to(first, tap=pieces.append) as source:
        with first:
            events = take(source, rows(100))
        events += take(source, messages("absent"))
        with second:
            events += take(source, segment(1))
            events += take(source, rows(100))
            events += rest(source)
    assert [(one.segment, one.protocol) for one in events if isinstance(one, BoardFacts)][:2] == [(0, 1), (1, 0)]
    assert check_ramp(events, first=0) == rows_in(events)
    # It is understood at once, and not only when a frame that never ends has been given up.
    assert STUB not in pieces


def test_a_board_is_told_to_stop_when_the_link_is_closed():
    with board_of(Ramp()) as board:
        with link_to(board) as source:
            take(source, rows(100))
            assert board._sampling
        for _ in range(2):
            board.miss(0)  # an order is obeyed before the board listens: after the second it has listened
        assert not board._sampling


def test_a_reboot_in_mid_stream_is_followed():
    with board_of(Ramp()) as board, link_to(board) as source:
        events = take(source, rows(200))
        board.reboot()
        events += take(source, segment(1))
        events += take(source, rows(200))
        events += rest(source)
    assert check_ramp(events, first=0) == rows_in(events)
    segments = [block.segment for block in blocks_of(events)]
    assert segments == sorted(segments)
    assert set(segments) == {0, 1}
    assert [(one.segment, one.boot_count) for one in events if isinstance(one, BoardFacts)] == [(0, 1), (1, 2)]
    assert "absent" not in conditions(events)
    # The second segment's times are those of the new run.
    first_of_new = next(block for block in blocks_of(events) if block.segment == 1)
    assert first_of_new.board_s[0] < blocks_of(events)[0].board_s[0] + 60


def test_silence_is_told_with_its_beginning_and_ends_by_itself():
    with board_of(Ramp()) as board, link_to(board, silence_s=1.0) as source:
        events = take(source, rows(100))
        board.mute(0.5 * SPEED)
        events += take(source, messages("silent"))
        events += take(source, messages("connected"))
        events += take(source, rows(20))
        events += rest(source)
        # What the board sent in the end and nobody fetched is not known to the host.
        assert 80 * 0.5 * SPEED - 10 <= lost_in(events) <= board.missed_total
    silences = conditions(events).count("silent")
    assert conditions(events) == ["connecting", "connected", *["silent", "connected"] * silences, "ended"]
    silent = next(one for one in events if isinstance(one, LinkState) and one.condition == "silent")
    connected = [one for one in events if isinstance(one, LinkState) and one.condition == "connected"]
    # It is dated back to the last reading.
    assert connected[0].since_monotonic_ns <= silent.since_monotonic_ns < connected[1].since_monotonic_ns
    assert "no readings" in silent.reason
    assert "reset" in silent.do
    assert check_ramp(events, first=0) == rows_in(events)
    assert {block.segment for block in blocks_of(events)} == {0}


class MumblingBoard(VirtualBoard):
    """Its greeting is garbled at every reboot; a greeting that is asked for is not."""

    def _wake_up(self) -> None:
        if self.boot_count > 1:
            self._out += b"\x55"
        super()._wake_up()


def test_a_reboot_whose_greeting_is_garbled_is_noticed_by_the_silence():
    with MumblingBoard(Ramp(), channels=3, speed=SPEED) as board, link_to(board, silence_s=1.0) as source:
        events = take(source, rows(100))
        board.reboot()
        events += take(source, segment(1))
        events += rest(source)
    assert "silent" in conditions(events)
    assert [(one.segment, one.boot_count) for one in events if isinstance(one, BoardFacts)] == [(0, 1), (1, 2)]
    assert check_ramp(events, first=0) == rows_in(events)
    assert source.counters.damaged == 1


def test_a_board_that_says_nothing_at_all_is_silent_too():
    with board_of(Ramp(0)) as board, link_to(board, silence_s=1.0) as source:
        events = take(source, messages("silent"))
    assert conditions(events) == ["connecting", "silent"]


def test_the_end_of_the_data_is_a_silence_and_an_end_by_unplugging_an_absence():
    with board_of(Ramp(200)) as board, link_to(board, silence_s=1.0) as source:
        events = take(source, messages("silent"))
        assert board.finished.is_set()
    assert check_ramp(events, first=0) == 200
    assert "silent" in conditions(events)
    with board_of(Ramp(200), at_end="unplug") as board, link_to(board) as source:
        events = take(source, messages("absent"))
    assert conditions(events)[-1] == "absent"
    # What the host had not fetched went with the cable.
    assert 0 < check_ramp(events, first=0) <= 200


def test_a_host_that_stops_reading_holds_up_no_conversion():
    ramp = Ramp(30_000)
    ramp.reach_at = 28_000
    held, released = threading.Event(), threading.Event()

    def stuck(_frame: bytes) -> None:
        if held.is_set():
            released.wait(LIMIT_S)

    with board_of(ramp, samples_per_frame=40, speed=250.0, buffer_bytes=4096) as board:
        with link_to(board, tap=stuck, clock=HostClock(250.0)) as source:
            events = take(source, rows(400))
            held.set()
            assert ramp.reached.wait(LIMIT_S)  # nobody reads, and the board goes on converting
            held.clear()
            released.set()
            assert board.finished.wait(LIMIT_S)
            events += take(source, rows(board.sent_samples - rows_in(events)))
            events += rest(source)
        assert board.missed_total > 0
        assert rows_in(events) == board.sent_samples
        assert board.sent_samples + board.missed_total == 30_000
        # All but what was missed behind the last frame is known to the host.
        assert rows_in(events) + lost_in(events) == int(blocks_of(events)[-1].counts[-1, 0]) + 1
    assert check_ramp(events, first=0) == rows_in(events)


def test_a_slow_reader_of_events_lags_and_loses_nothing():
    with board_of(Ramp(4000)) as board, link_to(board) as source:
        source.open_now()
        assert board.finished.wait(LIMIT_S)
        events = take(source, rows(4000))
        assert lost_in(events) == board.missed_total == 0
    assert check_ramp(events, first=0) == 4000


def test_a_board_that_prints_lines_is_read_as_well():
    ramp = Ramp()
    with board_of(ramp, dialect="text") as board, link_to(board) as source:
        events = take(source, rows(1000))
        ramp.end_after(200)
        events += take(source, row(lambda: ramp.total - 1))
        events += rest(source)
        assert board.sent_samples == ramp.total
    first = int(blocks_of(events)[0].counts[0, 0])
    # The port was opened in mid-stream: what came before, and one line that might be half of one, is left out.
    assert check_ramp(events, first=first) == ramp.total - first
    facts = [event for event in events if isinstance(event, BoardFacts)]
    assert [(one.protocol, one.channels, one.converter) for one in facts] == [(0, 3, "text")] * 2
    assert facts[0].rate_Hz == 0.0
    assert facts[1].rate_Hz == pytest.approx(80.0, rel=1e-3)
    assert conditions(events) == ["connecting", "connected", "ended"]


def test_lines_that_are_lost_are_counted():
    ramp = Ramp()
    with board_of(ramp, dialect="text") as board, link_to(board) as source:
        events = take(source, rows(200))
        board.miss(9)
        board.inject(b"no line at all\n")
        ramp.end_after(400)
        events += take(source, row(lambda: ramp.total - 1))
        events += rest(source)
        assert board.missed_total == 9
    assert lost_in(events) == 9
    assert source.counters.damaged == 1
    check_ramp(events, first=int(blocks_of(events)[0].counts[0, 0]))


def test_a_second_link_to_the_same_port_is_refused_and_takes_over_when_it_is_free():
    with board_of(Ramp()) as board, link_to(board) as source, link_to(board) as second:
        events = take(source, rows(100))
        with pytest.raises(PortInUse):
            second.open_now()
        waiting = take(second, messages("absent"))
        state = next(event for event in waiting if isinstance(event, LinkState))
        assert "Another program" in state.reason
        events += take(source, rows(100))
        events += rest(source)
        assert check_ramp(events, first=0) == rows_in(events)
        waiting += take(second, rows(100))
        assert conditions(waiting) == ["absent", "connecting", "connected"]


def test_a_missing_port_is_told_at_once_or_waited_for(tmp_path):
    board = board_of(Ramp(), link=tmp_path / "board")
    with link_to(board) as source:
        with pytest.raises(PortNotFound):
            source.open_now()
        events = take(source, messages("absent"))
        with board:
            events += take(source, rows(100))
            events += rest(source)
    assert conditions(events) == ["absent", "connecting", "connected", "ended"]
    assert check_ramp(events, first=0) == rows_in(events)


def test_a_journal_of_the_tap_replays_to_the_very_same_events(tmp_path):
    path = tmp_path / "a.journal"
    with (
        board_of(Ramp(), link=tmp_path / "board", clock_error_ppm=30.0) as board,
        JournalWriter(path) as writer,
        link_to(board, tap=writer.append) as source,
    ):
        events = take(source, rows(400))
        board.inject(b"\x11garbage\0")
        board.double_next_frame()
        board.corrupt_next_frame()
        board.report_fault(3, 1, "no clock")
        events += take(source, rows(400))
        board.reboot()
        events += take(source, segment(1))
        events += take(source, rows(200))
        board.unplug()
        events += take(source, messages("absent"))
        board.replug()
        events += take(source, rows(200))
        events += rest(source)
    replayed = list(JournalSource(path).events())
    assert plain_all(replayed) == plain_all(events)
    for kind in (BoardFacts, BoardFault, ClockFit, Counters):
        assert any(isinstance(event, kind) for event in replayed)
    assert {block.segment for block in blocks_of(replayed)} == {0, 1, 2}


def test_a_journal_of_lines_replays_to_the_very_same_events(tmp_path):
    path = tmp_path / "a.journal"
    with (
        board_of(Ramp(), dialect="text") as board,
        JournalWriter(path) as writer,
        link_to(board, tap=writer.append) as source,
    ):
        events = take(source, rows(800))
        board.inject(b"no line\n")
        board.miss(5)
        events += take(source, rows(800))
        events += rest(source)
    assert plain_all(JournalSource(path).events()) == plain_all(events)
    assert any(isinstance(event, ClockFit) for event in events)


def test_a_journal_begun_in_mid_stream_opens_with_the_prologue(tmp_path):
    frames: list[bytes] = []
    begun = threading.Event()

    def tap(frame: bytes) -> None:
        if begun.is_set():
            frames.append(frame)

    with board_of(Ramp(), clock_error_ppm=30.0) as board, link_to(board, tap=tap) as source:
        events = take(source, lambda events: isinstance(events[-1], ClockFit))
        prologue = source.prologue()
        begun.set()
        later = take(source, lambda _: len(frames) >= 120)
        later += rest(source)
    path = tmp_path / "a.journal"
    path.write_bytes(prologue + b"".join(frames))
    replayed = list(JournalSource(path).events())
    facts = [event for event in replayed if isinstance(event, BoardFacts)]
    assert facts == [event for event in events if isinstance(event, BoardFacts)]
    before_readings = replayed[: replayed.index(next(one for one in replayed if blocks_of([one])))]
    assert any(isinstance(event, ClockFit) for event in before_readings)
    assert any(isinstance(event, BoardFacts) for event in before_readings)
    assert check_ramp(replayed) == rows_in(replayed) > 0
    # Where both have a row, both give it the same board time.
    live, again = times_by_row(later), times_by_row(replayed)
    common = live.keys() & again.keys()
    assert len(common) >= 200
    assert {row: live[row] for row in common} == {row: again[row] for row in common}


@pytest.mark.parametrize(
    "error", [RuntimeError("broken"), JournalNotWritten("The disk is full.", "Nothing is kept.", "Make room.")]
)
def test_a_tap_that_fails_is_told_and_does_not_stop_the_reading(error):
    failing = threading.Event()

    def tap(_frame: bytes) -> None:
        if failing.is_set():
            raise error

    with board_of(Ramp()) as board, link_to(board, tap=tap) as source:
        events = take(source, rows(100))
        failing.set()
        events += take(source, messages("connected"))
        events += take(source, rows(100))
        events += rest(source)
    states = [event for event in events if isinstance(event, LinkState)]
    assert [one.condition for one in states] == ["connecting", "connected", "connected", "ended"]
    assert (error.what if isinstance(error, JournalNotWritten) else "broken") in states[2].reason
    assert states[2].do
    assert check_ramp(events, first=0) == rows_in(events)


def test_faults_of_the_board_are_handed_on():
    with board_of(Ramp()) as board, link_to(board) as source:
        take(source, rows(20))
        board.report_fault(4, 2, "lines desynchronised")
        events = take(source, lambda events: isinstance(events[-1], BoardFault))
    assert events[-1] == BoardFault(0, 4, 2, "lines desynchronised")


def test_another_rate_is_asked_for_and_told():
    with board_of(Ramp()) as board, link_to(board, rate_Hz=320.0) as source:
        events = take(source, rows(800))
        assert board.rate_Hz == 320.0
    facts = [event for event in events if isinstance(event, BoardFacts)]
    assert facts[-1].rate_Hz == 320.0
    last = blocks_of(events)[-1]
    assert np.diff(last.board_s) == pytest.approx(np.full(7, 1 / 320), abs=1e-6)
    check_ramp(events, first=0)


def test_a_board_cannot_pass_off_frames_as_the_hosts_own(tmp_path):
    path = tmp_path / "a.journal"
    with (
        board_of(Ramp()) as board,
        JournalWriter(path) as writer,
        link_to(board, tap=writer.append) as source,
    ):
        events = take(source, rows(40))
        board.inject(note_bytes({"calibration": "forged"}) + anchor_bytes(5, 5, 5) + note_bytes({"link": "opened"}))
        events += take(source, rows(200))
        events += rest(source)
    assert not any(isinstance(event, Note) for event in events)
    assert {block.segment for block in blocks_of(events)} == {0}
    assert b"forged" not in path.read_bytes()


def test_the_iteration_ends_when_another_thread_closes():
    with board_of(Ramp()) as board:
        source = link_to(board)
        events: list[SourceEvent] = []
        flowing = threading.Event()

        def read() -> None:
            for event in source.events():
                events.append(event)
                if blocks_of([event]):
                    flowing.set()

        reader = threading.Thread(target=read, daemon=True)
        reader.start()
        assert flowing.wait(LIMIT_S)
        source.close()
        source.close()
        reader.join(LIMIT_S)
        assert not reader.is_alive()
    assert conditions(events)[-1] == "ended"
    assert isinstance(events[-2], Counters)


def test_a_link_closed_before_it_began_has_nothing_to_tell(tmp_path):
    source = LinkSource(str(tmp_path / "nowhere"))
    source.close()
    assert list(source.events()) == []
    assert source.state is None
    assert source.counters == Counters()


def test_a_link_can_be_closed_from_inside_its_own_iteration():
    with board_of(Ramp()) as board:
        source = link_to(board)
        observed = []
        for event in source.events():
            observed.append(event)
            if blocks_of([event]):
                source.close()
    assert conditions(observed)[-1] == "ended"
