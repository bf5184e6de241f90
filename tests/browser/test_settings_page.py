"""The settings in a browser: of this screen, and of the machine; what is set is in force afterwards."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from monitor.store.files.storage import policy_of

pytestmark = pytest.mark.browser

PASSCODE = "a dry blue heron"


def test_language_and_unit_are_kept_for_the_screen(open_page, hall):
    page = open_page(hall.url + "/settings")
    page.get_by_label("unit of loads").select_option("lbf")
    page.get_by_label("language").select_option("de")
    expect(page.locator("h1")).to_have_text("Einstellungen")
    expect(page.locator("html")).to_have_attribute("lang", "de")
    assert page.evaluate("localStorage.getItem('unit')") == "lbf"
    page.get_by_label("Sprache").select_option("en")
    expect(page.locator("h1")).to_have_text("settings")


def test_a_sound_is_switched_on_for_this_screen(open_page, hall):
    page = open_page(hall.url + "/settings")
    page.get_by_label("target reached").check()
    assert page.evaluate("localStorage.getItem('sounds')") == '["target"]'


def test_the_machine_tells_where_everything_is(open_page, hall):
    page = open_page(hall.url + "/settings")
    expect(page.locator("#folder")).to_contain_text(str(hall.folder.root))
    expect(page.locator("#folder")).to_contain_text(re.compile(r"\d+\.\d GB"))
    expect(page.locator("#network")).to_contain_text("this machine alone")
    expect(page.locator("#place")).to_contain_text("measurement version")


def test_the_policy_for_old_curves_is_kept(open_page, stored):
    page = open_page(stored.url + "/settings")
    page.get_by_label("are removed; holds and their numbers stay").check()
    page.get_by_label("but never those younger than (days)").fill("20")
    page.locator("#policy-set").click()
    expect(page.locator("#policy-answer")).to_have_text("Give at least 30 days.")
    page.get_by_label("but never those younger than (days)").fill("200")
    page.locator("#policy-set").click()
    expect(page.locator("#policy-answer")).to_have_text("saved")
    policy = policy_of(stored.store)
    assert (policy.oldest, policy.keep_days) == ("remove", 200)


def test_the_first_passcode_is_an_owners_and_closes_the_door(open_page, stored):
    page = open_page(stored.url + "/settings", refusals=True)
    expect(page.get_by_label("may be")).to_have_value("owner")
    page.get_by_label("name", exact=True).fill("Olga")
    page.get_by_label("new passcode").fill(PASSCODE)
    page.get_by_label("the same again").fill("another")
    page.get_by_role("button", name="set", exact=True).click()
    expect(page.locator("#passcode-answer")).to_have_text("The two are not the same.")
    page.get_by_label("the same again").fill(PASSCODE)
    page.get_by_role("button", name="set", exact=True).click()
    page.wait_for_url("**/sign-in")
    account = stored.authorization.access.check("Olga", PASSCODE)
    assert account is not None
    assert account.role == "owner"
    page.goto(stored.url + "/settings")
    expect(page.locator("#maintenance-none")).to_contain_text("sign in")
    expect(page.locator("#maintenance")).to_be_hidden()
    page.goto(stored.url + "/sign-in")
    page.get_by_label("name").fill("Olga")
    page.get_by_label("passcode").fill(PASSCODE)
    page.get_by_role("button", name="sign in").click()
    page.wait_for_url(stored.url + "/")
    page.goto(stored.url + "/settings")
    expect(page.locator("#passcodes li")).to_contain_text("Olga: owner")
    expect(page.locator("#devices li")).to_contain_text("Olga (owner)")
    assert any("passcodes" in entry.subject for entry in stored.store.audit.recent(20))
    # The last owner stays: otherwise nobody could come in again.
    page.get_by_role("button", name="take the passcode of Olga away").click()
    page.get_by_role("button", name="take the passcode of Olga away").click()
    expect(page.locator("#devices-part")).to_be_hidden()
    assert stored.authorization.access.accounts() == ()


def test_a_backup_is_made_and_listed(open_page, stored, tmp_path):
    stick = tmp_path / "stick"
    stick.mkdir()
    page = open_page(stored.url + "/settings")
    page.get_by_label("folder of this machine").fill(str(stick))
    page.get_by_role("button", name="make a backup").click()
    expect(page.locator("#backup-jobs")).to_contain_text("backup: done", timeout=90_000)
    expect(page.locator("#backups li")).to_have_count(1)
    expect(page.locator("#backups")).to_contain_text("read back and compared then")
    assert len(list((stick / "backups").iterdir())) == 1


def test_a_folder_that_is_not_there_is_told_in_three_sentences(open_page, hall):
    page = open_page(hall.url + "/settings", refusals=True)
    page.get_by_label("folder of this machine").fill("/nowhere/at/all")
    page.get_by_role("button", name="list backups there").click()
    expect(page.locator("#notice-what")).to_contain_text("There is no backup at")
    expect(page.locator("#notice-do")).not_to_be_empty()


def test_the_program_is_ended_after_one_question(open_page, stored):
    page = open_page(stored.url + "/settings")
    page.get_by_role("button", name="end the program").click()
    page.get_by_role("button", name="no", exact=True).click()
    assert stored.end.requested is None
    page.get_by_role("button", name="end the program").click()
    page.locator("#power-do").click()
    expect(page.locator("#power-answer")).to_contain_text("as soon as everything is on the disk")
    assert stored.end.requested == "end"
