"""Shapes of the REST answers, for the description under ``/api/openapi.json``."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

MOST_UTC_MS = 9_000_000_000_000
"""Latest instant that is taken, in the year 2255: nanoseconds since 1970 fit into 63 bits."""


def _plain_day(value: object) -> object:
    """Refuse what a date could be made of, such as seconds since 1970: a day is written 2026-03-31 (RFC 3339)."""
    if isinstance(value, str) and not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
        raise ValueError("a day is written as 2026-03-31")
    if isinstance(value, (int, float)):
        raise ValueError("a day is written as 2026-03-31")
    return value


def _day_within_reach(day: dt.date) -> dt.date:
    if not dt.date(1970, 1, 2) <= day <= dt.date(2254, 12, 31):
        raise ValueError("a day lies between 1970-01-02 and 2254-12-31")
    return day


Day = Annotated[dt.date, BeforeValidator(_plain_day), AfterValidator(_day_within_reach)]
"""A day of the calendar; its instants can be counted in nanoseconds, in every time zone."""

RowId = Annotated[int, Field(ge=1, le=2**63 - 1)]
"""Row id; the database uses 63 bits."""


class Problem(BaseModel):
    """What happened, what it means, what to do, and a short stable code."""

    code: str
    what: str
    means: str
    do: str


class ProblemModel(BaseModel):
    """The one shape of every error."""

    error: Problem


class SettingsModel(BaseModel):
    """What a coach sets. ``bodyweight_N`` null: the rig weighs the person itself."""

    model_config = ConfigDict(extra="forbid")

    alpha_max: float = Field(
        ge=0, le=1, strict=True, allow_inf_nan=False, description="allowed assistance, fraction of bodyweight"
    )
    bodyweight_N: float | None = Field(
        default=None,
        gt=50,
        lt=5000,
        strict=True,
        allow_inf_nan=False,
        description="given bodyweight in newtons, or null",
    )


class HoldModel(BaseModel):
    """One stored hold with its corrections applied; ``result`` has the keys of the analysis result.

    ``person_uid`` null: a guest. ``target_s``: the target time; ``ending``: why it ended, where known.
    ``hidden``: a correction takes it out of the lists. ``made_by``: the correction that made it.
    ``notes``: the result's flags in words, in the same order.
    """

    uid: str
    session_uid: str
    number: int
    onset_utc_ms: int
    utc_offset_s: int | None
    bodyweight_N: float | None
    bodyweight_u_N: float | None
    measurement_version: int
    revised: int
    person_uid: str | None = None
    target_s: float | None = None
    ending: str | None = None
    hidden: str | None = None
    made_by: int | None = None
    notes: list[str] = []
    result: dict[str, Any]


class HoldPage(BaseModel):
    """A page of the list of holds, newest first."""

    total: int
    limit: int
    offset: int
    holds: list[HoldModel]


class HoldFieldModel(BaseModel):
    """A measure of a hold: where its value and its standard uncertainty stand in a hold, and its label's key.

    ``reasons``: flags that can explain why it is absent, the most likely first.
    """

    path: str
    label: str
    unit: str
    uncertainty: str | None
    reasons: list[str]


class CurveModel(BaseModel):
    """A hold's load curve: one list of newtons for each name. ``thinned``: only extremes are kept."""

    uid: str
    names: list[str]
    t_s: list[float]
    load_N: list[list[float | None]]
    samples: int
    thinned: bool


class ChannelModel(BaseModel):
    """One load cell: its name in curves, and whether it carries the ``bar`` or the ``platform``."""

    name: str
    part: str


class RigModel(BaseModel):
    """The rig; ``invented`` is true for one in software."""

    name: str
    channels: list[ChannelModel]
    has_platform: bool
    bar_cells: int
    nominal_rate_Hz: float
    invented: bool
    gravity_m_s2: float


class LiveModel(BaseModel):
    """The newest picture, its number and its age in seconds."""

    number: int
    age_s: float | None
    picture: dict[str, Any]


class HealthModel(BaseModel):
    """Whether the rig measures: state of the link, age of the newest picture, warnings."""

    ok: bool
    version: str
    age_s: float | None
    pictures: int
    screens: int
    link: dict[str, Any]
    warnings: list[str]


_PROBLEM = {"application/json": {"schema": {"$ref": "#/components/schemas/ProblemModel"}}}

PROBLEMS: dict[int | str, dict[str, Any]] = {
    # One names the shape, so that it is described; from each that does the framework builds a reader for every address.
    code: {"description": text} | ({"model": ProblemModel} if code == 400 else {"content": _PROBLEM})
    for code, text in (
        (400, "refused, in its own words"),
        (401, "this device is not signed in"),
        (403, "foreign page or name, or not for this role"),
        (404, "not there"),
        (405, "not by this method"),
        (408, "the body did not come in time"),
        (409, "not as things stand now"),
        (413, "too large"),
        (415, "not as JSON"),
        (422, "cannot be used"),
        (429, "too often; wait"),
        (500, "our mistake"),
        (503, "not now"),
    )
}
