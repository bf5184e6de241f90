"""Benchmarks: ratios measured side by side in one run; nothing here passes or fails by time."""

import os

# As the command line does, before NumPy is there.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
