"""Sway against a published record and closed forms (tests/reference: cop_quiet_standing, posturography_formulas)."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from monitor.measures.sway import centre_of_pressure_m, feet_sway, median_frequency_Hz, sway_of

REFERENCE = Path(__file__).parents[1] / "reference"
RECORD = json.loads((REFERENCE / "cop_quiet_standing.json").read_text())
ML_CM, AP_CM = np.loadtxt(REFERENCE / "cop_quiet_standing.csv", delimiter=",", skiprows=1).T
RATE_Hz = float(RECORD["sample_rate_hz"])
PUBLISHED = RECORD["published"]


def test_the_published_record_of_quiet_standing():
    """The record's tiny offsets were left in before the published run; ours takes the mean off, so 1e-5 remains."""
    sway = sway_of(ML_CM / 100, AP_CM / 100, RATE_Hz)
    assert 100 * sway.velocity_m_s == pytest.approx(PUBLISHED["mean_velocity_cm_s"], rel=1e-12)
    assert 100 * sway.rms_m == pytest.approx(PUBLISHED["rms_cm"], rel=2e-5)
    # Mean frequency times mean distance is the mean speed over 2 pi, on which the offsets have no bearing.
    distance_cm = np.hypot(ML_CM - ML_CM.mean(), AP_CM - AP_CM.mean()).mean()
    published = PUBLISHED["mean_frequency_hz"] * PUBLISHED["mean_distance_cm"]
    assert sway.mean_frequency_Hz * distance_cm == pytest.approx(published, rel=1e-12)
    assert 1e4 * sway.ellipse95_m2 == pytest.approx(RECORD["ellipse_area_95_cm2"]["newer_published_code"], rel=2e-5)


@pytest.mark.parametrize(("signal", "published"), [(ML_CM, "f50_ml_hz"), (AP_CM, "f50_ap_hz")])
def test_the_published_median_frequencies(signal, published):
    assert median_frequency_Hz(signal, RATE_Hz) == pytest.approx(PUBLISHED[published], rel=1e-9)


def test_a_circle_has_its_closed_forms():
    """Radius r at f: rms r, velocity 2 pi f r, mean frequency f, ellipse pi r^2 2.995732 for large n."""
    t = np.arange(0, 400, 0.01)
    radius, frequency = 0.012, 0.5
    phase = 2 * np.pi * frequency * t
    sway = sway_of(radius * np.cos(phase), radius * np.sin(phase), 100.0)
    assert sway.rms_m == pytest.approx(radius, rel=1e-4)
    assert sway.velocity_m_s == pytest.approx(2 * np.pi * frequency * radius, rel=1e-3)
    assert sway.mean_frequency_Hz == pytest.approx(frequency, rel=1e-3)
    assert sway.ellipse95_m2 == pytest.approx(np.pi * radius**2 * 2.9957322735539895, rel=1e-3)


def test_the_centre_of_pressure_is_the_lever_rule():
    x, y = centre_of_pressure_m(
        np.array([[30.0, 10.0, 0.0, 0.0]]), np.array([-0.25, 0.25, -0.25, 0.25]), np.full(4, 0.2)
    )
    assert x[0] == pytest.approx(-0.125)
    assert y[0] == pytest.approx(0.2)


def test_light_feet_and_short_stretches_give_none():
    corners = np.array([-0.25, 0.25, -0.25, 0.25]), np.array([0.2, 0.2, -0.2, -0.2])
    assert feet_sway(np.full((2000, 4), 2.0), *corners, 80.0) is None
    assert feet_sway(np.full((200, 4), 50.0), *corners, 80.0) is None
