"""Settings of the bridge's tests."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

# A busy machine is no failure: examples are judged by what they give, never by how long they take.
settings.register_profile("unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("unhurried")
