"""The guided calibration: plan, readings, fit, figures, verdict. Pure; it knows no port, no clock and no screen."""
