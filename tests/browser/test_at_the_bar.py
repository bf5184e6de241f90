"""Beside the running hold: who hangs, what is asked, what is left; sounds, each with a twin that is seen."""

from __future__ import annotations

import dataclasses
import re

import pytest
from fake_rig import BODYWEIGHT_N, HANGS_S, LETS_GO_S, scene_at, served
from page_layout import at_every_size, resize
from playwright.sync_api import Page, expect

from monitor.coaching.live.identification import Candidate
from monitor.measures.picture import HoldClock

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


def show(stored, page: Page, at_s: float, **changes) -> None:
    picture = dataclasses.replace(scene_at(at_s), **changes)
    stored.coach.live.take(picture)
    stored.coach.bar.take(picture)
    stored.hub.publish(picture)
    expect(page.locator("body")).to_have_attribute("data-picture", str(stored.hub.newest()[0]))


def knocks(page: Page) -> list[float]:
    """Return the basic tones that were heard since the last question; each comes with one partial."""
    heard = page.evaluate("window.heard.splice(0)")
    return heard[::2]


@pytest.fixture
def requested(stored):
    """Somebody is at the bar with a target."""
    stored.coach.set_person(stored.person)
    ask(stored)
    return stored


def ask(stored, *, alpha: float = 0.0, alpha_max: float = 0.1, target_s: float = TARGET_S) -> None:
    """Ask for a hold of a given length with a given band of help."""
    bar = stored.coach.bar
    bar._requested = dataclasses.replace(
        bar._requested, item="passive", target_s=target_s, alpha=alpha, alpha_max=alpha_max, next_at_utc_ms=None
    )
    posterior = stored.coach.coaching.posterior(stored.person)
    stored.coach.live.set_person(stored.person, posterior, item="passive", target_s=target_s, alpha_max=alpha_max)


def test_it_names_who_hangs_by_initials_and_counts_down(open_page, requested):
    page = open_page(requested.url)
    line = page.locator("#target")
    show(requested, page, 2.0)
    expect(page.locator("#who")).to_have_text("M. T.")
    expect(line).to_have_text("target 15 s\nset 1 of 3")
    show(requested, page, HANGS_S + 3.2)
    expect(line).to_have_text("12 s left of 15 s")
    expect(line).not_to_have_class("target near")
    show(requested, page, HANGS_S + 6.5)
    expect(line).to_have_text("9 s left of 15 s")
    expect(line).to_have_class("target near")
    show(requested, page, HANGS_S + TARGET_S + 1)
    expect(line).to_have_text("target reached")
    requested.coach.bar.set_shown(requested.person, "name")
    show(requested, page, HANGS_S + TARGET_S + 1.1)
    expect(page.locator("#who")).to_have_text("Mara T.")


def test_the_reserve_is_that_of_the_coaching(open_page, requested):
    page = open_page(requested.url)
    for at_s in (3, 4, 5, 6, 7, 8):
        show(requested, page, HANGS_S + at_s)
    used = requested.coach.live.now().reserve.used
    wanted = f"reserve {used.value * 100:.0f} % used\n({used.low * 100:.0f} to {used.high * 100:.0f} %)"
    expect(page.locator("#reserve")).to_have_text(wanted)


@pytest.mark.parametrize(
    ("language", "large", "reason"),
    [
        (
            "en",
            "paused",
            "Pregnancy: ask a clinician before the first hang. A coach records what was allowed in the intake.",
        ),
        (
            "de",
            "pausiert",
            "Schwangerschaft: vor dem ersten Hang eine ärztliche Praxis fragen. "
            "Was erlaubt wurde, trägt die Trainerin oder der Trainer im Aufnahmegespräch ein.",
        ),
    ],
)
def test_a_blocked_person_reads_why_and_no_invitation(open_page, requested, language, large, reason):
    requested.coach.coaching.take_intake(requested.person, {"pregnancy": True})
    requested.coach.bar.prepare()
    page = open_page("about:blank")
    page.add_init_script(f"({LISTEN})(); localStorage.setItem('language', '{language}')")
    page.add_init_script("localStorage.setItem('sounds', JSON.stringify(['start', 'band', 'last', 'target']))")
    page.goto(requested.url)
    after = page.locator("#after")
    show(requested, page, 0.5)
    expect(after).to_have_text(reason)
    show(requested, page, 2.0)
    expect(after).to_have_text(reason)
    expect(page.locator("#time-whole")).to_have_text(large)
    expect(page.locator("#target")).to_have_text("")
    for at_s, alpha in ((0.5, 0.02), (2.0, 0.05), (3.0, 0.4), (4.0, 0.4), (16.5, 0.4)):
        show(requested, page, HANGS_S + at_s, alpha=alpha, beta=1 - alpha)
        expect(after).to_have_text(reason)
    expect(page.locator("#plumbline .allowed")).to_be_hidden()
    expect(page.locator("#plumbline .verdict").first).to_have_text("")
    expect(page.locator("#feet-aside")).not_to_have_text(re.compile("fine|in Ordnung|gut"))
    assert knocks(page) == []


