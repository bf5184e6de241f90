"""Coaching of the hold in progress: who hangs, what is requested, the time left."""
