"""The pages of people: who comes to the bar, what comes next, the month, endurance, bests, pain."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from fake_rig import served
from page_layout import at_every_size
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser


def person_page(open_page, stored, **options) -> Page:
    page = open_page(f"{stored.url}/person/{stored.person}", **options)
    expect(page.locator("body")).to_have_attribute("data-ready", "yes", timeout=60_000)
    return page


def test_somebody_new_is_added_and_comes_to_the_bar(open_page, stored):
    page = open_page(f"{stored.url}/people", timezone_id="Europe/Vienna")
    expect(page.locator("#who")).to_have_text("At the bar: a guest.")
    page.get_by_label("somebody new").fill("Ben <b>O.</b>")
    page.get_by_role("button", name="add", exact=True).click()
    expect(page.locator("#answer")).to_have_text("Ben <b>O.</b> is added.")
    added = next(person for person in stored.store.people.everybody() if person.name == "Ben <b>O.</b>")
    assert added.time_zone == "Europe/Vienna"
    page.get_by_role("button", name="Ben <b>O.</b> comes to the bar").click()
    expect(page.locator("#who")).to_have_text("At the bar: Ben <b>O.</b>.")
    assert stored.coach.person_uid == added.uid
    page.get_by_role("button", name="a guest comes to the bar").click()
    expect(page.locator("#who")).to_have_text("At the bar: a guest.")
    assert stored.coach.person_uid is None
    page.get_by_role("link", name="Mara T.").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Mara T.")


def test_without_coaching_it_says_so(open_page):
    with served() as dashboard:
        page = open_page(f"{dashboard.url}/people")
        expect(page.locator("#none")).to_contain_text("no coaching")
        expect(page.locator("#all")).to_be_hidden()


def test_today_is_what_the_coaching_prescribes(open_page, stored):
    page = person_page(open_page, stored)
    wanted = stored.coach.coaching.prescribe(stored.person)
    rows = page.locator("#items tr")
    assert rows.count() == len(wanted.items)
    for row, item in zip(rows.all(), wanted.items, strict=True):
        expect(row.get_by_role("rowheader")).to_have_text(item.title)
        expect(row.locator("td").nth(0)).to_have_text(f"{item.target_s:.0f} s")
        expect(row.locator("td").nth(3)).to_contain_text(item.reason)
    # Item, target and help stand in the first line; the reason goes on from there.
    expect(page.locator("#why")).to_contain_text(wanted.reason.partition(". ")[2])
    following = wanted.item(wanted.next)
    expect(page.locator("#next")).to_contain_text("nothing to be done" if following is None else following.title)


def test_the_month_hangs_to_scale(open_page, stored):
    rig_min = sum(hold.result.duration_s for hold in stored.holds) / 60
    at_ns = stored.holds[0].onset_utc_ns - 3 * 86_400 * 10**9
    stored.store.people.add_manual_hang(stored.person, at_ns, 210.0)
    page = person_page(open_page, stored)
    expect(page.locator("#month")).to_have_text("November 2025")
    goal_min = stored.coach.coaching.programme(stored.person)[0].as_dict()["day"]["minutes"]
    lengths = page.evaluate(
        """() => [...document.querySelectorAll("#calendar .cal-day")]
            .map((l) => [l.classList.contains("cal-hand"), l.getAttribute("y2") - l.getAttribute("y1")])"""
    )
    top = float(page.locator("#calendar .cal-bar").get_attribute("y1"))
    floor = float(page.locator("#calendar .nb-base").get_attribute("y1"))
    drawn = {by_hand: length / (floor - top) * goal_min for by_hand, length in lengths if length > 0}
    assert drawn == {False: pytest.approx(rig_min, rel=0.01), True: pytest.approx(3.5, rel=0.01)}
    expect(page.locator("#month-words")).to_contain_text(f"{rig_min + 3.5:.1f} minutes in all")
    expect(page.locator("#month-words")).to_contain_text("dashed: entered by hand")
    page.get_by_role("button", name="month before").click()
    expect(page.locator("#month")).to_have_text("October 2025")
    expect(page.locator("#calendar .cal-day")).to_have_count(0)
    expect(page.locator("#calendar .nb-hair")).to_have_count(31)


def test_endurance_shows_the_holds_that_it_rests_on(open_page, stored):
    page = person_page(open_page, stored)
    known = [hold for hold in stored.holds if hold.result.beta_mean is not None]
    expect(page.locator("#endurance circle")).to_have_count(len(known))
    active = [hold for hold in known if hold.result.kind == "active"]
    expect(page.locator("#endurance .end-active")).to_have_count(len(active))
    assert page.locator("#endurance .nb-band").count() == 1
    label = page.get_by_role("img", name=re.compile("Believed time over the share")).get_attribute("aria-label")
    posterior = stored.coach.coaching.endurance(stored.person).posterior
    assert f"from {posterior.efforts} holds" in label
    expect(page.locator("#chance")).to_contain_text("30 s without help would succeed today with")


def test_bests_lead_to_their_holds(open_page, stored):
    page = person_page(open_page, stored)
    best = stored.coach.coaching.progress(stored.person, None, None)
    link = page.locator("#bests dt:text-is('longest active, without help') + dd a")
    assert best.longest_active is not None
    expect(link).to_have_text(f"{best.longest_active.value:.1f} s")
    assert link.get_attribute("href") == f"/hold/{best.longest_active.hold_uid}"
    page.get_by_role("link", name="all holds of this person").click()
    expect(page.locator("#match-count")).to_have_text("8 holds")
    expect(page.locator("#who")).to_have_value(stored.person)


def test_pain_is_kept_and_tells_what_is_paused(open_page, stored):
    page = person_page(open_page, stored)
    page.get_by_label("0 (none) to 10").fill("12")
    page.get_by_role("button", name="keep", exact=True).click()
    assert stored.store.people.pains(stored.person) == []
    page.get_by_label("0 (none) to 10").fill("7")
    page.locator("#note").fill("left side")
    page.get_by_role("button", name="keep", exact=True).click()
    expect(page.locator("#pains")).to_contain_text("7 of 10")
    expect(page.locator("#pains")).to_contain_text("left side")
    (entry,) = stored.store.people.pains(stored.person)
    assert (entry.pain, entry.note) == (7, "left side")
    stops = stored.coach.coaching.stops(stored.person)
    assert stops, "seven of ten pauses something"
    for stop in stops:
        expect(page.locator("#stops")).to_contain_text(stop.words)


def test_the_intake_is_asked_on_the_page_and_survives_a_reload(open_page, stored):
    page = person_page(open_page, stored)
    form = page.locator("#intake-form")
    form.get_by_role("group", name="Can you hang for 30 seconds without help, shoulders relaxed?").get_by_label(
        "no"
    ).check()
    form.get_by_label("How much pain do you have now").fill("3")
    form.get_by_label("lower back").check()
    form.get_by_role("group", name="Are you pregnant?").get_by_label("yes").check()
    page.reload()
    expect(page.locator("#intake-answer")).to_contain_text("is here again")
    expect(form.get_by_label("How much pain do you have now")).to_have_value("3")
    assert stored.store.people.intakes(stored.person) == []
    page.get_by_role("button", name="keep the answers").click()
    expect(page.locator("#intake-answer")).to_have_text("Kept.")
    (intake,) = stored.store.people.intakes(stored.person)
    assert intake.answers == {"passive_30s": False, "pain_now": 3, "pain_places": ["lower_back"], "pregnancy": True}
    expect(page.locator("#intake-follows")).to_contain_text("Ask a licensed clinician before hanging: pregnancy")
    page.reload()
    expect(page.locator("#intake-last")).to_contain_text("Last asked on")
    expect(page.locator("#intake-answer")).to_be_hidden()


def test_the_programme_is_chosen_edited_and_paused(open_page, stored):
    page = person_page(open_page, stored)
    page.locator("#plan summary").click()
    page.get_by_label("template").select_option("first_hangs")
    page.get_by_role("button", name="take this template").click()
    expect(page.locator("#plan-name")).to_have_text("First hangs")
    expect(page.locator("#items tr")).to_have_count(1)
    goal = page.get_by_role("group", name="Assisted hang").get_by_label("goal (s)")
    goal.fill("5000")
    page.get_by_role("button", name="keep these numbers").click()
    expect(page.locator("#plan-answer")).to_have_text("Give a number from 1 to 3600.")
    goal.fill("75")
    page.locator("#pause-why").fill("a cold")
    page.reload()
    expect(page.locator("#plan-answer")).to_contain_text("is here again")
    expect(page.locator("#pause-why")).to_have_value("a cold")
    expect(goal).to_have_value("75")
    page.get_by_role("button", name="keep these numbers").click()
    expect(page.locator("#plan-answer")).to_contain_text("Kept")
    content = stored.coach.coaching.programme(stored.person)[0].as_dict()
    assert content["item"][0]["goal_s"] == 75
    page.get_by_role("button", name="pause it").click()
    expect(page.locator("#pauses li")).to_contain_text("until it is resumed (a cold)")
    expect(page.locator("#why")).to_contain_text("a cold")
    page.get_by_role("button", name="resume").click()
    expect(page.locator("#pauses li")).to_have_count(0)
    page.reload()
    page.locator("#plan summary").click()
    expect(goal).to_have_value("75")
    expect(page.locator("#pause-why")).to_have_value("")


def test_a_hang_elsewhere_is_entered_and_taken_back(open_page, stored):
    page = person_page(open_page, stored)
    page.locator("#hand-time").fill("0")
    page.get_by_role("button", name="enter", exact=True).click()
    expect(page.locator("#hand-answer")).to_have_text("Give 1 to 3600 seconds.")
    page.locator("#hand-time").fill("45")
    page.get_by_role("button", name="enter", exact=True).click()
    expect(page.locator("#hands li")).to_contain_text("45 s")
    (hang,) = stored.store.people.manual_hangs(stored.person)
    assert hang.duration_s == 45
    page.get_by_role("button", name="take back the hang of").click()
    expect(page.locator("#hands li")).to_have_count(0)
    assert stored.store.people.manual_hangs(stored.person) == []


def test_two_periods_are_compared_as_the_coaching_does(open_page, stored):
    page = person_page(open_page, stored)
    page.locator("#compare summary").click()
    days = {
        "before_first": "2025-11-24",
        "before_last": "2025-11-24",
        "after_first": "2025-11-24",
        "after_last": "2025-11-25",
    }
    for name, day in days.items():
        page.locator(f"#compare-form [name={name}]").fill(day)
    page.get_by_role("button", name="compare", exact=True).click()
    expect(page.locator("#compare-rows tr")).to_have_count(7)
    first, last = dt.date(2025, 11, 24), dt.date(2025, 11, 25)
    outcome = stored.coach.coaching.compare(stored.person, (first, first), (first, last))["duration"]
    row = page.locator("#compare-rows tr").first
    expect(row.locator("td").nth(0)).to_have_text(f"{outcome.before:.1f} s ({outcome.n_before} holds)")
    expect(row.locator("td").nth(3)).to_have_text("no clear change")


def test_charts_draw_each_hold_once(open_page, stored):
    page = person_page(open_page, stored)
    points = stored.coach.coaching.progress(stored.person, None, None).points
    page.locator("#span").select_option("")
    figure = page.locator("#courses figure", has_text="help from the feet")
    expect(figure.locator("circle")).to_have_count(sum(point.alpha is not None for point in points))
    label = figure.get_by_role("img").get_attribute("aria-label")
    highest = max(point.alpha for point in points if point.alpha is not None)
    assert f"and {highest * 100:.0f} %" in label


def test_the_record_is_changed_and_what_was_not_saved_comes_back(open_page, stored):
    page = person_page(open_page, stored)
    page.locator("#record summary").click()
    page.get_by_label("stature (cm)").fill("171.5")
    page.get_by_label("time zone").fill("Europe/Nowhere")
    page.reload()
    expect(page.get_by_label("stature (cm)")).to_have_value("171.5")
    page.get_by_label("time zone").fill("Europe/Lisbon")
    page.locator("#record-units").select_option("lbf")
    page.get_by_role("button", name="save the record").click()
    expect(page.locator("#record-answer")).to_have_text("saved")
    person = stored.store.people.get(stored.person)
    assert (person.stature_m, person.time_zone, person.units) == (1.715, "Europe/Lisbon", "lbf")


def test_somebody_is_erased_only_by_their_typed_name(open_page, stored):
    page = person_page(open_page, stored)
    page.locator("#record summary").click()
    page.get_by_label("type the name to erase").fill("Mara")
    page.get_by_role("button", name="erase for ever").click()
    expect(page.locator("#erase-answer")).to_contain_text("Nothing was erased")
    assert stored.store.people.get(stored.person) is not None
    page.get_by_label("type the name to erase").fill("Mara T.")
    page.get_by_role("button", name="erase for ever").click()
    expect(page.locator("#leaving-jobs")).to_contain_text("erasing: done", timeout=90_000)
    expect(page.locator("#erase-answer")).to_contain_text("Erased")
    assert stored.store.people.everybody() == []


def test_a_person_who_is_not_there_is_told(open_page, stored):
    page = open_page(f"{stored.url}/person/nobody", refusals=True)
    expect(page.get_by_role("alert")).to_contain_text("There is no")


def test_they_fit_the_screen(open_page, hall):
    for page in (person_page(open_page, hall), open_page(f"{hall.url}/people")):
        for _ in at_every_size(page):
            unnamed = page.evaluate(
                """() => [...document.querySelectorAll("button, a, input, select, svg[role=img]")]
                    .filter((e) => e.checkVisibility())
                    .filter((e) => !(e.ariaLabel || e.textContent.trim() || e.labels?.[0]?.textContent.trim()))
                    .map((e) => e.outerHTML)"""
            )
            assert unnamed == []
