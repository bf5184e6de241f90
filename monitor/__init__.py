"""From counts to newtons, holds, measures, records and screens.

For notebooks and scripts a handful of names may be taken from here; ``docs/python-api.md`` shows them at work. They are
loaded when first used, so that ``import monitor`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from monitor.analysis import analyse_file as analyse
    from monitor.coaching.coaching_service import CoachingService
    from monitor.coaching.endurance.curve import fit_endurance
    from monitor.coaching.endurance.effort import Effort
    from monitor.coaching.endurance.forecast import chance_of_holding, least_assistance, time_at
    from monitor.exports.hold_curve import hold_curve
    from monitor.measures.session_analysis import AnalysisSettings
    from monitor.store import DataFolder, HoldFilter, open_store

__all__ = [
    "AnalysisSettings",
    "CoachingService",
    "DataFolder",
    "Effort",
    "HoldFilter",
    "analyse",
    "chance_of_holding",
    "fit_endurance",
    "hold_curve",
    "least_assistance",
    "open_store",
    "time_at",
]

_HOMES = {
    "Effort": ("monitor.coaching.endurance.effort", "Effort"),
    "CoachingService": ("monitor.coaching.coaching_service", "CoachingService"),
    "DataFolder": ("monitor.store", "DataFolder"),
    "HoldFilter": ("monitor.store", "HoldFilter"),
    "AnalysisSettings": ("monitor.measures.session_analysis", "AnalysisSettings"),
    "analyse": ("monitor.analysis", "analyse_file"),
    "chance_of_holding": ("monitor.coaching.endurance.forecast", "chance_of_holding"),
    "fit_endurance": ("monitor.coaching.endurance.curve", "fit_endurance"),
    "hold_curve": ("monitor.exports.hold_curve", "hold_curve"),
    "least_assistance": ("monitor.coaching.endurance.forecast", "least_assistance"),
    "open_store": ("monitor.store", "open_store"),
    "time_at": ("monitor.coaching.endurance.forecast", "time_at"),
}


def __getattr__(name: str) -> Any:
    try:
        home, own_name = _HOMES[name]
    except KeyError:
        raise AttributeError(f"module 'monitor' has no attribute {name!r}") from None
    value = getattr(import_module(home), own_name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
