"""A finished calibration as tables for people."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from monitor.cli.terminal.result_tables import WIDTH_OF_A_FILE
from monitor.newtons.gravity import effect_of
from monitor.uncertainty import with_u

if TYPE_CHECKING:
    from monitor.newtons.calibrating.outcome import Outcome
    from monitor.newtons.calibrating.part_figures import PartFigures

VERDICT_WORDS = {"pass": "within", "fail": "beyond the limit", "unsure": "masses or noise too large to tell"}


def show_outcome(outcome: Outcome, places: Mapping[str, Path]) -> None:
    """Print the result and where its files are."""
    console = Console()
    if not console.is_terminal:
        console = Console(width=WIDTH_OF_A_FILE)
    plan = outcome.plan
    console.print(
        f"Gravity {plan.gravity_m_s2:.4f} m/s², from {plan.gravity_from}: a mass weighs "
        f"{effect_of(plan.gravity_m_s2):+.3%} against standard gravity.",
        highlight=False,
    )
    for figures in outcome.parts:
        _show_part(console, outcome, figures)
    for flag in outcome.flags:
        console.print(f"  · {flag}", highlight=False)
    for name, path in places.items():
        console.print(f"{name}: {path}", highlight=False, soft_wrap=True)
    if not places:
        console.print("A practice: nothing was saved.")


def _show_part(console: Console, outcome: Outcome, figures: PartFigures) -> None:
    fit = figures.fit
    console.print(f"\n[bold]{figures.part}[/bold]: a load is known to {figures.u_rel_sum:.2%} (standard uncertainty)")
    cells = Table(box=SIMPLE_HEAD, pad_edge=False)
    for name in ("cell", "span (N per 1000 counts)", "u", "from", "noise", "zero drift", "creep"):
        cells.add_column(name)
    for k, column in enumerate(fit.index):
        budget = figures.budgets[k]
        largest = max(budget.contributions, key=lambda c: c.part)
        span = 1000 * float(fit.span_N_per_count[k])
        cells.add_row(
            outcome.rig.names[column],
            with_u(span, abs(span) * budget.u),
            f"{budget.u:.2%}",
            f"{largest.name} {largest.part:.2%}",
            f"{figures.noise_N[k]:.2g} N",
            f"{figures.zero_drift_N[k]:+.2f} N in {figures.zero_span_s / 60:.0f} min",
            f"{figures.creep_rel[k]:+.3%} in {figures.creep_s:.0f} s" if figures.creep_s else "not watched",
        )
    console.print(cells)
    checks = Table(box=SIMPLE_HEAD, pad_edge=False)
    for name in ("check", "value", "limit", "verdict", "by"):
        checks.add_column(name)
    for check in figures.checks:
        value, limit = with_u(check.value_N, check.u_N, "N"), f"{check.limit_N:.2f} N"
        checks.add_row(check.name, value, limit, VERDICT_WORDS[check.verdict], check.source)
    console.print(checks)
