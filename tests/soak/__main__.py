"""``python -m tests.soak --hours 24 [--seed S]``: play them, print the account; exit status 1 if it does not close."""

from __future__ import annotations

import argparse
import logging
import sys

from tests.soak.day import Account, play


def messages(account: Account) -> str:
    """Return the account as text."""
    tally, looks = account.tally, account.looks
    faults = ", ".join(f"{n} {name}" for name, n in sorted(tally.faults.items()))
    lines = [
        f"{account.hours:g} h in {account.took_s:.0f} s ({account.hours * 3600 / account.took_s:.0f} times real time)",
        f"faults: {faults}",
        f"readings: {tally.sent + tally.lost_on_the_wire + tally.missed} made while plugged in = {account.received} "
        f"received + {account.lost} lost ({tally.lost_on_the_wire} on the wire, {tally.missed} missed); "
        f"{tally.unplugged} while unplugged or starting",
        f"pieces: {account.damaged} damaged, {account.repeated} repeated",
        f"stored: {account.stored} readings in {account.journals} journals, each byte for byte a stretch of what was "
        "received (stretches overlap: each begins some seconds before somebody came)",
        f"holds: {account.holds} kept; {account.compared} of {account.truths} true ones compared (the others were cut "
        f"off), at most {account.worst_s * 1e3:.0f} ms off",
        f"screens: {account.sessions} visits, {account.pictures} pictures taken",
        "memory (MB): " + " ".join(f"{m:.0f}" for m in looks.memory_MB),
        "file handles: " + " ".join(map(str, looks.handles)),
        "threads: " + " ".join(map(str, looks.threads)),
        *(f"WRONG: {line}" for line in account.wrong),
    ]
    return "\n".join(lines) + "\n"


def main() -> int:
    """Run the soak."""
    requested = argparse.ArgumentParser(prog="python -m tests.soak", description=__doc__)
    requested.add_argument("--hours", type=float, default=24.0)
    requested.add_argument("--seed", type=int, default=1)
    given = requested.parse_args()
    logging.disable(logging.ERROR)

    def progress(hour: float) -> None:
        if sys.stderr.isatty():
            sys.stderr.write(f"\r{hour:.1f} h")

    account = play(given.hours, given.seed, look_every_h=min(1.0, given.hours / 4), progress=progress)
    sys.stdout.write(messages(account))
    return 1 if account.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
