"""``python -m monitor.cli`` is the command ``hang-monitor``."""

from __future__ import annotations

from monitor.cli import main

main()
