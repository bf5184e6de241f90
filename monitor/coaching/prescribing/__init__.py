"""From endurance and programme to the next hold."""
