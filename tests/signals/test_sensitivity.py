"""What loads and shares rely on: hand reckoning by JCGM 100, common errors that cancel, zeros that wander."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.holds.edges import bend_shift_s, crossing_s
from monitor.measures.assistance import u_share
from monitor.measures.lateral_offset import U_PLACE_M, lateral
from monitor.measures.reference_level_instants import u_crossing_s
from monitor.rig import STANDARD_CHANNELS, Rig
from monitor.signals.bodyweight import Bodyweight, given_bodyweight
from monitor.signals.sensitivity import load_sensitivity, mean_course
from monitor.signals.session_loads import NOISE_ROWS, UNEVEN_STAMP_S, CalibrationUncertainty, SessionLoads, even_times
from monitor.signals.zeros import WANDER_N, DRIFT_N_per_s, PartZero, Zeros, wandered_N2

RIG = Rig("by hand", STANDARD_CHANNELS)
BAR, FEET = RIG.bar_index, RIG.platform_index
AT_s = np.zeros(1)


def session_of(
    u_span: tuple[float, ...], u_zero: tuple[float, ...] = (0.0,) * 6, known: CalibrationUncertainty | None = None
) -> SessionLoads:
    return SessionLoads(
        RIG, np.arange(8) / 80, np.zeros((8, 6)), np.array(u_zero), np.array(u_span), known or CalibrationUncertainty()
    )


def zeros_of(session: SessionLoads) -> Zeros:
    """Return zeros that were never read in the session, and were taken at second 0."""
    parts = [PartZero(len(i), u_given_N=session.part_u_zero_N(i), given_s=0.0) for i in (BAR, FEET)]
    return Zeros(np.zeros((8, 6)), None, None, *parts)


def test_shares_with_a_given_bodyweight_add_up_as_by_hand():
    """JCGM 100:2008, 5.1.2: zero, span and bodyweight are independent where the bodyweight was given.

    W = 800 N, u = 0.8 N. Feet 0.13 W: u_zero 0.6 N, four even cells of 4e-4 make 2e-4. By hand
    (0.6 / 800)^2 + 0.13^2 (2e-4^2 + 1e-3^2) = 5.80076e-7, u = 7.6163e-4. Bar 0.87 W: u_zero 0.4 N, spans 3e-4
    of the sum: (0.4 / 800)^2 + 0.87^2 (3e-4^2 + 1e-3^2) = 1.075021e-6, u = 1.03683e-3.
    """
    session = session_of((3e-4 * 2**0.5,) * 2 + (4e-4,) * 4, (0.4 / 2**0.5,) * 2 + (0.3,) * 4)
    cells_N = np.array([348.0, 348.0, 26.0, 26.0, 26.0, 26.0])
    body = given_bodyweight(session, 800.0, 0.8)
    feet, bar = (load_sensitivity(session, i, cells_N, AT_s) for i in (FEET, BAR))
    assert u_share(0.13, feet, body, session, zeros_of(session)) == pytest.approx(7.6163e-4, rel=1e-4)
    assert u_share(0.87, bar, body, session, zeros_of(session)) == pytest.approx(1.03683e-3, rel=1e-4)


def weighed(session: SessionLoads, cells_N: np.ndarray) -> Bodyweight:
    sensitivity = load_sensitivity(session, BAR + FEET, cells_N, AT_s)
    return Bodyweight(float(cells_N.sum()), sensitivity.u(session, zeros_of(session)), "standing", sensitivity)


def test_a_common_error_of_the_plates_cancels_in_a_share_and_not_in_a_load():
    common = np.zeros((12, 12))
    common[:6, :6] = 1e-3**2
    session = session_of((1e-3,) * 6, known=CalibrationUncertainty(covariance=common))
    standing = np.array([0.0, 0, 175, 175, 175, 175])
    helped = np.array([300.0, 300, 25, 25, 25, 25])
    body, zeros = weighed(session, standing), zeros_of(session)
    assert body.u_N == pytest.approx(0.7)  # it does not average out over four cells
    feet, bar = (load_sensitivity(session, i, helped, AT_s) for i in (FEET, BAR))
    assert feet.u(session, zeros) == pytest.approx(0.1)
    assert u_share(1 / 7, feet, body, session, zeros) == pytest.approx(0.0, abs=1e-9)
    assert u_share(6 / 7, bar, body, session, zeros) == pytest.approx(0.0, abs=1e-9)


def test_the_feets_share_cancels_the_platforms_own_spans_and_the_hands_share_does_not():
    """Spans independent, 1e-3: the same four cells weigh W and P alike, so alpha feels nothing; beta feels both."""
    session = session_of((1e-3,) * 6)
    body, zeros = weighed(session, np.array([0.0, 0, 175, 175, 175, 175])), zeros_of(session)
    helped = np.array([300.0, 300, 25, 25, 25, 25])
    feet, bar = (load_sensitivity(session, i, helped, AT_s) for i in (FEET, BAR))
    assert u_share(1 / 7, feet, body, session, zeros) == pytest.approx(0.0, abs=1e-9)
    # By hand: 6/7 * sqrt(1e-3^2 / 2 + 1e-3^2 / 4).
    assert u_share(6 / 7, bar, body, session, zeros) == pytest.approx(6 / 7 * 1e-3 * 0.75**0.5)
    # Feet on the front edge stand on two of the four: by hand 1/7 sqrt(2 (1/2 - 1/4)^2 + 2 (1/4)^2) 1e-3.
    front = load_sensitivity(session, FEET, np.array([300.0, 300, 50, 50, 0, 0]), AT_s)
    assert u_share(1 / 7, front, body, session, zeros) == pytest.approx(1e-3 / 7 * 0.5)


def test_a_zero_that_was_never_read_counts_in_a_share_less_what_bodyweight_shares_with_it():
    """d(P / W) = (1 - alpha) z / W for a zero z of the platform that both contain."""
    session = session_of((0.0,) * 6, (0.0, 0.0) + (0.3,) * 4)
    body, zeros = weighed(session, np.array([0.0, 0, 175, 175, 175, 175])), zeros_of(session)
    feet = load_sensitivity(session, FEET, np.array([300.0, 300, 25, 25, 25, 25]), AT_s)
    assert u_share(1 / 7, feet, body, session, zeros) == pytest.approx(6 / 7 * 0.6 / 700)


def test_a_bend_counts_with_the_square_of_the_load():
    known = np.zeros((12, 12))
    known[6, 6] = 1e-6**2
    session = session_of((0.0,) * 6, known=CalibrationUncertainty(covariance=known))
    bar = load_sensitivity(session, (0,), np.array([400.0, 0, 0, 0, 0, 0]), AT_s)
    assert bar.u(session, zeros_of(session)) == pytest.approx(400.0**2 * 1e-6)


def test_the_zero_wanders_evenly_at_first_and_not_beyond_its_range():
    rate = DRIFT_N_per_s / 3**0.5
    assert wandered_N2(np.array([2.0]))[0] == pytest.approx((2 * rate) ** 2, rel=0.02)
    assert wandered_N2(np.array([1e5]))[0] == pytest.approx(2 * WANDER_N**2)
    assert wandered_N2(np.array([0.0]))[0] == 0.0


def test_a_zero_between_two_readings_is_as_uncertain_as_a_simulation_of_its_wandering_says():
    """20,000 zeros of the stated covariance by its Cholesky factor; read at 10 and 110 s, used from 30 to 90 s."""
    times = np.arange(0.0, 121.0, 5.0)
    covariance = WANDER_N**2 - wandered_N2(times[:, None] - times[None, :]) / 2
    drawn = np.random.default_rng(4).standard_normal((20_000, len(times))) @ np.linalg.cholesky(covariance).T
    read = [int(np.flatnonzero(times == t)[0]) for t in (10.0, 110.0)]
    used = (times >= 30) & (times <= 90)
    line = drawn[:, read[0], None] + (drawn[:, read[1]] - drawn[:, read[0]])[:, None] * (times[used] - 10) / 100
    error = (drawn[:, used] - line).mean(axis=1)
    after = (drawn[:, -1] - drawn[:, read[1]])[:, None][:, 0]
    part = PartZero(2, np.array([10.0, 110.0]), np.array([0.04, 0.01]))
    noise = (0.5**2) * (0.04 + 0.01)
    variance_N2 = sum(part.variances(times[used], np.full(used.sum(), 1 / used.sum())))
    # The variance of a variance of n draws is 2 / n of its square: 1 % each; 4 % is four of them.
    assert variance_N2 - noise == pytest.approx(2 * error.var(), rel=0.04)
    assert sum(part.variances(times[-1:], np.ones(1))) - 0.01 == pytest.approx(2 * after.var(), rel=0.04)
    never = PartZero(2, u_given_N=0.3, given_s=0.0)
    long_ago = sum(never.variances(times[-1:], np.ones(1)))
    assert long_ago == pytest.approx(0.09 + 2 * (drawn[:, -1] - drawn[:, 0]).var(), rel=0.04)


def test_noise_of_rows_that_the_zero_was_read_from_goes_with_the_zero():
    """A mean over 800 rows less that over 600 of them: its noise, drawn 20,000 times, and what the overlap says."""
    t_s = np.arange(800) / 80
    draws = np.random.default_rng(6).standard_normal((20_000, 800), dtype=np.float32)
    left = draws.mean(axis=1) - draws[:, 100:700].mean(axis=1)
    part = PartZero(1, np.array([5.0]), np.array([1 / 600]), (t_s[100:700],))
    assert part.overlap(t_s) == pytest.approx(1.0)
    (read, _), own = part.variances(AT_s + 5.0, np.ones(1)), (1 - 2 * part.overlap(t_s)) / 800
    assert read + own == pytest.approx(left.var(), rel=0.04)  # a variance of 20,000 draws is known to 1 %
    assert part.overlap(t_s[:100]) == 0.0


def test_noise_is_the_allan_deviation_of_the_quiet_rows():
    """White noise of 0.4 N in two cells; a person shakes the bar for half of the time."""
    rng = np.random.default_rng(8)
    load_N = 0.4 * rng.standard_normal((NOISE_ROWS * 200, 6))
    load_N[NOISE_ROWS * 100 :, :2] += 30 * rng.standard_normal((NOISE_ROWS * 100, 2))
    session = replace(session_of((0.0,) * 6), t_s=np.arange(len(load_N)) / 80, load_N=load_N)
    assert session.noise_N(FEET) == pytest.approx(0.8, rel=0.05)
    assert 0.4 * 2**0.5 < session.noise_N(BAR) < 1.15 * 0.4 * 2**0.5


def edge(noise_N: float = 0.0, skew_s: float = 0.0) -> SessionLoads:
    """Return a rise of 800 N in 0.1 s, straight; the crossing of 400 N lies midway between two rows."""
    t_s = np.arange(0, 60, 1 / 80)
    load_N = np.zeros((len(t_s), 6))
    load_N[:, :2] = 400.0 * np.clip((t_s - 30 - 0.5 / 80) / 0.1, 0, 1)[:, None]
    load_N += noise_N * np.random.default_rng(2).standard_normal(load_N.shape)
    return SessionLoads(RIG, t_s, load_N, np.zeros(6), np.zeros(6), CalibrationUncertainty(skew_s=skew_s))


def test_an_edges_uncertainty_is_noise_over_slope_and_the_skew_of_the_channels():
    at_s = 30 + 0.5 / 80 + 0.05
    # By hand: midway, noise sqrt(2) 1 N / sqrt(2) over 8000 N/s; a skew of 10 ms anywhere: 10 ms / sqrt(12).
    assert u_crossing_s(edge(noise_N=1.0), at_s) == pytest.approx(1 / 8000, rel=0.15)
    assert u_crossing_s(edge(skew_s=0.01), at_s) == pytest.approx(0.01 / 12**0.5, rel=1e-3)
    assert u_crossing_s(edge(), at_s) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("start_s", [29.9, 29.9031, 29.9078])
def test_a_bent_edge_is_read_where_the_load_crosses_and_not_where_a_straight_line_does(start_s):
    """B = 4e6 (t - start)^3 as its means over 1/80 s: 400 N are crossed at start + 1e-4^(1/3) s."""
    edges_s = np.arange(0, 60, 1 / 80)
    integral = 1e6 * np.clip(edges_s - start_s, 0.0, 0.1) ** 4 + np.maximum(edges_s - start_s - 0.1, 0.0) * 4000.0
    bar_N, t_s = np.diff(integral) * 80, edges_s[:-1] + 1 / 160
    row = int(np.flatnonzero(bar_N > 400.0)[0])
    straight_s = crossing_s(t_s, bar_N, row, 400.0)
    true_s = start_s + 1e-4 ** (1 / 3)
    reported_s = straight_s + bend_shift_s(t_s, bar_N, straight_s)
    load_N = np.zeros((len(t_s), 6))
    load_N[:, 0] = bar_N
    u_s = u_crossing_s(SessionLoads(RIG, t_s, load_N, np.zeros(6), np.zeros(6)), reported_s)
    assert abs(straight_s - true_s) > 3e-4
    assert abs(reported_s - true_s) < 0.1 * abs(straight_s - true_s)
    assert u_s < 0.1 * abs(straight_s - true_s)


def test_jittering_stamps_make_times_a_little_uncertain_and_uneven_ones_more():
    true_s = np.arange(4000) / 79.3
    rng = np.random.default_rng(1)
    ends = np.array([even_times(true_s + 1e-3 * rng.uniform(-1, 1, 4000))[0][-1] - true_s[-1] for _ in range(300)])
    _, u_s = even_times(true_s + 1e-3 * rng.uniform(-1, 1, 4000))
    assert u_s == pytest.approx(ends.std(), rel=0.15)  # 300 draws know a deviation to 4 %
    assert even_times(true_s + 0.01 * (np.arange(4000) > 2000))[1] == UNEVEN_STAMP_S


def test_where_the_load_hangs_is_as_uncertain_as_places_and_spans():
    """Even load on cells at -0.55 and 0.55 m. By hand: spans 0.55 / 2 * 1e-3 * sqrt(2), places 2 mm / sqrt(2)."""
    session = session_of((1e-3,) * 6)
    cells_N = np.tile([350.0, 350, 0, 0, 0, 0], (800, 1))
    t_s = np.arange(800) / 80
    still = Zeros(np.zeros((8, 6)), 0.0, 0.0, PartZero(0), PartZero(0))
    x_m, u_m = lateral(session, still, t_s, cells_N)
    assert x_m == pytest.approx(0.0)
    assert u_m == pytest.approx(np.hypot(0.55 / 2 * 1e-3 * 2**0.5, U_PLACE_M / 2**0.5), rel=1e-6)
    # A zero of 0.3 N of each cell moves it by 0.55 / 700 * 0.3 * sqrt(2) more; a skew by 0.55 * 10 ms / 10 s.
    off = replace(still, bar=PartZero(2, np.zeros(1), np.array([2 * 0.3**2])))
    assert lateral(session, off, t_s[:1], cells_N[:1])[1] == pytest.approx(np.hypot(u_m, 0.55 / 700 * 0.3 * 2**0.5))
    skewed = replace(session, known=CalibrationUncertainty(skew_s=0.01))
    assert lateral(skewed, still, t_s, cells_N)[1] == pytest.approx(np.hypot(u_m, 0.55 * 0.01 / t_s[-1]))


def test_a_mean_over_many_rows_is_thinned_evenly():
    course = mean_course(np.arange(1000.0))
    assert len(course.t_s) <= 24
    assert course.weight.sum() == pytest.approx(1.0)
    assert course.t_s.mean() == pytest.approx(499.5, abs=1.0)
