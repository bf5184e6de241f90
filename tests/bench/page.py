"""What the live page costs in Chromium: its main thread, updates on a slow processor, memory over half an hour."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Browser, CDPSession, Page, sync_playwright

from monitor.dashboard import LiveHub, event_view

TESTS = Path(__file__).parents[1]
for folder in ("dashboard", "browser"):
    if str(TESTS / folder) not in sys.path:
        sys.path.insert(0, str(TESTS / folder))

from chromium import VIEWPORTS, start  # noqa: E402
from fake_rig import AGAIN_S, FakeRig, FakeStore, playing, served  # noqa: E402

MEASURE_S = 20.0
THROTTLING = 4
MINUTES = 30.0
QUICKENED = 30.0
LOOKS = 12

COUNT = """(() => {
    const seen = { pictures: 0, events: 0, missed: 0, updates: 0 };
    window.seenByTest = seen;
    let waiting = 0;
    const Plain = window.WebSocket;
    window.WebSocket = class extends Plain {
        constructor(...given) {
            super(...given);
            this.addEventListener("message", ({ data }) => {
                const head = data.slice(0, 40);
                if (head.includes('"type":"picture"')) { seen.pictures++; waiting++; }
                else if (head.includes('"type":"event"') || head.includes('"type": "event"')) seen.events++;
                else if (head.includes("events_missed")) seen.missed += JSON.parse(data).count;
            });
        }
    };
    const frame = window.requestAnimationFrame.bind(window);
    window.requestAnimationFrame = (draw) => frame((now) => {
        if (waiting > 0) { seen.updates++; waiting = 0; }
        draw(now);
    });
})()"""
"""An init script: pictures and events that came, and drawings that showed a new picture."""


@dataclass(frozen=True)
class Pace:
    """Share of one processor that the page's main thread took, and its drawings of new pictures a second.

    The share is processor time, not the clock's: other programs on the machine make the drawings fewer, not dearer.
    """

    main_thread: float
    updates_per_s: float

    @property
    def update_ms(self) -> float:
        """Processor time for one drawing and all that goes with it."""
        return 1000 * self.main_thread / max(self.updates_per_s, 1e-9)


@dataclass(frozen=True)
class Course:
    """Memory at the begin and the end of a long time, in bytes after collection; and what came of the events."""

    heap_first: int
    heap_last: int
    nodes_first: int
    nodes_last: int
    events_sent: int
    events_shown: int
    pictures_shown: int


def until(page: Page, condition: str) -> None:
    """Wait until a condition of the page holds; its policy forbids Playwright's own way of waiting."""
    page.evaluate(
        f"() => new Promise((done) => {{ const look = () => ({condition}) ? done() : setTimeout(look, 50); look(); }})"
    )


def metrics(session: CDPSession) -> dict[str, float]:
    """Return the browser's own counters of a page."""
    result = session.send("Performance.getMetrics")["metrics"]
    return {one["name"]: one["value"] for one in result}


def pace(page: Page, session: CDPSession, seconds: float, throttling: int = 1) -> Pace:
    """Watch a page for a while, with its processor slowed down by a factor."""
    session.send("Performance.enable", {"timeDomain": "threadTicks"})
    session.send("Emulation.setCPUThrottlingRate", {"rate": throttling})
    before, drawn, begun_s = metrics(session), page.evaluate("seenByTest.updates"), time.monotonic()
    page.wait_for_timeout(seconds * 1000)
    after, drawn_after, took_s = metrics(session), page.evaluate("seenByTest.updates"), time.monotonic() - begun_s
    session.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    return Pace((after["TaskDuration"] - before["TaskDuration"]) / took_s, (drawn_after - drawn) / took_s)


def _memory(page: Page, session: CDPSession) -> tuple[int, int]:
    """Return bytes of the heap and nodes, each the least of some looks: what was just replaced goes a moment later."""
    looks = []
    for _ in range(LOOKS):
        page.evaluate("new Promise(requestAnimationFrame)")
        session.send("HeapProfiler.collectGarbage")
        now = metrics(session)
        looks.append((int(now["JSHeapUsedSize"]), int(now["Nodes"])))
    return min(heap for heap, _ in looks), min(nodes for _, nodes in looks)


def course(page: Page, hub: LiveHub, store: FakeStore, minutes: float, quickened: float = QUICKENED) -> Course:
    """Play the made-up scene for so many of its minutes, a closed hold in each turn; the page is there already."""
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "timeTicks"})
    rig = FakeRig()
    sent = 0

    def play(until_s: float) -> None:
        """Wait until the scene has come so far; tell of a hold whenever one has ended."""
        nonlocal sent
        while rig.t_s < until_s:
            turns = int(rig.t_s // AGAIN_S)
            while sent < turns:
                hub.publish_event(event_view("closed", store.holds[0].uid, store.holds[0]))
                sent += 1
            page.wait_for_timeout(50)

    with playing(hub, rig, speed=quickened):
        play(3 * AGAIN_S)  # the curves' thirty seconds and the lists are full now
        heap_first, nodes_first = _memory(page, session)
        play(3 * AGAIN_S + minutes * 60)
        until(page, f"seenByTest.events + seenByTest.missed >= {sent}")
        heap_last, nodes_last = _memory(page, session)
    observed = page.evaluate("seenByTest")
    return Course(heap_first, heap_last, nodes_first, nodes_last, sent, observed["events"], observed["pictures"])


@contextlib.contextmanager
def browser() -> Iterator[Browser]:
    """Run a Chromium of its own."""
    with sync_playwright() as driver:
        one = start(driver)
        yield one
        one.close()


def feed() -> Iterator[str]:
    """Yield what the feed costs on both live pages, each number beside its goal; a minute and a half."""
    with browser() as chromium, served() as dashboard:
        for path in ("/", "/coach"):
            page = chromium.new_context(viewport=VIEWPORTS["wall"]).new_page()
            page.add_init_script(COUNT)
            page.goto(dashboard.url + path)
            session = page.context.new_cdp_session(page)
            with playing(dashboard.hub, FakeRig(t_s=4.0)):
                until(page, "seenByTest.updates > 20")
                for times in (1, THROTTLING):
                    result = pace(page, session, MEASURE_S, times)
                    slowed, goal = ("", " (goal: under 15 %)") if times == 1 else (f", {times} times slowed down", "")
                    yield (
                        f"{path}{slowed}: {result.updates_per_s:.1f} updates a second (goal: 20), "
                        f"main thread {100 * result.main_thread:.1f} % of one processor{goal}, "
                        f"{result.update_ms:.1f} ms an update"
                    )
            page.close()


def report() -> Iterator[str]:
    """Yield what half an hour of pictures leaves behind; each number beside its goal."""
    with browser() as chromium, served() as dashboard:
        page = chromium.new_context(viewport=VIEWPORTS["wall"]).new_page()
        page.add_init_script(COUNT)
        page.goto(dashboard.url)
        until(page, "document.body.dataset.scene !== undefined")
        result = course(page, dashboard.hub, dashboard.store, MINUTES)
        yield (
            f"{MINUTES:.0f} minutes of pictures, {QUICKENED:.0f} times as fast: "
            f"heap {result.heap_first / 1e6:.2f} MB, then {result.heap_last / 1e6:.2f} MB; "
            f"nodes {result.nodes_first}, then {result.nodes_last} (goal: no growth)"
        )
        yield f"events: {result.events_shown} of {result.events_sent} seen (goal: all)"
