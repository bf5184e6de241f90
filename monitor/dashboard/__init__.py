"""The live page: what the pipeline sees, for everyone who looks, without ever holding the pipeline up."""

from __future__ import annotations

from monitor.dashboard.app import create_app
from monitor.dashboard.cards import event_card, hold_card
from monitor.dashboard.doors import (
    Coach,
    Control,
    DashboardSettings,
    GivenSettings,
    Health,
    LinkHealth,
    RigCard,
    StoreReader,
)
from monitor.dashboard.hub import LiveHub

__all__ = [
    "Coach",
    "Control",
    "DashboardSettings",
    "GivenSettings",
    "Health",
    "LinkHealth",
    "LiveHub",
    "RigCard",
    "StoreReader",
    "create_app",
    "event_card",
    "hold_card",
]
