"""``hang-monitor progress``: what a person has done, and how strength changes."""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from monitor.cli.coaching_access import DATA_HELP, PERSON_HELP, open_coaching
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.cli.terminal.text_io import write, write_json
from monitor.errors import BadInput
from monitor.uncertainty import with_u

if TYPE_CHECKING:
    from monitor.coaching.endurance.overview import EnduranceOverview
    from monitor.coaching.progress.progress import Best, Progress


@reports_errors
def progress(
    who: str = typer.Argument(help=PERSON_HELP),
    first: str | None = typer.Option(None, "--from", help="First day, as 2026-03-01; all if left out.", metavar="DATE"),
    last: str | None = typer.Option(None, "--to", help="Last day, included.", metavar="DATE"),
    against: str | None = typer.Option(
        None, help="An earlier period to compare with, as 2026-02-01..2026-02-28.", metavar="DATE..DATE"
    ),
    as_json: bool = typer.Option(False, "--json", help="JSON with every hold, day and entry of pain."),
    data: Path | None = typer.Option(None, help=DATA_HELP),
) -> None:
    """Show a person's progress: bests, minutes, help over time, trend, and two periods compared."""
    begin, end = _day(first), _day(last)
    earlier = _period(against)
    with open_coaching(data) as coaching:
        one = coaching.find_person(who)
        summary, endurance = coaching.progress(one.uid, begin, end), coaching.endurance(one.uid)
        compared = None
        if earlier is not None:
            compared = coaching.compare(
                one.uid, earlier, (begin or earlier[1] + dt.timedelta(days=1), end or dt.date.today())
            )
    if as_json:
        trend = endurance.trend
        write_json(
            {
                **summary.as_dict(),
                "trend": None
                if trend is None
                else {
                    "per_week": dataclasses.asdict(trend.per_week),
                    "chance_of_gain": trend.chance_of_gain,
                    "disproof": trend.disproof,
                },
                "models": endurance.models.statement,
                "compared": None if compared is None else {k: dataclasses.asdict(v) for k, v in compared.items()},
            }
        )
        return
    lines = _lines(one.name, summary) + _endurance_lines(endurance)
    if compared is not None:
        lines += ["against the earlier period:", *(f"  {name}: {c.words}" for name, c in compared.items())]
    write("\n".join(lines))


def _lines(name: str, summary: Progress) -> list[str]:
    minutes = sum(d.rig_min for d in summary.days), sum(d.by_hand_min for d in summary.days)
    lines = [
        f"{name}: {summary.holds} holds on {len(summary.days)} days, {minutes[0]:.1f} min on the rig"
        + (f", {minutes[1]:.1f} min entered by hand" if summary.by_hand else ""),
        f"  clean time {summary.clean_s:.0f} s, dose {summary.dose_bw_s:.0f} bodyweight-seconds",
        f"  longest passive without help: {_best(summary.longest_passive, 's')}",
        f"  longest active without help: {_best(summary.longest_active, 's')}",
        f"  least help over 30 s: {_best(summary.least_assistance, '%', 100)}",
    ]
    if summary.longest_alternating is not None:
        turns = summary.longest_alternating
        longest = "" if turns.longest_one_hand_s is None else f", longest on one hand {turns.longest_one_hand_s:.1f} s"
        feet = {True: ", feet never down", False: ", feet came down", None: ""}[turns.feet_never_down]
        lines.append(f"  longest alternating: {turns.total_s:.1f} s, {turns.changes} changes{longest}{feet}")
    if summary.pain:
        lines.append(f"  pain: {len(summary.pain)} entries, last {summary.pain[-1].pain} of 10")
    return lines


def _best(best: Best | None, unit: str, scale: float = 1.0) -> str:
    if best is None:
        return "none yet"
    ties = f", {best.ties} more within the uncertainty" if best.ties else ""
    return f"{with_u(best.value, best.u, unit, scale=scale)} on {best.day}{ties}"


def _endurance_lines(endurance: EnduranceOverview) -> list[str]:
    trend = endurance.trend
    if trend is None:
        lines = ["  trend: not known yet; it takes holds over two weeks or more"]
    else:
        week = trend.per_week
        lines = [
            f"  trend: {week.value:+.1%} a week (four fifths: {week.low:+.1%} to {week.high:+.1%}); "
            f"a gain with {trend.chance_of_gain:.0%}",
            f"  {trend.disproof}",
        ]
    return [*lines, f"  {endurance.models.statement}"]


def _day(text: str | None) -> dt.date | None:
    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(
            what=f"{text!r} is not a date.", means="Nothing was computed.", do="Give dates as 2026-03-31."
        ) from error


def _period(text: str | None) -> tuple[dt.date, dt.date] | None:
    if text is None:
        return None
    first, _, last = text.partition("..")
    begin, end = _day(first), _day(last)
    if begin is None or end is None or begin > end:
        raise BadInput(
            what=f"{text} is not a period.", means="Nothing was computed.", do="Give it as 2026-02-01..2026-02-28."
        )
    return begin, end
