"""The whole first day of a newcomer: from a rig that nobody has checked to a report in the hand.

One browser, the real service with the virtual rig over its pseudo-terminal, a real SQLite file. The loads are those of
an invented body (``monitor.demo.body``), so the length of each hold is known from its script.
The rig's time goes quickly while something is measured (``paced_time.py``): minutes of the board pass in seconds.
"""

from __future__ import annotations

import datetime as dt
import re

import pypdf
import pytest
from first_day_hall import FirstDay, first_day
from playwright.sync_api import Page, expect

from monitor.demo.recorded_session import ScriptedHold
from monitor.newtons.calibration import latest_calibration

pytestmark = pytest.mark.browser

LONGEST_MS = 120_000
"""Reached by a broken program only, or by a machine at its limit."""
NAME = "Ada L."
HOLDS = [ScriptedHold(10.0, 0.35, False), ScriptedHold(12.0, 0.35, False), ScriptedHold(14.0, 0.35, False)]


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    with first_day(tmp_path_factory.mktemp("first-day")) as day:
        yield day


def step(page: Page, name: str):
    return page.locator("#steps li").filter(has=page.get_by_role("heading", name=name))


def first_steps(page: Page, day: FirstDay) -> None:
    page.goto(f"{day.url}/first-steps")
    expect(step(page, "the board answers").get_by_label("done")).to_be_visible(timeout=LONGEST_MS)


def checked(page: Page, day: FirstDay) -> None:
    step(page, "the rig is checked").get_by_role("link").click()
    page.get_by_label("watch the empty rig for s").fill("10")
    page.get_by_role("button", name="begin the check").click()
    with day.quick():
        expect(page.locator("#findings li").first).to_be_visible(timeout=LONGEST_MS)
    assert page.locator("#findings li.bad").all_inner_texts() == []
    page.get_by_role("button", name="keep this check").click()
    expect(page.locator("#done")).to_contain_text("The check is kept.", timeout=LONGEST_MS)


def calibrated(page: Page, day: FirstDay) -> None:
    step(page, "the rig is calibrated").get_by_role("link").click()
    page.get_by_label("masses in kg, in the order of hanging").fill("20 20")
    page.get_by_label("each known to ± kg").fill("0.02")
    page.get_by_label("latitude in degrees").fill("48.2")
    page.get_by_label("watch zero and first load for s").fill("10")
    page.get_by_role("button", name="begin to calibrate").click()
    where, button, result = page.locator("#where"), page.locator("#buttons .main-button"), page.locator("#result")
    expect(where).to_contain_text(re.compile(r"step \d+ of \d+"), timeout=LONGEST_MS)
    steps = int(re.search(r"step \d+ of (\d+)", where.inner_text())[1])
    with day.quick():
        for number in range(1, steps + 1):
            expect(where).to_contain_text(f"step {number} of {steps}", timeout=LONGEST_MS)
            expect(button).to_be_visible(timeout=LONGEST_MS)
            button.click()
        expect(result).to_be_visible(timeout=LONGEST_MS)
    # Nothing is saved, and nothing is in force, before it is accepted.
    assert day.service.procedures.calibration is None
    assert list(day.folder.calibrations.glob("*")) == []
    expect(page.locator("#findings table").first).to_contain_text("bar left")
    page.get_by_role("button", name="save and use this calibration").click()
    expect(page.locator("#done")).to_contain_text("The new calibration is in force.", timeout=LONGEST_MS)
    outcome = latest_calibration(day.folder.calibrations, day.rig_for_one.rig.names)
    assert day.service.procedures.calibration == outcome
    for cell, counts_per_N in zip(outcome.channels, day.rig_for_one.electronics.counts_per_N, strict=True):
        # Four standard uncertainties: one of 15,000 such cells lies further (normal distribution).
        assert abs(cell.N_per_count * counts_per_N - 1) < 4 * cell.u_rel_span
    messages = [(entry.who, entry.what) for entry in day.store.audit.recent()]
    assert ("this machine", "put a new calibration in force (calibration)") in messages
    with page.expect_download(timeout=LONGEST_MS) as download:
        page.locator("#done").get_by_role("link", name="sheet (PDF)").click()
    assert download.value.path().read_bytes().startswith(b"%PDF-")
    assert list(day.folder.calibrations.glob("*.readings.csv"))


