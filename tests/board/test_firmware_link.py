"""The real firmware, in MicroPython on invented pins, read by the real link through a pseudo-terminal.

The invented converter numbers its conversions in its counts, so a reading that is lost without a word, invented, or of
the wrong channel cannot pass.
"""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
from invented_board import InventedBoard, needs_micropython
from overhearing import Overhearing, check_nothing_lost_silently, row_numbers

from firmware_bridge.counts import NO_READING
from firmware_bridge.decoder import Decoder
from firmware_bridge.events import BoardFault
from firmware_bridge.link import LinkSource
from firmware_bridge.messages import Echo, Samples

pytestmark = needs_micropython

SILENCE_S = 60.0  # silence is not what these tests are about, and a busy machine is silent now and then
OVER = 0x80
STOPPED, SATURATED, UNCHANGING, ABSENT, DAMAGED, RATE_DIFFERS, RATE_REFUSED, HOST_SLOW, RESTARTED = range(1, 10)
BOARD = 255

SHARED = {"CONVERTER": "shared_clock", "CHANNELS": 2, "DATA_PINS": (3, 4)}
# With the slower of its clocks the simultaneous converter gives 62.99 readings a second: 1.024 MHz / 16256.
SIMULTANEOUS = {"CONVERTER": "simultaneous", "CHANNELS": 3, "CLKIN_Hz": 2_048_000, "RATE_Hz": 63}
DRIVERS = pytest.mark.parametrize("settings", [SHARED, SIMULTANEOUS], ids=["shared_clock", "simultaneous"])

# Other interrupts that hold the program up for 70 us, once a millisecond on average:
# longer than a clock line may stay high.
BUSY_BOARD = {"hog_us": 70}


def listen(board: InventedBoard, **more: object) -> Overhearing:
    settings: dict[str, object] = {"silence_s": SILENCE_S, **more}
    return Overhearing(LinkSource(board.port, **settings))  # type: ignore[arg-type]


def hear_to_the_end(board: InventedBoard, heard: Overhearing) -> dict[str, object]:
    report = board.wait_for_end()
    assert report["ended"] == "end"
    heard.wait_for_conversion(report["conversions"])
    return report


@DRIVERS
def test_a_host_is_greeted_and_every_reading_arrives(settings: dict[str, object], tmp_path: Path) -> None:
    with InventedBoard(tmp_path, settings, end_s=12, **BUSY_BOARD) as board, listen(board) as heard:
        report = hear_to_the_end(board, heard)
    assert report["violations"] == []
    facts = heard.facts[0]
    assert (facts.protocol, facts.firmware, facts.board_id, facts.boot_count) == (1, (0, 1, 0), b"shim-brd", 1)
    assert facts.channels == settings["CHANNELS"]
    if settings is SHARED:
        assert (facts.rate_Hz, facts.skew_us, facts.reading_delay_us) == (80.0, 12_500, 6_250)
    else:
        assert (facts.rate_Hz, facts.skew_us) == (62.99, 0)
    check_nothing_lost_silently(heard)
    assert heard.lost == 0
    assert heard.faults == [(STOPPED, BOARD)]  # the scenario's end
    assert (heard.counts != NO_READING).all()


# Each at the slowest that it may be clocked or strapped: as many minutes for an eighth of the readings.
SLOW_SHARED = {**SHARED, "RATE_Hz": 10}
SLOW_SIMULTANEOUS = {**SIMULTANEOUS, "CLKIN_Hz": 512_000, "RATE_Hz": 16}


