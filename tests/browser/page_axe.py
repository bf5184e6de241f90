"""What axe-core has to say of a page as it stands, by day and by night.

The rules are those of axe-core 4 that stand for WCAG 2.2 levels A and AA, and its best practices.
"""

from __future__ import annotations

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

COLOURS_ONLY = {"type": "rule", "values": ["color-contrast"]}


def axe_blames(page: Page, light: str) -> list[str]:
    """Return a line for each part of the page that is to be blamed, its contrast in the other light, too."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    found = [f"axe, {light}: {line}" for line in _violations(page)]
    other = "dark" if light == "light" else "light"
    page.emulate_media(color_scheme=other)
    found += [f"axe, {other}: {line}" for line in _violations(page, COLOURS_ONLY)]
    page.emulate_media(color_scheme=light)
    return found


def _violations(page: Page, only: object = None) -> list[str]:
    options = {"resultTypes": ["violations"], **({"runOnly": only} if only else {})}
    found = page.evaluate("(options) => axe.run(document, options)", options)
    return [
        f"{each['id']}: {' '.join(map(str, node['target']))}: {node['failureSummary']}"
        for each in found["violations"]
        for node in each["nodes"]
    ]
