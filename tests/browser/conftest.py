"""A real Chromium for tests of pages."""

from __future__ import annotations

import contextlib
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "dashboard"))  # the made-up rig lives there

CHROMIUM_ARGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip

# What a page is to show comes at once; only a broken one, or a machine at its limit, reaches this deadline (ms).
expect.set_options(timeout=30_000)

READ_NEWTONS = "try { if (!localStorage.getItem('unit')) localStorage.setItem('unit', 'N') } catch {}"
"""An init script: pages speak in newtons, as the rig does, unless a test chooses a unit."""

LOST_CONNECTION = ("ERR_CONNECTION_", "ERR_FAILED", "ERR_SOCKET_NOT_CONNECTED", "ERR_EMPTY_RESPONSE")
"""What the browser itself writes when a connection goes."""

VIEWPORTS = {
    "phone": {"width": 390, "height": 844},
    "tablet": {"width": 1024, "height": 768},
    "wall": {"width": 1920, "height": 1080},
    "big wall": {"width": 3840, "height": 2160},
}


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """One browser a module: its driver keeps an event loop in this thread, which later modules must find free."""
    path = shutil.which("chromium")
    if path is None:
        pytest.fail("There is no chromium; sh tests/run.sh installs it.")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=CHROMIUM_ARGS)
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """Open pages; at the end none of them may have complained, or asked for anything from elsewhere."""
    contexts: list[BrowserContext] = []
    complaints: list[str] = []
    asked: list[str] = []

    def open_one(
        url: str, *, viewport: str = "wall", refusals: bool = False, browser: Browser = chromium, **options: object
    ) -> Page:
        context = browser.new_context(viewport=VIEWPORTS[viewport], **{"locale": "en-GB", **options})
        contexts.append(context)
        context.add_init_script(READ_NEWTONS)
        page = context.new_page()
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
        page.on("request", lambda request: asked.append(request.url))
        page.goto(url)
        return page

    yield open_one
    for context in contexts:
        context.close()
    # A server that a test takes away leaves the browser's own line about the lost connection.
    assert [text for text in complaints if not any(line in text for line in LOST_CONNECTION)] == []
    assert {urlsplit(url).hostname for url in asked} <= {"127.0.0.1"}


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[SimpleNamespace]:
    """Serve coaching over a real store: ``url``, ``store``, ``person`` (uid), ``holds`` (newest first)."""
    with keeping(tmp_path) as hall:
        yield hall


@pytest.fixture(scope="module")
def hall(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SimpleNamespace]:
    """Serve the same as ``kept``, once a module: for tests that look and change nothing."""
    with keeping(tmp_path_factory.mktemp("hall")) as hall:
        yield hall


@contextlib.contextmanager
def keeping(folder: Path) -> Iterator[SimpleNamespace]:
    """Serve coaching over a store in a folder until the block ends."""
    from fake_coach import FakeCoach, StoredReader, fill
    from fake_rig import served

    from monitor.dashboard.doorkeeper import Doorkeeper
    from monitor.dashboard.house_api import House
    from monitor.dashboard.power_api import ProgramEnd
    from monitor.demo import demo_rig
    from monitor.health.bench import Bench
    from monitor.store import AccessFile, DataFolder, open_store
    from monitor.work.workshop import Workshop

    place = DataFolder.open(folder / "data")
    with open_store(place.database) as store, Workshop(place, audit=store.audit.add) as jobs:
        person, holds = fill(store)
        coach, end = FakeCoach(store), ProgramEnd()
        door = Doorkeeper(AccessFile(place.access_file), audit=store.audit.add)
        more = {"house": House(place, store), "door": door, "power": end, "jobs": jobs, "audit": store.audit.recent}
        more["bench"] = Bench(demo_rig(), None, root=place.root, calibrations=place.calibrations)
        with served(store=StoredReader(store), coach=coach, **more) as dashboard:
            yield SimpleNamespace(
                url=dashboard.url, hub=dashboard.hub, store=store, person=person, holds=holds, coach=coach,
                folder=place, door=door, end=end,
            )  # fmt: skip
