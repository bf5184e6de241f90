"""Load blocks to clean signals: uniform rows, masked spikes, sums, zeros, bodyweight, quiet."""
