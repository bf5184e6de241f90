"""Errors on the command line: what happened, what it means, what to do, and exit status 2."""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable
from typing import ParamSpec, TypeVar

import typer

from monitor.errors import TellableError

P = ParamSpec("P")
R = TypeVar("R")

BAD_INPUT = 2


def write_error(error: TellableError) -> None:
    """Write an error to the terminal's error stream."""
    sys.stderr.write(f"hang-monitor: {error.what}\n  {error.means}\n  What to do: {error.do}\n")
    sys.stderr.flush()


def reports_errors(command: Callable[P, R]) -> Callable[P, R]:
    """Wrap a command: a ``TellableError`` is written and ends it with status 2; anything else is our bug."""

    @functools.wraps(command)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return command(*args, **kwargs)
        except TellableError as error:
            write_error(error)
            raise typer.Exit(BAD_INPUT) from error

    return wrapped
