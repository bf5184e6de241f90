"""Everything that is known of a person's endurance: posterior, trend, and both models side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.coaching.endurance.critical_load import Comparison, CriticalLoad, compare, fit_critical_load
from monitor.coaching.endurance.curve import Posterior, fit_endurance
from monitor.coaching.endurance.effort import Effort
from monitor.coaching.endurance.trend import Trend, fit_trend


@dataclass(frozen=True)
class EnduranceOverview:
    """A person's endurance: posterior, trend (None: too few holds), hyperbola, and how far the models agree."""

    posterior: Posterior
    trend: Trend | None
    critical: CriticalLoad | None
    models: Comparison


def endurance_overview(efforts: Sequence[Effort]) -> EnduranceOverview:
    """Return everything that efforts say of a person's endurance."""
    posterior = fit_endurance(efforts)
    critical = fit_critical_load(efforts, posterior.mean(posterior.b))
    return EnduranceOverview(posterior, fit_trend(efforts), critical, compare(posterior, critical))
