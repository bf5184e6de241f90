"""The door as a person meets it: a browser, a code on the wall, a passcode."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator

import pytest
from authorized_hall import OWNER, Hall, hall
from playwright.sync_api import Page, expect, sync_playwright
from test_hostile_connections import listening

CHROMIUM = shutil.which("chromium-headless-shell") or shutil.which("chromium")
pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")]


@pytest.fixture
def session(tmp_path) -> Iterator[tuple[Hall, str, Page]]:
    # Behind a proxy this machine's own browser is a stranger like every other.
    with hall(tmp_path, network=False, behind_proxy=True) as place, listening(place) as port, sync_playwright() as tool:
        browser = tool.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-background-networking"]
        )
        try:
            yield place, f"http://127.0.0.1:{port}", browser.new_page()
        finally:
            browser.close()


def test_a_stranger_comes_in_by_the_code_on_the_wall_and_then_by_passcode(session):
    place, address, page = session
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(address)
    assert page.url == f"{address}/sign-in"
    page.get_by_role("button", name="Show a code on the wall").click()
    page.get_by_label("Code on the wall").fill("nonsense")
    page.get_by_role("button", name="Look in").click()
    expect(page.locator("#look-answer")).to_contain_text("is not valid on this device")
    (line,) = place.authorization.pairing.lines()
    page.get_by_label("Code on the wall").fill(re.sub(r"\D", "", line.split("type")[1]))
    page.get_by_role("button", name="Look in").click()
    page.wait_for_url(f"{address}/")
    page.goto(f"{address}/sign-in")
    expect(page.locator("#principal")).to_have_text("Signed in as wall screen (wall).")
    page.get_by_label("Name").fill(OWNER[0])
    page.get_by_label("Passcode").fill(OWNER[1])
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{address}/")
    page.goto(f"{address}/sign-in")
    expect(page.locator("#principal")).to_have_text("Signed in as Olga (owner).")
    assert page.evaluate("document.cookie") == "", "no script can read the session"
    page.get_by_role("button", name="Sign this device out").click()
    expect(page.locator("#principal")).to_have_text("")
    page.goto(address)
    assert page.url == f"{address}/sign-in"
    assert faults == []
