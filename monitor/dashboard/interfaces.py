"""Interfaces the dashboard requires: a store to read, a control for settings, a rig description."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, NotRequired, Protocol, TypedDict

import numpy as np
from numpy.typing import NDArray

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.live.bar_panel import BarPanel
from monitor.coaching.live.live_advice import LiveCoaching
from monitor.records.correction import CorrectionKind
from monitor.records.stored_hold import StoredHold
from monitor.store import HoldFilter, HoldOrder

LOOPBACK_NAMES = frozenset({"127.0.0.1", "localhost", "::1"})
"""Names under which a machine reaches itself; a page under any other name is refused."""


class Channel(TypedDict):
    """One load cell: its name in curves, and whether it carries the bar or the platform."""

    name: str
    part: Literal["bar", "platform"]


class RigView(TypedDict):
    """The rig as a screen needs it.

    ``invented`` is true for a rig in software: the page then says so wherever a number could be taken for a
    measured one. ``gravity_m_s2`` turns newtons into kilograms at the edge; normal gravity where it is missing.
    """

    name: str
    channels: list[Channel]
    has_platform: bool
    bar_cells: int
    nominal_rate_Hz: float
    invented: bool
    gravity_m_s2: NotRequired[float]


class LinkHealth(TypedDict):
    """The link to the board: ``connecting``, ``connected``, ``silent``, ``absent`` or ``ended``, why, what to do."""

    condition: str
    since_s: NotRequired[float]
    reason: NotRequired[str]
    do: NotRequired[str]


class Health(TypedDict):
    """Whether the rig can measure now."""

    link: LinkHealth
    warnings: NotRequired[list[str]]


class StoreReader(Protocol):
    """What a screen reads of the stored holds: the store's own methods, and the curve cut from the journal.

    Called in worker threads.
    """

    def list_holds(self, limit: int, offset: int) -> Sequence[StoredHold]:
        """Return holds, newest first."""
        ...

    def find_holds(
        self, wanted: HoldFilter, limit: int, offset: int, order: HoldOrder = "newest"
    ) -> tuple[Sequence[StoredHold], int]:
        """Return a page of the holds that a filter finds, in an order, and how many there are in all."""
        ...

    def count_holds(self) -> int:
        """Return how many holds there are."""
        ...

    def get_hold(self, uid: str) -> StoredHold | None:
        """Return one hold, None when there is none of that name."""
        ...

    def hold_curve(self, uid: str) -> tuple[NDArray[np.float64], Sequence[str], NDArray[np.float64]] | None:
        """Return times (n,) in s, column names and loads (n, columns) in N; None when there is no curve."""
        ...

    def measured_correction(self, hold_uid: str, kind: CorrectionKind, content: dict[str, Any]) -> dict[str, Any]:
        """Return a correction's content with the holds that it makes as measured, where their journal is there."""
        ...


@dataclass(frozen=True, slots=True)
class GivenSettings:
    """What a coach sets: the assistance allowed today (fraction of bodyweight), and a bodyweight that is given.

    ``bodyweight_N`` is None while the rig weighs the person itself.
    """

    alpha_max: float = 0.10
    bodyweight_N: float | None = None


class Control(Protocol):
    """The running service, as far as a screen may control it."""

    def settings(self) -> GivenSettings:
        """Return what is in force."""
        ...

    def change(self, settings: GivenSettings) -> GivenSettings:
        """Put settings in force and return them; a ``TellableError`` explains a refusal."""
        ...

    def health(self) -> Health:
        """Return whether the rig can measure; called about once a second and screen, so it must be cheap."""
        ...


class Coach(Protocol):
    """Coaching for the screens: the coaching service, who hangs, what is shown at the bar, and the running hold."""

    bar: BarPanel
    coaching: CoachingService
    live: LiveCoaching

    @property
    def person_uid(self) -> str | None:
        """Return who hangs now; None is a guest."""
        ...

    def running_session(self) -> tuple[str, float] | None:
        """Return the uid of the current session, or of one that has just ended, and its time now in s."""
        ...

    def set_person(self, uid: str | None, item: str | None = None) -> None:
        """Set who hangs from now on, and which item of their programme."""
        ...


@dataclass(frozen=True, slots=True)
class DashboardSettings:
    """How the dashboard serves.

    Attributes
    ----------
    host_names : frozenset of str
        Names that a browser may use for this machine, without port, IPv6 without brackets.
    beat_s : float
        Pause between two beats of a feed without pictures: age of the picture and health of the rig.
    send_timeout_s : float
        A reader who takes longer than this for one message is dropped; it may come again.
    """

    host_names: frozenset[str] = LOOPBACK_NAMES
    beat_s: float = 1.0
    send_timeout_s: float = 5.0
