"""REST: stored holds and their curves."""

from __future__ import annotations

import io
from typing import Annotated, Any, Literal

import numpy as np
from fastapi import APIRouter, Depends, Query
from fastapi.responses import Response
from numpy.typing import NDArray

from monitor.dashboard.interfaces import StoreReader
from monitor.dashboard.views.json_views import columns_view, hold_view, thin_out
from monitor.dashboard.views.models import MOST_UTC_MS, CurveModel, HoldFieldModel, HoldModel, HoldPage
from monitor.dashboard.views.problems import NotThere
from monitor.exports.csv_file import curve_csv, holds_csv, stamps_of
from monitor.records import hold_fields
from monitor.records.stored_hold import StoredHold
from monitor.store import HoldFilter, HoldOrder

PAGE_LIMIT = 200
"""Most holds of one page of the list."""

CURVE_POINTS = 2000
"""Most points of one channel in a curve's JSON; the CSV is complete."""

NS_PER_MS = 1_000_000

_Time = Annotated[int | None, Query(ge=0, le=MOST_UTC_MS)]
_Seconds = Annotated[float | None, Query(ge=0, allow_inf_nan=False)]
_Share = Annotated[float | None, Query(allow_inf_nan=False)]


def filter_of_query(
    person_uid: Annotated[str | None, Query(max_length=80)] = None,
    guests: bool = False,
    kind: Literal["passive", "active", "mixed"] | None = None,
    support: Literal["assisted", "unassisted"] | None = None,
    since_utc_ms: _Time = None,
    until_utc_ms: _Time = None,
    least_s: _Seconds = None,
    most_s: _Seconds = None,
    least_alpha: _Share = None,
    most_alpha: _Share = None,
) -> HoldFilter:
    """Return the filter of a request's query; ``since`` is included, ``until`` is not."""
    return HoldFilter(
        person_uid=person_uid,
        guests=guests,
        kind=kind,
        support=support,
        since_utc_ns=None if since_utc_ms is None else since_utc_ms * NS_PER_MS,
        until_utc_ns=None if until_utc_ms is None else until_utc_ms * NS_PER_MS,
        least_s=least_s,
        most_s=most_s,
        least_alpha=least_alpha,
        most_alpha=most_alpha,
    )


RequestedHold = Annotated[HoldFilter, Depends(filter_of_query)]


def holds_routes(store: StoreReader) -> APIRouter:
    """Return the routes of the holds: lists, the table of their fields, one hold and its curve."""
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
        wanted: RequestedHold,
        order: HoldOrder = "newest",
        limit: Annotated[int, Query(ge=1, le=PAGE_LIMIT)] = 20,
        offset: Annotated[int, Query(ge=0, le=2**53)] = 0,
    ) -> dict[str, Any]:
        """List the holds that match the filter, sorted; ``kind`` includes the coach's corrections."""
        page, total = store.find_holds(wanted, limit, offset, order)
        return {"total": total, "limit": limit, "offset": offset, "holds": [hold_view(hold) for hold in page]}

    @router.get("/holds.csv", response_class=Response)
    def holds_table(
        query: RequestedHold,
        order: HoldOrder = "newest",
        uid: Annotated[list[str] | None, Query(max_length=PAGE_LIMIT)] = None,
    ) -> Response:
        """Return holds as CSV with units in the header: those named by ``uid``, or all that match the filter."""
        out = io.StringIO()
        if uid:
            holds_csv([wanted(one) for one in uid], out)
        else:
            _, total = store.find_holds(query, 1, 0)
            holds_csv(store.find_holds(query, max(1, total), 0, order)[0], out)
        return _csv(out.getvalue(), "holds.csv")

    @router.get("/hold-fields", response_model=list[HoldFieldModel])
    def fields() -> list[dict[str, Any]]:
        """List the fields that have a row of their own on a hold's page."""
        return [
            {
                "path": one.path,
                "label": one.measure.label,
                "unit": one.unit,
                "uncertainty": one.uncertainty,
                "reasons": one.measure.reasons,
            }
            for one in hold_fields.HOLD_FIELDS
            if one.measure.label is not None
        ]

    @router.get("/holds/{uid}", response_model=HoldModel)
    def hold(uid: str) -> dict[str, Any]:
        """Return one hold."""
        return hold_view(wanted(uid))

    @router.get("/holds/{uid}/curve", response_model=CurveModel)
    def curve(uid: str, points: Annotated[int | None, Query(ge=2, le=CURVE_POINTS)] = None) -> dict[str, Any]:
        """Return a hold's load curve, thinned to ``points`` rows; extremes are preserved."""
        t_s, names, load_N = wanted_curve(uid)
        thin_t, thin_N = thin_out(t_s, load_N, points or CURVE_POINTS)
        return {
            "uid": uid,
            "samples": len(t_s),
            "thinned": len(thin_t) < len(t_s),
            **columns_view(names, thin_t, thin_N),
        }

    @router.get("/holds/{uid}/curve.csv", response_class=Response)
    def curve_table(uid: str) -> Response:
        """Return a hold's whole load curve as CSV, in the format that ``hang-monitor analyse`` reads."""
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
