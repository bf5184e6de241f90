"""Long work beside the measuring: reports, archives, exports, backups, each in a process of its own."""

from __future__ import annotations

from monitor.work.workshop import Workshop

__all__ = ["Workshop"]
