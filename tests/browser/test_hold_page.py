"""The page of a kept hold: its numbers with their uncertainty, its curve with what was seen on it, an earlier one."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
from fake_rig import HANGS_S, FakeStore, full_hold, loads_at, made_up_holds, served
from page_layout import at_every_size
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser


@pytest.fixture
def dashboard():
    with served(store=FakeStore([full_hold(), *made_up_holds()])) as dashboard:
        yield dashboard


def ready(page: Page) -> Page:
    expect(page.locator("body")).to_have_attribute("data-ready", "yes")
    return page


def value(page: Page, measure: str, column: int = 1) -> str:
    row = page.locator("#rows tr").filter(has=page.get_by_role("rowheader", name=measure, exact=True))
    return row.locator("th, td").nth(column).inner_text().replace("\u00a0", " ")


def test_numbers_stand_with_their_uncertainty_and_unit(open_page, dashboard):
    page = ready(open_page(f"{dashboard.url}/hold/full"))
    assert value(page, "time") == "18.40 ± 0.02 s"
    assert value(page, "hands, mean") == "91.2 ± 0.4 %"
    assert value(page, "feet, mean") == "8.7 ± 0.3 %"
    assert value(page, "account (bar + feet − bodyweight)") == "−0.2 ± 0.2 %"
    # 702.4 N and 0.6 N at the standard acceleration of gravity, 9.80665 m/s2 (3rd CGPM 1901)
    assert value(page, "bodyweight") == "71.62 ± 0.07 kg"
    assert value(page, "travel") == "+31 ± 3 mm; −29 ± 3 mm"
    assert value(page, "hands' middle") == "1.2 ± 0.3 cm to the left"
    assert page.locator("#time").inner_text().replace("\u00a0", " ") == "18.40 ± 0.02 s"
    assert page.locator("#target").inner_text() == "target 18 s reached"
    assert page.locator("#note-list").inner_text() == "something else carried weight for a while"


def test_the_day_is_that_of_the_place_where_it_was_made(open_page, dashboard):
    # 1 764 000 600 s after the epoch is 24 November 2025, 16:10 UTC (reckoned by Python's datetime): 17:10 there.
    page = ready(open_page(f"{dashboard.url}/hold/full", timezone_id="Asia/Tokyo"))
    assert re.fullmatch(r"hold of 24 Nov 2025, 17:10", page.locator("#title").inner_text())


def test_one_thing_to_try_comes_with_its_reason(open_page, dashboard):
    page = ready(open_page(f"{dashboard.url}/hold/full"))
    assert page.locator("#suggestion").inner_text() == "touch nothing but bar and platform"
    assert "For 2.4 s something else carried 8 %" in page.locator("#suggestion-why").inner_text()
    page = ready(open_page(f"{dashboard.url}/hold/hold-6"))
    assert page.locator("#suggestion").inner_text() == "lighter on the feet"
    assert page.locator("#suggestion-why").inner_text() == "They took 31 % on average; up to 10 % is fine."


def test_what_is_not_known_says_why(open_page):
    unknown = dataclasses.replace(made_up_holds()[4].result, flags=["too_short", "bodyweight_unknown"])
    store = FakeStore([dataclasses.replace(full_hold(), result=unknown, bodyweight_N=None, bodyweight_u_N=None)])
    with served(store=store) as dashboard:
        page = ready(open_page(f"{dashboard.url}/hold/full"))
        assert value(page, "feet, mean") == "bodyweight not known: neither given nor weighed"
        assert value(page, "bodyweight") == "bodyweight not known: neither given nor weighed"
        assert page.locator(".nb-weight").count() == 0


def read(page: Page, *keys: str) -> dict[str, float]:
    page.locator("#paper").focus()
    for key in keys:
        page.locator("#paper").press(key)
    messages = page.locator("#paper").get_attribute("aria-valuetext").replace("\u00a0", " ")
    return {
        label: float(number.replace("−", "-"))
        for label, number in re.findall(r"((?:earlier )?(?:hands|feet)) ([−\d]+) N", messages)
    }


def test_keys_read_the_curve_with_the_zeros_taken_off(open_page, dashboard):
    page = ready(open_page(f"{dashboard.url}/hold/full"))
    at_end_s = full_hold().result.duration_s - 1.0
    read_N = read(page, "End", "Shift+ArrowLeft")
    # 1200 points over 25 s: the nearest kept pair lies within 42 ms; as much as the curves move in it.
    near = loads_at(HANGS_S + at_end_s + np.linspace(-0.05, 0.05, 20))
    for name, columns, zero_N in (("hands", slice(0, 2), 1.4), ("feet", slice(2, 6), -2.6)):
        sums = near[:, columns].sum(axis=1) - zero_N
        # Lowest and highest are kept cell by cell, so a sum of four may be wrong by their noise, 0.8 N each.
        assert sums.min() - 5 <= read_N[name] <= sums.max() + 5
    page.locator("#paper").press("Escape")
    assert "arrow keys" in page.locator("#reading").inner_text()


def test_what_was_seen_is_drawn_where_it_was(open_page, dashboard):
    page = ready(open_page(f"{dashboard.url}/hold/full"))
    edges = [float(x) for x in page.eval_on_selector_all(".nb-edge", "all => all.map((e) => e.getAttribute('x1'))")]
    result = full_hold().result
    per_s = (edges[1] - edges[0]) / result.duration_s
    touches = [float(x) for x in page.eval_on_selector_all(".nb-touch", "all => all.map((e) => e.getAttribute('x'))")]
    wanted = [edges[0] + (touch.start_s - result.onset_s) * per_s for touch in result.touches]
    assert touches == pytest.approx(wanted, abs=0.6)
    missing = page.locator(".nb-missing")
    assert float(missing.get_attribute("x")) == pytest.approx(edges[0] + (14.0 - HANGS_S) * per_s, abs=0.6)
    scale = page.evaluate(
        """() => {
            const y = (name) => parseFloat(document.querySelector(name).getAttribute("y1"));
            return y(".nb-base") - y(".nb-weight");
        }"""
    )
    assert float(missing.get_attribute("height")) == pytest.approx(0.081 * scale, rel=0.01)  # from bodyweight down
    assert page.locator(".nb-missing-text").text_content() == "8 % held elsewhere"
    drawn = page.locator(".chart").text_content()
    for words in ("relaxed", "drawn down", "+31 ± 3 mm", "6 %", "feet touch", "hands move", "bodyweight"):
        assert words in drawn


def test_an_earlier_hold_is_laid_under_it(open_page, dashboard):
    page = ready(open_page(f"{dashboard.url}/hold/full"))
    expect(page.locator(".nb-curve")).to_have_count(2)
    choice = page.get_by_label("lay under it")
    expect(choice.locator("option")).to_have_count(8)
    choice.select_option("hold-2")
    expect(page.locator(".nb-curve.earlier")).to_have_count(2)
    assert value(page, "time", 2) == "41.10 ± 0.01 s"
    assert set(read(page, "Home")) == {"hands", "feet", "earlier hands", "earlier feet"}
    choice.select_option("")
    expect(page.locator(".nb-curve")).to_have_count(2)
    expect(page.locator("#earlier-column")).to_be_hidden()


def test_a_curve_that_is_gone_leaves_the_numbers(open_page, dashboard):
    page = ready(open_page(f"{dashboard.url}/hold/hold-1", refusals=True))
    expect(page.locator("#curve-gone")).to_contain_text("no longer on disk")
    assert value(page, "time") == "32.56 ± 0.01 s"


def test_a_hold_that_is_not_there_is_told(open_page, dashboard):
    page = open_page(f"{dashboard.url}/hold/none", refusals=True)
    expect(page.get_by_role("alert")).to_contain_text("There is no hold 'none'.")
    expect(page.get_by_role("alert")).to_contain_text("Check the address")


def test_its_links_lead_to_the_data(open_page, dashboard):
    page = ready(open_page(f"{dashboard.url}/hold/full"))
    places = page.eval_on_selector_all("#links a", "all => all.map((a) => a.href)")
    assert len(places) == 4
    for place in places:
        assert page.request.get(place).ok, place


def test_it_fits_the_screen(open_page, dashboard):
    page = ready(open_page(f"{dashboard.url}/hold/full"))
    for _ in at_every_size(page):
        box = page.locator("#paper").bounding_box()
        texts = page.eval_on_selector_all(
            ".chart text", "(all) => all.map((t) => t.getBoundingClientRect()).map((b) => [b.left, b.right])"
        )
        assert texts
        assert all(box["x"] - 1 <= left and right <= box["x"] + box["width"] + 1 for left, right in texts)


def test_touches_and_free_feet_are_never_told_together(open_page):
    free = made_up_holds()[1]
    touched = dataclasses.replace(free.result, touches=full_hold().result.touches)
    store = FakeStore([dataclasses.replace(free, uid="free"), dataclasses.replace(free, uid="touched", result=touched)])
    with served(store=store) as dashboard:
        page = ready(open_page(f"{dashboard.url}/hold/free"))
        assert page.locator("#gain-why").inner_text() == "All of it without the feet."
        page = ready(open_page(f"{dashboard.url}/hold/touched"))
        assert "without the feet" not in page.locator("#gain-why").inner_text()
        assert page.locator("#suggestion-why").inner_text() == "They touched 2 times."


def test_cues_and_pain_stand_at_their_instants(open_page, stored):
    hold = stored.holds[0]
    at = f"/api/holds/{hold.uid}/markers"
    page = ready(open_page(f"{stored.url}/hold/{hold.uid}"))
    expect(page.locator("#mark-list")).to_be_hidden()
    for given in (
        {"kind": "cue", "text": "ribs <down>", "at_s": HANGS_S + 3},
        {"kind": "pain", "pain": 2, "at_s": HANGS_S + 8},
    ):
        assert page.request.post(stored.url + at, data=given, headers={"Origin": stored.url}).status == 201
    page.reload()
    ready(page)
    assert page.locator("#mark-list li").all_inner_texts() == ["3.0 s: ribs <down>", "8.0 s: pain 2 of 10"]
    edges = [float(x) for x in page.eval_on_selector_all(".nb-edge", "all => all.map((e) => e.getAttribute('x1'))")]
    per_s = (edges[1] - edges[0]) / hold.result.duration_s
    starts = page.eval_on_selector_all(".nb-mark", "all => all.map((e) => parseFloat(e.getAttribute('d').slice(1)))")
    assert starts == pytest.approx([edges[0] + 3 * per_s, edges[0] + 8 * per_s], abs=0.6)
    assert "ribs <down>" in page.locator(".chart").text_content()


def test_the_assistance_second_by_second_is_a_band_to_scale(open_page):
    u, alpha = 0.02, 0.1
    course = [(HANGS_S + second + 0.5, alpha, u) for second in range(18)]
    full = full_hold()
    store = FakeStore([dataclasses.replace(full, result=dataclasses.replace(full.result, assistance_course=course))])
    with served(store=store) as dashboard:
        page = ready(open_page(f"{dashboard.url}/hold/full"))
        band = page.evaluate(
            """() => {
                const box = document.querySelector(".nb-assistance").getBBox();
                const y = (name) => parseFloat(document.querySelector(name).getAttribute("y1"));
                const weight = y(".nb-base") - y(".nb-weight");
                return [(y(".nb-base") - box.y - box.height) / weight, (y(".nb-base") - box.y) / weight];
            }"""
        )
        assert band == pytest.approx([alpha - 2 * u, alpha + 2 * u], abs=0.002)


def test_a_peak_that_the_readings_do_not_resolve_says_so(open_page):
    full = full_hold()
    rang = dataclasses.replace(full.result, peak_N=1406.5, peak_u_N=16.8, flags=["peak_not_resolved"])
    with served(store=FakeStore([dataclasses.replace(full, result=rang)])) as dashboard:
        page = ready(open_page(f"{dashboard.url}/hold/full"))
        assert value(page, "highest load") == "1407 ± 17 N, not sure"
        assert page.locator("#note-list").inner_text().startswith("the load rang faster than the readings")
