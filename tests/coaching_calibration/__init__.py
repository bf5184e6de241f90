"""Are the coaching's probabilities calibrated? Invented people whose truth is known answer."""
