"""Holds in the database: rows, search, corrections, markers, results of earlier versions."""
