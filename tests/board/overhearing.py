"""A link to the invented board, what it told so far, and what the counts must have been."""

from __future__ import annotations

import threading
from collections.abc import Callable
from types import TracebackType

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import NO_READING, CountBlock
from firmware_bridge.events import BoardFacts, BoardFault, SourceEvent
from firmware_bridge.link import LinkSource

LIMIT_S = 300.0
ZERO = 100_000


class Overhearing:
    """Collects a link's events in a thread of its own."""

    def __init__(self, link: LinkSource) -> None:
        self.link = link
        self._events: list[SourceEvent] = []
        self._news = threading.Condition()
        self._thread = threading.Thread(target=self._collect, daemon=True)

    def __enter__(self) -> Overhearing:
        self.link.open_now()
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.link.close()
        self._thread.join()

    def _collect(self) -> None:
        for event in self.link.events():
            with self._news:
                self._events.append(event)
                self._news.notify_all()

    def wait_for(self, enough: Callable[[SourceEvent], bool]) -> None:
        """Wait until an event, past or future, is enough."""
        observed = 0

        def result() -> bool:
            nonlocal observed
            fresh, observed = self._events[observed:], len(self._events)
            return any(enough(event) for event in fresh)

        with self._news:
            assert self._news.wait_for(result, LIMIT_S), self._events[-5:]

    def wait_for_conversion(self, number: int) -> None:
        """Wait until the reading of a conversion, or of a later one, has arrived."""
        self.wait_for(lambda event: isinstance(event, CountBlock) and bool((numbers_of(event.counts) >= number).any()))

    @property
    def blocks(self) -> list[CountBlock]:
        """The count blocks so far."""
        return [event for event in self._events if isinstance(event, CountBlock) and len(event)]

    @property
    def facts(self) -> list[BoardFacts]:
        """The board's greetings so far."""
        return [event for event in self._events if isinstance(event, BoardFacts)]

    @property
    def faults(self) -> list[tuple[int, int]]:
        """Code and channel of the faults so far."""
        return [(event.code, event.channel) for event in self._events if isinstance(event, BoardFault)]

    @property
    def details(self) -> str:
        """The texts of the faults so far."""
        return "; ".join(event.detail for event in self._events if isinstance(event, BoardFault))

    @property
    def counts(self) -> NDArray[np.int32]:
        """All rows so far."""
        return np.concatenate([block.counts for block in self.blocks])

    @property
    def board_us(self) -> NDArray[np.float64]:
        """Their stamps."""
        return np.concatenate([block.board_s for block in self.blocks]) * 1e6

    @property
    def lost(self) -> int:
        """Conversions known to be missing between the rows."""
        return sum(block.lost_before for block in self.blocks[1:])


def numbers_of(counts: NDArray[np.int32]) -> NDArray[np.int64]:
    """Return the conversion that each count of the invented converter tells of, -1 for no reading."""
    numbers = (counts.astype(np.int64) + ZERO) // 8
    return np.where(counts == NO_READING, -1, numbers)


def row_numbers(counts: NDArray[np.int32], trusted: list[int] | None = None) -> NDArray[np.int64]:
    """Return the conversion of each row; demands that every count is a true one of its row and channel.

    Channels that are not ``trusted`` are left out; a row without any reading is -1.
    """
    channels = list(range(counts.shape[1])) if trusted is None else trusted
    numbers = numbers_of(counts[:, channels])
    row = numbers.max(axis=1)
    given = numbers >= 0
    assert np.array_equal(numbers[given], np.broadcast_to(row[:, None], numbers.shape)[given]), "an invented count"
    own_channel = (counts[:, channels].astype(np.int64) + ZERO) % 8 == np.array(channels)
    assert own_channel[given].all(), "a count of another channel"
    return row


def check_nothing_lost_silently(heard: Overhearing, trusted: list[int] | None = None) -> None:
    """Demand that numbers rise, and that rows received plus conversions reported lost are all there were."""
    rows = row_numbers(heard.counts, trusted)
    messages = rows[rows >= 0]
    assert (np.diff(messages) > 0).all()
    assert rows[0] >= 0
    assert rows[-1] >= 0
    # Block by block: a loss stands where it happened.
    after = 0
    for before, block in zip(heard.blocks, heard.blocks[1:], strict=False):
        after += len(before)
        if rows[after - 1] >= 0 and rows[after] >= 0:
            assert rows[after] - rows[after - 1] - 1 == block.lost_before
    assert rows[-1] - rows[0] + 1 == len(rows) + heard.lost
    counters = heard.link.counters
    assert (counters.samples, counters.damaged, counters.repeated) == (len(rows), 0, 0)
