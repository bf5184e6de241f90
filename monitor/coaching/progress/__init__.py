"""What a person has done: days, sums, periods compared."""
