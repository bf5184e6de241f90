"""The live view: what the measures of a hold say so far, twenty times a second."""
