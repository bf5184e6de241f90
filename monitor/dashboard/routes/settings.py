"""REST: what a coach sets."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from monitor.dashboard.interfaces import Control, GivenSettings
from monitor.dashboard.views.models import SettingsModel


def settings_routes(control: Control) -> APIRouter:
    """Return the routes ``GET /settings`` and ``PUT /settings``."""
    router = APIRouter(tags=["settings"])

    @router.get("/settings", response_model=SettingsModel)
    def read() -> dict[str, Any]:
        """Return the settings in force."""
        return _plain(control.settings())

    @router.put("/settings", response_model=SettingsModel)
    def change(body: SettingsModel) -> dict[str, Any]:
        """Put settings in force and return them."""
        return _plain(control.change(GivenSettings(alpha_max=body.alpha_max, bodyweight_N=body.bodyweight_N)))

    return router


def _plain(given: GivenSettings) -> dict[str, Any]:
    return {"alpha_max": given.alpha_max, "bodyweight_N": given.bodyweight_N}
