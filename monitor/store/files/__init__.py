"""The data folder: journals, access file, recording, room on the disk."""
