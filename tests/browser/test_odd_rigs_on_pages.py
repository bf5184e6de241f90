"""Rigs of other shapes on the pages: what such a rig cannot know is absent, what it infers is marked."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from fake_rig import HANGS_S, FakeStore, playing, scene_at, served
from playwright.sync_api import expect

from monitor.measures.picture import Picture

pytestmark = pytest.mark.browser

FEET = {1: ("foot",), 2: ("foot_l", "foot_r"), 4: ("foot_fl", "foot_fr", "foot_rl", "foot_rr")}


def view(bar: tuple[str, ...], feet: tuple[str, ...], rate_Hz: float = 80.0) -> dict:
    channels = [{"name": n, "part": "bar"} for n in bar] + [{"name": n, "part": "platform"} for n in feet]
    return {
        "name": "odd rig", "channels": channels, "has_platform": bool(feet), "bar_cells": len(bar),
        "nominal_rate_Hz": rate_Hz, "invented": True,
    }  # fmt: skip


class Odd:
    """A rig that hangs as the made-up one does, seen by the cells that it has."""

    step_s = 0.05

    def __init__(self, names: tuple[str, ...], **changes: object) -> None:
        self.names, self.changes, self.n = names, changes, 0

    def next(self) -> Picture:
        self.n += 1
        t_s = HANGS_S + 7 + 0.05 * (self.n % 100)
        curve = np.full((4, len(self.names)), 120.0)
        observed = dataclasses.replace(scene_at(t_s), **self.changes)
        return dataclasses.replace(observed, curve_names=self.names, curve_t_s=t_s + np.arange(4) / 80, curve_N=curve)


NO_BAR = {"bar_N": None, "misclosure": None, "lateral_m": None, "swing_deg": None, "u_swing_deg": None, "still": None}
NO_FEET = {"feet_N": None, "misclosure": None, "alpha_direct": False}


@pytest.mark.parametrize("cells", [1, 2, 4])
def test_a_platform_alone_marks_the_hands_share_and_shows_no_bar(open_page, cells):
    names = FEET[cells]
    with served(store=FakeStore([]), rig=view((), names)) as dashboard:
        page = open_page(dashboard.url, viewport="tablet")
        with playing(dashboard.hub, Odd(names, beta_inferred=True, **NO_BAR)):
            expect(page.locator("#hands-aside")).to_contain_text("inferred")
            expect(page.locator("#hands-aside")).not_to_contain_text(" N")  # no load of a bar that is not weighed
            expect(page.locator("#feet-aside")).not_to_contain_text("inferred")
            expect(page.locator("#still-word")).to_have_text("–")
            page.goto(f"{dashboard.url}/rig")
            expect(page.locator("#cells tr")).to_have_count(cells)
            expect(page.locator("#facts")).to_contain_text("only while somebody is there whose bodyweight is known")


@pytest.mark.parametrize("bar", [("hook",), ("ring_left", "ring_right")])
def test_a_bar_alone_marks_the_feets_share(open_page, bar):
    lateral = {} if len(bar) > 1 else {"lateral_m": None}
    with served(store=FakeStore([]), rig=view(bar, ())) as dashboard:
        page = open_page(dashboard.url, viewport="tablet")
        with playing(dashboard.hub, Odd(bar, **NO_FEET, **lateral)):
            expect(page.locator("#feet-aside")).to_contain_text("inferred")
            expect(page.locator("#hands-aside")).not_to_contain_text("inferred")
            if len(bar) == 1:
                expect(page.locator("#still-aside")).not_to_contain_text("cm to the")
            else:
                expect(page.locator("#still-aside")).to_contain_text("cm to the right")
            page.goto(f"{dashboard.url}/rig")
            expect(page.locator("#cells tr")).to_have_count(len(bar))


def test_a_thousand_samples_a_second_are_told_as_such(open_page):
    names = ("bar_left", "bar_right", "foot")
    with served(store=FakeStore([]), rig=view(names[:2], names[2:], 1000.0)) as dashboard:
        page = open_page(f"{dashboard.url}/rig", viewport="tablet")
        with playing(dashboard.hub, Odd(names, rate_Hz=999.8)):
            expect(page.locator("#facts")).to_contain_text("999.80 readings/s measured, 1000 by name")
