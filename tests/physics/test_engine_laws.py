"""The engine and the bodies in it obey the laws that the measures rest on, by published values and by closed forms."""

from __future__ import annotations

import json
import math

import mujoco
import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid

from tests.physics.body import BELLY, STEP_HZ, BAR_kg, Body, FINGERS_m, GRAVITY_m_s2, Setting
from tests.physics.engine import Course, simulate
from tests.physics.people import REFERENCE, draw_person, hanging_pendulum
from tests.physics.scenarios import make_script
from tests.physics.script import course
from tests.physics.truth import truth_of

PENDULUM = json.loads((REFERENCE / "physical_pendulum.json").read_text(encoding="utf-8"))
HANGING = json.loads((REFERENCE / "hanging_body_pendulum.json").read_text(encoding="utf-8"))["results"]

BANDS = json.loads((REFERENCE / "frequency_bands.json").read_text(encoding="utf-8"))

ROD = """
<mujoco><compiler angle="radian" inertiafromgeom="false"/>
<option timestep="0.0005" gravity="0 0 -9.80665" integrator="RK4"/>
<worldbody><body name="support"><inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>
 <body name="rod"><joint name="pivot" type="hinge" axis="1 0 0"/><site name="pivot"/>
  <inertial pos="0 0 -0.5" mass="2" diaginertia="0.1666666667 0.1666666667 0.0001"/></body></body></worldbody>
<sensor><force name="force" site="pivot"/></sensor></mujoco>"""


