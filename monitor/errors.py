"""The monitor's own errors, each told as what happened, what it means and what to do."""

from __future__ import annotations

from firmware_bridge.errors import TellableError

__all__ = ["BadInput", "MonitorError", "TellableError"]


class MonitorError(TellableError):
    """Anything that the monitor can tell; the root of its exceptions."""

    code = "monitor"


class BadInput(MonitorError):
    """A file or an argument that cannot be used as it is."""

    code = "bad-input"
