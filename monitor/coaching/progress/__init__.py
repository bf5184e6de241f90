"""A person's progress: sums, bests, periods compared."""