def swinging_rod(theta0_deg: float, seconds: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return time, angle and vertical pivot force over weight of a uniform rod of 1 m released at rest."""
    model = mujoco.MjModel.from_xml_string(ROD)
    data = mujoco.MjData(model)
    data.qpos[0] = math.radians(theta0_deg)
    n = round(seconds / model.opt.timestep)
    out = np.empty((n, 3))
    for row in range(n):
        mujoco.mj_forward(model, data)
        # The sensor gives what the rod does to its support's frame, in the rod's own axes.
        vertical = data.site_xmat[0].reshape(3, 3) @ data.sensordata
        out[row] = data.time, data.qpos[0], abs(vertical[2]) / (2 * 9.80665)
        mujoco.mj_step(model, data)
    return out[:, 0], out[:, 1], out[:, 2]


@pytest.mark.parametrize("degrees", [1, 2, 5, 10, 20, 45, 90])
def test_the_pivot_of_a_rod_bears_what_is_published(degrees):
    """Source: tests/reference/physical_pendulum.json (along the rod 5 cos - 3 cos0, across it sin / 4)."""
    _, angle, force = swinging_rod(degrees, 2.0)
    theta0 = math.radians(degrees)
    along = 0.5 * (5 * np.cos(angle) - 3 * math.cos(theta0))
    across = 0.25 * np.sin(angle)
    wanted = along * np.cos(angle) + across * np.sin(angle)
    np.testing.assert_allclose(force, np.abs(wanted), atol=2e-6 + 1e-6 * degrees)
    if degrees == 90:
        assert force[0] == pytest.approx(0.25, abs=1e-6)
        assert force.max() == pytest.approx(2.5, abs=1e-5)


@pytest.mark.parametrize("degrees", sorted(PENDULUM["table_by_amplitude_deg"], key=int))
def test_periods_of_a_rod_are_the_exact_ones(degrees):
    """Source: tests/reference/physical_pendulum.json (elliptic integral, recomputed there)."""
    row = PENDULUM["table_by_amplitude_deg"][degrees]
    t, angle, force = swinging_rod(float(degrees), 6.0)
    falls = np.flatnonzero((angle[:-1] > 0) & (angle[1:] <= 0))
    at = t[falls] + (t[1] - t[0]) * angle[falls] / (angle[falls] - angle[falls + 1])
    period = PENDULUM["rod_1_m_standard_gravity_period_s"] * row["period_ratio"]
    assert np.diff(at) == pytest.approx(period, rel=2e-6)
    assert force.max() == pytest.approx(row["rod_max_V_over_W"], abs=2e-5)


@pytest.mark.parametrize("seed", range(12))
def test_bodies_have_the_mass_they_were_drawn_with(seed):
    person = draw_person(seed)
    assert Body(person, Setting()).mass_kg == pytest.approx(person.mass_kg, rel=1e-5)


@pytest.mark.parametrize("seed", range(12))
def test_bodies_are_the_pendulum_that_the_segment_tables_give(seed):
    """Source: tests/reference/hanging_body_pendulum.json, derived from both tables; its spread is the uncertainty.

    The bodies differ from that idealised one by their arms' reach, own mass fractions (4 %) and the joint of the grip.
    """
    person = draw_person(seed)
    d, kappa = hanging_pendulum(person)
    lowest, highest = (f(r["kappa"] for r in HANGING.values()) for f in (min, max))
    assert lowest - 0.015 < kappa < highest + 0.015
    share = {"winter": 0.5839, "deleva": 0.5857 if person.sex == "male" else 0.5632}[person.table]
    assert d / person.stature_m == pytest.approx(share, rel=0.03)


@pytest.fixture(scope="module")
def pulled() -> tuple[Course, dict]:
    script = make_script("pulls", 3)
    done = simulate(script)
    return done, truth_of(script, done)


def test_quiet_bar_and_platform_carry_the_whole_body(pulled):
    done, truth = pulled
    total = done.load_N.sum(axis=1)
    for first, last in ((5.5, 7.5), (13.0, 17.0)):
        quiet = (done.t_s > first) & (done.t_s < last)
        # Breathing (1 mm at 0.25 Hz) leaves 4e-4 of bodyweight over a stretch that is no whole number of breaths.
        assert total[quiet].mean() == pytest.approx(truth["bodyweight_N"], rel=5e-4)


def test_loads_integrated_twice_are_the_way_of_the_centre_of_mass(pulled):
    """Newton's second law: S - W = m a, to a tenth of a millimetre over a pull of some centimetres."""
    done, truth = pulled
    event = next(e for e in truth["events"] if e["kind"] == "passive_to_active")
    span = (done.t_s > event["t_s"] - 0.5) & (done.t_s < event["t_s"] + event["duration_s"] + 0.5)
    t, height = done.t_s[span], done.com_m[span, 2]
    acceleration = (done.load_N[span].sum(axis=1) - truth["bodyweight_N"]) / done.mass_kg
    start = np.gradient(height, t)[2:40].mean()
    velocity = start + cumulative_trapezoid(acceleration, t, initial=0.0)
    way = cumulative_trapezoid(velocity, t, initial=0.0)
    assert np.ptp(height) > 0.015
    # The bar's own mass moves by microns: what it adds is far below.
    assert BAR_kg < 0.2 * done.mass_kg
    np.testing.assert_allclose(way, height - height[0], atol=4e-4)


def test_a_pull_raises_the_body_by_nearly_what_was_asked(pulled):
    _, truth = pulled
    for event in truth["events"]:
        ratio = event["com_rise_mm"] / event["commanded_mm"]
        # The arms and shoulder blades, a tenth of the body, stay where they are.
        assert 0.84 < ratio < 0.93


def test_a_swinging_body_has_the_frequency_of_its_pendulum():
    """``f = sqrt(kappa g / d) / 2 pi`` of the rigid body; soft joints change it by a few per cent."""
    script = make_script("swing_decays", 3)
    done = simulate(script)
    history = truth_of(script, done)["swing_history"]
    d, kappa = hanging_pendulum(script.person)
    rigid = math.sqrt(kappa * GRAVITY_m_s2 / (d + FINGERS_m)) / (2 * math.pi)
    assert history["frequency_Hz"] == pytest.approx(rigid, rel=0.04)
    amplitude = np.array(history["amplitude_deg"])
    assert amplitude[10] > 3.0
    assert amplitude[-8] < 0.8 * amplitude[10], "the swing does not die down"


def test_people_breathe_and_tremble_in_the_bands_of_people():
    """Source: tests/reference/frequency_bands.json (resting breathing 0.2 to 0.333 Hz; tremor 4 to 12 Hz)."""
    low, high = BANDS["resting_breathing_per_min"]["hz"]
    assert all(low <= draw_person(seed).breathing_Hz <= high for seed in range(40))
    script = make_script("stands_hangs", 1)
    shaking = script.track("shake_left")
    power = np.abs(np.fft.rfft(shaking)) ** 2
    frequency = np.fft.rfftfreq(len(shaking), 1 / STEP_HZ)
    low, high = BANDS["enhanced_physiological_tremor_hz"]["band"]
    assert power[(frequency >= low) & (frequency <= high)].sum() > 0.93 * power.sum()


@pytest.mark.parametrize("shape", ["minimum-jerk", "trapezoid", "sine", "linear"])
def test_movements_begin_and_end_where_they_should(shape):
    u = np.linspace(-0.5, 1.5, 4001)
    done = course(u, shape)
    assert done[0] == 0.0
    assert done[-1] == pytest.approx(1.0, abs=1e-12)
    assert (np.diff(done) >= -1e-12).all()
    assert np.interp(0.5, u, done) == pytest.approx(0.5, abs=1e-9)


def test_breathing_moves_the_centre_of_mass_by_the_belly_s_share(pulled):
    done, _ = pulled
    quiet = (done.t_s > 13.0) & (done.t_s < 17.0)
    away = done.com_m[quiet, 2] - BELLY * done.belly_m[quiet]
    assert np.std(away) < 0.5 * np.std(done.com_m[quiet, 2])
    assert len(done.t_s) == 70 * STEP_HZ
