"""A day of the rig in some minutes, with everything that a hall does to it, and counts that must add up exactly."""
