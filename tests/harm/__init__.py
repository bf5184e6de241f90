"""Ends the program's work at random moments, as a kill or a cut of the power does, and looks at what is left."""
