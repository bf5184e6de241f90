"""The rig's page: whether it measures, what each cell reads, how zeros and account have moved."""

from __future__ import annotations

import re

import numpy as np
import pytest
from fake_coach import CALIBRATION
from fake_rig import HANGS_S, NAMES, FakeControl, FakeRig, FakeStore, loads_at, playing, served
from page_layout import at_every_size
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser


def fact(page: Page, name: str):
    return page.locator(f"#facts dt:text-is('{name}') + dd")


def cell(page: Page, name: str, column: int):
    return page.locator("#cells tr").filter(has=page.get_by_role("rowheader", name=name)).locator("td").nth(column)


def test_each_cell_reads_its_load_and_its_spread(open_page, stored):
    page = open_page(f"{stored.url}/rig")
    with playing(stored.hub, FakeRig(t_s=0.5)):  # standing: the platform carries bodyweight, the bar nothing
        expect(page.locator("#state")).to_have_text("measuring")
        expect(cell(page, "front left", 1)).to_have_text(re.compile(r"\d+\.\d N"))
        load_N = {name: float(cell(page, name, 1).inner_text().split()[0]) for name in ("front left", "bar left")}
        spread_N = float(cell(page, "bar left", 2).inner_text().split()[0])
    standing_N = loads_at(np.linspace(0.5, 3.5, 400))
    assert standing_N[:, 2].min() <= load_N["front left"] <= standing_N[:, 2].max()
    assert abs(load_N["bar left"]) < 1
    # The made-up noise is a sine of 0.8 N: its standard deviation is 0.8 / sqrt(2) = 0.57 N.
    assert spread_N == pytest.approx(0.57, abs=0.1)


def test_facts_come_from_picture_and_beat(open_page, stored):
    page = open_page(f"{stored.url}/rig")
    with playing(stored.hub, FakeRig(t_s=HANGS_S + 3)):
        expect(fact(page, "rate")).to_have_text("80.02 readings/s measured, 80 by name")
        expect(fact(page, "lost")).to_have_text("3 readings since the start")
        expect(fact(page, "spikes")).to_have_text("2 masked since the start")
        expect(fact(page, "account (bar + feet − bodyweight)")).to_have_text("0.1 %")
        expect(fact(page, "bodyweight")).to_have_text("71.62 ± 0.07 kg, weighed standing")
        expect(fact(page, "link")).to_have_text("connected for 12 s")


def test_it_says_when_calibration_was_read(open_page, stored):
    page = open_page(f"{stored.url}/rig", timezone_id="Europe/Vienna")
    for name in ("bar left", "rear right"):
        expect(cell(page, name, 3)).to_have_text(re.compile(r"24/11/2025, \d+ days ago"))
        expect(cell(page, name, 4)).to_have_text(re.compile(r"20/10/2025, \d+ days ago"))
        expect(cell(page, name, 5)).to_have_text("± 0.08 %")
    expect(page.locator("#calibration")).to_contain_text(f"Calibration {CALIBRATION['id']}")
    days = [int(re.search(r"(\d+) days", cell(page, "bar left", column).inner_text())[1]) for column in (3, 4)]
    assert days[1] - days[0] in (34, 35)  # 20 October 10:00 to 24 November 8:00 UTC: 34 days and 22 hours


def test_zeros_and_account_of_the_last_holds_are_drawn(open_page, stored):
    page = open_page(f"{stored.url}/rig")
    bar = [hold.result.zero_bar_N for hold in reversed(stored.holds)]
    expect(page.locator("#zeros .nb-hands-dot")).to_have_count(len(bar))
    expect(page.locator("#zeros .nb-feet-dot")).to_have_count(len(bar) - 1)  # one platform was never free
    heights = [
        -float(y) for y in page.eval_on_selector_all("#zeros .nb-hands-dot", "a => a.map((e) => e.getAttribute('cy'))")
    ]
    per_N = (heights[0] - heights[1]) / (bar[0] - bar[1])
    assert [h - heights[0] for h in heights] == pytest.approx([(b - bar[0]) * per_N for b in bar], abs=0.1)
    label = page.get_by_role("img", name=re.compile("hands: 8 holds, between 1.2 and 2.1 N"))
    assert label.count() == 1


def test_a_rig_that_does_not_measure_says_what_to_do(open_page):
    state = {
        "link": {"condition": "absent", "reason": "The board is not there.", "do": "Plug it in."},
        "warnings": ["The disk is nearly full."],
    }
    with served(store=FakeStore([]), control=FakeControl(state=state)) as dashboard:
        page = open_page(f"{dashboard.url}/rig")
        expect(page.locator("#state")).to_have_text("not measuring: board not found")
        expect(page.locator("#reason")).to_have_text("The board is not there. Plug it in.")
        expect(page.locator("#warnings")).to_have_text("The disk is nearly full.")
        expect(page.locator("#no-history")).to_be_visible()
        expect(page.locator("#calibration")).to_contain_text("after the first session")
        expect(cell(page, "bar left", 1)).to_have_text("no reading")


def test_data_that_stop_are_told(open_page, stored):
    page = open_page(f"{stored.url}/rig")
    with playing(stored.hub, FakeRig(t_s=1.0)) as running:
        expect(page.locator("#state")).to_have_text("measuring")
        running.clear()
        expect(page.locator("#state")).to_have_text("not measuring yet", timeout=60_000)
        expect(cell(page, "bar left", 1)).to_have_text("no reading")


def test_it_fits_the_screen(open_page, hall):
    page = open_page(f"{hall.url}/rig")
    expect(page.locator("#zeros .nb-hands-dot")).not_to_have_count(0)
    for _ in at_every_size(page):
        assert page.locator("#cells tr").count() == len(NAMES)
