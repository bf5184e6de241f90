"""Beside the running hold: who hangs, what is asked, what is left; sounds, each with a twin that is seen."""

from __future__ import annotations

import dataclasses

import pytest
from fake_rig import HANGS_S, LETS_GO_S, scene_at, served
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser

TARGET_S = 15.0
LISTEN = """() => {
    window.heard = [];
    const node = () => ({ connect: (next) => next, gain: { setValueAtTime() {}, exponentialRampToValueAtTime() {} } });
    window.AudioContext = class {
        currentTime = 0;
        destination = {};
        resume() { return Promise.resolve(); }
        createGain() { return node(); }
        createOscillator() {
            const frequency = {};
            return { ...node(), frequency, start: () => window.heard.push(frequency.value), stop() {} };
        }
    };
}"""


def show(kept, page: Page, at_s: float, **changes) -> None:
    picture = dataclasses.replace(scene_at(at_s), **changes)
    kept.coach.live.see(picture)
    kept.hub.publish(picture)
    expect(page.locator("body")).to_have_attribute("data-picture", str(kept.hub.newest()[0]))


def knocks(page: Page) -> list[float]:
    """Return the basic tones that were heard since the last question; each comes with one partial."""
    heard = page.evaluate("window.heard.splice(0)")
    return heard[::2]


@pytest.fixture
def asked(kept):
    """Somebody is at the bar with a target."""
    kept.coach.set_person(kept.person)
    posterior = kept.coach.desk.posterior(kept.person)
    kept.coach.live.hangs(kept.person, posterior, item="passive", target_s=TARGET_S, alpha_max=0.1)
    return kept


def test_it_names_who_hangs_and_counts_down(open_page, asked):
    page = open_page(asked.url)
    line = page.locator("#asked")
    show(asked, page, 2.0)
    expect(line).to_have_text("Mara T., target 15 s")
    show(asked, page, HANGS_S + 3.2)
    expect(line).to_contain_text("12 s left")
    expect(line).not_to_have_class("asked near")
    show(asked, page, HANGS_S + 6.5)
    expect(line).to_contain_text("9 s left")
    expect(line).to_have_class("asked near")
    show(asked, page, HANGS_S + TARGET_S + 1)
    expect(line).to_contain_text("target reached")


def test_the_reserve_is_that_of_the_coaching(open_page, asked):
    page = open_page(asked.url)
    for at_s in (3, 4, 5, 6, 7, 8):
        show(asked, page, HANGS_S + at_s)
    used = asked.coach.live.now().reserve.used
    wanted = f"reserve {used.value * 100:.0f} % used ({used.low * 100:.0f} to {used.high * 100:.0f})"
    expect(page.locator("#asked")).to_contain_text(wanted)


def test_nobody_is_told_anything_about_a_guest(open_page, kept):
    page = open_page(kept.url)
    with page.expect_response("**/api/advice"):
        show(kept, page, HANGS_S + 4)
    show(kept, page, HANGS_S + 4.1)
    expect(page.locator("#asked")).to_have_text("")


def test_without_coaching_nothing_is_asked_for(open_page):
    with served() as dashboard:
        page = open_page(dashboard.url)
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        dashboard.hub.publish(scene_at(HANGS_S + 4))
        expect(page.locator("#scene")).to_have_text("hanging")
        assert not [url for url in asked if "advice" in url]
        expect(page.locator("#asked")).to_have_text("")


def test_all_is_silent_until_a_sound_is_switched_on(open_page, asked):
    page = open_page(asked.url)
    page.evaluate(LISTEN)
    expect(page.locator("#asked")).to_have_text("Mara T., target 15 s")
    for at_s in (2.0, HANGS_S + 0.5, HANGS_S + 2, HANGS_S + 6, HANGS_S + 16, LETS_GO_S + 1):
        show(asked, page, at_s)
    assert knocks(page) == []


def test_each_sound_comes_once_with_what_is_seen(open_page, asked):
    page = open_page(asked.url)
    page.evaluate(LISTEN)
    expect(page.locator("#asked")).to_have_text("Mara T., target 15 s")
    page.locator("#sounds summary").click()
    names = ["a hold has begun", "the feet take too much", "ten seconds left", "target reached"]
    first = {}
    for name in names:
        page.get_by_label(name).check()
        first[name] = knocks(page)
    assert all(first.values()), "a sound is heard when it is switched on"
    page.locator("#sounds summary").click()
    light = {"alpha": 0.05, "beta": 0.95}
    show(asked, page, 2.0)
    show(asked, page, HANGS_S + 0.5, **light)
    assert knocks(page) == []  # not yet sure that it is one
    show(asked, page, HANGS_S + 2, **light)
    assert knocks(page) == first["a hold has begun"]
    show(asked, page, HANGS_S + 3, alpha=0.2, beta=0.8)
    expect(page.locator("#plumbline .verdict").first).to_have_text("lighteron the feet")
    assert knocks(page) == first["the feet take too much"]
    show(asked, page, HANGS_S + 4, **light)
    show(asked, page, HANGS_S + 6, **light)
    assert knocks(page) == first["ten seconds left"]
    show(asked, page, HANGS_S + 15.5, **light)
    expect(page.locator("#asked")).to_contain_text("target reached")
    assert knocks(page) == first["target reached"]
    show(asked, page, HANGS_S + 16.5, **light)
    assert knocks(page) == []
    page.reload()
    page.locator("#sounds summary").click()
    for name in names:
        expect(page.get_by_label(name)).to_be_checked()


@pytest.mark.parametrize("viewport", ["phone", "tablet", "wall"])
def test_the_line_does_not_crowd_the_time(open_page, asked, viewport):
    page = open_page(asked.url, viewport=viewport)
    expect(page.locator("#asked")).to_have_text("Mara T., target 15 s")
    for at_s in (3.2, 4.3, 5.4):
        show(asked, page, HANGS_S + at_s)
    expect(page.locator("#asked")).to_contain_text("reserve")
    box, time = page.locator("#asked").bounding_box(), page.locator("#time-digits").bounding_box()
    assert box["y"] + box["height"] <= time["y"] + 0.2 * time["height"]
    assert box["x"] + box["width"] <= page.viewport_size["width"]
    root = "document.documentElement"
    assert page.evaluate(f"{root}.scrollWidth - {root}.clientWidth") <= 0
