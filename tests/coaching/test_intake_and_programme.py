"""Intake and programme are data, checked aloud."""

from __future__ import annotations

import pytest

from monitor.coaching.errors import BadAnswers, BadPerson, BadProgramme
from monitor.coaching.local_time import local_zone_name, zone_of
from monitor.coaching.people.intake import IntakeOutcome, active_share_now, intake_outcome, places, questions
from monitor.coaching.people.person import checked_person
from monitor.coaching.people.programme import (
    programme_from_dict,
    programme_from_toml,
    template,
    template_names,
    template_text,
)
from monitor.records.person import Person

# The figures that the programme is to begin with; common practice, no source.
DEFAULTS = {"passive": (30, 120), "active": (30, 90), "assisted": (30, 120)}


def test_the_default_programme_has_the_agreed_figures():
    programme = template()
    assert {i.key: (i.start_s, i.goal_s) for i in programme.items} == DEFAULTS
    assert (programme.trial.light_alpha, programme.trial.seconds) == (0.10, 30)
    assert (programme.day.minutes, programme.day.days) == (7, 30)
    assert (programme.stop.pain, programme.stop.rise) == (4, 2)
    assert programme.prescription.chance == 0.8


@pytest.mark.parametrize("name", template_names())
def test_every_template_comes_back_as_it_went_in(name):
    assert "Common practice, no source" in template_text(name) or "common practice, no source" in template_text(name)
    assert programme_from_dict(template(name).as_dict()) == template(name)


def test_there_is_an_item_of_alternating_hands():
    item = template("long_alternating").item("alternating")
    assert (item.hands, item.sets) == ("alternating", 1)


def changed(**changes):
    data = template().as_dict()
    data.update(changes)
    return data


@pytest.mark.parametrize(
    ("data", "named"),
    [
        ({}, "no name"), (changed(item=[]), "no item"), (changed(colour=1), "colour"),
        (changed(item=[{**template().as_dict()["item"][0], "kind": "sideways"}]), "item 1: kind"),
        (changed(item=[{**template().as_dict()["item"][0], "goal_s": 20}]), "goal_s"),
        (changed(item=[{**template().as_dict()["item"][0], "start_s": "long"}]), "start_s"),
        (changed(item=[{**template().as_dict()["item"][0], "sets": 1.5}]), "sets"),
        (changed(item=[{**template().as_dict()["item"][0], "extra": 1}]), "extra"),
        (changed(item=[template().as_dict()["item"][0]] * 2), "same key"), (changed(item=["x"]), "no table"),
        (changed(trial={"light_alpha": 7}), "trial.light_alpha"), (changed(trial={"seconds": True}), "trial.seconds"),
        (changed(prescription={"chance": 1.0}), "prescription.chance"), (changed(day={"minutes": 0}), "day.minutes"),
        (changed(stop={"symptoms": ["fun"]}), "fun"), (changed(stop={"symptoms": "dizziness"}), "no list"),
        (changed(stop={"pain": 11}), "stop.pain"), (changed(day=[]), "no table"),
    ],
)  # fmt: skip
def test_an_impossible_programme_is_refused(data, named):
    with pytest.raises(BadProgramme) as caught:
        programme_from_dict(data)
    assert named in caught.value.what


def test_text_that_is_not_toml_is_refused():
    with pytest.raises(BadProgramme, match="no TOML"):
        programme_from_toml("name = ")
    with pytest.raises(BadProgramme, match="no template"):
        template_text("../intake_questions")


def test_a_yes_to_a_warning_question_asks_for_a_clinician_and_clears_nobody():
    requested = {q.key: q.clinician for q in questions() if q.clinician}
    assert set(requested.values()) == {
        "recent surgery or dislocation", "uncontrolled blood pressure", "pregnancy", "dizziness", "numbness"
    }  # fmt: skip
    for key, note in requested.items():
        assert intake_outcome({key: True}).ask_clinician == [note]
        assert intake_outcome({key: False}).ask_clinician == []


