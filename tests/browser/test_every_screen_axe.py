"""axe-core finds nothing to blame: every screen, every state, day and night, two languages, hand and wall.

The rules are those of axe-core 4 that stand for WCAG 2.2 levels A and AA, and its best practices.
"""

from __future__ import annotations

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from conftest import VIEWPORTS
from playwright.sync_api import Page
from screen_states import AS_IT_OPENS, EVERY_STATE, State, settle, shown

pytestmark = pytest.mark.browser

ROUNDS = [("phone", "light"), ("wall", "dark")]
COLOURS_ONLY = {"type": "rule", "values": ["color-contrast"]}


def blame(page: Page, only: object = None) -> list[str]:
    """Return what axe-core has to say, a line for each part of the page."""
    options = {"resultTypes": ["violations"], **({"runOnly": only} if only else {})}
    found = page.evaluate("(options) => axe.run(document, options)", options)
    return [
        f"{each['id']}: {' '.join(map(str, node['target']))}: {node['failureSummary']}"
        for each in found["violations"]
        for node in each["nodes"]
    ]


def look(page: Page) -> None:
    page.evaluate(AXE_SCRIPT)
    found = []
    for viewport, light in ROUNDS:
        page.set_viewport_size(VIEWPORTS[viewport])
        page.emulate_media(color_scheme=light)
        settle(page)
        found += [f"{viewport}, {light}: {line}" for line in blame(page)]
        page.emulate_media(color_scheme="dark" if light == "light" else "light")
        found += [f"{viewport}, other light: {line}" for line in blame(page, COLOURS_ONLY)]
    if found:
        pytest.fail("\n".join(found), pytrace=False)


@pytest.mark.parametrize("state", EVERY_STATE, ids=lambda state: state.name)
def test_nothing_is_to_be_blamed(open_page, hall, state: State):
    with shown(open_page, hall, state) as page:
        look(page)


@pytest.mark.parametrize("state", AS_IT_OPENS, ids=lambda state: state.name)
def test_nothing_is_to_be_blamed_in_german(open_page, hall, state: State):
    with shown(open_page, hall, state, locale="de-DE") as page:
        look(page)
