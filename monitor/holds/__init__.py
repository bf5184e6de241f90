"""Signals to holds: edges, touches, changes of hands, and the live detector."""
