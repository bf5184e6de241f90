"""The running monitor of one rig: source, pipeline and database, and what the live page reads of them.

Threads: the source's own reader (never waits), the pipeline's (``pipeline_thread``), one that writes journals
(``session_archiver``), one for what follows from stored data (``background``), and the web server's loop. Nothing makes
the pipeline wait; every write to the database goes through the store's one queue.
"""

from monitor.exports.hold_curve import hold_curve
from monitor.service.current_person import PersonLeaves
from monitor.service.monitor_service import MonitorService
from monitor.service.rig_view import rig_view
from monitor.store.maintenance.rebuild import INTERRUPTED

__all__ = ["INTERRUPTED", "MonitorService", "PersonLeaves", "hold_curve", "rig_view"]
