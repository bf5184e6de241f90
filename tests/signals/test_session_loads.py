"""A session's sums, times, zeros and bodyweight."""

from __future__ import annotations

import numpy as np
import pytest
from load_stories import BODYWEIGHT_N, RIG, Points, loads

from monitor.rig import Channel, Rig
from monitor.signals.bodyweight import Bodyweight, read_bodyweight
from monitor.signals.sensitivity import mean_course
from monitor.signals.session_loads import SessionLoads, even_times
from monitor.signals.windows import OFF_ZERO_N, windows_of
from monitor.signals.zeros import PartZero, read_zeros

STAND_AND_HANG: Points = (
    (0, 0, 0),
    (4, 0, 0),
    (4.2, 0, 1),
    (14, 0, 1),
    (14.2, 1, 0),
    (44, 1, 0),
    (44.2, 0, 1),
    (54, 0, 1),
    (54.2, 0, 0),
    (60, 0, 0),
)
U_ZERO_N, U_SPAN = 0.3, 5e-4


def session_of(points: Points, *, rig: Rig = RIG, add: np.ndarray | float = 0.0, **more: float) -> SessionLoads:
    t_s, load_N = loads(points, rig=rig, **more)
    n = len(rig.channels)
    return SessionLoads(rig, t_s, load_N + add, np.full(n, U_ZERO_N), np.full(n, U_SPAN))


def weighed(session: SessionLoads) -> Bodyweight | None:
    zeros = read_zeros(session)
    return read_bodyweight(session.minus(zeros.correction_N), zeros)


def u_mean_N(part: PartZero, t_s: np.ndarray) -> float:
    """Return the standard uncertainty of a part's zero, averaged over some times."""
    course = mean_course(t_s)
    return sum(part.variances(course.t_s, course.weight)) ** 0.5


def test_sums_are_those_of_bar_and_platform():
    load_N = np.array([[1.0, 2, 10, 20, 30, 40], [np.nan, 4, 10, 20, 30, 40], [5, 6, 10, 20, 30, 40]])
    session = SessionLoads(RIG, np.arange(3) / 80, load_N, np.full(6, 0.3), np.full(6, 0.001))
    assert session.bar_N.tolist() == [3, 7, 11]  # the failed reading is bridged by a straight line
    assert session.feet_N.tolist() == [100, 100, 100]
    assert session.sum_N.tolist() == [103, 107, 111]
    assert session.valid.tolist() == [True, False, True]
    # Independent cells: variances add (JCGM 100:2008, 5.1.2); of a load shared evenly each span weighs a half.
    assert session.part_u_zero_N(RIG.bar_index) == pytest.approx(0.3 * 2**0.5)
    assert session.part_u_rel_span(RIG.bar_index) == pytest.approx(0.001 / 2**0.5)
    assert session.part_u_rel_span(RIG.platform_index) == pytest.approx(0.001 / 2)
    assert session.part_u_rel_span(()) == 0.0


def test_a_cell_without_any_reading_carries_nothing():
    load_N = np.full((4, 6), 10.0)
    load_N[:, 1] = np.nan
    session = SessionLoads(RIG, np.arange(4) / 80, load_N, np.zeros(6), np.zeros(6))
    assert session.bar_N.tolist() == [10.0] * 4
    assert not session.valid.any()


def test_jittering_stamps_become_even_and_others_are_left_as_they_are():
    true_s = 7.0 + np.arange(4000) / 79.3
    trembling_s = true_s + np.random.default_rng(1).uniform(-0.001, 0.001, 4000)
    assert np.max(np.abs(even_times(trembling_s)[0] - true_s)) < 1e-4
    # Neither a gap of unknown length nor a rate that changes lies on one line.
    gap_s = true_s + np.where(np.arange(4000) > 2000, 0.5, 0.0)
    changed_s = true_s + 1e-4 * np.maximum(0, np.arange(4000) - 2000)
    for t_s in (gap_s, changed_s, true_s[:7]):
        np.testing.assert_array_equal(even_times(t_s)[0], t_s)


def test_windows_tell_standing_from_hanging_from_nobody():
    windows = windows_of(session_of(STAND_AND_HANG))
    middle_s = windows.t_s
    assert windows.rows == 40
    assert windows.empty[(middle_s < 3.5) | (middle_s > 55)].all()
    assert windows.standing[(middle_s > 5) & (middle_s < 13.5)].all()
    assert windows.hanging_free[(middle_s > 15) & (middle_s < 43.5)].all()
    one_at_a_time = windows.empty.astype(int) + windows.standing + windows.hanging_free
    assert one_at_a_time.max() == 1
    assert windows.quiet.sum() > 100


def test_zeros_are_read_where_a_part_is_free():
    shift_N = np.array([1.5, -0.5, 0.25, -0.25, 0.5, 0.75])
    session = session_of(STAND_AND_HANG, add=shift_N)
    zeros = read_zeros(session)
    assert zeros.bar_shift_N == pytest.approx(1.0, abs=0.1)
    assert zeros.feet_shift_N == pytest.approx(1.25, abs=0.1)
    np.testing.assert_allclose(zeros.correction_N.mean(axis=0), shift_N, atol=0.1)
    left_N = (session.minus(zeros.correction_N).load_N - loads(STAND_AND_HANG)[1]).mean(axis=0)
    assert abs(left_N[list(RIG.bar_index)].sum()) < 3 * u_mean_N(zeros.bar, session.t_s)
    assert abs(left_N[list(RIG.platform_index)].sum()) < 3 * u_mean_N(zeros.feet, session.t_s)


