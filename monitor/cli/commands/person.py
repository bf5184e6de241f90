"""``hang-monitor person``: who hangs, their intake, pain, and hangs away from the rig."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from monitor.cli.coaching_access import DATA_HELP, PERSON_HELP, open_coaching
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.cli.terminal.text_io import read_text, write, write_json
from monitor.errors import BadInput, MonitorError

if TYPE_CHECKING:
    from monitor.coaching.people.intake import IntakeOutcome, Question

person = typer.Typer(no_args_is_help=True, help="Who hangs: people, intake, pain, hangs away from the rig.")


class NobodyAnswers(MonitorError):
    """An intake needs a person at a terminal, or a file of answers."""

    code = "nobody-answers"


@person.command("add")
@reports_errors
def add(
    name: str = typer.Argument(help="Name or initials."),
    stature_m: float | None = typer.Option(None, "--stature", help="Stature in metres.", metavar="M"),
    notes: str = typer.Option("", help="Anything to remember."),
    consent_on: str | None = typer.Option(None, "--consent", help="Date of consent, as 2026-03-31.", metavar="DATE"),
    units: str = typer.Option("kgf", help="Unit of loads: N, kgf, lbf or %BW."),
    time_zone: str | None = typer.Option(None, help="As Europe/Vienna; this machine's if left out."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Add a person and print their uid. A guest needs no record."""
    from monitor.coaching.local_time import local_zone_name

    with open_coaching(data) as coaching:
        added = coaching.add_person(
            name,
            stature_m=stature_m,
            notes=notes,
            consent_on=consent_on,
            units=units,
            time_zone=time_zone or local_zone_name(),
        )
    write(added.uid)


