"""``hang-monitor doctor`` and ``storage``: damage in the data folder, and room on the disk."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path

import typer

from monitor.cli.terminal.error_reporting import reports_errors


@reports_errors
def doctor(
    mend: bool = typer.Option(False, "--mend", help="Mend what can be mended; the monitor must not run."),
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
) -> None:
    """Examine the whole data folder and report what is wrong.

    With --mend: interrupted sessions are measured from their journals, torn journals are mended, a damaged database is
    rebuilt from its readable rows and the journals (the damaged one is moved aside). Exit status 1 when something
    is left to do.
    """
    from rich.console import Console

    from monitor.store import DataFolder
    from monitor.store.maintenance.doctor import Doctor

    folder = DataFolder.open(data)
    console = Console(stderr=True)
    left, count = False, 0
    with contextlib.ExitStack() as stack:
        if mend:
            stack.enter_context(folder.held())
        status = stack.enter_context(console.status("Looking"))
        for finding in Doctor(folder, mending=mend).examine(lambda part: status.update(f"Looking at: {part}")):
            count += 1
            left = left or not finding.mended
            sys.stdout.write(f"{'mended: ' if finding.mended else ''}{finding.what}\n  {finding.means}\n")
            if finding.do:
                sys.stdout.write(f"  What to do: {finding.do}\n")
            sys.stdout.flush()
    if not count:
        sys.stdout.write(f"Everything in {folder.root} is as it should be.\n")
    if left:
        raise typer.Exit(1)


@reports_errors
def storage(
    oldest: str = typer.Option("", help="What happens to the oldest raw curves when the disk is nearly full: keep "
                               "(only warn) or remove (oldest first, each noted in the audit log)."),
    keep_days: int | None = typer.Option(None, help="Raw curves younger than this are never removed."),
    pack: bool = typer.Option(False, "--pack", help="Pack the curves of finished days now instead of overnight."),
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
) -> None:  # fmt: skip
    """Show how much room is left and for how long, and set what may happen to the oldest raw curves.

    Holds, people and settings are always kept; this is about raw curves alone. Without a policy nothing is removed.
    """
    from monitor.store import DataFolder, open_store
    from monitor.store.files.storage import BadPolicy, Policy, budget_of, pack_finished, policy_of, set_policy

    folder = DataFolder.open(data)
    with open_store(folder.database) as store:
        policy = policy_of(store)
        if oldest or keep_days is not None:
            if oldest not in ("", "keep", "remove"):
                raise BadPolicy(
                    what=f"There is no policy {oldest!r}.", means="Nothing was changed.", do="Give keep or remove."
                )
            chosen = policy.oldest if not oldest else "remove" if oldest == "remove" else "keep"
            policy = Policy(chosen, policy.keep_days if keep_days is None else keep_days)
            set_policy(store, policy, "at the machine")
        if pack:
            sys.stdout.write(f"{pack_finished(store, folder)} journals packed.\n")
    budget = budget_of(folder)
    left = f"; at this pace there is room for {budget.days_left:.0f} days" if budget.days_left is not None else ""
    sys.stdout.write(
        f"Raw curves: {budget.journal_bytes / 1e6:.1f} MB. Free: {budget.free_bytes / 1e9:.1f} GB.\n"
        f"In the last 30 days {budget.per_day_bytes / 1e6:.2f} MB a day{left}.\n"
    )
    if policy.oldest == "keep":
        sys.stdout.write("Oldest raw curves: never removed.\n")
    else:
        sys.stdout.write(
            f"Oldest raw curves: removed when the disk is nearly full, if older than {policy.keep_days} days.\n"
        )
    for line in budget.warnings():
        sys.stdout.write(f"{line}\n")