def test_a_drift_is_followed_between_the_ends_of_a_hang():
    """20 gf a minute is 0.0033 N a second and cell; in a minute a bar of two cells drifts by 0.4 N."""
    t_s, load_N = loads(STAND_AND_HANG)
    drift_N = 0.0033 * t_s[:, None] * np.ones(6)
    zeros = read_zeros(SessionLoads(RIG, t_s, load_N + drift_N, np.full(6, U_ZERO_N), np.full(6, U_SPAN)))
    hanging = (t_s > 15) & (t_s < 43)
    error_N = (zeros.correction_N - drift_N)[hanging][:, list(RIG.bar_index)].sum(axis=1)
    assert np.max(np.abs(error_N)) < 0.15
    assert np.max(np.abs(error_N)) < 3 * u_mean_N(zeros.bar, t_s[hanging])


def test_a_part_that_was_never_free_keeps_its_calibrations_zero():
    never_off: Points = ((0, 0.3, 0.7), (5, 0.3, 0.7), (5.2, 0.8, 0.2), (20, 0.8, 0.2))
    zeros = read_zeros(session_of(never_off))
    assert (zeros.bar_shift_N, zeros.feet_shift_N) == (None, None)
    assert not zeros.correction_N.any()
    # At the first row it is the calibration's, cells independent: variances add (JCGM 100:2008, 5.1.2).
    assert sum(zeros.bar.variances(np.zeros(1), np.ones(1))) == pytest.approx(2 * U_ZERO_N**2)
    assert sum(zeros.feet.variances(np.zeros(1), np.ones(1))) == pytest.approx(4 * U_ZERO_N**2)


def test_a_load_that_hangs_on_the_bar_is_no_zero():
    """A wet towel of 1 kgf: more than OFF_ZERO_N, so nothing is corrected."""
    towel_N = np.zeros(6)
    towel_N[0] = 1.2 * OFF_ZERO_N
    assert read_zeros(session_of(STAND_AND_HANG, add=towel_N)).bar_shift_N is None


def test_bodyweight_is_read_while_standing_and_hanging():
    body = weighed(session_of(STAND_AND_HANG))
    assert body.source == "standing"
    assert abs(body.bodyweight_N - BODYWEIGHT_N) < 3 * body.u_N
    # Two bar cells and four platform cells of 5e-4 each, spans independent: 1 / sqrt(8e6 + 16e6) of a part each.
    assert body.u_N == pytest.approx(BODYWEIGHT_N * U_SPAN / 6**0.5, rel=0.05)


def test_somebody_who_never_stands_is_weighed_in_the_hang():
    hang_only: Points = ((0, 0, 0), (5, 0, 0), (5.2, 1, 0), (20, 1, 0), (20.2, 0, 0), (25, 0, 0))
    body = weighed(session_of(hang_only))
    assert body.source == "hang"
    assert body.bodyweight_N == pytest.approx(BODYWEIGHT_N, abs=1.0)


@pytest.mark.parametrize("stands", [True, False])
def test_a_swing_weighs_what_a_calm_body_weighs(stands):
    """V / W = 1 - kappa theta0^2 cos(2 w t) (``tests/reference/physical_pendulum.json``): light and heavy cancel."""
    story = STAND_AND_HANG if stands else (*((t, bar, 0) for t, bar, _ in STAND_AND_HANG),)
    calm = session_of(story)
    hanging = (calm.t_s > 14.2) & (calm.t_s < 44)
    swing_rad = np.radians(6.5) * np.exp(-(calm.t_s - 14.2) / 60)
    beat = np.where(hanging, -0.85 * swing_rad**2 * np.cos(2 * np.pi * 0.87 * (calm.t_s - 14.2)), 0.0)
    swinging = calm.with_load(calm.load_N * (1 + beat)[:, None])
    assert weighed(swinging).source == ("standing" if stands else "hang")
    assert weighed(swinging).bodyweight_N == pytest.approx(weighed(calm).bodyweight_N, rel=5e-5)


def test_a_third_support_through_the_whole_hang_is_not_believed():
    leaning_on_a_frame: Points = tuple((t, 0.9 * bar, feet) for t, bar, feet in STAND_AND_HANG)
    body = weighed(session_of(leaning_on_a_frame))
    assert body.source == "standing"
    assert body.bodyweight_N == pytest.approx(BODYWEIGHT_N, abs=1.0)


def test_a_third_support_while_standing_does_not_outvote_most_of_the_standing():
    """A hand on the wall for 3 of 20 s of standing takes 5 % of bodyweight."""
    hand: Points = (
        *STAND_AND_HANG[:3],
        (8, 0, 1),
        (8.2, 0, 0.95),
        (11, 0, 0.95),
        (11.2, 0, 1),
        *STAND_AND_HANG[3:],
    )
    assert weighed(session_of(hand)).bodyweight_N == pytest.approx(BODYWEIGHT_N, abs=1.0)


def test_a_rig_without_a_platform_weighs_nobody():
    bar_only = Rig("bar", (Channel("bar_left", "bar", -0.5), Channel("bar_right", "bar", 0.5)))
    assert weighed(session_of(STAND_AND_HANG, rig=bar_only)) is None


def test_levels_that_do_not_agree_are_no_weight():
    """Half a second on each of many levels: a person who steps on and off a box beside the platform."""
    points = [(0, 0, 0), (3, 0, 0)]
    for n in range(8):
        points += [(3.5 + 2 * n, 0, 0.3 + 0.08 * n), (5.4 + 2 * n, 0, 0.3 + 0.08 * n)]
    assert weighed(session_of(points)) is None


def test_nothing_quiet_is_no_weight():
    t_s, load_N = loads(STAND_AND_HANG)
    load_N += 60 * np.sin(2 * np.pi * 3 * t_s)[:, None]
    assert weighed(SessionLoads(RIG, t_s, load_N, np.full(6, 0.3), np.full(6, 5e-4))) is None