@pytest.mark.parametrize(
    ("answers", "build", "share"),
    [
        ({"overhead_reach": "at_the_wall", "chin_over_bar_10s": False}, "mobile_and_weak", 0.7),
        ({"elbows_beyond_straight": True}, "mobile_and_weak", 0.7),
        ({"overhead_reach": "further_away", "chin_over_bar_10s": True}, "strong_and_stiff", 0.3),
        ({"overhead_reach": "further_away", "chin_over_bar_10s": True, "shoulder_pain_passive": True},
         "strong_and_stiff", 0.7),
        ({"overhead_reach": "at_the_wall", "chin_over_bar_10s": True}, "between", 0.5),
        ({}, "between", 0.5),
    ],
)  # fmt: skip
def test_the_share_follows_from_build_and_pain_with_its_reason(answers, build, share):
    outcome = intake_outcome(answers)
    assert (outcome.build, outcome.active_share) == (build, pytest.approx(share))
    assert outcome.share_reason
    assert IntakeOutcome.from_dict(outcome.as_dict()) == outcome


def test_the_share_drifts_to_equal_as_the_person_changes():
    weak = intake_outcome({"elbows_beyond_straight": True})
    assert active_share_now(weak, 1.0, 0.0)[0] == pytest.approx(0.7)
    assert active_share_now(weak, 0.0, 0.5)[0] == pytest.approx(0.6)
    assert active_share_now(weak, 0.0, 3.0)[0] == pytest.approx(0.5)
    assert "drifting" in active_share_now(weak, 0.0, 0.5)[1]
    stiff = intake_outcome({"overhead_reach": "further_away", "chin_over_bar_10s": True})
    assert active_share_now(stiff, 0.5, 0.0)[0] == pytest.approx(0.4)


def test_items_open_by_what_the_person_can_do():
    assert intake_outcome({"passive_30s": True}).open_items == {"passive": True, "active": False, "assisted": True}
    assert "Pain 3 of 10" in intake_outcome({"pain_now": 3, "pain_places": ["wrist"]}).cautions[0]


@pytest.mark.parametrize(
    "answers",
    [{"nothing": True}, {"pain_now": 11}, {"pain_now": True}, {"pain_now": 2.5}, {"passive_30s": "yes"},
     {"pain_places": ["toe"]}, {"pain_places": "hand"}, {"overhead_reach": "far"}],
)  # fmt: skip
def test_answers_that_fit_no_question_are_refused(answers):
    with pytest.raises(BadAnswers):
        intake_outcome(answers)


def test_the_scale_of_pain_is_the_numeric_rating_scale():
    """Reference: tests/reference/pain_scale.json, 0 to 10 in whole steps."""
    import json
    from pathlib import Path

    scale = json.loads((Path(__file__).parents[1] / "reference" / "pain_scale.json").read_text())
    low, high = scale["numeric_rating_scale"]["range"]
    for pain in range(low, high + 1, scale["numeric_rating_scale"]["step"]):
        assert intake_outcome({"pain_now": pain}).build == "between"
    assert set(places()) == {"shoulder", "elbow", "wrist", "hand", "neck", "lower_back"}


@pytest.mark.parametrize(
    "fields",
    [{"name": "  "}, {"name": "x" * 200}, {"stature_m": 174.0}, {"stature_m": 0.1}, {"units": "stone"},
     {"consent_on": "yesterday"}, {"time_zone": "Mars/Olympus"}, {"time_zone": "../etc"}],
)  # fmt: skip
def test_an_impossible_person_is_refused(fields):
    with pytest.raises(BadPerson):
        checked_person(Person(**{"uid": "", "name": "A.", **fields}))


def test_a_name_is_tidied_and_the_machine_has_a_zone(monkeypatch):
    assert checked_person(Person("", "  A.  B. ")).name == "A. B."
    monkeypatch.setenv("TZ", "Europe/Vienna")
    assert local_zone_name() == "Europe/Vienna"
    monkeypatch.setenv("TZ", "nonsense")
    assert zone_of(local_zone_name())
