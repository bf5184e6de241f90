"""No page is ever blank: no such address, no REST, a script that is missing or wrong, no JavaScript at all."""

from __future__ import annotations

import pytest
from fake_rig import LEAVES_S, playing, scene_at
from playwright.sync_api import expect
from screen_states import Standstill

from monitor.dashboard.routes.pages import SCREENS

pytestmark = pytest.mark.browser

SENTENCES = "Something went wrong on this page."


def test_an_address_without_a_page_leads_on(open_page, hall):
    page = open_page(hall.url + "/no/such/page", refusals=True)
    expect(page.get_by_role("heading", level=1)).to_have_text("nothing here")
    page.get_by_role("link", name="holds").click()
    expect(page).to_have_url(hall.url + "/holds")


def test_a_program_still_gets_the_one_shape(open_page, hall):
    page = open_page(hall.url + "/holds", refusals=True)
    for address in ("/api/nothing", "/static/nothing.js"):
        result = page.evaluate("(address) => fetch(address).then(async (a) => [a.status, await a.json()])", address)
        assert result[0] == 404
        assert result[1]["error"]["code"] == "not-found"


@pytest.mark.parametrize("screen", ["/holds", "/people", "/rig", "/settings"])
def test_without_rest_it_is_told_in_three_sentences(open_page, hall, screen):
    page = open_page("about:blank", refusals=True)
    page.route("**/api/**", lambda route: route.fulfill(status=502, body="gone"))
    page.goto(hall.url + screen)
    expect(page.locator("#notice-what")).to_have_text("The program answered with 502.")
    expect(page.locator("#notice-do")).to_contain_text("What is shown may be out of date.")
    expect(page.locator("#pages a")).not_to_have_count(0)


def test_a_script_that_is_missing_is_told(open_page, hall):
    page = open_page("about:blank", refusals=True)
    page.route("**/static/lib/hold-mark.js", lambda route: route.fulfill(status=404))
    page.goto(hall.url + "/holds")
    expect(page.get_by_role("alert").first).to_contain_text("did not arrive whole")


@pytest.mark.parametrize(("screen", "content"), [("/holds", "#table"), ("/", "#plumbline"), ("/coach", "#plumbline")])
def test_a_mistake_of_the_page_is_told_and_the_content_stays(open_page, hall, screen, content):
    page = open_page(hall.url + screen, mistakes=True)
    expect(page.locator(content)).to_be_visible()
    with playing(hall.hub, Standstill(scene_at(LEAVES_S + 1))):  # a screen that is old says that first
        page.evaluate("setTimeout(() => { throw new Error('a mistake') }, 0)")
        expect(page.locator("#notice-what")).to_have_text(SENTENCES)
    expect(page.locator(content)).to_be_visible()


def test_without_javascript_every_page_says_what_it_needs(open_page, hall):
    page = open_page("about:blank", java_script_enabled=False)
    for screen in SCREENS:
        page.goto(hall.url + screen.replace("{uid}", "x"))
        text = page.locator("body").inner_text()
        assert "needs JavaScript" in text, screen
        assert "braucht JavaScript" in text, screen
