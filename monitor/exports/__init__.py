"""Holds, curves and whole persons as files for other programs; the formats are in ``monitor.exports.formats``."""
