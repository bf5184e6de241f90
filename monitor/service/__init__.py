"""Joins source, pipeline, store and live page: the running monitor.

Threads: the source's own reader (never waits), the pipeline's (``measuring``), one that begins and ends journals
(``stay_keeping``) and one bookkeeper for the database (``bookkeeper``; neither makes the pipeline wait), and the web
server's loop.
"""

from monitor.exports.kept_curve import hold_curve
from monitor.service.monitor_service import MonitorService
from monitor.service.rig_card import rig_card
from monitor.service.who_hangs import PersonLeaves
from monitor.store.rebuild import INTERRUPTED

__all__ = ["INTERRUPTED", "MonitorService", "PersonLeaves", "hold_curve", "rig_card"]
