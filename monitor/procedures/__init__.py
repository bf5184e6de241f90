"""Guided work at the rig (zero, calibration, check): one state machine each, shown by the page and the terminal."""
