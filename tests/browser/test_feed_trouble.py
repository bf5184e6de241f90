"""The live page through sleep, reload, a lost network, a restart in mid-hold, many screens, and clocks that differ."""

from __future__ import annotations

import re
import threading

import pytest
from cable import cable
from fake_rig import HANGS_S, FakeStore, playing, scene_at, served
from playwright.sync_api import Page, expect

from monitor.dashboard import LiveHub, event_view
from tests.bench.page import COUNT, course, until

pytestmark = pytest.mark.browser

HANGING = scene_at(HANGS_S + 3.2)
LATER = scene_at(HANGS_S + 9.4)
MANY = 4
PATIENCE_MS = 60_000


class Stands:
    """A rig that sees the same scene again and again, so that no screen gets old."""

    step_s = 0.1

    def __init__(self, picture=HANGING) -> None:
        self.show(picture)

    def show(self, picture) -> None:
        self.picture, self.left, self.shown = picture, 30, threading.Event()

    def next(self):
        self.left -= 1
        if self.left == 0:
            self.shown.set()
        return self.picture


def shows(page: Page, seconds: str) -> None:
    expect(page.locator("#scene")).to_have_text("hanging", timeout=PATIENCE_MS)
    expect(page.locator("#time-digits")).to_have_text(seconds, timeout=PATIENCE_MS)
    expect(page.locator("#notice")).to_be_hidden(timeout=PATIENCE_MS)


def test_a_page_that_slept_wakes_up_with_the_newest_picture(open_page):
    with served() as dashboard:
        rig = Stands()
        with playing(dashboard.hub, rig):
            page = open_page(dashboard.url)
            shows(page, "3")
            session = page.context.new_cdp_session(page)
            session.send("Page.setWebLifecycleState", {"state": "frozen"})
            rig.show(LATER)
            assert rig.shown.wait(60)  # three seconds of pictures: nobody waits for the sleeper
            session.send("Page.setWebLifecycleState", {"state": "active"})
            shows(page, "9")


def test_a_reload_in_mid_hold_goes_on_with_the_hold(open_page):
    with served() as dashboard, playing(dashboard.hub, Stands()):
        page = open_page(dashboard.url)
        shows(page, "3")
        page.reload()
        shows(page, "3")


def test_a_lost_network_is_told_and_comes_back_by_itself(open_page):
    with served() as dashboard, cable(dashboard.port) as line:
        rig = Stands()
        with playing(dashboard.hub, rig):
            page = open_page(f"http://127.0.0.1:{line.port}", refusals=True)
            shows(page, "3")
            line.cut()
            expect(page.locator("#notice-what")).to_have_text(re.compile("screen is old"), timeout=PATIENCE_MS)
            expect(page.locator("#notice-do")).to_contain_text("by itself")
            rig.show(LATER)
            line.mend()
            shows(page, "9")


def test_a_hold_that_ended_while_the_network_was_lost_is_in_the_list(open_page):
    store = FakeStore()
    newest, store.holds = store.holds[0], store.holds[1:]
    with served(store=store) as dashboard, cable(dashboard.port) as line, playing(dashboard.hub, Stands()):
        page = open_page(f"http://127.0.0.1:{line.port}", refusals=True)
        shows(page, "3")
        expect(page.locator(".hold").first).to_have_attribute("data-uid", "hold-1")
        line.cut()
        expect(page.locator("#notice-what")).to_have_text(re.compile("screen is old"), timeout=PATIENCE_MS)
        store.holds.insert(0, newest)
        dashboard.hub.publish_event(event_view("closed", newest.uid, newest))
        line.mend()
        expect(page.locator(".hold").first).to_have_attribute("data-uid", "hold-0", timeout=PATIENCE_MS)


def test_a_restart_in_mid_hold_goes_on_with_what_the_program_measures_then(open_page):
    with served() as dashboard, playing(dashboard.hub, Stands(LATER)):
        port = dashboard.port
        page = open_page(dashboard.url)
        shows(page, "9")
    expect(page.locator("#rig-facts")).to_contain_text("program not reached", timeout=PATIENCE_MS)
    with served(port=port) as dashboard, playing(dashboard.hub, Stands(HANGING)):
        shows(page, "3")  # a restarted program begins anew, and so does its clock


def test_many_screens_show_the_same(open_page):
    hub = LiveHub()
    with served(hub) as dashboard, playing(hub, Stands()):
        pages = [open_page(dashboard.url, viewport="tablet") for _ in range(MANY)]
        for page in pages:
            shows(page, "3")
        assert hub.screens == MANY


@pytest.mark.parametrize("off_h", [-1, 1])
def test_a_screen_whose_clock_is_an_hour_wrong_shows_the_same(open_page, off_h):
    wrong = f"""(() => {{
        const plain = Date;
        window.Date = class extends plain {{
            constructor(...given) {{ super(...(given.length > 0 ? given : [plain.now() + {off_h} * 3600e3])); }}
            static now() {{ return plain.now() + {off_h} * 3600e3; }}
        }};
    }})()"""
    with served() as dashboard, playing(dashboard.hub, Stands()):
        right = open_page(dashboard.url)
        shows(right, "3")
        page = open_page("about:blank")
        page.add_init_script(wrong)
        page.goto(dashboard.url)
        shows(page, "3")
        assert page.evaluate("Date.now()") - right.evaluate("Date.now()") == pytest.approx(off_h * 3600e3, abs=300e3)
        whens = [one.locator(".hold-when").all_inner_texts() for one in (right, page)]
        assert whens[0] == whens[1]
        assert whens[0]


def test_after_minutes_of_pictures_nothing_has_grown_and_no_event_is_lost(open_page):
    """Half an hour of the scene, 240 times as fast: what comes too quickly is left out, as for a slow screen."""
    with served() as dashboard:
        # An option that no other test gives makes a context of its own, with a process and a heap that it alone fills.
        page = open_page("about:blank", java_script_enabled=True)
        page.add_init_script(COUNT)
        page.goto(dashboard.url)
        until(page, "document.body.dataset.scene !== undefined")
        result = course(page, dashboard.hub, dashboard.store, minutes=30.0, quickened=240.0)
        assert result.pictures_shown > 100
        assert result.events_shown == result.events_sent >= 50
        # A picture kept by mistake would be about 1 kB each, 3600 of them; what is kept by design is thirty seconds.
        assert result.heap_last - result.heap_first < 1_000_000
        assert result.nodes_last <= result.nodes_first + 50
