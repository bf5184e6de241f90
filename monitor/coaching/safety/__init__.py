"""Stop rules and care of the back."""
