"""What holds for every test."""

import os

# As the command line does, before NumPy is there; and several tests run side by side.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
