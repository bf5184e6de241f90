"""Frozen records: what was measured, stored and entered. Free of persistence, screens and HTTP."""
