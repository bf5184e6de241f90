"""The coach's page: the same live picture, and everything beside it with one tap, kept in a real store."""

from __future__ import annotations

import dataclasses

import pytest
from fake_rig import HANGS_S, LETS_GO_S, FakeRig, playing, scene_at
from page_layout import at_every_size
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser


@pytest.fixture
def page(open_page, stored) -> Page:
    page = open_page(f"{stored.url}/coach", viewport="tablet")
    expect(page.locator("#names")).to_contain_text("Mara T.")
    expect(page.locator("#last-time")).to_have_text("18.4 s")
    return page


def show(stored, page: Page, at_s: float, **changes) -> None:
    picture = dataclasses.replace(scene_at(at_s), **changes)
    stored.coach.live.take(picture)
    stored.coach.bar.take(picture)
    stored.hub.publish(picture)
    expect(page.locator("body")).to_have_attribute("data-picture", str(stored.hub.newest()[0]))


def test_one_tap_names_who_hangs_and_the_next_set(stored, page):
    other = stored.coach.coaching.add_person("Bo Karl")
    page.reload()
    tap = page.get_by_role("button", name="Bo Karl", exact=True)
    tap.click()
    expect(tap).to_have_attribute("aria-pressed", "true")
    assert stored.coach.person_uid == other.uid
    expect(page.locator("#who")).to_have_text("B. K.")
    prescription = stored.coach.coaching.prescribe(other.uid)
    expect(page.locator("#next-reason")).to_have_text(prescription.reason)
    other_item = next(item for item in prescription.items if item.key != prescription.next)
    choice = page.locator("#items button").filter(has_text=other_item.title)
    choice.click()
    expect(choice).to_have_attribute("aria-pressed", "true")
    assert stored.coach.live.now().item == other_item.key
    page.get_by_role("button", name="guest", exact=True).click()
    expect(page.locator("#next-reason")).to_have_text("A guest: nothing is prescribed.")
    assert stored.coach.person_uid is None


def test_who_comes_today_and_how_they_are_called(stored, page):
    page.get_by_label("Mara T. comes today").check()
    expect(page.locator("#names button").nth(1)).to_have_text("Mara T.")
    expect(page.locator("#who")).to_have_text("guest")
    assert stored.coach.bar.queue() == [stored.person]
    page.get_by_role("button", name="Mara T.", exact=True).click()
    expect(page.locator("#who")).to_have_text("M. T.")
    page.get_by_label("called at the bar").select_option("name")
    expect(page.locator("#who")).to_have_text("Mara T.")


def test_a_cue_is_marked_at_the_instant_that_the_screen_shows(stored, page):
    session = stored.holds[0].session_uid
    show(stored, page, HANGS_S + 4.0)
    stored.coach.running = (session, HANGS_S + 4.4)  # the program is a little ahead of the screen
    page.get_by_role("button", name="ribs down").click()
    expect(page.locator("#mark-answer")).to_contain_text("marked at 4.0 s: ribs down")
    (mark,) = stored.store.markers.of_session(session)
    assert (mark.kind, mark.text, mark.at_s) == ("cue", "ribs down", HANGS_S + 4.0)
    page.get_by_role("button", name="take back").click()
    expect(page.locator("#mark-answer")).to_have_text("taken back: ribs down")
    assert stored.store.markers.of_session(session) == []


def test_pain_is_marked_at_once_and_may_be_rated_afterwards(stored, page):
    session = stored.holds[0].session_uid
    show(stored, page, HANGS_S + 4.0)
    stored.coach.running = (session, HANGS_S + 4.0)
    page.get_by_role("button", name="pain", exact=True).click()
    expect(page.locator("#mark-answer")).to_contain_text("pain")
    assert [mark.pain for mark in stored.store.markers.of_session(session)] == [None]
    show(stored, page, HANGS_S + 9.0)
    page.locator("#pain").get_by_role("button", name="3", exact=True).click()
    expect(page.locator("#mark-answer")).to_contain_text("pain 3 of 10")
    expect(page.locator("#pain")).to_be_hidden()
    expect(page.locator("#cues")).to_have_attribute("data-marks", "1")  # the first goes once the other is kept
    marks = stored.store.markers.of_session(session)
    assert [(mark.pain, mark.at_s) for mark in marks] == [(3, HANGS_S + 4.0)]
    assert [entry.pain for entry in stored.store.people.pains(stored.person)][-1] == 3


def test_a_refusal_stands_above_the_page_until_it_is_seen(open_page, stored):
    page = open_page(f"{stored.url}/coach", viewport="tablet", refusals=True)
    show(stored, page, 2.0)
    page.get_by_role("button", name="breathe").click()
    expect(page.locator("#refusal-what")).to_have_text("Nobody is on the rig, nor was a moment ago.")
    page.get_by_role("button", name="seen", exact=True).click()
    expect(page.locator("#refusal")).to_be_hidden()


