"""From the bytes of a converter board to counts in time order; knows nothing of people, newtons or screens."""
