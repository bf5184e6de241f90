"""REST: the holds that were kept, and their curves."""

from __future__ import annotations

import io
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query
from fastapi.responses import Response
from numpy.typing import NDArray

from monitor.dashboard.cards import columns_card, hold_card, thin_out
from monitor.dashboard.doors import StoreReader
from monitor.dashboard.problems import NotThere
from monitor.dashboard.shapes import CurveShape, HoldPage, HoldShape
from monitor.exports import curve_csv, holds_csv, stamps_of
from monitor.store import StoredHold

PAGE_LIMIT = 200
"""Most holds of one page of the list."""

CURVE_POINTS = 2000
"""Most points of one channel in a curve's JSON; the CSV is whole."""


def holds_routes(store: StoreReader) -> APIRouter:
    """Return the routes ``/holds``, ``/holds.csv``, ``/holds/{uid}``, its ``/curve`` and ``/curve.csv``."""
    router = APIRouter(tags=["holds"])

    def wanted(uid: str) -> StoredHold:
        hold = store.get_hold(uid)
        if hold is None:
            raise NotThere(f"hold {uid[:80]!r}")
        return hold

    def wanted_curve(uid: str) -> tuple[NDArray[np.float64], tuple[str, ...], NDArray[np.float64]]:
        wanted(uid)
        curve = store.hold_curve(uid)
        if curve is None:
            raise NotThere(f"curve of hold {uid[:80]!r}: its record is no longer on disk")
        t_s, names, load_N = curve
        return t_s, tuple(names), load_N

    @router.get("/holds", response_model=HoldPage)
    def holds(
        limit: Annotated[int, Query(ge=1, le=PAGE_LIMIT)] = 20, offset: Annotated[int, Query(ge=0)] = 0
    ) -> dict[str, Any]:
        """List holds, newest first."""
        cards = [hold_card(hold) for hold in store.list_holds(limit, offset)]
        return {"total": store.count_holds(), "limit": limit, "offset": offset, "holds": cards}

    @router.get("/holds.csv", response_class=Response)
    def holds_table() -> Response:
        """Return all holds as CSV, units in the header."""
        out = io.StringIO()
        holds_csv(store.list_holds(store.count_holds(), 0), out)
        return _csv(out.getvalue(), "holds.csv")

    @router.get("/holds/{uid}", response_model=HoldShape)
    def hold(uid: str) -> dict[str, Any]:
        """Return one hold."""
        return hold_card(wanted(uid))

    @router.get("/holds/{uid}/curve", response_model=CurveShape)
    def curve(uid: str, points: Annotated[int | None, Query(ge=2, le=CURVE_POINTS)] = None) -> dict[str, Any]:
        """Return a hold's load curve, thinned to ``points`` rows; lowest and highest values are kept."""
        t_s, names, load_N = wanted_curve(uid)
        thin_t, thin_N = thin_out(t_s, load_N, points or CURVE_POINTS)
        return {
            "uid": uid,
            "samples": len(t_s),
            "thinned": len(thin_t) < len(t_s),
            **columns_card(names, thin_t, thin_N),
        }

    @router.get("/holds/{uid}/curve.csv", response_class=Response)
    def curve_table(uid: str) -> Response:
        """Return a hold's whole load curve as CSV, in the form that ``hang-monitor analyse`` reads."""
        t_s, names, load_N = wanted_curve(uid)
        out = io.StringIO()
        curve_csv(stamps_of(t_s), names, load_N, out)
        return _csv(out.getvalue(), f"curve-{uid}.csv")

    return router


def _csv(text: str, name: str) -> Response:
    safe = "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in name)
    return Response(
        text, media_type="text/csv; charset=utf-8", headers={"Content-Disposition": f'attachment; filename="{safe}"'}
    )
