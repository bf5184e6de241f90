"""The board's time against the host's: invented clocks whose truth is known to the last digit.

Sources: the standard uncertainty of a rectangular distribution and the meaning of a coverage factor of 2 (about 95 % of
the cases) are JCGM 100:2008, 4.3.7 and 6.3.3, from memory; the chi-square quantile is scipy's. The period of the wrap
is 2**32 microseconds (wire protocol 1).
"""

from __future__ import annotations

import threading
import time
from random import Random

import pytest
from bridge_streams import assemble, blocks_of, hello_frame, plain, sample_frame
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from firmware_bridge.clock import (
    CRYSTAL_TOLERANCE,
    FLOOR_OF_U_RATE,
    SLOWEST_ROUND_TRIP_NS,
    BoardClock,
    ClockFitter,
    FittedClock,
    HostClock,
    PromptestArrival,
)
from firmware_bridge.events import ClockFit
from firmware_bridge.journal import anchor_bytes

WRAP = 2**32
BOOTED_NS = 5 * 10**12
UTC_NS = 1_700_000_000 * 10**9
ERROR = 40e-6
"""The invented board's clock is 40 ppm fast, an ordinary crystal's error."""


class InventedBoard:
    """A host and a board whose clock is fast by ``ERROR``; the way back takes longer than the way out."""

    def __init__(self, seed: int, *, extra_back_s: float = 0.0) -> None:
        self._random = Random(seed)
        self._extra_back_s = extra_back_s

    @staticmethod
    def board_us(true_s: float) -> int:
        return int(true_s * (1 + ERROR) * 1e6)

    @staticmethod
    def host_ns(true_s: float) -> int:
        return BOOTED_NS + round(true_s * 1e9)

    def round_trip(self, true_s: float) -> tuple[int, int, int]:
        """Return when the host sent and received, and the board's stamp between."""
        out_s = 0.2e-3 + self._random.expovariate(1 / 0.3e-3)
        back_s = 1.0e-3 + self._random.expovariate(1 / 1.0e-3) + self._extra_back_s
        stamp = self.board_us(true_s + out_s)
        return self.host_ns(true_s), self.host_ns(true_s + out_s + back_s), stamp

    def arrival(self, true_s: float) -> tuple[int, int]:
        """Return a host time and the stamp of the reading that arrived then; some are late by a lot."""
        late_s = 8e-3 + self._random.expovariate(1 / 0.5e-3)
        if self._random.random() < 0.1:
            late_s += self._random.uniform(5e-3, 80e-3)
        return self.host_ns(true_s + late_s), self.board_us(true_s)


def fit_echoes(seed: int, seconds: float, *, period_s: float = 1.7, extra_back_s: float = 0.0) -> FittedClock:
    board, fitter = InventedBoard(seed, extra_back_s=extra_back_s), ClockFitter()
    messages: FittedClock | None = None
    for k in range(int(seconds / period_s)):
        sent, received, stamp = board.round_trip(3.0 + k * period_s)
        messages = fitter.echo(sent, received, stamp, UTC_NS + received) or messages
    assert messages is not None
    return messages


def fit_arrivals(seed: int, seconds: float, *, later_ns: int = 0) -> FittedClock:
    board, fitter = InventedBoard(seed), ClockFitter()
    messages: FittedClock | None = None
    for k in range(int(seconds / 0.9)):
        received, stamp = board.arrival(3.0 + k * 0.9)
        messages = fitter.arrival(received + later_ns, stamp, UTC_NS + received) or messages
    assert messages is not None
    return messages


TRUE_RATE = 1 / (1 + ERROR)
SEEDS = range(40)


