"""REST: the rig's description, its health and its newest picture."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version
from typing import Any

from fastapi import APIRouter

from monitor.dashboard.interfaces import Control, RigView
from monitor.dashboard.live.hub import LiveHub
from monitor.dashboard.views.json_views import finite, picture_view, plain
from monitor.dashboard.views.models import HealthModel, LiveModel, RigModel
from monitor.dashboard.views.problems import NoPictureYet

NORMAL_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of gravity, exact by definition (3rd CGPM, 1901); only where the rig names no local one."""

OLD_S = 2.0
"""A picture older than this is stale; the page says so, and health is not ok."""


def live_routes(hub: LiveHub, rig: RigView, control: Control) -> APIRouter:
    """Return the routes ``/health``, ``/rig`` and ``/live``."""
    router = APIRouter(tags=["live"])

    @router.get("/health", response_model=HealthModel)
    def health() -> dict[str, Any]:
        """Tell whether the rig measures now."""
        number, age_s, picture = hub.newest()
        known = control.health()
        warnings = [*known.get("warnings", []), *(picture.warnings if picture is not None else ())]
        connected = known["link"]["condition"] == "connected"
        return {
            "ok": connected and age_s is not None and age_s < OLD_S,
            "version": known_version(),
            "age_s": finite(age_s, 3),
            "pictures": number,
            "screens": hub.screens,
            "link": plain(dict(known["link"])),
            "warnings": warnings,
        }

    @router.get("/rig", response_model=RigModel)
    def rig_view() -> dict[str, Any]:
        """Describe the rig: its channels, and whether it is simulated."""
        return {"gravity_m_s2": NORMAL_GRAVITY_M_S2, **rig}

    @router.get("/live", response_model=LiveModel)
    def live() -> dict[str, Any]:
        """Return the newest picture; the live feed sends each one as it comes."""
        number, age_s, picture = hub.newest()
        if picture is None:
            raise NoPictureYet
        return {"number": number, "age_s": finite(age_s, 3), "picture": picture_view(picture)}

    return router


def known_version() -> str:
    """Return the program's version."""
    try:
        return version("hang-monitor")
    except PackageNotFoundError:  # run from the source tree, not installed
        return "unknown"
