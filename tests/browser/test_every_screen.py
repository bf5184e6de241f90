"""Every screen, by hand and on the wall: nothing cut, covered or too small, all reached by keys, axe is content.

With ``HANG_MONITOR_PICTURES`` naming a folder, each screen that is looked at is kept there as a picture.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from chromium import VIEWPORTS, fingers, large_text
from page_axe import axe_blames
from page_layout import covered, cut, procedure_by_keys, resize, sideways, small_targets
from playwright.sync_api import Page
from screen_states import AS_IT_OPENS, AT_THE_BAR, EVERY_STATE, State, settle, shown

pytestmark = pytest.mark.browser


def keep_picture(page: Page, name: str) -> None:
    folder = os.environ.get("HANG_MONITOR_PICTURES")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(
            path=Path(folder) / f"{re.sub(r'[^a-z0-9]+', '-', name.lower()).strip('-')}.png", full_page=True
        )


def blame(page: Page, name: str) -> list[str]:
    result = [f"scrolls sideways by {sideways(page)} px"] if sideways(page) > 0 else []
    result += [f"covered: {pair}" for pair in covered(page)] + [f"cut: {text}" for text in cut(page)]
    keep_picture(page, name)  # last: a picture of a whole page ends what makes the window one that is touched
    return [f"{name}: {line}" for line in result]


def look(page: Page, viewport: str, light: str) -> None:
    resize(page, **VIEWPORTS[viewport])
    page.emulate_media(color_scheme=light)
    settle(page)


def tell(result: list[str]) -> None:
    if result:
        pytest.fail("\n".join(result), pytrace=False)


@pytest.mark.parametrize("state", EVERY_STATE, ids=lambda state: state.name)
def test_nothing_is_cut_or_covered_all_is_reached_by_keys_and_axe_is_content(open_page, hall, state: State):
    with shown(open_page, hall, state, reduced_motion="reduce") as page:
        result = []
        for viewport, light in (("wall", "dark"), ("phone", "light"), ("tablet", "dark")):
            look(page, viewport, light)
            result += blame(page, f"{state.name} {viewport} {light}")
            if viewport != "tablet":
                result += axe_blames(page)
        if page.evaluate("document.getAnimations().length") > 0:
            result.append("something moves for who wants no movement")
        keys = procedure_by_keys(page)
        result += [f"not reached by keys: {one}" for one in keys["unreached"]]
        result += [f"focus not seen: {one}" for one in keys["unseen"]]
        with large_text(page):  # WCAG 2.2, 1.4.4
            settle(page)
            result += blame(page, f"{state.name} tablet large text")
        look(page, "phone", "light")
        with fingers(page):
            settle(page)
            tell([*result, *small_targets(page), *blame(page, f"{state.name} touch")])


@pytest.mark.parametrize("state", AS_IT_OPENS, ids=lambda state: state.name)
def test_nothing_is_cut_or_covered_and_axe_is_content_in_german(open_page, hall, state: State):
    with shown(open_page, hall, state, locale="de-DE", viewport="phone", color_scheme="dark") as page:
        result = [*blame(page, f"{state.name} phone german"), *axe_blames(page)]
        look(page, "wall", "light")  # in English the phone is light and the wall dark: each light on each
        tell([*result, *blame(page, f"{state.name} wall german"), *axe_blames(page)])


@pytest.mark.parametrize("light", ["light", "dark"])
def test_a_readers_own_colours_reach_the_drawings(open_page, hall, light):
    for state in (AT_THE_BAR[2], next(one for one in AS_IT_OPENS if one.address.startswith("/hold/"))):
        with shown(open_page, hall, state, forced_colors="active", color_scheme=light) as page:
            keep_picture(page, f"{state.name} forced colours {light}")
            ink = page.evaluate("getComputedStyle(document.body).color")
            lines = ".hands-line, .feet-line, .ink-line, .nb-curve"
            strokes = page.eval_on_selector_all(lines, "(all) => all.map((n) => getComputedStyle(n).stroke)")
            assert strokes
            assert set(strokes) == {ink}