def test_nobody_is_told_anything_about_a_guest(open_page, stored):
    page = open_page(stored.url)
    show(stored, page, HANGS_S + 4)
    for name in ("who", "target", "reserve"):
        expect(page.locator(f"#{name}")).to_have_text("")


def test_without_coaching_the_screen_measures_all_the_same(open_page):
    with served() as dashboard:
        page = open_page(dashboard.url)
        dashboard.hub.publish(scene_at(HANGS_S + 4))
        expect(page.locator("#scene")).to_have_text("hanging")
        expect(page.locator("#feet-aside")).to_contain_text("up to 10 % is fine")
        expect(page.locator("#who")).to_have_text("")


def test_the_band_is_the_prescriptions_and_has_a_word_to_each_side(open_page, requested):
    ask(requested, alpha=0.12, alpha_max=0.2, target_s=600.0)  # so long that the coaching sees it fail without help
    page = open_page(requested.url)
    word = page.locator("#plumbline .verdict").first
    for at_s in (1.0, 2.0, 3.0):
        show(requested, page, HANGS_S + at_s, alpha=0.15, beta=0.85)
    expect(word).to_have_text("fine")
    expect(page.locator("#feet-aside")).to_contain_text("12 to 20 % is fine")
    share = page.evaluate(
        """() => {
            const at = (part, name) => Number(document.querySelector(`#plumbline ${part}`).getAttribute(name));
            return at(".allowed", "height") / (at(".idle", "y2") - at(".idle", "y1"));
        }"""
    )
    assert share == pytest.approx(0.08, abs=0.002)
    assert requested.coach.live.now().reserve.left_s.value < 590
    show(requested, page, HANGS_S + 4.2, alpha=0.05, beta=0.95)
    expect(word).to_have_text("takemore help")
    show(requested, page, HANGS_S + 4.4, alpha=0.25, beta=0.75)
    expect(word).to_have_text("lighteron the feet")
    # Less help than asked for, and the target comes all the same: nothing to say.
    ask(requested, alpha=0.12, alpha_max=0.2, target_s=6.0)
    show(requested, page, HANGS_S + 5.5, alpha=0.05, beta=0.95)
    expect(word).to_have_text("fine")
    expect(page.locator("#feet-aside")).to_contain_text("less than asked, and enough")


def test_rest_counts_between_sets_and_says_when_it_is_over(open_page, requested):
    bar = requested.coach.bar
    now_s = [1000.0]
    bar._monotonic_s = lambda: now_s[0]
    page = open_page(requested.url)
    show(requested, page, HANGS_S + 3)
    show(requested, page, LETS_GO_S + 1)
    now_s[0] += 75.0
    show(requested, page, 2.0)
    expect(page.locator("#time-digits")).to_have_text(re.compile(r"1:1[67]"))
    expect(page.locator("#time-unit")).to_have_text("rest, of 2:00")
    expect(page.locator("#after")).to_contain_text("next: Passive hang, 15 s, feet up to 10 %")
    now_s[0] += 60.0
    show(requested, page, 2.1)
    expect(page.locator("#time-unit")).to_have_text("rest of 2:00 is over")


def test_standing_still_under_a_name_takes_it_and_stepping_off_refuses(open_page, stored):
    bar, other = stored.coach.bar, stored.coach.coaching.add_person("Bo Karl")
    bar.set_queue([stored.person, other.uid])
    alike = [Candidate(stored.person, BODYWEIGHT_N, 3.0), Candidate(other.uid, BODYWEIGHT_N + 1, 3.0)]
    bar.identification.set_queue(alike)
    page = open_page(stored.url)
    t_s = [100.0]

    def stand(seconds: float, scene: str = "standing") -> None:
        for _ in range(round(seconds / 0.05)):
            t_s[0] += 0.05
            load_N = BODYWEIGHT_N if scene == "standing" else 0.0
            picture = dataclasses.replace(scene_at(2.0), t_s=t_s[0], scene=scene, bar_N=0.0, feet_N=load_N)
            named = bar.take(picture)
            if named is not None:
                stored.coach.person_uid = named.person_uid
                bar.set_person(named.person_uid, by_hand=False)
            stored.hub.publish(picture)

    stand(2.0)
    expect(page.locator("#time-digits")).to_have_text("M. T.?")
    expect(page.locator("#time-unit")).to_have_text("3 s")
    expect(page.locator("#after")).to_have_text(
        "stand still if you are M. T., step off if not; on again for the next name"
    )
    stand(1.0, "empty")
    stand(2.0)
    expect(page.locator("#time-digits")).to_have_text("B. K.?")
    assert stored.coach.person_uid is None
    stand(3.0)
    expect(page.locator("#who")).to_have_text("B. K.")
    assert stored.coach.person_uid == other.uid


