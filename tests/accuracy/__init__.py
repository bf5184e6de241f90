"""How well the monitor measures: rigid bodies, raw counts, results, and their errors measure by measure."""