@person.command("list")
@reports_errors
def everybody(
    as_json: bool = typer.Option(False, "--json", help="JSON instead of a table."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """List everybody, by name."""
    with open_coaching(data) as coaching:
        people = coaching.everybody()
    if as_json:
        write_json([dataclasses.asdict(p) for p in people])
        return
    write("\n".join(f"{p.uid}  {p.name}" for p in people) or "Nobody yet. Add somebody: hang-monitor person add NAME")


@person.command("show")
@reports_errors
def show(
    who: str = typer.Argument(help=PERSON_HELP),
    as_json: bool = typer.Option(False, "--json", help="JSON instead of lines."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Show a person, the last intake and what is paused."""
    with open_coaching(data) as coaching:
        one = coaching.find_person(who)
        intake, stops, ledger = coaching.latest_intake(one.uid), coaching.stops(one.uid), coaching.days(one.uid)
        programme, _ = coaching.programme(one.uid)
    if as_json:
        outcome = None if intake is None else intake[1].as_dict()
        paused = [dataclasses.asdict(s) for s in stops]
        write_json({**dataclasses.asdict(one), "intake": outcome, "stops": paused, "programme": programme.name})
        return
    consent = one.consent_on or "not given"
    stature = f"{one.stature_m:.2f} m" if one.stature_m is not None else "not known"
    lines = [
        f"{one.name} ({one.uid})",
        f"  stature {stature}, loads in {one.units}, time zone {one.time_zone}, consent {consent}",
        f"  programme: {programme.name}",
        f"  {ledger.words}",
    ]
    lines += [f"  note: {one.notes}"] if one.notes else []
    lines += [f"  {line}" for line in (_outcome_lines(intake[1]) if intake else ["no intake yet"])]
    write("\n".join(lines + [f"  {stop.words}" for stop in stops]))


@person.command("intake")
@reports_errors
def intake(
    who: str = typer.Argument(help=PERSON_HELP),
    answers: Path | None = typer.Option(None, help="File of answers (JSON); the terminal asks if left out."),
    as_json: bool = typer.Option(False, "--json", help="JSON instead of lines."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Ask the intake's questions and show what follows. It clears nobody medically."""
    from monitor.coaching.people.intake import questions

    with open_coaching(data) as coaching:
        one = coaching.find_person(who)
        if answers is not None:
            given = _answers_of(answers)
        elif sys.stdin.isatty():
            given = {q.key: a for q in questions() if (a := _ask(q)) is not None}
        else:
            raise NobodyAnswers(
                what="Nobody is at the terminal to answer.",
                means="The intake was not taken.",
                do="Give the answers as a JSON file with --answers.",
            )
        _, outcome = coaching.take_intake(one.uid, given)
    if as_json:
        write_json(outcome)
    else:
        write("\n".join(_outcome_lines(outcome)))


@person.command("pain")
@reports_errors
def pain(
    who: str = typer.Argument(help=PERSON_HELP),
    rating: int = typer.Argument(help="0 (none) to 10 (the worst imaginable).", min=0, max=10),
    place: str | None = typer.Option(None, help="shoulder, elbow, wrist, hand, neck or lower_back."),
    item: str | None = typer.Option(None, help="Key of the programme's item at which it came."),
    symptom: list[str] = typer.Option([], help="numbness or dizziness; may be repeated."),
    tried: list[str] = typer.Option([], help="What was tried, as ribs_down or clinician_asked; may be repeated."),
    hold: str | None = typer.Option(None, help="The hold's uid."),
    note: str = typer.Option("", help="Anything to remember."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Log pain, and show what it pauses and who to ask."""
    with open_coaching(data) as coaching:
        one = coaching.find_person(who)
        _, stops = coaching.log_pain(
            one.uid,
            rating,
            place=place,
            item=item,
            symptoms=tuple(symptom),
            tried=tuple(tried),
            hold_uid=hold,
            note=note,
        )
        care = coaching.back_care(one.uid).words if place == "lower_back" else ""
    write("\n".join([*(stop.words for stop in stops), *([care] if care else [])]) or "Saved; nothing is paused.")


@person.command("hang")
@reports_errors
def hang(
    who: str = typer.Argument(help=PERSON_HELP),
    seconds: float = typer.Argument(help="How long, in seconds."),
    at: str | None = typer.Option(None, help="When, in the person's time zone, as 2026-03-31T18:05; now if left out."),
    kind: str | None = typer.Option(None, help="passive, active or mixed."),
    note: str = typer.Option("", help="Anything to remember."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Enter a hang that was made away from the rig; it is marked as entered by hand."""
    from monitor.coaching.local_time import zone_of

    with open_coaching(data) as coaching:
        one = coaching.find_person(who)
        at_ns = None
        if at is not None:
            try:
                local = dt.datetime.fromisoformat(at)
            except ValueError as error:
                raise BadInput(
                    what=f"{at!r} is not a time.", means="The hang was not saved.", do="Give it as 2026-03-31T18:05."
                ) from error
            placed = local if local.tzinfo is not None else local.replace(tzinfo=zone_of(one.time_zone))
            at_ns = round(placed.timestamp()) * 10**9
        coaching.log_hang(one.uid, seconds, at_ns, kind, note)
        words = coaching.days(one.uid).words
    write(words)


def _answers_of(path: Path) -> dict[str, Any]:
    try:
        given = json.loads(read_text(path))
    except (json.JSONDecodeError, RecursionError) as error:
        raise BadInput(
            what=f"{path} is not JSON: {error}.",
            means="The intake was not taken.",
            do="Correct the file at that place.",
        ) from error
    if not isinstance(given, dict):
        raise BadInput(
            what=f"{path} does not hold a JSON object.",
            means="The intake was not taken.",
            do='Write one answer for each question: {"pain_now": 0, ...}.',
        )
    return given


def _ask(question: Question) -> Any:
    """Ask one question until its answer fits; an empty answer leaves it out."""
    from monitor.coaching.errors import BadAnswers
    from monitor.coaching.people.intake import checked_answers, places

    hint = {
        "yes_no": "y/n",
        "pain": "0-10",
        "places": ", ".join(places()),
        "choice": ", ".join(question.choices),
    }[question.answer]
    while True:
        text = typer.prompt(f"{question.text} [{hint}; empty: skip]", default="", show_default=False).strip()
        if not text:
            return None
        answer: Any = text
        if question.answer == "yes_no":
            answer = {"y": True, "yes": True, "n": False, "no": False}.get(text.lower(), text)
        elif question.answer == "pain":
            answer = int(text) if text.isdecimal() else text
        elif question.answer == "places":
            answer = [part.strip() for part in text.split(",") if part.strip()]
        try:
            checked_answers({question.key: answer})
        except BadAnswers as error:
            write(f"{error.what} {error.do}")
        else:
            return answer


def _outcome_lines(outcome: IntakeOutcome) -> list[str]:
    from monitor.coaching.people.intake import CLEARED, CLINICIAN

    lines = [outcome.blocked] if outcome.blocked else []
    if outcome.cleared:
        lines.append(f"{CLEARED}.")
    elif outcome.ask_clinician:
        lines.append(f"{CLINICIAN}: {', '.join(outcome.ask_clinician)}. This is a note; it clears nobody.")
    lines += [
        f"{key}: {'open' if is_open else 'later'} ({outcome.reasons[key]})"
        for key, is_open in outcome.open_items.items()
    ]
    lines.append(f"active {outcome.active_share:.0%}, passive {1 - outcome.active_share:.0%}: {outcome.share_reason}")
    return lines + outcome.cautions