# Differences of ticks are right within 2**29 us, which is less than ten minutes; a minute at the usual rate puts
# readings close to the wraps.
@pytest.mark.parametrize(
    ("settings", "seconds", "interval_us"),
    [
        (SHARED, 60, 12_500),
        (SIMULTANEOUS, 60, 16256e6 / 1_024_000),
        (SLOW_SHARED, 600, 100_000),
        (SLOW_SIMULTANEOUS, 600, 16256e6 / 256_000),
    ],
    ids=["shared_clock", "simultaneous", "slow shared_clock", "slow simultaneous"],
)
def test_a_minute_and_ten_minutes_across_both_wraps(
    settings: dict[str, object], seconds: int, interval_us: float, tmp_path: Path
) -> None:
    first_us = 2**32 - seconds * 500_000
    scenario = {"end_s": seconds, "first_tick": 2**30 - seconds * 1_000_000 // 3, "first_us": first_us}
    with InventedBoard(tmp_path, settings, native=True, **scenario) as board, listen(board) as heard:
        report = hear_to_the_end(board, heard)
    assert report["violations"] == []
    check_nothing_lost_silently(heard)
    assert heard.lost == 0
    numbers = row_numbers(heard.counts)
    assert len(numbers) > (seconds - 10) * 1e6 / interval_us
    assert {block.segment for block in heard.blocks} == {heard.blocks[0].segment}
    # The invented conversion n is ready at n intervals; what is left is the way to the handler.
    late_us = heard.board_us - first_us - numbers * interval_us
    assert heard.board_us[0] < 2**32 < heard.board_us[-1]
    assert late_us.min() >= 0
    assert late_us.max() < 200


@DRIVERS
def test_cells_and_converters_that_fail(settings: dict[str, object], tmp_path: Path) -> None:
    faults = [
        {"kind": "saturated", "channel": 1, "from_s": 8, "to_s": 11},
        {"kind": "dead", "channel": 1, "from_s": 15, "to_s": 18},
        {"kind": "stopped", "from_s": 20, "to_s": 25},
    ]
    with InventedBoard(tmp_path, settings, end_s=32, faults=faults, **BUSY_BOARD) as board, listen(board) as heard:
        report = hear_to_the_end(board, heard)
    assert report["violations"] == []
    trusted = [channel for channel in range(int(str(settings["CHANNELS"]))) if channel != 1]
    check_nothing_lost_silently(heard, trusted)
    expected = 5 * (80 if settings is SHARED else 62.99)
    assert abs(heard.lost - expected) <= 2
    assert heard.faults == [
        (SATURATED, 1),
        (SATURATED | OVER, 1),
        (UNCHANGING, 1),
        (UNCHANGING | OVER, 1),
        (STOPPED, BOARD),
        (STOPPED | OVER, BOARD),
        (STOPPED, BOARD),
    ]
    # A count at the rail is sent as it is, and its frame says so: bit 2 is "channel 1 saturated".
    rail = 2**23 - 1 if settings is SHARED else -(2**23)
    for block in heard.blocks:
        assert bool((block.counts[:, 1] == rail).any()) == bool(block.status & 0b100)
    at_the_rail = (heard.counts[:, 1] == rail).sum()
    assert abs(at_the_rail - 3 * expected / 5) <= 2
    # Every other count of channel 1 is its own, or the dead cell's.
    own = heard.counts[:, 1][~np.isin(heard.counts[:, 1], (rail, 0x012345, NO_READING))].astype(int)
    assert len(own) > 15 * 62
    assert ((own + 100_000) % 8 == 1).all()


def test_one_dead_module_does_not_stop_the_others(tmp_path: Path) -> None:
    settings = {"CONVERTER": "shared_clock", "CHANNELS": 3, "DATA_PINS": (3, 4, 5)}
    faults = [
        {"kind": "unplugged", "channel": 0, "from_s": 8, "to_s": 12},
        {"kind": "shorted", "channel": 1, "from_s": 16, "to_s": 20},
        {"kind": "stopped", "channel": 2, "from_s": 24, "to_s": 28},
    ]
    with InventedBoard(tmp_path, settings, end_s=32, faults=faults, **BUSY_BOARD) as board, listen(board) as heard:
        report = hear_to_the_end(board, heard)
    assert report["violations"] == []
    check_nothing_lost_silently(heard)
    # The others wait three intervals for a module that is late, then go on without it.
    assert heard.lost <= 2 * 4
    for channel in range(3):
        absent = heard.counts[:, channel] == NO_READING
        assert 4 * 80 - 4 <= absent.sum() <= 4 * 80 + 4
        assert (ABSENT, channel) in heard.faults
        assert (ABSENT | OVER, channel) in heard.faults
    for block in heard.blocks:
        for channel in range(3):
            absent_here = bool((block.counts[:, channel] == NO_READING).any())
            assert absent_here == bool(block.status >> (2 * channel + 1) & 1)


def test_damage_on_the_bus_and_a_converter_that_restarts_by_itself(tmp_path: Path) -> None:
    faults = [
        {"kind": "noisy", "from_s": 8, "to_s": 14},
        {"kind": "brown_out", "from_s": 20, "to_s": 20},
    ]
    with InventedBoard(tmp_path, SIMULTANEOUS, end_s=30, faults=faults, **BUSY_BOARD) as board, listen(board) as heard:
        report = hear_to_the_end(board, heard)
    assert report["violations"] == []
    # Also: no reading of the chip's own gain after its restart has passed for a good one.
    rows = row_numbers(heard.counts)
    assert rows[-1] - rows[0] + 1 == len(rows) + heard.lost
    # Every 37th frame of six seconds is damaged; four readings are unsettled after the restart.
    damaged = int((rows == -1).sum()) - 4
    assert abs(damaged - 6 * 62.99 / 37) <= 1
    assert (DAMAGED, BOARD) in heard.faults


def test_a_host_that_stops_reading_for_twenty_seconds(tmp_path: Path) -> None:
    gate = threading.Event()
    gate.set()
    settings = {"CONVERTER": "simultaneous", "CHANNELS": 8, "RATE_Hz": 250, "WATCHDOG_ms": 1000}
    scenario = {"end_s": 34, "hold_at_s": [4, 24], "host_away_s": [4, 24], **BUSY_BOARD}
    with (
        InventedBoard(tmp_path, settings, **scenario) as board,
        listen(board, tap=lambda raw: gate.wait(60)) as heard,
    ):
        board.wait_until(4)
        gate.clear()
        board.go_on()
        board.wait_until(24)
        gate.set()
        board.go_on()
        report = hear_to_the_end(board, heard)
    # The watchdog was fed all the time: nothing waited for the host.
    assert report["violations"] == []
    check_nothing_lost_silently(heard)
    # 20 s are 5039 readings of 33 bytes; the board keeps 8 KiB and the pseudo-terminal 68 KiB (Linux, from memory).
    assert 2000 < heard.lost < 5039
    assert (HOST_SLOW, BOARD) in heard.faults
    assert f"{heard.lost} readings lost" in heard.details


def test_modules_on_their_own_oscillators_follow_the_slowest(tmp_path: Path) -> None:
    rates_Hz = [83.0, 78.0]
    with (
        InventedBoard(tmp_path, SHARED, native=True, end_s=60, chip_rates_Hz=rates_Hz) as board,
        listen(board) as heard,
    ):
        report = board.wait_for_end()
        heard.wait_for(lambda event: isinstance(event, BoardFault) and event.code == STOPPED)
    # One cannot hinder a module from converting while another is read, only notice it.
    assert set(report["violations"]) <= {"channel 0 converted in mid-transfer", "channel 1 converted in mid-transfer"}
    counts = heard.counts
    for channel in range(2):
        own = counts[:, channel][counts[:, channel] != NO_READING].astype(int) + 100_000
        assert (own % 8 == channel).all()
        assert (np.diff(own) > 0).all()
    span_s = (heard.board_us[-1] - heard.board_us[0]) * 1e-6
    assert (len(counts) - 1 + heard.lost) / span_s == pytest.approx(78.0, rel=2e-3)


def test_a_rate_unlike_the_settings_is_measured_and_told(tmp_path: Path) -> None:
    # "80 per second" that is really 10.8: the rate pin is strapped otherwise.
    with InventedBoard(tmp_path, SHARED, end_s=40, chip_rates_Hz=[10.8, 10.8]) as board, listen(board) as heard:
        report = hear_to_the_end(board, heard)
    assert report["violations"] == []
    assert heard.facts[0].rate_Hz == 80.0
    assert (RATE_DIFFERS, BOARD) in heard.faults
    check_nothing_lost_silently(heard)
    assert heard.lost == 0
    assert np.diff(heard.board_us).mean() == pytest.approx(1e6 / 10.8, rel=1e-4)


def test_another_rate_is_set_or_refused(tmp_path: Path) -> None:
    settings = {"CONVERTER": "simultaneous", "CHANNELS": 2, "RATE_Hz": 250}
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    with InventedBoard(tmp_path / "a", settings, end_s=8) as board, listen(board, rate_Hz=500.0) as heard:
        hear_to_the_end(board, heard)
    assert heard.facts[-1].rate_Hz == 500.0
    check_nothing_lost_silently(heard)
    assert np.diff(heard.board_us[-100:]).mean() == pytest.approx(2000, abs=1)
    with InventedBoard(tmp_path / "b", SHARED, end_s=8) as board, listen(board, rate_Hz=500.0) as heard:
        hear_to_the_end(board, heard)
    assert heard.facts[-1].rate_Hz == 80.0
    assert (RATE_REFUSED, BOARD) in heard.faults
    assert "500.00 per second" in heard.details


def test_echoes_bear_the_boards_time_among_its_readings(tmp_path: Path) -> None:
    raw: list[bytes] = []
    ppm = 400
    with (
        InventedBoard(tmp_path, SHARED, native=True, end_s=150, ppm=ppm) as board,
        listen(board, tap=raw.append) as heard,
    ):
        report = hear_to_the_end(board, heard)
    assert report["violations"] == []
    in_order = [one.value for one in Decoder().push(b"".join(raw)) if isinstance(one.value, Samples | Echo)]
    echoes = [position for position, value in enumerate(in_order) if isinstance(value, Echo)]
    assert len(echoes) >= 2
    interval_us = 12_500 * (1 + ppm * 1e-6)

    def last_us(frame: object) -> float:
        assert isinstance(frame, Samples)
        return frame.first_us + (len(frame.counts) - 1) * interval_us

    for position in echoes:
        echo = in_order[position]
        assert isinstance(echo, Echo)
        before = [value for value in in_order[:position] if isinstance(value, Samples)]
        after = [value for value in in_order[position:] if isinstance(value, Samples)]
        if before:
            assert last_us(before[-1]) < echo.board_us
        if before and after:
            # The frame after it was not whole yet: its last reading came later, but for one turn of the loop.
            assert echo.board_us < last_us(after[0]) + 10_000
    # A crystal that is 400 parts in a million too fast lengthens every interval by as much, in the board's own time.
    numbers = row_numbers(heard.counts)
    slope_us = (heard.board_us[-1] - heard.board_us[0]) / (numbers[-1] - numbers[0])
    assert slope_us == pytest.approx(interval_us, abs=0.1)


def test_an_unprotected_clock_line_would_be_caught(tmp_path: Path) -> None:
    busy = {**BUSY_BOARD, "hog_every_us": 300}
    # The check that must be able to fail: with interrupts never held off, the other interrupt keeps the clock high.
    with InventedBoard(tmp_path, SHARED, end_s=12, unprotected=True, **busy) as board, listen(board):
        report = board.wait_for_end()
    assert any(one.startswith("the clock was high for 7") for one in report["violations"])


def test_garbage_and_interrupt_characters_from_the_host_change_nothing(tmp_path: Path) -> None:
    with InventedBoard(tmp_path, SHARED, end_s=10, hold_at_s=[3], **BUSY_BOARD) as board, listen(board) as heard:
        board.wait_until(3)
        board.send(b"\x03\x03\x04\x00" + bytes(range(1, 256)) * 3 + b"\x00\x02\x99\x00")
        board.go_on()
        report = hear_to_the_end(board, heard)
    assert report["violations"] == []
    check_nothing_lost_silently(heard)
    assert heard.lost == 0


def test_boots_are_counted_and_a_bite_of_the_watchdog_is_told(tmp_path: Path) -> None:
    for boot in (1, 2):
        with InventedBoard(tmp_path, SHARED, end_s=4, reset_cause=3) as board, listen(board) as heard:
            hear_to_the_end(board, heard)
        assert heard.facts[0].boot_count == boot
        assert (RESTARTED, BOARD) in heard.faults


def test_the_prompt_is_reached_and_the_board_stays_out_once(tmp_path: Path) -> None:
    with InventedBoard(tmp_path, SHARED, end_s=600, wait_for_host=False, speed=1) as board:
        board.send(b"\r\x03")
        assert board.wait_for_end() == {"ended": "reset"}
    with InventedBoard(tmp_path, SHARED, end_s=2, wait_for_host=False) as board:
        assert board.ended.wait(60)
        # Straight to the prompt: the firmware itself never ran, so nothing was reported.
        assert (board.report, board.messages) == ({}, "")
    with InventedBoard(tmp_path, SHARED, end_s=2, wait_for_host=False) as board:
        assert board.wait_for_end()["ended"] == "end"


def test_the_program_that_copies_files_gets_to_the_prompt(tmp_path: Path) -> None:
    tool = Path(sys.executable).with_name("mpremote")
    if not tool.exists():
        pytest.skip("mpremote is not installed beside this Python")
    with (
        InventedBoard(tmp_path, SHARED, end_s=600, wait_for_host=False, speed=1) as board,
        subprocess.Popen(
            [tool, "connect", board.port, "exec", "1"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as asking,
    ):
        try:
            assert board.wait_for_end() == {"ended": "reset"}
        finally:
            asking.kill()
    assert (tmp_path / "stay_out.txt").exists()
