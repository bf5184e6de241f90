"""People in the database: records, entries, export and erasure."""
