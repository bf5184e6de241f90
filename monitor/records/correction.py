"""A coach's correction of a hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

CorrectionKind = Literal["retag", "split", "join", "discard", "restore"]
CORRECTION_KINDS: tuple[CorrectionKind, ...] = ("retag", "split", "join", "discard", "restore")


@dataclass(frozen=True, slots=True)
class Correction:
    """A coach's word on a hold.

    Attributes
    ----------
    kind : CorrectionKind
    content : dict
        ``retag``: ``kind``. ``split``: ``at_s``, in seconds of the record as onset and release. ``join``: ``with``, the
        uid of the next hold of the same session. ``discard`` and ``restore``: nothing. A split or join whose journal is
        there also has ``measured``: the measurement's ``version`` and the ``results`` of the holds that it makes, as of
        ``HoldResult.as_dict``. A split of version 0.1 may have ``parts`` instead, two dicts of means.
    """

    id: int
    session_uid: str
    hold_uid: str
    kind: CorrectionKind
    content: dict[str, Any]
    reason: str
    made_by: str
    at_utc_ns: int
    undone_utc_ns: int | None = None
    undone_by: str | None = None
