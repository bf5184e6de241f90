"""What axe-core has to say of a page as it stands.

The rules are those of axe-core 4 that stand for WCAG 2.2 levels A and AA, and its best practices.
"""

from __future__ import annotations

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page


def axe_blames(page: Page) -> list[str]:
    """Return a line for each part of the page that is to be blamed."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    result = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
    return [
        f"axe: {each['id']}: {' '.join(map(str, node['target']))}: {node['failureSummary']}"
        for each in result["violations"]
        for node in each["nodes"]
    ]
