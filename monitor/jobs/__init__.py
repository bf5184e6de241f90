"""Long work beside the measuring: reports, archives, exports, backups, each in a process of its own."""
