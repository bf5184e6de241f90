"""How well the monitor measures: rigid bodies, electronics, raw counts, results, and their errors measure by measure."""
