"""Coaching: a person's load-endurance curve, the next prescription, programme and progress."""
