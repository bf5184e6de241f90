"""A programme is data: items, the day's minutes, stop rules, chances. Templates are TOML files of this package."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any, Literal, TypeVar, cast, get_args

from monitor.coaching.errors import BadProgramme
from monitor.coaching.people.pauses import Pause

ItemKind = Literal["passive", "active", "either"]
ItemSupport = Literal["unassisted", "assisted"]
ItemHands = Literal["both", "alternating"]
Symptom = Literal["numbness", "dizziness"]

SYMPTOMS: tuple[Symptom, ...] = get_args(Symptom)
DEFAULT_TEMPLATE = "long_hangs"
LONGEST_s = 3600.0
MOST_PAUSES = 200


@dataclass(frozen=True, slots=True)
class Item:
    """One exercise. Times in seconds; the target rises from ``start_s`` by ``step_s`` to ``goal_s``."""

    key: str
    title: str
    kind: ItemKind
    support: ItemSupport
    hands: ItemHands
    start_s: float
    goal_s: float
    step_s: float
    sets: int
    rest_s: float


@dataclass(frozen=True, slots=True)
class TrialRule:
    """When a trial without help follows: so little help before, so long, from such a chance on."""

    light_alpha: float = 0.10
    seconds: float = 30.0
    chance: float = 0.5


@dataclass(frozen=True, slots=True)
class DayRule:
    """Minutes a day, for how many days, and after how many minutes the next bout is due."""

    minutes: float = 7.0
    days: int = 30
    remind_after_min: float = 90.0


@dataclass(frozen=True, slots=True)
class StopRule:
    """From which pain (of 10) or rise of it an item is paused, and which symptoms end everything."""

    pain: int = 4
    rise: int = 2
    symptoms: tuple[str, ...] = SYMPTOMS


@dataclass(frozen=True, slots=True)
class PrescriptionRule:
    """With which probability the prescribed help gives the target."""

    chance: float = 0.8


@dataclass(frozen=True, slots=True)
class Programme:
    """What a person trains; see ``docs/coaching.md`` for every figure."""

    name: str
    items: tuple[Item, ...]
    about: str = ""
    trial: TrialRule = field(default_factory=TrialRule)
    day: DayRule = field(default_factory=DayRule)
    stop: StopRule = field(default_factory=StopRule)
    prescription: PrescriptionRule = field(default_factory=PrescriptionRule)
    pauses: tuple[Pause, ...] = ()

    def item(self, key: str) -> Item | None:
        """Return an item by its key."""
        return next((item for item in self.items if item.key == key), None)

    def as_dict(self) -> dict[str, Any]:
        """Return the programme as plain data, the form of its TOML file."""
        data = dataclasses.asdict(self)
        items = [dict(item) for item in data.pop("items")]
        pauses = [dict(pause) for pause in data.pop("pauses")]
        data["stop"]["symptoms"] = list(data["stop"]["symptoms"])
        made = {"name": data.pop("name"), "about": data.pop("about"), "item": items, **data}
        return {**made, "pause": pauses} if pauses else made


def programme_from_dict(data: Mapping[str, Any]) -> Programme:
    """Return a programme from plain data.

    Raises
    ------
    BadProgramme
        The message names the place.
    """
    known = {"name", "about", "item", "trial", "day", "stop", "prescription", "pause"}
    for key in data:
        if key not in known:
            raise _bad(f"There is no {key!r} in a programme.", f"Use {', '.join(sorted(known))}.")
    name = data.get("name")
    if not isinstance(name, str) or not name.strip():
        raise _bad("The programme has no name.", 'Write name = "..." at its head.')
    rows = data.get("item")
    if not isinstance(rows, list) or not rows:
        raise _bad("The programme has no item.", "Add at least one [[item]].")
    items = tuple(_item(row, number) for number, row in enumerate(rows, start=1))
    keys = [item.key for item in items]
    if len(set(keys)) != len(keys):
        raise _bad("Two items have the same key.", "Give every item a key of its own.")
    trial = _part(TrialRule, data, "trial")
    day = _part(DayRule, data, "day")
    stop = _part(StopRule, data, "stop")
    prescription = _part(PrescriptionRule, data, "prescription")
    _within(trial.light_alpha, 0, 1, "trial.light_alpha", "a fraction of bodyweight")
    _within(trial.seconds, 1, LONGEST_s, "trial.seconds", "seconds")
    for place, value in (("trial.chance", trial.chance), ("prescription.chance", prescription.chance)):
        _within(value, 0.05, 0.99, place, "a probability")
    _within(day.minutes, 0.5, 240, "day.minutes", "minutes")
    _within(day.days, 1, 3650, "day.days", "days")
    _within(day.remind_after_min, 1, 1440, "day.remind_after_min", "minutes")
    _within(stop.pain, 1, 10, "stop.pain", "a pain from 1 to 10")
    _within(stop.rise, 1, 10, "stop.rise", "a rise of pain from 1 to 10")
    strange = [s for s in stop.symptoms if s not in SYMPTOMS]
    if strange:
        raise _bad(f"stop.symptoms names {strange[0]!r}.", f"Use {', '.join(SYMPTOMS)}.")
    pauses = _pauses(data.get("pause", []), keys)
    return Programme(name.strip(), items, str(data.get("about", "")), trial, day, stop, prescription, pauses)


def programme_from_toml(text: str) -> Programme:
    """Return a programme from the text of a TOML file.

    Raises
    ------
    BadProgramme
    """
    try:
        return programme_from_dict(tomllib.loads(text))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise _bad(f"The programme is no TOML: {error}.", "Mend the line that is named.") from error


@cache
def template_names() -> tuple[str, ...]:
    """Return the names of the templates that come with the program."""
    folder = files("monitor.coaching.people").joinpath("templates")
    return tuple(sorted(f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml")))


def template_text(name: str) -> str:
    """Return a template's TOML, comments and all.

    Raises
    ------
    BadProgramme
    """
    if name not in template_names():
        raise _bad(f"There is no template {name[:60]!r}.", f"Choose one of {', '.join(template_names())}.")
    return files("monitor.coaching.people").joinpath("templates", f"{name}.toml").read_text(encoding="utf-8")


@cache
def template(name: str = DEFAULT_TEMPLATE) -> Programme:
    """Return a programme that comes with the program.

    Raises
    ------
    BadProgramme
    """
    return programme_from_toml(template_text(name))


R = TypeVar("R")
_WORDS = {"kind": get_args(ItemKind), "support": get_args(ItemSupport), "hands": get_args(ItemHands)}


def _item(row: Any, number: int) -> Item:
    place = f"item {number}"
    if not isinstance(row, dict):
        raise _bad(f"{place} is no table.", "Write it as [[item]].")
    names = [f.name for f in dataclasses.fields(Item)]
    for key in row:
        if key not in names:
            raise _bad(f"{place} has an unknown {key!r}.", f"Use {', '.join(names)}.")
    for key in names:
        if key not in row:
            raise _bad(f"{place} has no {key}.", f"Add {key} to it.")
    for key, words in _WORDS.items():
        if row[key] not in words:
            raise _bad(f"{place}: {key} is {row[key]!r}.", f"Use {', '.join(words)}.")
    for key in ("key", "title"):
        if not isinstance(row[key], str) or not 1 <= len(row[key].strip()) <= 80:
            raise _bad(f"{place}: {key} is no short text.", f"Give {key} as text.")
    if len(row["key"]) > 40 or not row["key"].replace("_", "").replace("-", "").isalnum():
        raise _bad(f"{place}: the key {row['key']!r} is no simple word.", "Use letters, digits, - and _.")
    _within(row["start_s"], 1, LONGEST_s, f"{place}: start_s", "seconds")
    _within(row["goal_s"], row["start_s"], LONGEST_s, f"{place}: goal_s", "seconds, at least start_s")
    _within(row["step_s"], 1, LONGEST_s, f"{place}: step_s", "seconds")
    _within(row["sets"], 1, 50, f"{place}: sets", "a count")
    _within(row["rest_s"], 0, 7200, f"{place}: rest_s", "seconds")
    if row["sets"] != int(row["sets"]):
        raise _bad(f"{place}: sets is {row['sets']}.", "Give a whole number.")
    numbers = {key: float(row[key]) for key in ("start_s", "goal_s", "step_s", "rest_s")}
    return Item(**{**row, **numbers, "sets": int(row["sets"])})


def _pauses(rows: Any, keys: list[str]) -> tuple[Pause, ...]:
    if not isinstance(rows, list) or len(rows) > MOST_PAUSES or not all(isinstance(row, dict) for row in rows):
        raise _bad("pause is no list of tables.", f"Write each as [[pause]], {MOST_PAUSES} at most.")
    made = []
    for number, row in enumerate(rows, start=1):
        place = f"pause {number}"
        names = [f.name for f in dataclasses.fields(Pause)]
        strange = [key for key in row if key not in names]
        if strange or not all(isinstance(value, str) and len(value) <= 500 for value in row.values()):
            raise _bad(f"{place} has something unknown or too long.", f"Use {', '.join(names)}, each as text.")
        try:
            pause = Pause(**row)
            first, last = dt.date.fromisoformat(pause.first), pause.last and dt.date.fromisoformat(pause.last)
        except (TypeError, ValueError) as error:
            raise _bad(f"{place} has no date that can be read.", "Give first (and last) as 2026-03-31.") from error
        if last and last < first:
            raise _bad(f"{place} ends before it begins.", "Give last as the day of first or a later one.")
        if pause.item and pause.item not in keys:
            raise _bad(f"{place} names the item {pause.item!r}.", f"Choose one of {', '.join(keys)}, or leave it out.")
        made.append(pause)
    return tuple(made)


def _part(kind: type[R], data: Mapping[str, Any], name: str) -> R:
    row = data.get(name, {})
    if not isinstance(row, dict):
        raise _bad(f"{name} is no table.", f"Write it as [{name}].")
    names = [f.name for f in dataclasses.fields(cast("Any", kind))]
    for key in row:
        if key not in names:
            raise _bad(f"{name} has an unknown {key!r}.", f"Use {', '.join(names)}.")
    if "symptoms" in row:
        if not isinstance(row["symptoms"], (list, tuple)):
            raise _bad("stop.symptoms is no list.", f"Give a list of {', '.join(SYMPTOMS)}.")
        row = {**row, "symptoms": tuple(row["symptoms"])}
    return kind(**row)


def _within(value: Any, low: float, high: float, place: str, what: str) -> None:
    number = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
    if not number or not low <= value <= high:
        raise _bad(f"{place} is {value!r}.", f"Give {what} between {low:g} and {high:g}.")


def _bad(what: str, do: str) -> BadProgramme:
    return BadProgramme(what=what, means="The programme was not taken over; the one before stays in force.", do=do)
