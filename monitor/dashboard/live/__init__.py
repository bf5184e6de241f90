"""The live feed: newest picture for every screen, without holding up the pipeline."""
