"""REST: progress, endurance, comparison of periods, search for holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query

from monitor.coaching.endurance.critical_load import CriticalLoad
from monitor.coaching.endurance.forecast import INTERVAL, Estimate, time_at
from monitor.coaching.endurance.strength_course import StrengthPoint
from monitor.coaching.progress.comparison import Comparison
from monitor.coaching.progress.progress import Progress
from monitor.dashboard.interfaces import Coach
from monitor.dashboard.routes.holds import PAGE_LIMIT
from monitor.dashboard.views.json_views import hold_view
from monitor.dashboard.views.models import MOST_UTC_MS, Day, HoldPage
from monitor.dashboard.views.problems import InvalidRequest
from monitor.dashboard.views.record_answers import NS_PER_MS
from monitor.store import HoldFilter

CURVE_BETAS = (1.0, 0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6, 0.55, 0.5, 0.45, 0.4, 0.35, 0.3)


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Predicted hold time at a load (share of bodyweight): median and four-fifths interval, in s."""

    beta: float
    time_s: Estimate


@dataclass(frozen=True, slots=True)
class TrendModel:
    """Weekly change of the hold time at any load (0.05: 5 % more), and what would disprove it."""

    per_week: Estimate
    chance_of_gain: float
    weeks: float
    holds: int
    disproof: str


@dataclass(frozen=True, slots=True)
class EnduranceModel:
    """What is known of a person's endurance.

    ``log_time_at_bodyweight`` is a of ``ln T = a + b ln beta`` (T in s), ``exponent`` is b, ``spread`` the standard
    deviation of ln T from hold to hold. ``exhausted`` counts the holds that are said to have ended so, ``unsure`` those
    that ended short of their target without a word why. ``models`` says where the hyperbolic model disagrees.
    """

    holds: int
    exhausted: int
    unsure: int
    log_time_at_bodyweight: Estimate
    exponent: Estimate
    spread: Estimate
    curve: list[CurvePoint]
    trend: TrendModel | None
    critical_load: CriticalLoad | None
    models: str


@dataclass(frozen=True, slots=True)
class StrengthModel:
    """Strength day by day: of the days with a hold, and ahead from today; ``seconds`` is what the trial asks for."""

    seconds: float
    past: list[StrengthPoint]
    ahead: list[StrengthPoint]


def progress_routes(coach: Coach) -> APIRouter:
    """Return the routes ``/people/{uid}/progress``, ``/comparison``, ``/endurance``, ``/strength`` and the search."""
    router = APIRouter(tags=["progress"])
    coaching = coach.coaching

    @router.get("/people/{uid}/progress", response_model=Progress)
    def progress(uid: str, first: Day | None = None, last: Day | None = None) -> Progress:
        """Return a person's progress between two days of their calendar, both included."""
        return coaching.progress(uid, first, last)

    @router.get("/people/{uid}/comparison", response_model=dict[str, Comparison])
    def comparison(
        uid: str, before_first: Day, before_last: Day, after_first: Day, after_last: Day
    ) -> dict[str, Comparison]:
        """Return two periods compared in every measure, with effect and interval."""
        if before_first > before_last or after_first > after_last:
            raise InvalidRequest("a period ends before it begins")
        return coaching.compare(uid, (before_first, before_last), (after_first, after_last))

    @router.get("/people/{uid}/endurance", response_model=EnduranceModel)
    def endurance(uid: str) -> EnduranceModel:
        """Return what is known of a person's endurance, each number with its four-fifths interval."""
        fitted = coaching.endurance(uid)
        posterior, trend = fitted.posterior, fitted.trend

        def estimate(values: Any) -> Estimate:
            low, middle, high = posterior.quantiles(values, (INTERVAL[0], 0.5, INTERVAL[1]))
            return Estimate(float(middle), float(low), float(high))

        return EnduranceModel(
            holds=posterior.efforts,
            exhausted=posterior.exhausted,
            unsure=posterior.unsure,
            log_time_at_bodyweight=estimate(posterior.a),
            exponent=estimate(posterior.b),
            spread=estimate(posterior.sigma),
            curve=[CurvePoint(beta, time_at(posterior, beta)) for beta in CURVE_BETAS],
            trend=None
            if trend is None
            else TrendModel(trend.per_week, trend.chance_of_gain, trend.weeks, trend.holds, trend.disproof),
            critical_load=fitted.critical,
            models=fitted.models.statement,
        )

    @router.get("/people/{uid}/strength", response_model=StrengthModel)
    def strength(uid: str) -> StrengthModel:
        """Return the chance of passing the trial without help and the time at bodyweight, by day and along the trend.

        A past day is computed from holds up to that day; ``ahead`` starts today and is empty without a trend.
        """
        past, ahead = coaching.strength(uid)
        return StrengthModel(coaching.programme(uid)[0].trial.seconds, past, ahead)

    @router.get("/search/holds", response_model=HoldPage)
    def search(
        person_uid: str | None = None,
        guests: bool = False,
        kind: Literal["passive", "active", "mixed"] | None = None,
        support: Literal["assisted", "unassisted"] | None = None,
        since_utc_ms: Annotated[int | None, Query(ge=0, le=MOST_UTC_MS)] = None,
        until_utc_ms: Annotated[int | None, Query(ge=0, le=MOST_UTC_MS)] = None,
        least_s: Annotated[float | None, Query(ge=0, allow_inf_nan=False)] = None,
        most_s: Annotated[float | None, Query(ge=0, allow_inf_nan=False)] = None,
        least_alpha: Annotated[float | None, Query(allow_inf_nan=False)] = None,
        most_alpha: Annotated[float | None, Query(allow_inf_nan=False)] = None,
        limit: Annotated[int, Query(ge=1, le=PAGE_LIMIT)] = 20,
        offset: Annotated[int, Query(ge=0, le=2**53)] = 0,
    ) -> dict[str, Any]:
        """Find holds by their properties, newest first; ``kind`` includes the coach's corrections."""
        wanted = HoldFilter(
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
        holds, total = coaching.store.find_holds(wanted, limit, offset)
        return {"total": total, "limit": limit, "offset": offset, "holds": [hold_view(hold) for hold in holds]}

    return router
