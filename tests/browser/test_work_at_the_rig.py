"""Zero, check and a corrected mass through the page, over a virtual rig that loads itself.

A whole calibration is part of the first day (``test_first_day.py``).
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import pytest
from playwright.sync_api import APIResponse, Page, Route, expect
from procedures_hall import procedures_hall

pytestmark = pytest.mark.browser

LONGEST_MS = 60_000
LOOK = "**/api/rig/procedure"


@pytest.fixture(scope="module")
def procedures(tmp_path_factory):
    with procedures_hall(tmp_path_factory.mktemp("procedures"), calibrated=True) as hall:
        yield hall


@pytest.fixture
def uncalibrated(tmp_path):
    with procedures_hall(tmp_path, calibrated=False) as hall:
        yield hall


def main_button(page: Page):
    return page.locator("#buttons .main-button")


@contextlib.contextmanager
def a_late_look(page: Page) -> Iterator[None]:
    """Let the page's look at the walk from before the block be answered after it, and the next one be asked."""
    held: list[tuple[Route, APIResponse]] = []

    def hold(route: Route) -> None:
        if held or route.request.method != "GET":
            route.continue_()
        else:
            held.append((route, route.fetch()))

    page.route(LOOK, hold)
    while not held:
        page.evaluate("new Promise(requestAnimationFrame)")
    yield
    route, answer = held[0]
    with page.expect_request(LOOK):
        route.fulfill(response=answer)
    page.unroute(LOOK)


def test_a_mistyped_mass_is_corrected_and_its_reading_counts(open_page, uncalibrated):
    procedures = uncalibrated
    page = open_page(f"{procedures.url}/rig/calibrate", viewport="phone")
    page.get_by_label("masses in kg, in the order of hanging").fill("20 20")
    page.get_by_label("watch zero and first load for s").fill("8")
    page.get_by_role("button", name="begin to calibrate").click()
    expect(page.locator("#where")).to_contain_text("step 1 of 9")
    procedures.stage._procedure_rig.true_kg["B (20 kg)"] = 10.0  # the plate is lighter than somebody has typed
    for number in range(1, 4):
        expect(page.locator("#where")).to_contain_text(f"step {number} of 9", timeout=LONGEST_MS)
        expect(main_button(page)).to_be_visible(timeout=LONGEST_MS)
        main_button(page).click()
    expect(page.locator("#refusal")).to_contain_text("correct their masses", timeout=LONGEST_MS)
    page.get_by_text("correct a mass", exact=True).click()
    typed = page.get_by_label("B (20 kg), truly in kg")
    typed.fill("1")  # that is nonsense, and said to be
    page.get_by_role("button", name="correct", exact=True).click()
    expect(page.locator("#refusal")).to_be_visible()
    page.get_by_label("B (1 kg), truly in kg").fill("10")
    with a_late_look(page):
        page.get_by_role("button", name="correct", exact=True).click()
        expect(page.locator("#where")).to_contain_text("step 4 of 9")
    expect(page.locator("#masses-answer")).to_have_text("Corrected. What was read stays.")
    expect(page.locator("#do")).to_contain_text("Take B (10 kg) off")
    assert ("this machine", "corrected masses of the calibration: B (1 kg): 10 kg") in procedures.messages
    page.get_by_role("button", name="end without saving").click()
    expect(page.locator("#masses")).to_be_hidden()
    assert procedures.saved == set()


def test_zero_is_shown_and_only_taken_by_a_person(open_page, procedures):
    before = procedures.saved
    page = open_page(f"{procedures.url}/rig/zero", viewport="phone")
    page.get_by_role("button", name="read the zero").click()
    expect(page.locator("#findings")).to_contain_text("By so much each cell has moved", timeout=LONGEST_MS)
    assert procedures.saved == before
    old = procedures.procedures.calibration
    page.get_by_role("button", name="take this zero").click()
    expect(page.locator("#done")).to_contain_text("The new zero is in force.", timeout=LONGEST_MS)
    new = procedures.procedures.calibration
    assert [c.N_per_count for c in new.channels] == [c.N_per_count for c in old.channels]
    assert [c.zero_counts for c in new.channels] != [c.zero_counts for c in old.channels]
    assert len(procedures.saved) == len(before) + 1


def test_check_goes_through_the_rig_and_its_result_is_kept(open_page, procedures):
    page = open_page(f"{procedures.url}/rig/check")
    page.get_by_label("watch the empty rig for s").fill("10")
    page.get_by_role("button", name="begin the check").click()
    expect(page.locator("#findings .procedure-verdicts li").first).to_be_visible(timeout=LONGEST_MS)
    bad = page.locator("#findings li.bad").all_inner_texts()
    assert bad == []
    expect(page.locator("#findings")).to_contain_text("bar_left moves when it is pressed")
    page.get_by_role("button", name="keep this check").click()
    expect(page.locator("#done")).to_contain_text("The check is kept.", timeout=LONGEST_MS)
    assert len(list((procedures.procedures.root / "checks").glob("*.json"))) == 1
    with page.expect_download(timeout=LONGEST_MS) as download:
        page.locator("#done").get_by_role("link", name="page to print").click()
    assert b"<html" in download.value.path().read_bytes()


def test_a_procedure_is_seen_on_every_screen_and_can_be_ended_there(open_page, procedures):
    first, second = (open_page(f"{procedures.url}/rig/zero") for _ in range(2))
    first.get_by_role("button", name="read the zero").click()
    expect(second.locator("#running, #result").locator("visible=true")).to_have_count(1, timeout=LONGEST_MS)
    second.get_by_role("button", name="end without saving").locator("visible=true").click()
    expect(second.locator("#done")).to_have_text("Ended. Nothing was saved.")
    expect(first.locator("#done")).to_contain_text("ended or accepted on another screen")
    assert ("this machine", "gave up: a new zero is read") in procedures.messages


def test_masses_that_cannot_be_read_are_refused_and_what_was_typed_stays(open_page, procedures):
    page = open_page(f"{procedures.url}/rig/calibrate")
    page.get_by_label("masses in kg, in the order of hanging").fill("20 zwanzig")
    page.get_by_role("button", name="begin to calibrate").click()
    expect(page.locator("#notice-what")).to_have_text("The masses cannot be read.")
    page.reload()
    expect(page.get_by_label("masses in kg, in the order of hanging")).to_have_value("20 zwanzig")
