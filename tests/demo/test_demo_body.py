"""The body obeys Newton's laws, whatever it does."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.demo.body import Body
from monitor.demo.people import INVENTED_PEOPLE, Person
from monitor.demo.script import Script
from monitor.rig import STANDARD_CHANNELS, STANDARD_GRAVITY_m_s2

RATE_Hz, SUBSTEPS = 80, 12
FINE_s = 1 / (RATE_Hz * SUBSTEPS)
STILL = Person("Still", mass_kg=66.0, stature_m=1.72, breath_mm=0.0, tremor_N=0.0)


def play(script, seed=3):
    """Play a script to its end; return fine times, cells, what is borne beside, rise, swing."""
    body = Body(script.person, script.plan, np.random.default_rng(seed))
    pieces = [body.advance(960, FINE_s, SUBSTEPS) for _ in range(int(np.ceil(script.now_s)))]
    return tuple(
        np.concatenate([getattr(piece, name) for piece in pieces])
        for name in ("t_s", "cells_N", "beside_N", "rise_m_s2", "swing_rad")
    )


def new_script(person=STILL, seed=1):
    return Script(person, np.random.default_rng(seed))


def standing(script, seconds=5.0):
    script.wait(0.5)
    script.step_on()
    script.wait(1.0)
    start = script.now_s
    script.stand(seconds)
    return start, script.now_s


@pytest.mark.parametrize("person", INVENTED_PEOPLE, ids=lambda p: p.name)
def test_the_account_closes_while_quiet(person):
    # S - W = m a (Newton): over a quiet time the mean of S / W is 1, standing and hanging.
    script = new_script(person)
    stood = standing(script)
    script.reach_up()
    script.hang()
    script.wait(6.0)
    hung = script.now_s, script.now_s + 12.0
    script.wait(12.0)
    t_s, cells, beside, _, _ = play(script)
    for start, end in (stood, hung):
        inside = (t_s > start) & (t_s < end)
        assert beside[inside].max() == 0.0
        # Breathing is cut at any phase: 1 mm x 2 pi 0.25 Hz over 5 s is 0.03 % of g.
        assert cells[inside].sum(axis=1).mean() / person.weight_N == pytest.approx(1.0, abs=5e-4)


def busy_script(person):
    """Everything that a person may do, from standing to standing; return the script and two quiet instants."""
    script = new_script(person, seed=8)
    standing(script)
    quiet_from = script.now_s
    script.reach_up()
    script.hang_assisted(0.2)
    script.shift_feet(0.1, 4.0)
    script.let_go_from_assisted()
    script.stand(3.0)
    script.reach_up()
    script.hang()
    script.swing(5.0)
    script.wait(2.0)
    script.shoulders(0.05, 0.8)
    script.touch(0.1)
    script.wait(2.0)
    script.regrip()
    script.wait(2.0)
    script.change_hands(True, 2.0)
    script.wait(2.0)
    script.shoulders(-0.05, 0.8)
    script.wait(1.0)
    script.let_go()
    script.stand(2.0)
    script.hop()
    script.stand(3.0)
    quiet_to = script.now_s
    script.stand(1.0)
    return script, quiet_from, quiet_to


def test_no_momentum_comes_from_nowhere():
    # Impulse and momentum: between two rests the mean of the supports is the weight, whatever happened between.
    script, quiet_from, quiet_to = busy_script(STILL)
    t_s, cells, beside, _, _ = play(script)
    inside = (t_s > quiet_from) & (t_s < quiet_to)
    excess_N = cells[inside].sum(axis=1) + beside[inside] - STILL.weight_N
    speed_left_m_s = excess_N.sum() * FINE_s / STILL.mass_kg
    assert np.abs(excess_N).max() > STILL.weight_N / 2
    assert abs(speed_left_m_s) < 2e-3


def test_supports_only_push_or_only_pull():
    script, _, _ = busy_script(INVENTED_PEOPLE[0])
    _, cells, beside, _, _ = play(script)
    assert cells.min() >= 0.0
    assert beside.min() >= 0.0


def test_the_reported_acceleration_is_that_of_the_sum():
    script, _, _ = busy_script(INVENTED_PEOPLE[1])
    _, cells, beside, rise, _ = play(script)
    mass_kg = INVENTED_PEOPLE[1].mass_kg
    np.testing.assert_allclose(
        cells.sum(axis=1) + beside, mass_kg * (STANDARD_GRAVITY_m_s2 + rise), rtol=1e-12, atol=1e-9
    )


@pytest.mark.parametrize("rise_mm", [20.0, 45.0, -45.0])
def test_shoulder_travel_integrates_back_to_the_commanded_rise(rise_mm):
    # Travel as the design defines it: S / m - g integrated twice between two quiet ends.
    script = new_script()
    standing(script)
    script.reach_up()
    script.hang()
    script.plan.swing_drive.clear()
    script.wait(8.0)
    start = script.now_s
    script.shoulders(rise_mm * 1e-3, 0.8)
    end = script.now_s
    script.wait(2.0)
    t_s, cells, _, _, _ = play(script)
    quiet = (t_s > start - 2.0) & (t_s < start)
    # The mean of a second before is the weight; it removes the heart's beat as a measurement would.
    inside = (t_s > start) & (t_s < end)
    acceleration = (cells[inside].sum(axis=1) - cells[quiet].sum(axis=1).mean()) / STILL.mass_kg
    speed = np.cumsum(acceleration) * FINE_s
    assert np.abs(speed).max() > 0.02
    travel_mm = 1e3 * (speed - speed[-1] * np.linspace(0, 1, len(speed))).sum() * FINE_s
    assert travel_mm == pytest.approx(rise_mm, abs=0.5)


def test_feet_bear_the_share_that_was_meant():
    script = new_script(INVENTED_PEOPLE[0])
    standing(script)
    script.reach_up()
    script.hang_assisted(0.20)
    script.wait(2.0)
    first = script.now_s
    script.wait(2.0)
    script.shift_feet(0.08, 12.0)
    script.wait(1.0)
    last = script.now_s
    script.wait(3.0)
    t_s, cells, _, _, _ = play(script)
    share = cells[:, 2:].sum(axis=1) / INVENTED_PEOPLE[0].weight_N
    # Feet wander by 3 % of their load, and tired hands give them up to 5 % of the weight (invented numbers).
    assert share[(t_s > first) & (t_s < first + 2)].mean() == pytest.approx(0.20, abs=0.015)
    assert 0.075 < share[(t_s > last) & (t_s < last + 3)].mean() < 0.10


def test_taking_the_bar_overshoots_within_half_a_second():
    script = new_script()
    standing(script)
    script.reach_up()
    start = script.now_s
    script.hang()
    script.wait(6.0)
    t_s, cells, _, _, _ = play(script)
    bar = cells[:, :2].sum(axis=1) / STILL.weight_N
    below, above = t_s[bar > 0.2][0], t_s[bar > 0.9][0]
    assert start < below < above < start + 0.5
    assert 1.05 < bar[(t_s > start) & (t_s < start + 1)].max() < 1.6
    assert bar[t_s > script.now_s - 2].mean() == pytest.approx(1.0, abs=1e-3)


def test_letting_go_frees_the_bar_and_lands_with_an_impact():
    script = new_script()
    standing(script)
    script.reach_up()
    script.hang()
    script.wait(5.0)
    start = script.now_s
    script.let_go()
    script.stand(3.0)
    t_s, cells, _, _, _ = play(script)
    bar, feet = cells[:, :2].sum(axis=1), cells[:, 2:].sum(axis=1)
    assert bar[t_s > start + 0.15].max() == 0.0
    assert 1.15 < feet[(t_s > start) & (t_s < start + 0.5)].max() / STILL.weight_N < 2.5
    assert feet[t_s > script.now_s - 1.5].mean() == pytest.approx(STILL.weight_N, rel=1e-3)


def test_a_change_of_hands_moves_the_load_to_one_side_and_back():
    script = new_script()
    standing(script)
    script.reach_up()
    script.hang()
    script.wait(6.0)
    start = script.now_s
    script.change_hands(True, 3.0)
    back = script.now_s
    script.wait(5.0)
    t_s, cells, _, _, _ = play(script)
    x_m = np.array([channel.x_m for channel in STANDARD_CHANNELS[:2]])
    bar = cells[:, :2].sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        offset = cells[:, :2] @ x_m / bar
    one_hand = (t_s > start + 1.5) & (t_s < start + 3.0)
    # Hands are 0.50 m apart: the load of one hand acts 0.25 m off the middle.
    assert offset[one_hand].mean() == pytest.approx(0.25, abs=0.02)
    assert abs(offset[(t_s > back + 2.5) & (t_s < back + 5)].mean()) < 0.02
    assert bar[one_hand].mean() == pytest.approx(STILL.weight_N, rel=0.02)


def test_tremor_lies_between_6_and_12_per_second_and_grows_with_fatigue():
    person = INVENTED_PEOPLE[0]
    script = new_script(person)
    standing(script)
    script.reach_up()
    script.hang()
    script.wait(4.0)
    fresh = script.now_s
    script.wait(36.0)
    t_s, cells, _, _, _ = play(script)
    force = cells.sum(axis=1)

    def band_rms(start, low_Hz, high_Hz):
        part = force[(t_s > start) & (t_s < start + 10)]
        spectrum = np.abs(np.fft.rfft((part - part.mean()) * np.hanning(len(part)))) ** 2
        frequency = np.fft.rfftfreq(len(part), FINE_s)
        # One-sided, a Hann window's mean square is 3/8.
        inside = (frequency >= low_Hz) & (frequency < high_Hz)
        return np.sqrt(2 * spectrum[inside].sum() / len(part) ** 2 / 0.375)

    early, late = band_rms(fresh, 6, 12), band_rms(fresh + 25, 6, 12)
    assert early == pytest.approx(person.tremor_N * 1.15, rel=0.3)
    assert late > 1.25 * early
    assert band_rms(fresh, 13, 40) < 0.1 * early
    assert band_rms(fresh, 2, 5.5) < 0.3 * early


def test_a_person_beside_the_platform_weighs_nothing_on_it():
    script = new_script()
    script.wait(2.0)
    t_s, cells, beside, _, _ = play(script)
    assert np.abs(cells).max() == 0.0
    assert beside[t_s > 1].mean() == pytest.approx(STILL.weight_N, rel=1e-3)


def test_a_third_support_takes_its_share_from_the_bar():
    script = new_script()
    standing(script)
    script.reach_up()
    script.hang()
    script.wait(6.0)
    start = script.now_s
    script.third_support(0.10, 8.0)
    script.wait(3.0)
    t_s, cells, beside, _, _ = play(script)
    share = cells.sum(axis=1) / STILL.weight_N
    during = (t_s > start + 1.5) & (t_s < start + 6.5)
    assert share[during].mean() == pytest.approx(0.90, abs=1e-3)
    assert beside[during].mean() == pytest.approx(0.10 * STILL.weight_N, rel=1e-3)
    assert share[(t_s > start + 9.5) & (t_s < start + 11)].mean() == pytest.approx(1.0, abs=1e-3)
