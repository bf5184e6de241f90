"""Results on paper: notebook curves."""

from __future__ import annotations

from monitor.reports.plot import PlotNotWritten, curve_svg, plot_curve

__all__ = ["PlotNotWritten", "curve_svg", "plot_curve"]
