"""Results of earlier versions of the measurement: kept when a hold is measured anew, never changed."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from typing import Any

from sqlalchemy import Connection, insert, select

from monitor.records.earlier_result import EarlierResult
from monitor.records.hold_result import HoldResult
from monitor.store.database.schema import earlier_result

Read = Callable[[], AbstractContextManager[Connection]]


class Earlier:
    """Part of the store: ``store.earlier``."""

    def __init__(self, read: Read) -> None:
        self._read = read

    def of_hold(self, hold_uid: str) -> list[EarlierResult]:
        """Return the earlier results of a hold, oldest first."""
        query = select(earlier_result).where(earlier_result.c.hold_uid == hold_uid).order_by(earlier_result.c.id)
        with self._read() as connection:
            rows = connection.execute(query).mappings().all()
        return [
            EarlierResult(
                hold_uid=row["hold_uid"],
                measurement_version=row["measurement_version"],
                bodyweight_N=row["bodyweight_N"],
                bodyweight_u_N=row["bodyweight_u_N"],
                result=HoldResult.from_dict(row["result"]),
                replaced_utc_ns=row["replaced_utc_ns"],
            )
            for row in rows
        ]


def keep_earlier(old: Mapping[str, Any], connection: Connection) -> None:
    """Keep a hold's row as an earlier result, within the caller's transaction."""
    connection.execute(
        insert(earlier_result).values(
            hold_uid=old["uid"],
            measurement_version=old["measurement_version"],
            bodyweight_N=old["bodyweight_N"],
            bodyweight_u_N=old["bodyweight_u_N"],
            result=old["result"],
            replaced_utc_ns=time.time_ns(),
        )
    )
