"""A real Chromium for tests of pages."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "dashboard"))  # the made-up rig lives there

from chromium import Rooms, start
from stored_hall import keeping

# What a page is to show comes at once; only a broken one, or a machine at its limit, reaches this deadline (ms).
expect.set_options(timeout=60_000)

LOST_CONNECTION = ("ERR_CONNECTION_", "ERR_FAILED", "ERR_SOCKET_NOT_CONNECTED", "ERR_EMPTY_RESPONSE")
"""What the browser itself writes when a connection goes."""


@pytest.fixture(scope="session")
def driven() -> Iterator[tuple[Browser, asyncio.AbstractEventLoop]]:
    """Start one browser for all modules; its driver leaves its event loop in this thread."""
    with sync_playwright() as driver:
        loop = asyncio.get_running_loop()
        browser = start(driver)
        asyncio._set_running_loop(None)
        yield browser, loop
        asyncio._set_running_loop(loop)
        browser.close()


@pytest.fixture(scope="module")
def chromium(driven: tuple[Browser, asyncio.AbstractEventLoop]) -> Iterator[Browser]:
    """Give the browser; its driver's event loop is put aside between modules, where others need this thread free."""
    browser, loop = driven
    asyncio._set_running_loop(loop)
    yield browser
    asyncio._set_running_loop(None)


@pytest.fixture(scope="session")
def rooms(driven: tuple[Browser, asyncio.AbstractEventLoop]) -> Rooms:
    """Return the browser's contexts, used again by one test after the other."""
    return Rooms(driven[0])


@pytest.fixture
def open_page(chromium: Browser, rooms: Rooms) -> Iterator[Callable[..., Page]]:
    """Open pages; at the end none of them may have complained, or asked for anything from elsewhere."""
    complaints: list[str] = []
    requested: set[str] = set()

    def open_one(url: str, *, refusals: bool = False, mistakes: bool = False, **options: object) -> Page:
        page = rooms.page(**options)
        page.on("request", lambda request: requested.add(request.url))
        if mistakes:  # the page is made to fail by itself
            page.goto(url)
            return page
        page.on("pageerror", lambda error: complaints.append(str(error)))
        # A test of what the program refuses says so; the browser writes a line of its own about each refusal.
        quiet = "the server responded with a status of" if refusals else None
        page.on(
            "console",
            lambda message: (
                complaints.append(message.text)
                if message.type == "error" and not (quiet and quiet in message.text)
                else None
            ),
        )
        page.goto(url)
        return page

    yield open_one
    places = {urlsplit(url) for url in requested}
    rooms.sweep({f"{place.scheme}://{place.netloc}" for place in places})
    # A server that a test takes away leaves the browser's own line about the lost connection.
    assert [text for text in complaints if not any(line in text for line in LOST_CONNECTION)] == []
    assert {place.hostname for place in places} <= {"127.0.0.1"}


@pytest.fixture
def stored(tmp_path: Path) -> Iterator[SimpleNamespace]:
    """Serve coaching over a real store: ``url``, ``store``, ``person`` (uid), ``holds`` (newest first)."""
    with keeping(tmp_path) as hall:
        yield hall


@pytest.fixture(scope="session")
def hall(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SimpleNamespace]:
    """Serve the same as ``kept``, once: for tests that look and change nothing."""
    with keeping(tmp_path_factory.mktemp("hall")) as hall:
        yield hall
