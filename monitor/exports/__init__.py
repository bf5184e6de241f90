"""Holds and curves for spreadsheets and other programs."""

from __future__ import annotations

from monitor.exports.curves import curve_csv, stamps_of
from monitor.exports.holds import holds_csv, holds_json

__all__ = ["curve_csv", "holds_csv", "holds_json", "stamps_of"]
