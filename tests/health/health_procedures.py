"""Checks of virtual rigs without a port: an invented person does what the check asks."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import BoardFacts
from monitor.demo.scripted_person import ScriptedPerson
from monitor.health.checkup import Checkup
from monitor.rig import Rig


def facts_of(rig: Rig, **other: object) -> BoardFacts:
    values: dict[str, object] = {
        "segment": 0,
        "protocol": 1,
        "firmware": (0, 1, 0),
        "board_id": b"12345678",
        "boot_count": 1,
        "channels": len(rig.channels),
        "rate_Hz": rig.nominal_rate_Hz,
        "skew_us": 0,
        "reading_delay_us": 6250,
        "converter": "virtual",
    }
    return BoardFacts(**{**values, **other})  # type: ignore[arg-type]


def blocks_of(person: ScriptedPerson, first: int, n: int, cut: Iterable[int] = ()) -> list[CountBlock]:
    """Return n conversions from number ``first`` on as blocks, cut where rows are missing and at ``cut``."""
    counts, missed = person.conversions(n)
    ready_s = (first + np.arange(1, n + 1)) / person.rig.nominal_rate_Hz
    blocks, lost, start = [], 0, 0
    for row in range(n + 1):
        if row == n or missed[row] or row in cut:
            if row > start:
                blocks.append(CountBlock(0, ready_s[start:row], counts[start:row], lost))
                lost = 0
            start = row
            if row < n and missed[row]:
                lost, start = lost + 1, row + 1
    return blocks


def procedure(checkup: Checkup, person: ScriptedPerson, *, facts: BoardFacts | None = None, piece: int = 40) -> Checkup:
    """Do everything that the check asks, as fast as it goes."""
    checkup.take(facts or facts_of(person.rig))
    begun, first = "", 0
    for _ in range(100_000):
        if checkup.finished:
            return checkup
        task = checkup.progress.task
        if task is not None and task.key != begun:
            begun = task.key
            person.begin(begun)
        for block in blocks_of(person, first, piece):
            checkup.take(block)
        first += piece
    raise AssertionError("the check never ends")
