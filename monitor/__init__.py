"""From counts to newtons, holds, measures, records and screens.

For notebooks and scripts a handful of names may be taken from here; ``docs/python-api.md`` shows them at work. They are
loaded when first used, so that ``import monitor`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from monitor.analysis import analyse_file as analyse
    from monitor.coaching.bout import Bout
    from monitor.coaching.desk import CoachingDesk
    from monitor.coaching.endurance import fit_endurance
    from monitor.coaching.prescription import chance_of_holding, least_assistance, time_at
    from monitor.exports.kept_curve import hold_curve
    from monitor.measures.record import Wishes
    from monitor.store import DataFolder, HoldFilter, open_store

__all__ = [
    "Bout",
    "CoachingDesk",
    "DataFolder",
    "HoldFilter",
    "Wishes",
    "analyse",
    "chance_of_holding",
    "fit_endurance",
    "hold_curve",
    "least_assistance",
    "open_store",
    "time_at",
]

_HOMES = {
    "Bout": ("monitor.coaching.bout", "Bout"),
    "CoachingDesk": ("monitor.coaching.desk", "CoachingDesk"),
    "DataFolder": ("monitor.store", "DataFolder"),
    "HoldFilter": ("monitor.store", "HoldFilter"),
    "Wishes": ("monitor.measures.record", "Wishes"),
    "analyse": ("monitor.analysis", "analyse_file"),
    "chance_of_holding": ("monitor.coaching.prescription", "chance_of_holding"),
    "fit_endurance": ("monitor.coaching.endurance", "fit_endurance"),
    "hold_curve": ("monitor.exports.kept_curve", "hold_curve"),
    "least_assistance": ("monitor.coaching.prescription", "least_assistance"),
    "open_store": ("monitor.store", "open_store"),
    "time_at": ("monitor.coaching.prescription", "time_at"),
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
