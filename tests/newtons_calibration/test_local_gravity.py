"""Normal gravity against the WGS 84 values (NIMA TR8350.2, third edition; see tests/reference/normal_gravity.json)."""

from __future__ import annotations

import pytest
from reference_values import values

from monitor.newtons.gravity import BadPlace, HIGHEST_m, LOWEST_m, effect_of, normal_gravity

WGS84 = values("normal_gravity.json")["WGS84"]


def test_the_equator_and_the_pole_are_the_published_ones():
    assert normal_gravity(0.0) == pytest.approx(WGS84["gamma_equator"], abs=5e-11)
    assert normal_gravity(90.0) == pytest.approx(WGS84["gamma_pole"], abs=1e-10)
    assert normal_gravity(-90.0) == normal_gravity(90.0)


@pytest.mark.parametrize("latitude", sorted(WGS84["surface_recomputed"]))
def test_surface_values_agree_with_the_recomputed_ones(latitude: str):
    assert normal_gravity(float(latitude)) == pytest.approx(WGS84["surface_recomputed"][latitude], abs=2e-11)


def test_45_degrees_is_the_value_of_wgs_84_and_not_of_grs_80():
    grs80 = values("normal_gravity.json")["GRS80"]["gamma_45_published"]
    assert normal_gravity(45.0) == pytest.approx(9.806197769, abs=1e-9)
    assert abs(normal_gravity(45.0) - grs80) > 1e-6


def test_gravity_5000_m_up_is_the_published_one():
    published = WGS84["published_with_height"][0]
    result = normal_gravity(published["latitude_deg"], published["height_m"])
    assert result == pytest.approx(published["g"], abs=5e-5)
    assert result == pytest.approx(published["recomputed"], abs=1e-9)


def test_the_gradient_is_the_free_air_one():
    # -3.086e-6 per s^2, the textbook's rounded mean value.
    gradient = (normal_gravity(45.0, 100.0) - normal_gravity(45.0)) / 100.0
    assert gradient == pytest.approx(values("normal_gravity.json")["free_air_gradient_per_m"], rel=1e-3)


def test_the_effect_refers_to_standard_gravity():
    assert effect_of(9.80665) == 0.0
    assert effect_of(normal_gravity(0.0)) == pytest.approx(9.7803253359 / 9.80665 - 1)


@pytest.mark.parametrize(("latitude", "height"), [(90.1, 0), (float("nan"), 0), (45, 12000), (45, -900)])
def test_places_that_are_none_are_refused(latitude: float, height: float):
    with pytest.raises(BadPlace) as refusal:
        normal_gravity(latitude, height)
    assert "Give" in refusal.value.do


@pytest.mark.parametrize(("limit_m", "outside_m"), [(LOWEST_m, -1.0), (HIGHEST_m, 1.0)])
def test_the_limits_of_height_are_inclusive(limit_m, outside_m):
    assert 9.7 < normal_gravity(45.0, limit_m) < 9.9
    with pytest.raises(BadPlace):
        normal_gravity(45.0, limit_m + outside_m)
