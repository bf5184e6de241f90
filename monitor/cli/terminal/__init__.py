"""What commands show in a terminal: tables, prompts, errors, the guided calibration."""