def test_all_is_silent_until_a_sound_is_switched_on(open_page, requested):
    page = open_page(requested.url)
    page.evaluate(LISTEN)
    expect(page.locator("#target")).to_have_text("target 15 s\nset 1 of 3")
    for at_s in (2.0, HANGS_S + 0.5, HANGS_S + 2, HANGS_S + 6, HANGS_S + 16, LETS_GO_S + 1):
        show(requested, page, at_s)
    assert knocks(page) == []


def test_each_sound_comes_once_with_what_is_seen(open_page, requested):
    page = open_page(requested.url)
    page.evaluate(LISTEN)
    expect(page.locator("#target")).to_have_text("target 15 s\nset 1 of 3")
    page.locator("#sounds summary").click()
    names = ["a hold has begun", "the feet leave the allowed band", "ten seconds left", "target reached"]
    first = {}
    for name in names:
        page.get_by_label(name).check()
        first[name] = knocks(page)
    assert all(first.values()), "a sound is heard when it is switched on"
    page.locator("#sounds summary").click()
    light = {"alpha": 0.05, "beta": 0.95}
    show(requested, page, 2.0)
    show(requested, page, HANGS_S + 0.5, **light)
    assert knocks(page) == []  # not yet sure that it is one
    show(requested, page, HANGS_S + 2, **light)
    assert knocks(page) == first["a hold has begun"]
    show(requested, page, HANGS_S + 3, alpha=0.2, beta=0.8)
    expect(page.locator("#plumbline .verdict").first).to_have_text("lighteron the feet")
    assert knocks(page) == first["the feet leave the allowed band"]
    show(requested, page, HANGS_S + 4, **light)
    show(requested, page, HANGS_S + 6, **light)
    assert knocks(page) == first["ten seconds left"]
    show(requested, page, HANGS_S + 15.5, **light)
    expect(page.locator("#target")).to_contain_text("target reached")
    assert knocks(page) == first["target reached"]
    show(requested, page, HANGS_S + 16.5, **light)
    assert knocks(page) == []
    page.reload()
    page.locator("#sounds summary").click()
    for name in names:
        expect(page.get_by_label(name)).to_be_checked()


def test_the_line_does_not_crowd_the_time(open_page, requested):
    page = open_page(requested.url)
    expect(page.locator("#target")).to_have_text("target 15 s\nset 1 of 3")
    for at_s in (3.2, 4.3, 5.4):
        show(requested, page, HANGS_S + at_s)
    expect(page.locator("#reserve")).to_contain_text("reserve")
    for _ in at_every_size(page):
        box, time = page.locator(".panel").bounding_box(), page.locator("#time-digits").bounding_box()
        assert box["y"] + box["height"] <= time["y"] + 0.2 * time["height"] or time["x"] + time["width"] <= box["x"]
        assert box["x"] + box["width"] <= page.viewport_size["width"]


DIGITS_PX = """() => {
    const digits = document.getElementById("time-digits");
    const style = getComputedStyle(digits);
    const pen = document.createElement("canvas").getContext("2d");
    pen.font = `${style.fontSize} ${style.fontFamily}`;
    return [pen.measureText("0123456789").actualBoundingBoxAscent, digits.getBoundingClientRect().right];
}"""


SCREENS_PX = [(1920, 1080), (3840, 2160), (1024, 768), (768, 1024), (390, 844), (844, 390)]


def test_digits_of_the_time_are_a_sixth_of_the_screens_height(open_page, requested):
    page = open_page(requested.url)
    for time_s, ended in ((7.0, False), (18.4, True), (123.4, False), (123.4, True)):
        hold = HoldClock(HANGS_S, time_s, False, ended)
        show(requested, page, LETS_GO_S + 1 if ended else HANGS_S + 7, hold=hold)
        for width, height in SCREENS_PX:  # a drawing of new figures costs more than a new size does
            requested.hub.publish(requested.hub.newest()[2])  # the same again: no screen gets old
            resize(page, width, height)
            high, right = page.evaluate(DIGITS_PX)
            case = f"{width} x {height}, {time_s} s, ended {ended}"
            assert high >= height / 6, f"{case}: {high / height:.3f} of the height"
            assert right <= width, case
            beside, digits = page.locator(".panel").bounding_box(), page.locator("#time").bounding_box()
            apart = (
                digits["x"] + digits["width"] <= beside["x"]
                or digits["y"] + 0.2 * digits["height"] >= beside["y"] + beside["height"]
            )
            assert apart or beside["height"] == 0, case