def known(page: Page, day: FirstDay) -> str:
    """Add the person, ask the questions of the intake; return the uid."""
    step(page, "the first person").get_by_role("link").click()
    page.get_by_label("somebody new").fill(NAME)
    page.get_by_role("button", name="add", exact=True).click()
    page.get_by_role("link", name=NAME).first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text(NAME)
    form = page.locator("#intake-form")
    expect(form).to_be_visible(timeout=LONGEST_MS)
    for group in form.get_by_role("radio", name="no", exact=True).all():
        group.check()
    form.get_by_role("button").click()
    expect(page.locator("#intake-answer")).not_to_be_empty()
    return page.url.rsplit("/", 1)[1]


def three_holds(page: Page, day: FirstDay, uid: str) -> None:
    """Who was added comes to the bar and hangs three times, with help."""
    page.get_by_role("button", name="comes to the bar").click()
    first_steps(page, day)
    step(page, "the first hold").get_by_role("link").click()
    expect(page.locator("#scene")).to_have_text("nobody at the bar", timeout=LONGEST_MS)
    day.rig_for_one.play(HOLDS)
    with day.quick():
        expect(page.locator(".hold")).to_have_count(3, timeout=LONGEST_MS)
        expect(page.locator("#scene")).to_have_text("nobody at the bar", timeout=LONGEST_MS)
    day.service.settle()
    stored = day.store.list_holds(10, 0)[::-1]
    assert [hold.result.support for hold in stored] == ["assisted"] * 3
    for hold, deed in zip(stored, HOLDS, strict=True):
        assert day.store.get_session(hold.session_uid).person_uid == uid
        assert hold.result.duration_s == pytest.approx(deed.duration_s, abs=1.5)
        assert hold.result.alpha_mean == pytest.approx(deed.alpha, abs=0.08)
        assert abs(hold.bodyweight_N / day.rig_for_one.person.weight_N - 1) < 0.01


def discard_newest(page: Page, left: int) -> None:
    page.locator("#rows input").first.check()
    page.get_by_role("button", name="discard …").click()
    page.locator("#reason").fill("a foot was on the floor")
    page.locator("#discard-do").click()
    expect(page.locator("#match-count")).to_have_text(f"{left} holds", timeout=LONGEST_MS)


def corrected(page: Page) -> None:
    """One hold is discarded, taken back, and discarded again; another one is looked at."""
    page.get_by_role("link", name="holds", exact=True).first.click()
    expect(page.locator("#match-count")).to_have_text("3 holds", timeout=LONGEST_MS)
    discard_newest(page, 2)
    page.get_by_role("button", name="undo").click()
    expect(page.locator("#match-count")).to_have_text("3 holds", timeout=LONGEST_MS)
    discard_newest(page, 2)
    page.locator("#rows .list-when a").first.click()
    expect(page.locator("#suggestion")).not_to_be_empty(timeout=LONGEST_MS)
    expect(page.locator(".nb-curve")).to_have_count(2, timeout=LONGEST_MS)


def reported(page: Page, day: FirstDay, uid: str) -> str:
    """Make the report on the person's page, download it; return its text."""
    page.goto(f"{day.url}/person/{uid}")
    page.get_by_role("button", name="make a report (PDF)").click(timeout=LONGEST_MS)
    link = page.locator("#output-jobs").get_by_role("link").first
    expect(link).to_be_visible(timeout=LONGEST_MS)
    with page.expect_download(timeout=LONGEST_MS) as download:
        link.click()
    return " ".join(" ".join(sheet.extract_text() for sheet in pypdf.PdfReader(download.value.path()).pages).split())


def test_a_first_day(open_page, day: FirstDay):
    page = open_page(f"{day.url}/first-steps", viewport="tablet", timezone_id="Europe/Vienna")
    first_steps(page, day)
    expect(step(page, "the rig is calibrated").get_by_label("done")).to_have_count(0)
    calibrated(page, day)
    first_steps(page, day)
    checked(page, day)
    first_steps(page, day)
    uid = known(page, day)
    expect(page.locator("#next")).to_contain_text("Assisted hang", timeout=LONGEST_MS)
    three_holds(page, day, uid)
    corrected(page)
    messages = reported(page, day, uid)
    assert NAME in messages
    assert re.search(r"\b2 holds\b", messages)
    assert "invented" in messages.lower()
    assert str(dt.datetime.now(dt.UTC).year) in messages

    first_steps(page, day)
    for name in ("the rig is calibrated", "the rig is checked", "the first person", "the first hold"):
        expect(step(page, name).get_by_label("done")).to_be_visible(timeout=LONGEST_MS)
