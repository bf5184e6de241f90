"""Feeds the program what nobody would send on purpose, and looks for anything but a refusal in its own words."""
