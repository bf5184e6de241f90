"""The rig's own health: what a check of the rig asks, watches and says. Pure; it knows no port, no screen."""
