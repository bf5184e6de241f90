"""``hang-monitor programme`` and ``hang-monitor prescribe``: what a person trains, and what comes next."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from monitor.cli.coaching_access import DATA_HELP, PERSON_HELP, open_coaching
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.cli.terminal.text_io import read_text, write, write_json
from monitor.errors import BadInput

if TYPE_CHECKING:
    from monitor.coaching.endurance.forecast import Estimate
    from monitor.coaching.prescribing.day_prescription import DayPrescription

programme = typer.Typer(no_args_is_help=True, help="What a person trains: templates, show, set, pause.")


@programme.command("templates")
@reports_errors
def templates(
    name: str | None = typer.Argument(None, help="Print this template's TOML, to be edited and set."),
) -> None:
    """List the programmes that come with the program, or print one."""
    from monitor.coaching.people.programme import template, template_names, template_text

    if name is not None:
        write(template_text(name))
        return
    write("\n".join(f"{n:18} {template(n).about}" for n in template_names()))


@programme.command("show")
@reports_errors
def show(who: str = typer.Argument(help=PERSON_HELP), data: Path | None = typer.Option(None, help=DATA_HELP)) -> None:
    """Print the programme in force, as TOML that can be edited and set."""
    import tomli_w

    with open_coaching(data) as coaching:
        in_force, since_ns = coaching.programme(coaching.find_person(who).uid)
    since = "the default one"
    if since_ns is not None:
        since = f"in force since {dt.datetime.fromtimestamp(since_ns // 10**9, dt.UTC):%Y-%m-%d}"
    write(f"# {since}\n{tomli_w.dumps(in_force.as_dict())}")


@programme.command("set")
@reports_errors
def set_programme(
    who: str = typer.Argument(help=PERSON_HELP),
    file: Path | None = typer.Argument(None, help="A programme as TOML."),
    template_name: str | None = typer.Option(None, "--template", help="Name of a template instead of a file."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Put a programme in force from now on; earlier ones stay stored."""
    from monitor.coaching.people.programme import programme_from_toml, template

    if file is not None and template_name is None:
        chosen = programme_from_toml(read_text(file))
    elif template_name is not None and file is None:
        chosen = template(template_name)
    else:
        raise BadInput(
            what="Either a file or a template is needed, not both.",
            means="The programme was not changed.",
            do="Give a TOML file, or --template with a name from hang-monitor programme templates.",
        )
    with open_coaching(data) as coaching:
        coaching.set_programme(coaching.find_person(who).uid, chosen)
    write(f"In force from now on: {chosen.name}")


@programme.command("pause")
@reports_errors
def pause(
    who: str = typer.Argument(help=PERSON_HELP),
    item: str = typer.Option("", help="Key of the item; everything if left out."),
    until: str | None = typer.Option(None, help="Last day of the pause, as 2026-03-31; until resumed if left out."),
    reason: str = typer.Option("", help="Why, for the person to read."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Pause a programme, or one item, from today on. Days of a pause are not missed and break no streak."""
    try:
        last = None if until is None else dt.date.fromisoformat(until)
    except ValueError as error:
        raise BadInput(
            what=f"{until!r} is not a date.", means="Nothing was paused.", do="Give it as 2026-03-31."
        ) from error
    with open_coaching(data) as coaching:
        changed = coaching.pause(coaching.find_person(who).uid, last=last, item=item, reason=reason)
    write(f"{item or changed.name}: {changed.pauses[-1].words}")


@programme.command("resume")
@reports_errors
def resume(
    who: str = typer.Argument(help=PERSON_HELP),
    item: str = typer.Option("", help="Key of the item; the pause of everything if left out."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """End a requested pause. What pain has paused stays paused."""
    with open_coaching(data) as coaching:
        changed = coaching.resume(coaching.find_person(who).uid, item)
    write(f"{item or changed.name}: resumed")


@reports_errors
def prescribe(
    who: str = typer.Argument(help=PERSON_HELP),
    as_json: bool = typer.Option(False, "--json", help="JSON instead of lines."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Show what a person does next: item, seconds, allowed help, rest, and why."""
    with open_coaching(data) as coaching:
        one = coaching.find_person(who)
        prescription = coaching.prescribe(one.uid)
    if as_json:
        write_json(prescription.as_dict())
        return
    write("\n".join(_lines(one.name, prescription)))


def _lines(name: str, plan: DayPrescription) -> list[str]:
    lines = [f"{name}: {plan.reason}", *([f"  {plan.day}"] if plan.day else [])]
    if plan.next_at_utc_ms is not None:
        due = dt.datetime.fromtimestamp(plan.next_at_utc_ms / 1000).astimezone()
        now = dt.datetime.now(due.tzinfo)
        lines.append("  next set: now" if due <= now else f"  next set or bout at {due:%H:%M} ({due:%Z})")
    for item in plan.items:
        held = _range(item.time_s, "s", 0)
        lines.append(
            f"  {item.title}: {item.sets} x {item.target_s:.0f} s, help {item.alpha:.0%} to {item.alpha_max:.0%}, "
            f"rest {item.rest_s:.0f} s; believed to hold {held}"
        )
        if item.paused:
            lines.append(f"    paused: {item.paused}")
    lines.append(f"  without help: {plan.trial.reason} ({_range(plan.chance_unassisted, '%', 0, 100)})")
    lines.append(f"  active {plan.active_share:.0%}, passive {1 - plan.active_share:.0%}: {plan.share_reason}")
    return lines + [f"  caution: {caution}" for caution in plan.cautions]


def _range(value: Estimate, unit: str, digits: int, scale: float = 1.0) -> str:
    low, middle, high = (f"{x * scale:.{digits}f}" for x in (value.low, value.value, value.high))
    return f"{middle} {unit} (four fifths: {low} to {high})"
