"""One module for each command of ``hang-monitor``."""
