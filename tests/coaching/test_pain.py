"""Stop rules and the cues for the lower back."""

from __future__ import annotations

import pytest
from invented import DAY_ns

from monitor.coaching.people.programme import StopRule
from monitor.coaching.safety.back_care import CUES, back_care
from monitor.coaching.safety.stop_rules import paused_why, stops
from monitor.records.person_entries import PainEntry

RULE = StopRule()


def entry(day: float, pain: int, place: str | None = "shoulder", item: str | None = "passive", **more) -> PainEntry:
    return PainEntry(int(day * 10) + 1, "p", round(day * DAY_ns), pain, place, item=item, **more)


@pytest.mark.parametrize(
    ("entries", "paused"),
    [
        ([entry(0, 3)], None),
        ([entry(0, 4)], "passive"),
        ([entry(0, 1), entry(1, 3)], "passive"),
        ([entry(0, 1), entry(1, 2)], None),
        ([entry(0, 1), entry(9, 3)], None),
        ([entry(0, 1, "wrist"), entry(1, 3)], None),
        ([entry(0, 5), entry(1, 2)], None),
        ([entry(0, 5), entry(1, 2, item="active")], None),
        ([entry(0, 5), entry(1, 2, place="wrist", item="active")], "passive"),
    ],
    ids=["3", "4", "rise of 2", "rise of 1", "rise, long ago", "other place", "gone", "gone at the place", "still"],
)
def test_pain_pauses_its_item(entries, paused):
    result = stops(entries, RULE)
    assert [s.item for s in result] == ([paused] if paused else [])
    if paused:
        assert "physiotherapist" in paused_why(result, "passive")
        assert paused_why(result, "active") == ""


@pytest.mark.parametrize("symptom", ["numbness", "dizziness"])
def test_a_symptom_pauses_everything_until_a_clinician_was_consulted(symptom):
    first = entry(0, 0, None, None, symptoms=(symptom,))
    (stop,) = stops([first], RULE)
    assert (stop.item, "physician" in stop.ask) == (None, True)
    assert "everything is paused" in stop.words
    assert paused_why([stop], "active")
    assert stops([first, entry(1, 0, None, None)], RULE), "a good day alone opens nothing"
    assert stops([first, entry(1, 0, None, None, tried=("clinician_asked",))], RULE) == []


def test_the_coach_may_set_other_limits():
    assert stops([entry(0, 4)], StopRule(pain=6, rise=5, symptoms=())) == []
    assert stops([entry(0, 0, symptoms=("dizziness",))], StopRule(symptoms=())) == []


def test_pain_of_no_item_pauses_everything():
    (stop,) = stops([entry(0, 6, "wrist", None)], RULE)
    assert stop.item is None


def back(day: float, pain: int, *tried: str) -> PainEntry:
    return entry(day, pain, "lower_back", tried=tried)


def test_the_cues_come_in_their_order():
    entries = [back(0, 3)]
    for cue in CUES:
        result = back_care(entries)
        assert result.next == cue
        assert cue.text in result.words
        entries.append(back(len(entries), 3, cue.key))
    result = back_care(entries)
    assert result.next is None
    assert "physiotherapist" in result.words


def test_a_cue_that_helped_stays_the_next_one():
    result = back_care([back(0, 3), back(1, 3, "look_from_the_side"), back(2, 1, "ribs_down"), entry(3, 9)])
    assert result.next.key == "ribs_down"
    assert "from 3.0 to 1.0" in result.words
    record = next(r for r in result.records if r.cue.key == "ribs_down")
    assert (record.tries, record.pain_before, record.pain_after) == (1, 3.0, 1.0)
