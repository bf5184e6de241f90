"""A Chromium that many tests share: how it starts, and its contexts, which are emptied and used again.

A new context costs several times what it costs to open a page in one that is there.
"""

from __future__ import annotations

import contextlib
import shutil
from collections import defaultdict
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from playwright.sync_api import Browser, BrowserContext, CDPSession, Page, Playwright

CHROMIUM_ARGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--renderer-process-limit=1",  # for each context: a new process for a page costs as much as the page itself
]  # fmt: skip

READ_NEWTONS = "try { if (!localStorage.getItem('unit')) localStorage.setItem('unit', 'N') } catch {}"
"""An init script: pages speak in newtons, as the rig does, unless a test chooses a unit."""

VIEWPORTS = {
    "phone": {"width": 390, "height": 844},
    "tablet": {"width": 1024, "height": 768},
    "wall": {"width": 1920, "height": 1080},
    "big wall": {"width": 3840, "height": 2160},
}

MEDIA = ("color_scheme", "reduced_motion", "forced_colors")
"""Options that a page may be given by itself; all others belong to its context."""
MOST_IDLE = 3
LONGEST_MS = 120_000
"""For a page to come or a button to be there; reached by a broken page only, or by a machine at its limit."""
FONT_PX = "parseFloat(getComputedStyle(document.documentElement).fontSize)"


def program() -> str:
    """Return where Chromium is: the one without windows, which costs least, else the one that people use."""
    path = shutil.which("chromium-headless-shell") or shutil.which("chromium")
    if path is None:
        raise FileNotFoundError("There is no Chromium; sh tests/run.sh installs it.")
    return path


def start(driver: Playwright, *more: str) -> Browser:
    """Start Chromium; ``more``: arguments beside those that all tests give."""
    return driver.chromium.launch(executable_path=program(), args=[*CHROMIUM_ARGS, *more])


@contextlib.contextmanager
def large_text(page: Page) -> Iterator[None]:
    """Let the page's reader have set text to 32 px instead of 16 px, 200 %, until the block ends."""
    session = page.context.new_cdp_session(page)
    session.send("Page.setFontSizes", {"fontSizes": {"standard": 32, "fixed": 26}})
    assert page.evaluate(FONT_PX) >= 32
    yield
    session.send("Page.setFontSizes", {"fontSizes": {"standard": 16, "fixed": 13}})
    session.detach()


@contextlib.contextmanager
def fingers(page: Page) -> Iterator[None]:
    """Let the page be on a device that is touched, as large as its window is now, until the block ends."""
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 5})
    session.send("Emulation.setDeviceMetricsOverride", {**page.viewport_size, "deviceScaleFactor": 1, "mobile": True})
    assert page.evaluate("matchMedia('(pointer: coarse)').matches")
    yield
    session.detach()


@dataclass
class Room:
    """A context, and the one page in it that stays: it sweeps out what the others have left."""

    context: BrowserContext
    sweeper: CDPSession

    def swept(self, origins: Collection[str]) -> None:
        """Close the pages and forget all that they kept."""
        for page in self.context.pages[1:]:
            page.close()
        self.context.clear_cookies()
        for origin in origins:
            self.sweeper.send("Storage.clearDataForOrigin", {"origin": origin, "storageTypes": "all"})


class Rooms:
    """The contexts of a browser: handed out one for each page, as good as new, and taken back."""

    def __init__(self, browser: Browser) -> None:
        self.browser = browser
        self._idle: defaultdict[str, list[Room]] = defaultdict(list)
        self._taken: list[tuple[str, Room]] = []

    def page(self, *, viewport: str = "wall", **options: object) -> Page:
        """Open an empty page that shares nothing with any other."""
        media = {name: options.pop(name) for name in MEDIA if name in options}
        kind = repr(sorted(options.items()))
        room = self._idle[kind].pop() if self._idle[kind] else self._new(options)
        self._taken.append((kind, room))
        page = room.context.new_page()
        page.set_viewport_size(VIEWPORTS[viewport])  # type: ignore[arg-type]
        if media:
            page.emulate_media(**media)  # type: ignore[arg-type]
        return page

    def sweep(self, origins: Collection[str]) -> None:
        """Take back all that was handed out; ``origins``: where its pages have been."""
        taken, self._taken = self._taken, []
        for kind, room in taken:
            if len(self._idle[kind]) < MOST_IDLE:
                room.swept(origins)
                self._idle[kind].append(room)
            else:
                room.context.close()

    def _new(self, options: dict[str, object]) -> Room:
        context = self.browser.new_context(**{"locale": "en-GB", **options})  # type: ignore[arg-type]
        context.add_init_script(READ_NEWTONS)
        context.set_default_timeout(LONGEST_MS)
        return Room(context, context.new_cdp_session(context.new_page()))