@given(st.integers(0, WRAP - 1), st.lists(st.integers(0, WRAP // 2 - 1), max_size=40))
def test_unwrapping_gives_back_what_was_wrapped(start, steps):
    clock, truth = BoardClock(), start
    assert clock.unwrap(start) == start
    for step in steps:
        truth += step
        assert clock.unwrap(truth % WRAP) == truth


def test_a_stamp_from_before_the_wrap_stays_before_it():
    clock = BoardClock()
    assert clock.unwrap(WRAP - 10) == WRAP - 10
    assert clock.unwrap(5) == WRAP + 5
    assert clock.unwrap(WRAP - 3) == WRAP - 3  # a late echo of the time before
    # The latest stamp counts and not the last one: half a period ahead of it is still ahead.
    assert clock.unwrap(4 + WRAP // 2) == WRAP + 4 + WRAP // 2


def test_the_stamps_wrap_every_71_6_minutes():
    # The period is the wire protocol's: 2**32 us = 71.58 min. Three whole periods at one stamp a minute.
    clock = BoardClock()
    for minute in range(1, 216):
        assert clock.unwrap(minute * 60_000_000 % WRAP) == minute * 60_000_000


def test_the_rate_of_a_fast_board_is_recovered_within_the_stated_uncertainty_by_echoes():
    fits = [fit_echoes(seed, 600.0) for seed in SEEDS]
    pulls = [(fit.rate - TRUE_RATE) / fit.u_rate for fit in fits]
    assert sum(abs(pull) <= 2 for pull in pulls) >= 0.95 * len(pulls)
    # The claim is no empty one: the error of 40 ppm is known to a twentieth of itself and better.
    assert all(FLOOR_OF_U_RATE <= fit.u_rate < ERROR / 20 for fit in fits)


def test_the_rate_of_a_fast_board_is_recovered_within_the_stated_uncertainty_by_arrivals():
    # Were the stated uncertainty too small, the sum of squares would be too large for the chi-square distribution.
    fits = [fit_arrivals(seed, 300.0) for seed in range(120)]
    squares = sum(((fit.rate - TRUE_RATE) / fit.u_rate) ** 2 for fit in fits)
    assert squares <= chi2.ppf(0.99, len(fits))
    assert all(fit.u_rate < ERROR / 20 for fit in fits)


def test_the_stated_uncertainty_shrinks_with_time():
    u_rate = [fit_echoes(1, seconds).u_rate for seconds in (5.0, 30.0, 120.0, 600.0)]
    assert u_rate == sorted(u_rate, reverse=True)
    assert u_rate[0] == CRYSTAL_TOLERANCE  # a few seconds tell less than the crystal's data sheet
    assert u_rate[-1] < 0.05 * u_rate[0]


def test_the_offset_of_echoes_is_known_to_half_a_round_trip():
    for seed in SEEDS:
        fit = fit_echoes(seed, 600.0)
        # At the middle of the fit, where the rate's error does not show: 300 s.
        error_s = (
            fit.host_ns_at_zero + fit.rate * InventedBoard.board_us(600.0) * 1000 - InventedBoard.host_ns(600.0)
        ) * 1e-9
        assert abs(error_s) <= (0.2e-3 + 0.3e-3 + 1.0e-3 + 1.0e-3) / 2 + 3 * 600 * fit.u_rate


def test_a_constant_delay_moves_the_offset_and_never_the_rate():
    prompt, late = fit_arrivals(7, 300.0), fit_arrivals(7, 300.0, later_ns=50_000_000)
    assert late.rate == pytest.approx(prompt.rate, abs=1e-12)
    assert late.host_ns_at_zero - prompt.host_ns_at_zero == pytest.approx(50_000_000, abs=2)
    slow = fit_echoes(7, 600.0, extra_back_s=20e-3)
    assert abs(slow.rate - TRUE_RATE) <= 2 * slow.u_rate
    assert slow.u_rate > fit_echoes(7, 600.0).u_rate


def test_an_exact_clock_is_found_exact():
    fitter, messages = ClockFitter(), None
    for second in range(300):
        sent = BOOTED_NS + second * 10**9
        messages = fitter.echo(sent, sent + 2000, second * 10**6 + 1, 0) or messages
    assert messages is not None
    assert messages.rate == pytest.approx(1.0, abs=1e-12)
    assert messages.host_ns_at_zero == pytest.approx(BOOTED_NS, abs=1)


def test_a_step_of_utc_changes_the_label_alone():
    board = InventedBoard(3)
    trips = [board.round_trip(3.0 + k * 1.7) for k in range(300)]
    step_ns = 3_600 * 10**9
    steady, stepped = ClockFitter(), ClockFitter()
    last_steady: FittedClock | None = None
    last_stepped: FittedClock | None = None
    for k, (sent, received, stamp) in enumerate(trips):
        last_steady = steady.echo(sent, received, stamp, UTC_NS + received) or last_steady
        after = step_ns if k >= 290 else 0
        last_stepped = stepped.echo(sent, received, stamp, UTC_NS + received + after) or last_stepped
    assert last_steady is not None
    assert last_stepped is not None
    assert last_stepped.utc_ns_at_zero - last_stepped.host_ns_at_zero == UTC_NS + step_ns
    assert last_steady.utc_ns_at_zero - last_steady.host_ns_at_zero == UTC_NS
    for field in ("rate", "u_rate", "host_ns_at_zero"):
        assert getattr(last_stepped, field) == getattr(last_steady, field)


def test_a_step_of_utc_changes_no_time_and_no_rate_in_the_whole_chain():
    streams: dict[int, list[bytes]] = {0: [hello_frame(0)], 86_400 * 10**9: [hello_frame(0)]}
    for step_ns, stream in streams.items():
        board = InventedBoard(4)
        for k in range(200):
            stream.append(sample_frame(k + 1, 4 * k))
            received, stamp = board.arrival(k * 0.9)
            utc_ns = UTC_NS + received + (step_ns if k == 100 else 0)
            stream.append(anchor_bytes(received, utc_ns, stamp))
    steady, stepped = (assemble(b"".join(stream))[0] for stream in streams.values())
    assert [plain(one) for one in blocks_of(stepped)] == [plain(one) for one in blocks_of(steady)]
    rates = [(fit.rate, fit.u_rate, fit.host_ns_at_zero) for fit in steady if isinstance(fit, ClockFit)]
    messages = [fit for fit in stepped if isinstance(fit, ClockFit)]
    assert len(rates) > 3
    # The fits are the same to the last digit; the step only repeats those in force under another label, twice.
    assert list(dict.fromkeys((fit.rate, fit.u_rate, fit.host_ns_at_zero) for fit in messages)) == rates
    assert len(messages) == len(rates) + 2
    assert {fit.utc_ns_at_zero - fit.host_ns_at_zero for fit in messages} == {UTC_NS, UTC_NS + 86_400 * 10**9}


@pytest.mark.parametrize("jump_s", [-30.0, 0.5, 30.0, 7200.0])
def test_a_jump_of_the_hosts_clock_is_noticed_and_the_rate_survives(jump_s):
    # A host that slept: its monotonic clock stood still while the board's went on, or the other way round.
    board, fitter = InventedBoard(5), ClockFitter()
    messages: FittedClock | None = None
    for k in range(300):
        true_s = 3.0 + k * 1.7
        sent, received, stamp = board.round_trip(true_s)
        moved = round(jump_s * 1e9) if k >= 150 else 0
        messages = fitter.echo(sent + moved, received + moved, stamp, UTC_NS + received) or messages
    assert messages is not None
    assert abs(messages.rate - TRUE_RATE) <= 3 * messages.u_rate
    assert messages.u_rate < CRYSTAL_TOLERANCE
    end_s = 3.0 + 299 * 1.7
    expected_ns = InventedBoard.host_ns(end_s + jump_s)
    predicted_ns = messages.host_ns_at_zero + messages.rate * InventedBoard.board_us(end_s) * 1000
    assert abs(predicted_ns - expected_ns) * 1e-9 < 5e-3


def test_single_wild_stamps_do_not_move_the_fit():
    board, fitter = InventedBoard(6), ClockFitter()
    messages: FittedClock | None = None
    for k in range(300):
        sent, received, stamp = board.round_trip(3.0 + k * 1.7)
        wild = 2_000_000 if k % 40 == 20 else 0
        messages = fitter.echo(sent, received, stamp + wild, UTC_NS + received) or messages
    assert messages is not None
    assert abs(messages.rate - TRUE_RATE) <= 3 * messages.u_rate


def test_round_trips_that_cannot_be_are_refused():
    fitter = ClockFitter()
    assert fitter.echo(1000, 999, 5, 0) is None
    assert fitter.echo(1000, 1001 + SLOWEST_ROUND_TRIP_NS, 5, 0) is None
    first = fitter.echo(1000, 2000, 5, 0)
    assert first == FittedClock(1.0, CRYSTAL_TOLERANCE, 1500 - 5000, -2000 + 1500 - 5000)


def test_one_observation_gives_an_offset_and_no_rate():
    messages = ClockFitter().arrival(BOOTED_NS, 1_000_000, UTC_NS)
    assert messages == FittedClock(1.0, CRYSTAL_TOLERANCE, BOOTED_NS - 10**9, UTC_NS - 10**9)


@pytest.mark.parametrize("faster", [0.3, 4.0, 40.0])
def test_what_arrives_in_no_time_of_any_oscillator_tells_nothing_of_the_rate(faster):
    fitter, messages = ClockFitter(), []
    for k in range(400):
        received_ns = BOOTED_NS + round(k * 0.1 / faster * 1e9)
        messages.append(fitter.arrival(received_ns, k * 100_000, UTC_NS + received_ns))
    assert {one.rate for one in messages if one is not None} == {1.0}


def test_the_hosts_clock_is_the_systems_and_may_run_faster():
    system, fast = HostClock(), HostClock(1000.0)
    before = time.monotonic_ns()
    assert before <= system.monotonic_ns() <= time.monotonic_ns()
    before = time.time_ns()
    assert before <= system.utc_ns() <= time.time_ns()
    for read in (fast.monotonic_ns, fast.utc_ns):
        outer = time.monotonic_ns()
        start = read()
        inner = time.monotonic_ns()
        assert not system.wait(threading.Event(), 0.01)
        inner = time.monotonic_ns() - inner
        passed = read() - start
        assert 1000 * inner <= passed <= 1000 * (time.monotonic_ns() - outer)
    event = threading.Event()
    event.set()
    assert fast.wait(event, 10**6)


def test_a_wait_is_as_much_shorter_as_the_clock_is_faster():
    clock = HostClock(1e6)
    start = time.monotonic()
    assert not clock.wait(threading.Event(), 3600.0)
    assert time.monotonic() - start >= 3600.0 / 1e6


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan")])
def test_a_clock_that_stands_still_is_refused(speed):
    with pytest.raises(ValueError, match="above 0"):
        HostClock(speed)


def test_a_clock_of_double_speed_doubles_the_time_since_it_was_made(monkeypatch):
    real_ns = BOOTED_NS
    monkeypatch.setattr(time, "monotonic_ns", lambda: real_ns)
    monkeypatch.setattr(time, "time_ns", lambda: UTC_NS)
    clock = HostClock(2.0)
    assert (clock.monotonic_ns(), clock.utc_ns()) == (BOOTED_NS, UTC_NS)
    real_ns += 3_000_000_000
    assert (clock.monotonic_ns(), clock.utc_ns()) == (BOOTED_NS + 6_000_000_000, UTC_NS + 6_000_000_000)


def test_the_utc_of_an_earlier_instant_lies_before_now(monkeypatch):
    monkeypatch.setattr(time, "monotonic_ns", lambda: BOOTED_NS)
    monkeypatch.setattr(time, "time_ns", lambda: UTC_NS)
    clock = HostClock()
    assert clock.utc_ns_at(BOOTED_NS) == UTC_NS
    assert clock.utc_ns_at(BOOTED_NS - 250_000_000) == UTC_NS - 250_000_000
    monkeypatch.setattr(time, "time_ns", lambda: 0)  # a machine without a battery for its clock
    assert clock.utc_ns_at(BOOTED_NS - 1) == 0


def test_of_all_arrivals_the_one_that_waited_least_is_taken():
    promptest = PromptestArrival()
    assert promptest.take() is None
    for board_s, delay_ms in ((1.0, 40), (2.0, 8), (3.0, 9), (4.0, 50)):
        promptest.weigh(BOOTED_NS + round(board_s * 1e9) + delay_ms * 1_000_000, board_s)
    assert promptest.take() == (BOOTED_NS + 2_008_000_000, 2_000_000)
    assert promptest.take() is None
    promptest.weigh(BOOTED_NS, WRAP * 1e-6 + 7.0)
    assert promptest.take() == (BOOTED_NS, 7_000_000)