def test_the_last_hold_is_retagged_and_the_correction_undone(stored, page):
    uid = stored.holds[0].uid
    expect(page.locator("#retag button[aria-pressed=true]")).to_have_text("passive and active")
    page.get_by_role("button", name="active", exact=True).click()
    expect(page.locator("#last-answer")).to_have_text("retagged")
    expect(page.locator("#retag button[aria-pressed=true]")).to_have_text("active")
    assert stored.store.get_hold(uid).result.kind == "active"
    page.get_by_role("button", name="undo").click()
    expect(page.locator("#last-answer")).to_have_text("undone")
    expect(page.locator("#retag button[aria-pressed=true]")).to_have_text("passive and active")


def test_the_last_hold_is_split_discarded_and_brought_back(stored, page):
    page.get_by_text("split, join or discard").click()
    page.get_by_label("split after").fill("7.5")
    page.get_by_role("button", name="split", exact=True).click()
    expect(page.locator("#last-answer")).to_have_text("split in two")
    expect(page.locator("#last-time")).to_have_text("10.9 s")
    expect(page.get_by_role("button", name="join with the one before")).to_be_enabled()
    page.get_by_role("button", name="undo").click()
    expect(page.locator("#last-time")).to_have_text("18.4 s")
    page.get_by_label("reason").fill("somebody bumped the rig")
    page.get_by_role("button", name="discard", exact=True).click()
    expect(page.locator("#last-answer")).to_have_text("discarded")
    stored_correction = stored.store.corrections.of_hold(stored.holds[0].uid)[-1]
    assert (stored_correction.kind, stored_correction.reason) == ("discard", "somebody bumped the rig")
    page.get_by_role("button", name="undo").click()
    expect(page.locator("#last-answer")).to_have_text("undone")
    assert stored.store.get_hold(stored.holds[0].uid).hidden is None


def test_a_note_and_the_ending_are_kept_and_writing_survives_a_reload(stored, page):
    hold = stored.holds[0]
    page.get_by_role("button", name="by exhaustion").click()
    expect(page.locator("#last-answer")).to_have_text("kept: it ended by exhaustion")
    assert stored.store.get_hold(hold.uid).ending == "exhausted"
    page.get_by_label("note").fill("left hand opens first")
    page.reload()
    expect(page.get_by_label("note")).to_have_value("left hand opens first")
    page.locator("#note-keep").click()
    expect(page.locator("#last-answer")).to_have_text("note kept")
    assert [mark.text for mark in stored.store.markers.of_session(hold.session_uid)] == ["left hand opens first"]
    expect(page.get_by_label("note")).to_have_value("")


def test_a_hold_of_nobody_is_given_to_its_owner(stored, page):
    other = stored.coach.coaching.add_person("Bo Karl")
    page.reload()
    page.get_by_label("whose hold").select_option(label="Bo Karl")
    expect(page.locator("#last-answer")).to_have_text("now the hold of Bo Karl")
    assert stored.store.get_hold(stored.holds[0].uid).person_uid == other.uid


def test_curves_of_both_sides_and_the_swing_run_with_the_rest(stored, page):
    page.evaluate(
        """() => {
            window.drawn = {};
            for (const id of ["curves", "sides", "swing"]) {
                const pen = document.getElementById(id).getContext("2d");
                const lines = pen.drawImage.bind(pen);
                pen.drawImage = (...all) => {
                    window.drawn[id] = (window.drawn[id] ?? 0) + 1;
                    document.body.dataset.drawn = Object.values(window.drawn).filter((count) => count > 20).length;
                    lines(...all);
                };
            }
        }"""
    )
    with playing(stored.hub, FakeRig(t_s=LETS_GO_S - 6)):
        expect(page.locator("body")).to_have_attribute("data-drawn", "3", timeout=60_000)
    inked = page.evaluate(
        """() => ["sides", "swing"].map((id) => {
            const canvas = document.getElementById(id);
            const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
            const colours = new Set();
            for (let i = 0; i < data.length; i += 4) colours.add(`${data[i]} ${data[i + 1]} ${data[i + 2]}`);
            return colours.size;
        })"""
    )
    assert all(count > 8 for count in inked)


def test_nothing_is_cut_off_at_the_side(open_page, hall):
    page = open_page(f"{hall.url}/coach")
    expect(page.locator("#last-time")).to_have_text("18.4 s")
    for _ in at_every_size(page):
        expect(page.locator("#last-time")).to_have_text("18.4 s")
