"""The command line: one module a command, one form of errors, heavy libraries loaded only where they are needed."""

from __future__ import annotations

from monitor.cli.app import app, main

__all__ = ["app", "main"]
