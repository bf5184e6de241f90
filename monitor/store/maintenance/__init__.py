"""Backup, doctor, salvage and rebuilding from journals."""
