"""REST routes, one module for each subject."""
