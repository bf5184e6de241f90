"""The live page: what the pipeline sees, for everyone who looks, without ever holding the pipeline up."""

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
