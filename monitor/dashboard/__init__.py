"""The live page: shows the pipeline's results on any number of screens without ever delaying the pipeline."""

from __future__ import annotations

from monitor.dashboard.app import create_app
from monitor.dashboard.interfaces import (
    Coach,
    Control,
    DashboardSettings,
    GivenSettings,
    Health,
    LinkHealth,
    RigView,
    StoreReader,
)
from monitor.dashboard.live.hub import LiveHub
from monitor.dashboard.views.json_views import event_view, hold_view

__all__ = [
    "Coach",
    "Control",
    "DashboardSettings",
    "GivenSettings",
    "Health",
    "LinkHealth",
    "LiveHub",
    "RigView",
    "StoreReader",
    "create_app",
    "event_view",
    "hold_view",
]
